//! A shape told: fingers, notes, effort, and the chord that sounds over a capo.

use super::limits::key_of;
use crate::cli::CliError;
use crate::cli::layout::write_under;
use crate::fretboard::{Finger, Instrument, Row, STRETCH_CAUTION, Voicing, string_name};
use crate::theory::{Chord, Key, PitchClass, Spelled, number, roman, transpose};
use serde_json::{Value, json};
use std::io::Write;

pub(super) fn write_voicing(
    out: &mut dyn Write,
    v: &Voicing,
    chord: &Chord,
    instrument: &Instrument,
) -> Result<(), CliError> {
    let missing: Vec<String> = v
        .missing
        .iter()
        .map(|pc| spell_in(chord, pc, instrument.capo))
        .collect();
    let missing = if missing.is_empty() {
        String::new()
    } else {
        format!("; without {}", missing.join(", "))
    };
    writeln!(
        out,
        "  {:<18} fingers {:<8} {}",
        v.shape.text(),
        fingers_text(v),
        notes_text(v, chord, instrument)
    )?;
    write_under(
        out,
        "      ",
        &format!("effort {:.1}: {}{missing}", v.rank, v.hand.words()),
    )?;
    if v.hand.is_wide() {
        write_under(out, "      ", STRETCH_CAUTION)?;
    }
    Ok(())
}

pub(super) fn write_row(
    out: &mut dyn Write,
    chords: &[Chord],
    row: &Row,
    key: Option<Key>,
    instrument: &Instrument,
) -> Result<(), CliError> {
    for (chord, v) in chords.iter().zip(&row.shapes) {
        writeln!(
            out,
            "  {:<10} {:<18} fingers {:<8} {}{}",
            chord.symbol(),
            v.shape.text(),
            fingers_text(v),
            notes_text(v, chord, instrument),
            degree_text(chord, key, true)
        )?;
        if v.hand.is_wide() {
            write_under(out, "      ", STRETCH_CAUTION)?;
        }
    }
    Ok(())
}

pub(super) fn voicing_json(v: &Voicing, chord: &Chord, instrument: &Instrument) -> Value {
    json!({
        "shape": v.shape.text(),
        "fingers": fingers_text(v),
        "notes": notes_text(v, chord, instrument),
        "midi": instrument.sounding(&v.shape),
        "n_fingers": v.hand.n_fingers,
        "span_mm": (v.hand.span_mm * 10.0).round() / 10.0,
        "barres": v.hand.barres.iter().map(|b| json!({
            "fret": b.fret,
            "from_string": string_name(instrument, b.from),
            "to_string": string_name(instrument, b.to),
            "finger": b.finger,
        })).collect::<Vec<_>>(),
        "muted_inside": v.hand.muted_inside,
        "effort": (v.rank * 100.0).round() / 100.0,
        "caution": v.hand.is_wide().then_some(STRETCH_CAUTION),
        "missing": v.missing.iter().map(|pc| spell_in(chord, pc, instrument.capo)).collect::<Vec<_>>(),
    })
}

fn fingers_text(v: &Voicing) -> String {
    v.hand
        .fingers
        .iter()
        .map(|f| f.map_or_else(|| "-".into(), Finger::text))
        .collect()
}

fn notes_text(v: &Voicing, chord: &Chord, instrument: &Instrument) -> String {
    instrument
        .sounding(&v.shape)
        .into_iter()
        .flatten()
        .map(|m| {
            let pc = PitchClass::new(i32::from(m));
            spell_in(chord, pc, instrument.capo)
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// A sounding pitch class as the chord spells it, the capo taken into account.
fn spell_in(chord: &Chord, pc: PitchClass, capo: u8) -> String {
    let fingered = pc.up(-i32::from(capo));
    let root = chord.root;
    let own = chord
        .degrees()
        .into_iter()
        .chain(chord.bass)
        .find(|d| d.over(root.pitch_class()) == fingered);
    // nobody looks for the sharp nine of E as F double sharp
    own.map(|d| d.note_over(root))
        .filter(|note| note.alter().abs() < 2)
        .unwrap_or_else(|| Spelled::plain(fingered))
        .text()
}

/// Chords are named as fingered: the capo moves what sounds, not the shape.
pub(super) fn sounding_chord(chord: &Chord, instrument: &Instrument) -> Chord {
    let by = i32::from(instrument.capo);
    if by == 0 {
        return chord.clone();
    }
    let from = key_of(std::slice::from_ref(chord));
    transpose(
        chord,
        by,
        Key::usual(from.tonic.pitch_class().up(by), from.mode),
    )
}

pub(super) fn degree_text(chord: &Chord, key: Option<Key>, wanted: bool) -> String {
    match key.filter(|_| wanted) {
        Some(key) => format!("  ({}, {})", roman(chord, key), number(chord, key)),
        None => String::new(),
    }
}

pub(super) fn capo_text(chord: &Chord, instrument: &Instrument) -> String {
    match instrument.capo {
        0 => String::new(),
        n => format!(
            ", capo {n}: sounds {}",
            sounding_chord(chord, instrument).symbol()
        ),
    }
}
