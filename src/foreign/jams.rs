//! JAMS: chord, beat, segment, key, tempo and note annotations.
//!
//! Of several annotations of one kind the first is taken, and a warning counts
//! the others: annotators may differ, and mixing them would be nobody's opinion.
//!
//! # Source
//! Humphrey et al., "JAMS: A JSON annotated music specification for
//! reproducible MIR research", ISMIR 2014, and the namespaces of its schema.

use super::assemble::{ImportedChord, ImportedScore, ImportedSection};
use super::{ForeignError, MAX_BARS, MAX_NOTES};
use crate::songlog::heard::{Bar, HeardBeat, HeardNote};
use crate::theory::{KeyChange, Label};
use crate::units::TEMPOS_BPM;
use serde_json::Value;

/// One observation with its place in the document.
struct Seen<'a> {
    place: String,
    start_s: f64,
    duration_s: f64,
    value: &'a Value,
    confidence: Option<f64>,
}

/// Reads the document.
pub(super) fn read(text: &str) -> Result<ImportedScore, ForeignError> {
    let not = |reason: String| ForeignError::NotOfKind {
        expected: "a JAMS document",
        reason,
    };
    let document: Value = serde_json::from_str(text).map_err(|e| not(e.to_string()))?;
    let annotations = document
        .get("annotations")
        .and_then(Value::as_array)
        .ok_or_else(|| not("it has no list 'annotations'".into()))?;
    let mut raw = ImportedScore::default();
    let metadata = document.get("file_metadata");
    raw.duration_s = metadata
        .and_then(|m| m.get("duration"))
        .and_then(Value::as_f64)
        .filter(|d| d.is_finite() && *d > 0.0)
        .unwrap_or(0.0);
    raw.title = metadata
        .and_then(|m| m.get("title"))
        .and_then(Value::as_str)
        .map(one_line)
        .filter(|t| !t.is_empty());
    let mut take = |kinds: &[&str]| -> Result<Option<Vec<Seen<'_>>>, ForeignError> {
        let is = |a: &&Value| {
            a.get("namespace")
                .and_then(Value::as_str)
                .is_some_and(|n| kinds.contains(&n))
        };
        let n = annotations.iter().filter(is).count();
        if n > 1 {
            raw.warnings.push(format!(
                "the file has {n} annotations of the kind {}; the first was taken",
                kinds[0]
            ));
        }
        let Some(at) = annotations.iter().position(|a| is(&a)) else {
            return Ok(None);
        };
        observations(&annotations[at], at).map(Some)
    };
    let chords = take(&["chord", "chord_harte"])?;
    let beats = take(&["beat", "beat_position"])?;
    let sections = take(&["segment_open", "segment_salami_upper", "segment_tut"])?;
    let keys = take(&["key_mode"])?;
    let tempo = take(&["tempo"])?;
    let notes = take(&["note_midi", "pitch_midi"])?;
    let Some(chords) = chords else {
        return Err(ForeignError::Empty {
            reason: "it has no annotation of the kind chord, so there is nothing to take in".into(),
        });
    };
    raw.chords = read_chords(&chords, &mut raw.warnings)?;
    for beat in beats.into_iter().flatten() {
        raw.beats.push(HeardBeat {
            time_s: beat.start_s,
            place: place_in_bar(beat.value),
        });
    }
    raw.beats.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    raw.beats.dedup_by(|b, a| b.time_s - a.time_s < 0.01);
    raw.bars = bars(&raw.beats, raw.duration_s);
    if raw.bars.len() > MAX_BARS {
        return Err(ForeignError::Wrong {
            place: "the beats".into(),
            reason: format!("they make {} bars, more than {MAX_BARS}", raw.bars.len()),
        });
    }
    raw.meter = usual_beats(&raw.bars).map(|n| (n, 4));
    raw.sections = read_sections(sections.iter().flatten());
    raw.key_changes = read_keys(keys.iter().flatten());
    raw.key = raw.key_changes.first().map(|c| c.key);
    raw.tempo_bpm = tempo
        .iter()
        .flatten()
        .find_map(|t| t.value.as_f64())
        .or_else(|| median_tempo(&raw.beats))
        .filter(|bpm| TEMPOS_BPM.contains(bpm));
    raw.notes = read_notes(&notes.unwrap_or_default())?;
    Ok(raw)
}

fn read_sections<'a>(seen: impl Iterator<Item = &'a Seen<'a>>) -> Vec<ImportedSection> {
    let section = |s: &Seen<'_>| {
        Some(ImportedSection {
            feel: None,
            start_s: s.start_s,
            text: one_line(s.value.as_str()?),
        })
    };
    seen.filter_map(section).collect()
}

fn read_keys<'a>(seen: impl Iterator<Item = &'a Seen<'a>>) -> Vec<KeyChange> {
    let change = |k: &Seen<'_>| {
        Some(KeyChange {
            at_s: k.start_s,
            key: k.value.as_str()?.parse().ok()?,
        })
    };
    seen.filter_map(change).collect()
}

/// Notes with a pitch and a length, in order of time.
fn read_notes(notes: &[Seen<'_>]) -> Result<Vec<HeardNote>, ForeignError> {
    let mut all = Vec::new();
    if notes.len() > MAX_NOTES {
        return Err(ForeignError::Wrong {
            place: "the notes".into(),
            reason: format!("{} of them, more than {MAX_NOTES}", notes.len()),
        });
    }
    for note in notes {
        let midi = note.value.as_f64().map(f64::round);
        if let Some(midi) = midi.filter(|m| (0.0..128.0).contains(m))
            && note.duration_s > 0.0
        {
            all.push(HeardNote {
                start_s: note.start_s,
                end_s: note.start_s + note.duration_s,
                midi: midi as u8,
                probability: note.confidence.unwrap_or(1.0).clamp(0.0, 1.0),
            });
        }
    }
    all.sort_by(|a: &HeardNote, b| a.start_s.total_cmp(&b.start_s));
    Ok(all)
}

/// The observations of an annotation: a list of records, or a record of lists.
fn observations(annotation: &Value, at: usize) -> Result<Vec<Seen<'_>>, ForeignError> {
    let place = |i: usize| format!("annotations[{at}].data[{i}]");
    let number = |value: Option<&Value>, place: &str, name: &str, least: f64| {
        value
            .and_then(Value::as_f64)
            .filter(|x| x.is_finite() && *x >= least)
            .ok_or_else(|| ForeignError::Wrong {
                place: format!("{place}.{name}"),
                reason: match value {
                    Some(v) => format!("{} is not a time in seconds", cut(&v.to_string())),
                    None => "it is missing".into(),
                },
            })
    };
    match annotation.get("data") {
        Some(Value::Array(list)) => list
            .iter()
            .enumerate()
            .map(|(i, one)| {
                let place = place(i);
                Ok(Seen {
                    start_s: number(one.get("time"), &place, "time", 0.0)?,
                    duration_s: number(one.get("duration"), &place, "duration", 0.0)?,
                    value: one.get("value").unwrap_or(&Value::Null),
                    confidence: one.get("confidence").and_then(Value::as_f64),
                    place,
                })
            })
            .collect(),
        Some(Value::Object(lists)) => {
            let list = |name: &str| lists.get(name).and_then(Value::as_array);
            let (times, durations, values) = (list("time"), list("duration"), list("value"));
            times
                .map_or(&[][..], |t| t)
                .iter()
                .enumerate()
                .map(|(i, time)| {
                    let place = place(i);
                    let duration = durations.and_then(|d| d.get(i));
                    Ok(Seen {
                        start_s: number(Some(time), &place, "time", 0.0)?,
                        duration_s: number(duration, &place, "duration", 0.0)?,
                        value: values.and_then(|v| v.get(i)).unwrap_or(&Value::Null),
                        confidence: list("confidence")
                            .and_then(|c| c.get(i))
                            .and_then(Value::as_f64),
                        place,
                    })
                })
                .collect()
        }
        _ => Err(ForeignError::Wrong {
            place: format!("annotations[{at}].data"),
            reason: "a list of observations is expected".into(),
        }),
    }
}

fn read_chords(
    seen: &[Seen<'_>],
    warnings: &mut Vec<String>,
) -> Result<Vec<ImportedChord>, ForeignError> {
    let mut chords: Vec<ImportedChord> = Vec::new();
    let mut sorted: Vec<&Seen<'_>> = seen.iter().filter(|s| s.duration_s > 0.0).collect();
    sorted.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let mut n_cut = 0;
    for one in sorted {
        let wrong = |reason: String| ForeignError::Wrong {
            place: format!("{}.value", one.place),
            reason,
        };
        let text = one
            .value
            .as_str()
            .ok_or_else(|| wrong("a chord label is expected, such as C#:min7".into()))?;
        let label: Label = text.parse().map_err(|e| {
            wrong(format!(
                "{e} (expected a chord such as C#:min7, N for none)"
            ))
        })?;
        if let Some(last) = chords.last_mut()
            && last.end_s > one.start_s
        {
            n_cut += usize::from(last.end_s > one.start_s + 0.002);
            last.end_s = one.start_s;
        }
        chords.push(ImportedChord::named(
            one.start_s,
            one.start_s + one.duration_s,
            label,
            one.confidence.unwrap_or(1.0),
        ));
    }
    if n_cut > 0 {
        warnings.push(format!(
            "{n_cut} chords of the file overlap the next; they were cut there"
        ));
    }
    Ok(chords)
}

/// A beat's place in its bar: a number, or the `position` of a record; 0 where unknown.
fn place_in_bar(value: &Value) -> u8 {
    value
        .as_f64()
        .or_else(|| value.get("position").and_then(Value::as_f64))
        .filter(|n| n.fract() == 0.0 && (1.0..=32.0).contains(n))
        .map_or(0, |n| n as u8)
}

/// From downbeat to downbeat; beats before the first are bar 0. None if no beat is a first.
fn bars(beats: &[HeardBeat], duration_s: f64) -> Vec<Bar> {
    let downbeats: Vec<usize> = (0..beats.len()).filter(|i| beats[*i].place == 1).collect();
    let (Some(first), Some(last_beat)) = (downbeats.first(), beats.last()) else {
        return Vec::new();
    };
    let gap_s = match beats.len() {
        0 | 1 => 0.5,
        n => beats[n - 1].time_s - beats[n - 2].time_s,
    };
    // the last beat lasts as long as the one before it, no longer than the take says
    let end_s = (last_beat.time_s + gap_s).min(duration_s.max(last_beat.time_s + 0.01));
    let mut starts = downbeats.clone();
    if *first > 0 {
        starts.insert(0, 0);
    }
    let mut bars = Vec::new();
    for (number, (i, start)) in (u32::from(*first == 0)..).zip(starts.iter().enumerate()) {
        let next = starts.get(i + 1);
        bars.push(Bar {
            number,
            start_s: beats[*start].time_s,
            end_s: next.map_or(end_s, |n| beats[*n].time_s),
            n_beats: u8::try_from(next.unwrap_or(&beats.len()) - start).unwrap_or(u8::MAX),
        });
    }
    bars
}

/// How many beats most bars have.
fn usual_beats(bars: &[Bar]) -> Option<u8> {
    (1..=32u8)
        .filter(|n| bars.iter().any(|b| b.n_beats == *n))
        .max_by_key(|n| bars.iter().filter(|b| b.n_beats == *n).count())
}

pub(super) fn median_tempo(beats: &[HeardBeat]) -> Option<f64> {
    let mut gaps: Vec<f64> = beats
        .windows(2)
        .map(|w| w[1].time_s - w[0].time_s)
        .collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).map(|g| 60.0 / g)
}

fn one_line(text: &str) -> String {
    text.trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(200)
        .collect()
}

fn cut(text: &str) -> String {
    text.chars().take(40).collect()
}
