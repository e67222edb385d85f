//! A chart typed as plain text: lines of facts, headings of sections, bars between bar lines.
//!
//! The grammar is the project's own, after what people type in letters to each
//! other (common practice, no source); `docs/typed-charts.md` describes it for
//! users. `chart::txt` writes what is read here. Repeats are played out, as a
//! recording would have them, and folded again on paper.

mod bars;
mod groups;
mod jumps;
mod lines;
mod repeats;

use super::assemble::{ImportedChord, ImportedScore, ImportedSection};
use super::midi::beat_quarters;
use super::musicxml::sounding_label;
use super::{ForeignError, MAX_BARS};
use crate::fretboard::{Instrument, Shape};
use crate::songlog::decided::Act;
use crate::songlog::heard::{Bar, HeardBeat};
use crate::songlog::resolve::Settings;
use crate::theory::{Key, KeyChange, Label};
use bars::TypedBar;
use lines::Typed;
use std::collections::HashMap;

/// Beats a minute where the text says nothing.
const USUAL_BPM: f64 = 120.0;

/// What is wrong in a line, from 1.
fn wrong(line: usize, reason: impl Into<String>) -> ForeignError {
    ForeignError::Wrong {
        place: format!("line {line}"),
        reason: reason.into(),
    }
}

/// Beats of a bar of this meter: two of 6/8, four of 4/4.
fn n_beats((count, value): (u8, u8)) -> u8 {
    let beat = beat_quarters(count, value);
    let quarters = f64::from(count) * 4.0 / f64::from(value);
    ((quarters / beat).round() as u8).max(1)
}

/// Reads the text.
pub(super) fn read(text: &str, given: &Settings) -> Result<ImportedScore, ForeignError> {
    let mut typed = lines::read(text, given.meter)?;
    let groups = groups::take(&mut typed.sections)?;
    let parts = repeats::play(&typed.sections, &groups)?;
    let n: usize = parts.iter().map(|p| p.bars.len()).sum();
    if n > MAX_BARS {
        return Err(ForeignError::Wrong {
            place: "the repeats".into(),
            reason: format!("they make {n} bars, more than {MAX_BARS}"),
        });
    }
    let mut instrument = Instrument::default();
    if let Some(tuning) = &typed.tuning {
        instrument.tuning.clone_from(tuning);
    }
    instrument.capo = typed.capo.unwrap_or(0);
    let mut raw = ImportedScore {
        title: typed.title.clone(),
        tempo_bpm: Some(given.tempo_bpm.or(typed.tempo_bpm).unwrap_or(USUAL_BPM)),
        meter: Some(given.meter.unwrap_or(typed.meter)),
        key: typed.key,
        instrument: (typed.tuning.is_some() || typed.capo.is_some()).then_some(instrument),
        typed: true,
        credit: typed.credit.clone(),
        ..ImportedScore::default()
    };
    if given.tempo_bpm.or(typed.tempo_bpm).is_none() {
        raw.warnings
            .push("the text gives no tempo; 120 bpm were assumed (add 'Tempo: 90')".into());
    }
    lay(&typed, &parts, given, &mut raw);
    Ok(raw)
}

/// Puts the bars that are played into time.
fn lay(typed: &Typed, parts: &[repeats::Part], given: &Settings, raw: &mut ImportedScore) {
    let beat_s = 60.0 / raw.tempo_bpm.unwrap_or(USUAL_BPM);
    let given_instrument = given.instrument();
    let instrument = given_instrument.as_ref().or(raw.instrument.as_ref());
    let up = match typed.concert {
        true => 0,
        false => instrument.map_or(0, Instrument::above_shapes),
    };
    let mut now_s = 0.0;
    let mut number = 0;
    let mut before: Option<&TypedBar> = None;
    let mut key = raw.key;
    let mut times = HashMap::new();
    for part in parts {
        raw.sections.push(ImportedSection {
            start_s: now_s,
            text: part.name.clone(),
            feel: part.feel,
        });
        for bar in &part.bars {
            if let Some(new) = bar.key {
                raw.key_changes.push(KeyChange {
                    at_s: now_s,
                    key: new,
                });
                key = Some(new);
            }
            let written = match (bar.simile, before) {
                (true, Some(before)) => before,
                _ => bar,
            };
            number += u32::from(!bar.pickup);
            let end_s = now_s + beat_s * f64::from(written.n_beats);
            raw.bars.push(Bar {
                number,
                start_s: now_s,
                end_s,
                n_beats: written.n_beats,
            });
            raw.beats.extend((0..written.n_beats).map(|b| HeardBeat {
                time_s: now_s + beat_s * f64::from(b),
                place: b + 1,
            }));
            for chord in &written.chords {
                let at_s = now_s + beat_s * f64::from(chord.half_beat) / 2.0;
                put_chord(typed, chord, at_s, (up, key), raw);
            }
            if let Some(chord) = raw.chords.last_mut() {
                chord.end_s = end_s;
            }
            // a line of words for each time that the bar is played
            let time = times.entry(bar.place).or_insert(0usize);
            let words = bar.words.get(*time);
            *time += 1;
            if let Some(text) = words.filter(|w| !w.is_empty()) {
                raw.lyrics.push(Act::Lyric {
                    start_s: now_s,
                    end_s,
                    text: text.clone(),
                });
            }
            before = Some(written);
            now_s = end_s;
        }
    }
    raw.duration_s = now_s;
}

/// Ends the chord that sounds and begins another, unless it is the same going on.
fn put_chord(
    typed: &Typed,
    chord: &bars::TypedChord,
    at_s: f64,
    (up, key): (i32, Option<Key>),
    raw: &mut ImportedScore,
) {
    let label = sounding_label(&chord.label, up, written_key(key, up));
    let open = chord.open || chord.label == Label::Unknown;
    if let Some(held) = raw.chords.last_mut() {
        held.end_s = at_s;
        if held.label() == &label && held.open == open {
            return;
        }
    }
    let mut new = ImportedChord::named(at_s, at_s, label, 1.0);
    new.open = open;
    new.shape = shape_of(typed, &chord.label);
    raw.chords.push(new);
}

/// The key of the shapes behind a capo.
fn written_key(key: Option<Key>, up: i32) -> Option<Key> {
    key.map(|key| Key::usual(key.tonic.pitch_class().up(-up), key.mode))
}

fn shape_of(typed: &Typed, label: &Label) -> Option<Shape> {
    let mut all = typed.shapes.iter();
    all.find(|(name, _)| name == label).map(|(_, s)| s.clone())
}
