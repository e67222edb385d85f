//! MusicXML, partwise: measures with their chord symbols, played through repeats and jumps.
//!
//! The part with chord symbols is read: `harmony` with `frame`, meters, tempi,
//! rehearsal marks, repeats, endings and jumps; its notes are not. Times follow
//! from the tempo. External entities are never fetched.
//!
//! # Source
//! W3C Music Notation Community Group, MusicXML 4.0 reference.

mod bounds;
mod chord;
mod marks;
mod packed;
mod play;
mod score;

use super::assemble::{ImportedChord, ImportedScore, ImportedSection};
use super::midi::beat_quarters;
use super::{ForeignError, MAX_BARS};
use crate::songlog::heard::{Bar, HeardBeat};
use crate::songlog::resolve::Settings;
use crate::theory::{Chord, Key, KeyChange, Label, Mode, Spelled};
use crate::units::TEMPOS_BPM;
use score::{Score, Written};

/// Quarters a minute where the file says nothing.
const USUAL_TEMPO: f64 = 120.0;

/// The text of a file: UTF-8, or UTF-16 with its mark; unpacked if it is compressed.
pub(super) fn decode(bytes: &[u8]) -> Result<String, ForeignError> {
    let not = |reason: &str| ForeignError::NotOfKind {
        expected: "a MusicXML document",
        reason: reason.into(),
    };
    if bytes.starts_with(b"PK") {
        let unpacked = packed::unpack(bytes)?;
        // an archive in an archive is no score
        return match unpacked.starts_with(b"PK") {
            true => Err(not("the archive holds another archive")),
            false => decode(&unpacked),
        };
    }
    let wide = |big: bool| -> Result<String, ForeignError> {
        let units: Vec<u16> = bytes[2..]
            .chunks_exact(2)
            .map(|b| match big {
                true => u16::from_be_bytes([b[0], b[1]]),
                false => u16::from_le_bytes([b[0], b[1]]),
            })
            .collect();
        String::from_utf16(&units).map_err(|_| not("its text is broken UTF-16"))
    };
    match bytes {
        [0xfe, 0xff, ..] => wide(true),
        [0xff, 0xfe, ..] => wide(false),
        _ => super::text(bytes, "a MusicXML document").map(str::to_owned),
    }
}

/// Reads the document.
pub(super) fn read(text: &str, given: &Settings) -> Result<ImportedScore, ForeignError> {
    let score = score::read(text)?;
    if score.measures.iter().all(|m| m.harmonies.is_empty()) {
        return Err(ForeignError::Empty {
            reason: "it has no chord symbols (harmony elements); save it with them, or save it as MIDI, whose notes are read".into(),
        });
    }
    let order = play::order(&score.measures)?;
    let mut raw = ImportedScore {
        title: score.title.clone(),
        instrument: score.instrument(),
        meter: usual_meter(&score.measures),
        warnings: score.warnings.clone(),
        ..ImportedScore::default()
    };
    raw.key = key(&score, &mut raw.warnings);
    lay(&score, &order, given, &mut raw)?;
    Ok(raw)
}

/// The meter most measures have.
fn usual_meter(measures: &[Written]) -> Option<(u8, u8)> {
    measures
        .iter()
        .map(|m| m.meter)
        .max_by_key(|meter| measures.iter().filter(|m| m.meter == *meter).count())
}

/// The key with so many sharps, or flats below zero.
fn of_signature(fifths: i32, mode: Mode) -> Key {
    let plain = Key::new(Spelled::from_fifths(0), mode);
    Key::new(Spelled::from_fifths(fifths - plain.signature()), mode)
}

/// The key of the signature; without a mode, the last chord tells major from minor.
fn key(score: &Score, warnings: &mut Vec<String>) -> Option<Key> {
    let (fifths, mode) = score.key?;
    let of = |mode| of_signature(fifths, mode);
    if let Some(mode) = mode {
        return Some(of(mode));
    }
    let last = score
        .measures
        .iter()
        .flat_map(|m| &m.harmonies)
        .filter_map(|h| h.label.chord())
        .next_back()?;
    let minor = of(Mode::Minor);
    let key = if last.root == minor.tonic {
        minor
    } else {
        of(Mode::Major)
    };
    warnings.push(format!(
        "the file says neither major nor minor; {} was taken (give --key)",
        key.text()
    ));
    Some(key)
}

/// Puts the played measures into time.
fn lay(
    score: &Score,
    order: &[play::Step],
    given: &Settings,
    raw: &mut ImportedScore,
) -> Result<(), ForeignError> {
    if order.len() > MAX_BARS {
        return Err(ForeignError::Wrong {
            place: "the repeats".into(),
            reason: format!("they make {} bars, more than {MAX_BARS}", order.len()),
        });
    }
    let beat_of = |m: &Written| match score.beat_quarters {
        // the metronome mark says what is counted, where it divides the bar
        Some(q) if m.meter.1 == 8 && (f64::from(m.meter.0) * 0.5 / q).fract() == 0.0 => q,
        _ => beat_quarters(m.meter.0, m.meter.1),
    };
    let first_beat = score.measures.first().map_or(1.0, beat_of);
    let fixed = given.tempo_bpm.map(|bpm| bpm * first_beat);
    let written = score.measures.iter().flat_map(|m| &m.tempi).next();
    if fixed.is_none() && written.is_none() {
        raw.warnings.push(
            "the file gives no tempo; 120 quarters a minute were taken (give --tempo)".into(),
        );
    }
    let mut quarters_bpm = fixed.or(written.map(|t| t.1)).unwrap_or(USUAL_TEMPO);
    raw.tempo_bpm = Some(quarters_bpm / first_beat).filter(|b| TEMPOS_BPM.contains(b));
    let mut now_s = 0.0;
    let mut number = 0;
    let mut sounding: Option<ImportedChord> = None;
    let first_key = raw.key;
    for (i, step) in order.iter().enumerate() {
        let measure = &score.measures[step.measure];
        let start_s = now_s;
        if let (Some(first), Some((fifths, mode))) = (first_key, measure.key) {
            let mode = mode.unwrap_or(first.mode);
            let key = of_signature(fifths, mode);
            raw.key_changes.push(KeyChange { at_s: start_s, key });
        }
        let turns = Turns::of(measure, start_s, &mut quarters_bpm, fixed.is_some());
        now_s = turns.time_s(measure.length);
        number += u32::from(!(i == 0 && measure.pickup));
        lay_bar(measure, beat_of(measure), number, &turns, raw);
        if let Some(text) = &step.section {
            raw.sections.push(ImportedSection {
                feel: None,
                start_s,
                text: text.clone(),
            });
        }
        let time = |quarters| turns.time_s(quarters);
        harmonies(measure, score.transposed, &time, &mut sounding, raw);
    }
    if let Some(mut held) = sounding {
        held.end_s = now_s;
        raw.chords.push(held);
    }
    raw.duration_s = now_s;
    sounding_keys(score.transposed, raw);
    Ok(())
}

/// Tempo inside a bar: from so many quarters on, at so many seconds, seconds for a quarter.
struct Turns(Vec<(f64, f64, f64)>);

impl Turns {
    /// Of a measure that starts at `start_s`; leaves the tempo at its end in `quarters_bpm`.
    fn of(measure: &Written, start_s: f64, quarters_bpm: &mut f64, is_fixed: bool) -> Self {
        let mut turns = vec![(0.0, start_s, 60.0 / *quarters_bpm)];
        for (at, bpm) in measure.tempi.iter().filter(|_| !is_fixed) {
            let (from, from_s, slope) = turns[turns.len() - 1];
            let at = at.clamp(from, measure.length);
            *quarters_bpm = *bpm;
            turns.push((at, from_s + (at - from) * slope, 60.0 / bpm));
        }
        Self(turns)
    }

    fn time_s(&self, quarters: f64) -> f64 {
        let at = self.0.partition_point(|t| t.0 <= quarters).max(1) - 1;
        let (from, from_s, slope) = self.0[at];
        from_s + (quarters - from) * slope
    }
}

/// A bar with its beats.
fn lay_bar(
    measure: &Written,
    beat_quarters: f64,
    number: u32,
    turns: &Turns,
    raw: &mut ImportedScore,
) {
    let n_beats = ((measure.length / beat_quarters).round() as u8).max(1);
    raw.bars.push(Bar {
        number,
        start_s: turns.time_s(0.0),
        end_s: turns.time_s(measure.length),
        n_beats,
    });
    for b in 0..n_beats {
        let at = f64::from(b) * measure.length / f64::from(n_beats);
        raw.beats.push(HeardBeat {
            time_s: turns.time_s(at),
            place: b + 1,
        });
    }
}

/// The chords of a measure; `time` is where a number of quarters from its start lies, s.
fn harmonies(
    measure: &Written,
    transposed: i32,
    time: &dyn Fn(f64) -> f64,
    sounding: &mut Option<ImportedChord>,
    raw: &mut ImportedScore,
) {
    for harmony in &measure.harmonies {
        let at_s = time(harmony.at.clamp(0.0, measure.length));
        let key = raw.key_changes.last().map(|c| c.key).or(raw.key);
        let label = sounding_label(&harmony.label, transposed, key);
        // a symbol written again over the next bar is the same chord going on
        if let Some(held) = sounding.as_ref()
            && held.candidates[0].label == label
            && (harmony.frame.is_none() || held.shape == harmony.frame)
        {
            continue;
        }
        if let Some(mut held) = sounding.take() {
            held.end_s = at_s;
            raw.chords.push(held);
        }
        let mut chord = ImportedChord::named(at_s, at_s, label, 1.0);
        chord.shape.clone_from(&harmony.frame);
        *sounding = Some(chord);
    }
}

/// Keys as they sound, where the file is written for a transposing instrument.
fn sounding_keys(transposed: i32, raw: &mut ImportedScore) {
    if transposed != 0 {
        let sounding = |key: Key| {
            let tonic = key.tonic.pitch_class().up(transposed);
            Key::usual(tonic, key.mode)
        };
        raw.key = raw.key.map(sounding);
        for change in &mut raw.key_changes {
            change.key = sounding(change.key);
        }
    }
}

/// A label of a transposing part as it sounds.
pub(super) fn sounding_label(label: &Label, semitones: i32, key: Option<Key>) -> Label {
    match label {
        Label::Chord(chord) if semitones != 0 => {
            let written = key.unwrap_or(Key::usual(chord.root.pitch_class(), Mode::Major));
            let key = Key::usual(written.tonic.pitch_class().up(semitones), written.mode);
            let moved: Chord = crate::theory::transpose(chord, semitones, key);
            Label::Chord(moved)
        }
        other => other.clone(),
    }
}
