//! What every reader gives, and how it becomes what a draft would have heard.

use super::letters::{free_letters, heading};
use super::{ForeignError, Imported, MAX_BARS};
use crate::fretboard::{Instrument, Limits, Shape, usual_voicings};
use crate::songlog::decided::{Act, Feel, How};
use crate::songlog::heard::{
    Bar, Candidate, FittedShape, Heard, HeardBeat, HeardChord, HeardNote, HeardSection,
};
use crate::songlog::resolve::Settings;
use crate::theory::{Key, KeyChange, Label};
use std::collections::{HashMap, HashSet};

/// A gap shorter than this is rounding and is closed, s.
const ROUNDING_S: f64 = 0.002;
/// How many shapes are proposed where the file has none.
const N_SHAPES: usize = 3;

/// A file's content before it is put in order.
#[derive(Default)]
pub(super) struct ImportedScore {
    pub(super) title: Option<String>,
    pub(super) duration_s: f64,
    pub(super) instrument: Option<Instrument>,
    pub(super) tempo_bpm: Option<f64>,
    pub(super) meter: Option<(u8, u8)>,
    pub(super) key: Option<Key>,
    pub(super) key_changes: Vec<KeyChange>,
    pub(super) beats: Vec<HeardBeat>,
    pub(super) bars: Vec<Bar>,
    pub(super) sections: Vec<ImportedSection>,
    /// In order, without overlap; gaps are filled here.
    pub(super) chords: Vec<ImportedChord>,
    pub(super) notes: Vec<HeardNote>,
    pub(super) warnings: Vec<String>,
    /// Typed by the user: chords are theirs, but for those typed with a question mark.
    pub(super) typed: bool,
    /// Who made the song.
    pub(super) credit: Option<String>,
    /// Words that are sung, as acts.
    pub(super) lyrics: Vec<Act>,
}

/// A section by its start.
pub(super) struct ImportedSection {
    pub(super) start_s: f64,
    /// What the file calls it: `A`, `A Verse`, `Verse`.
    pub(super) text: String,
    /// Straight or swung, where the file says it.
    pub(super) feel: Option<Feel>,
}

/// A chord of the file.
pub(super) struct ImportedChord {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    /// Never empty, best first.
    pub(super) candidates: Vec<Candidate>,
    pub(super) shape: Option<Shape>,
    /// Pitches that the file strikes, MIDI; to choose a shape by.
    pub(super) struck: Vec<u8>,
    pub(super) fragment: bool,
    /// In a typed chart: written with a question mark.
    pub(super) open: bool,
}

impl ImportedChord {
    /// A chord that the file names; `probability` 1 where it says no doubt.
    pub(super) fn named(start_s: f64, end_s: f64, label: Label, probability: f64) -> Self {
        Self {
            start_s,
            end_s,
            candidates: vec![Candidate {
                label,
                probability: probability.clamp(0.0, 1.0),
                reason: "as the file says".into(),
            }],
            shape: None,
            struck: Vec::new(),
            fragment: false,
            open: false,
        }
    }

    pub(super) fn label(&self) -> &Label {
        &self.candidates[0].label
    }
}

/// Everything in its place.
pub(super) fn assemble(mut raw: ImportedScore, given: &Settings) -> Result<Imported, ForeignError> {
    if raw
        .chords
        .iter()
        .all(|c| matches!(c.label(), Label::NoChord))
    {
        return Err(ForeignError::Empty {
            reason: "it has no chord in it, so there is nothing to take in".into(),
        });
    }
    let instrument = given
        .instrument()
        .or(raw.instrument.take())
        .unwrap_or_default();
    let key = given.key.or(raw.key);
    if let Some(shift_s) = given
        .downbeat_s
        .and_then(|at| Some(at - first_downbeat_s(&raw)?))
        .filter(|s| s.abs() > 1e-9)
    {
        shift(&mut raw, shift_s)?;
    }
    let ends = raw.chords.iter().map(|c| c.end_s);
    raw.duration_s = ends.fold(raw.duration_s, f64::max);
    let tempo_bpm = given.tempo_bpm.or(raw.tempo_bpm);
    let meter = given.meter.or(raw.meter);
    if raw.bars.is_empty() {
        lay_grid(&mut raw, given, tempo_bpm, meter)?;
    }
    let meter = meter.or((!raw.bars.is_empty()).then_some((4, 4)));
    let (sections, names) = sections(&mut raw);
    let title = raw.title.clone();
    let mut acts: Vec<Act> = title.into_iter().map(|text| Act::Title { text }).collect();
    acts.extend(names);
    acts.extend(raw.credit.take().map(|text| Act::Credit { text }));
    acts.append(&mut raw.lyrics);
    if raw.typed {
        acts.extend(own_words(&raw));
    }
    let chords = chords(raw.chords, &instrument, &mut raw.warnings);
    Ok(Imported {
        heard: Heard {
            by_version: env!("CARGO_PKG_VERSION").into(),
            settings: Vec::new(),
            duration_s: raw.duration_s,
            tuning_cents: 0.0,
            instrument,
            tempo_bpm,
            meter,
            key,
            key_changes: match (given.key, key) {
                (None, Some(key)) => changes(key, raw.key_changes),
                _ => Vec::new(),
            },
            beats: raw.beats,
            bars: raw.bars,
            sections,
            chords,
            detail: vec![],
            choices: vec![],
            strums: vec![],
            notes: raw.notes,
            warnings: raw.warnings,
        },
        acts,
    })
}

/// What a typed chart decides: its chords and the frets that it gives them.
fn own_words(raw: &ImportedScore) -> Vec<Act> {
    let mut acts = Vec::new();
    for chord in raw.chords.iter().filter(|c| !c.open) {
        let (start_s, end_s) = (chord.start_s, chord.end_s);
        acts.push(Act::Chord {
            start_s,
            end_s,
            label: chord.label().clone(),
            how: How::Own,
        });
        acts.extend(chord.shape.clone().map(|shape| Act::Shape {
            start_s,
            end_s,
            shape,
            or_shape: None,
        }));
    }
    acts
}

/// Changes of key that change something, each later than the one before.
fn changes(first: Key, all: Vec<KeyChange>) -> Vec<KeyChange> {
    let mut out: Vec<KeyChange> = Vec::new();
    for change in all {
        let (at_s, before) = out.last().map_or((0.0, first), |c| (c.at_s, c.key));
        if change.key != before && change.at_s > at_s {
            out.push(change);
        }
    }
    out
}

/// Bar 1, else the first chord that sounds.
fn first_downbeat_s(raw: &ImportedScore) -> Option<f64> {
    let bar = raw.bars.iter().find(|b| b.number >= 1).map(|b| b.start_s);
    let chord = || {
        let sounding = |c: &&ImportedChord| !matches!(c.label(), Label::NoChord);
        raw.chords.iter().find(sounding).map(|c| c.start_s)
    };
    // without bars the times are the take's own; the grid is laid later
    bar.or_else(|| if raw.beats.is_empty() { None } else { chord() })
}

fn shift(raw: &mut ImportedScore, by_s: f64) -> Result<(), ForeignError> {
    let first_s = [
        raw.bars.first().map(|b| b.start_s),
        raw.chords.first().map(|c| c.start_s),
        raw.notes.first().map(|n| n.start_s),
    ]
    .into_iter()
    .flatten()
    .fold(f64::INFINITY, f64::min);
    if first_s + by_s < 0.0 {
        return Err(ForeignError::Wrong {
            place: "the first downbeat".into(),
            reason: format!(
                "with it there, the file would begin {:.2} s before the take (give a later --first-downbeat)",
                -(first_s + by_s)
            ),
        });
    }
    for change in &mut raw.key_changes {
        change.at_s += by_s;
    }
    for chord in &mut raw.chords {
        chord.start_s += by_s;
        chord.end_s += by_s;
    }
    for beat in &mut raw.beats {
        beat.time_s += by_s;
    }
    for bar in &mut raw.bars {
        bar.start_s += by_s;
        bar.end_s += by_s;
    }
    for note in &mut raw.notes {
        note.start_s += by_s;
        note.end_s += by_s;
    }
    for section in &mut raw.sections {
        section.start_s += by_s;
    }
    for act in &mut raw.lyrics {
        if let Act::Lyric { start_s, end_s, .. } = act {
            *start_s += by_s;
            *end_s += by_s;
        }
    }
    raw.duration_s += by_s;
    Ok(())
}

/// Bars by the file's beats, or by a tempo that is given.
fn lay_grid(
    raw: &mut ImportedScore,
    given: &Settings,
    tempo_bpm: Option<f64>,
    meter: Option<(u8, u8)>,
) -> Result<(), ForeignError> {
    let Some(bpm) = tempo_bpm.filter(|_| raw.beats.is_empty()) else {
        return Ok(());
    };
    let n_beats = meter.map_or(4, |m| m.0).max(1);
    let beat_s = 60.0 / bpm;
    let sounding = |c: &&ImportedChord| !matches!(c.label(), Label::NoChord);
    let first_s = given
        .downbeat_s
        .or_else(|| raw.chords.iter().find(sounding).map(|c| c.start_s))
        .unwrap_or(0.0);
    let n_bars = ((raw.duration_s - first_s) / (beat_s * f64::from(n_beats)) - 0.05).ceil();
    if n_bars > MAX_BARS as f64 {
        return Err(ForeignError::Wrong {
            place: "the tempo".into(),
            reason: format!("{bpm} bpm make {n_bars} bars, more than {MAX_BARS}"),
        });
    }
    let at = |beat: u32| first_s + beat_s * f64::from(beat);
    for number in 0..n_bars.max(0.0) as u32 {
        let beat = number * u32::from(n_beats);
        raw.bars.push(Bar {
            number: number + 1,
            start_s: at(beat),
            end_s: at(beat + u32::from(n_beats)),
            n_beats,
        });
        raw.beats.extend((0..n_beats).map(|b| HeardBeat {
            time_s: at(beat + u32::from(b)),
            place: b + 1,
        }));
    }
    if let Some(bar) = raw.bars.last() {
        raw.duration_s = raw.duration_s.max(bar.end_s);
    }
    Ok(())
}

/// Sections by bars, and the acts that name them. Sections without bars are said in a warning.
fn sections(raw: &mut ImportedScore) -> (Vec<HeardSection>, Vec<Act>) {
    let Some(last) = raw.bars.last().copied() else {
        if !raw.sections.is_empty() {
            raw.warnings.push(format!(
                "{} sections were left out: the file has no bars (give --tempo, and they are kept)",
                raw.sections.len()
            ));
        }
        return (Vec::new(), Vec::new());
    };
    let taken: Vec<(Option<String>, Option<String>)> =
        raw.sections.iter().map(|s| heading(&s.text)).collect();
    let mut letters: HashMap<String, String> = HashMap::new();
    let used: HashSet<String> = taken.iter().filter_map(|(l, _)| l.clone()).collect();
    let mut free = free_letters(&used);
    let mut out: Vec<HeardSection> = Vec::new();
    let mut acts = Vec::new();
    let mut named: Vec<(usize, String)> = Vec::new();
    let mut felt: Vec<(usize, Feel)> = Vec::new();
    for (section, (letter, name)) in raw.sections.iter().zip(taken) {
        let letter = letter.unwrap_or_else(|| {
            let name = name.clone().unwrap_or_default();
            letters
                .entry(name)
                .or_insert_with(|| free.next().unwrap_or_default())
                .clone()
        });
        let first_bar = nearest_bar(&raw.bars, section.start_s);
        if let Some(before) = out.last_mut() {
            if before.first_bar >= first_bar {
                raw.warnings.push(format!(
                    "section '{}' was left out: another starts in bar {}",
                    section.text.trim(),
                    before.first_bar
                ));
                continue;
            }
            before.last_bar = first_bar - 1;
        }
        felt.extend(section.feel.map(|feel| (out.len(), feel)));
        if let Some(name) = name {
            named.push((out.len(), name.chars().take(200).collect()));
        }
        out.push(HeardSection {
            letter,
            first_bar,
            last_bar: last.number,
            differs: String::new(),
        });
    }
    let time = |number: u32| raw.bars.iter().find(|b| b.number == number);
    for (i, name) in named {
        let section = &out[i];
        if let (Some(from), Some(to)) = (time(section.first_bar), time(section.last_bar)) {
            acts.push(Act::SectionName {
                start_s: from.start_s,
                end_s: to.end_s,
                name: name
                    .chars()
                    .map(|c| if c.is_control() { ' ' } else { c })
                    .collect(),
            });
        }
    }
    for (i, feel) in felt {
        let section = &out[i];
        if let (Some(from), Some(to)) = (time(section.first_bar), time(section.last_bar)) {
            acts.push(Act::SectionFeel {
                start_s: from.start_s,
                end_s: to.end_s,
                feel,
            });
        }
    }
    (out, acts)
}

fn nearest_bar(bars: &[Bar], time_s: f64) -> u32 {
    bars.iter()
        .min_by(|a, b| {
            let off = |bar: &Bar| (bar.start_s - time_s).abs();
            off(a).total_cmp(&off(b))
        })
        .map_or(1, |b| b.number)
}

/// Chords without gaps, each with shapes.
fn chords(
    raw: Vec<ImportedChord>,
    instrument: &Instrument,
    warnings: &mut Vec<String>,
) -> Vec<HeardChord> {
    let n_strings = instrument.tuning.n_strings();
    let mut out: Vec<ImportedChord> = Vec::new();
    let mut n_other_strings = 0;
    let mut end_s = 0.0;
    for mut chord in raw {
        if chord.end_s - chord.start_s < ROUNDING_S {
            continue;
        }
        if chord
            .shape
            .as_ref()
            .is_some_and(|s| s.frets().len() != n_strings)
        {
            n_other_strings += 1;
            chord.shape = None;
        }
        if chord.start_s - end_s > ROUNDING_S {
            out.push(ImportedChord::named(
                end_s,
                chord.start_s,
                Label::NoChord,
                1.0,
            ));
        } else if !out.is_empty() || end_s == 0.0 {
            chord.start_s = end_s;
        }
        end_s = chord.end_s;
        out.push(chord);
    }
    if n_other_strings > 0 {
        warnings.push(format!(
            "{n_other_strings} shapes of the file were left out: they are for another number of strings than {n_strings} (give --tuning)"
        ));
    }
    let mut made: HashMap<String, Vec<Shape>> = HashMap::new();
    out.into_iter()
        .map(|chord| heard_chord(chord, instrument, &mut made))
        .collect()
}

fn heard_chord(
    raw: ImportedChord,
    instrument: &Instrument,
    made: &mut HashMap<String, Vec<Shape>>,
) -> HeardChord {
    let mut shapes: Vec<FittedShape> = Vec::new();
    if let Some(shape) = raw.shape {
        shapes.push(FittedShape { shape, fit: 1.0 });
    } else if let Some(chord) = raw.candidates[0].label.chord() {
        let all = made.entry(chord.label()).or_insert_with(|| {
            usual_voicings(instrument, chord, &Limits::default())
                .into_iter()
                .map(|v| v.shape)
                .collect()
        });
        let mut ranked: Vec<(f64, &Shape)> = all
            .iter()
            .map(|s| (fit(s, instrument, &raw.struck), s))
            .collect();
        // stable: of equal fit the most usual first
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        shapes.extend(
            ranked
                .into_iter()
                .take(N_SHAPES)
                .map(|(fit, shape)| FittedShape {
                    shape: shape.clone(),
                    fit,
                }),
        );
    }
    HeardChord {
        start_s: raw.start_s,
        end_s: raw.end_s,
        candidates: raw.candidates,
        shapes,
        bass_midi: raw.struck.iter().min().copied(),
        chroma: [0.0; 12],
        fragment: raw.fragment,
    }
}

/// Common pitches to all pitches of shape and file together, 0 to 1; 0 if the file has none.
fn fit(shape: &Shape, instrument: &Instrument, struck: &[u8]) -> f64 {
    if struck.is_empty() {
        return 0.0;
    }
    let mut sounding: Vec<u8> = instrument.sounding(shape).into_iter().flatten().collect();
    sounding.sort_unstable();
    sounding.dedup();
    let common = sounding.iter().filter(|m| struck.contains(m)).count();
    common as f64 / (sounding.len() + struck.len() - common).max(1) as f64
}
