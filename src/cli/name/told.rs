//! What a hand holds, told: its names with tones, doublings and reasons.

use crate::cli::CliError;
use crate::cli::layout::write_under;
use crate::fretboard::{Instrument, Played, STRETCH_CAUTION, Shape, Tone, hold, string_name};
use crate::theory::naming::{Name, NameKind, before, reasons};
use crate::theory::{Chord, Degree, Key, PitchClass, midi_name, number_words};
use serde_json::{Value, json};
use std::io::Write;

pub(super) fn write_item(
    out: &mut dyn Write,
    instrument: &Instrument,
    played: &Played,
    names: &[Name],
    key: Option<Key>,
) -> Result<(), CliError> {
    let Some(first) = names.first() else {
        return Ok(());
    };
    let sounding: Vec<String> = played
        .tones
        .iter()
        .map(|t| {
            let note = tone_text(first, t, key);
            match t.string {
                Some(_) => format!("{} = {note}", place(instrument, t)),
                None => note,
            }
        })
        .collect();
    let capo = match instrument.capo {
        0 => String::new(),
        n => format!(", capo {n}"),
    };
    let heading = match played.shape {
        Some(_) => format!(
            "{} ({}{capo}): {}",
            played.text(),
            instrument.tuning.text(),
            sounding.join(", ")
        ),
        None => format!("{}:", played.text()),
    };
    write_under(out, "", &heading)?;
    let hand = played.shape.as_ref().and_then(|s| hold(instrument, s));
    if hand.is_some_and(|h| h.is_wide()) {
        write_under(out, "   ", STRETCH_CAUTION)?;
    }
    for (i, name) in names.iter().enumerate() {
        writeln!(out, "{}. {:<12} {}", i + 1, name.text(), name.kind.words())?;
        if i > 0 && name.lower.is_some() {
            continue;
        }
        let degrees: Vec<String> = played
            .tones
            .iter()
            .map(|t| {
                let at = match t.string {
                    Some(s) => string_name(instrument, s),
                    None => tone_text(name, t, key),
                };
                format!("{at} {}", degree_words(name.degree_of(t.pitch_class)))
            })
            .collect();
        write_under(out, "   ", &format!("plays: {}", degrees.join(", ")))?;
        if i == 0 {
            let doubled = doubled(played, name);
            if !doubled.is_empty() {
                write_under(out, "   ", &format!("doubled: {}", doubled.join(", ")))?;
            }
        }
        let why = reasons(name, played.pitch_classes(), key);
        write_under(out, "   ", &format!("why: {}", why.join("; ")))?;
        if let Some(second) = names.get(i + 1).filter(|_| i == 0) {
            write_under(
                out,
                "   ",
                &format!("before {}: {}", second.text(), before(name, second)),
            )?;
        }
    }
    if names.iter().any(|n| n.kind == NameKind::Convention) {
        write_under(
            out,
            "",
            "A name by convention says what sounds; other players may write it otherwise.",
        )?;
    }
    Ok(())
}

pub(super) fn item_json(
    instrument: &Instrument,
    played: &Played,
    names: &[Name],
    key: Option<Key>,
) -> Value {
    let tones = |name: &Name| -> Vec<Value> {
        played
            .tones
            .iter()
            .map(|t| {
                json!({
                    "string": t.string.map(|s| string_name(instrument, s)),
                    "fret": t.fret,
                    "midi": t.midi,
                    "note": tone_text(name, t, key),
                    "degree": name.degree_of(t.pitch_class).ascii(),
                })
            })
            .collect()
    };
    let list: Vec<Value> = names
        .iter()
        .enumerate()
        .map(|(i, name)| {
            json!({
                "symbol": name.text(),
                "label": name.chord.label(),
                "lower_label": name.lower.as_ref().map(Chord::label),
                "kind": kind_word(name.kind),
                "cost": name.cost,
                "tones": tones(name),
                "missing": name.missing.iter().map(|d| d.ascii()).collect::<Vec<_>>(),
                "besides": name.besides.iter().map(|d| d.ascii()).collect::<Vec<_>>(),
                "doubled": doubled(played, name),
                "reasons": reasons(name, played.pitch_classes(), key),
                "before_next": names.get(i + 1).map(|next| before(name, next)),
            })
        })
        .collect();
    json!({
        "text": played.text(),
        "shape": played.shape.as_ref().map(Shape::text),
        "names": list,
    })
}

fn doubled(played: &Played, name: &Name) -> Vec<String> {
    let set = played.pitch_classes();
    set.iter()
        .filter(|pc| played.tones.iter().filter(|t| t.pitch_class == *pc).count() > 1)
        .map(|pc| degree_words(name.degree_of(pc)))
        .collect()
}

/// `A fret 7` or `B3` or `D♯`: where a tone was typed.
fn place(instrument: &Instrument, tone: &Tone) -> String {
    match (tone.string, tone.fret) {
        (Some(s), Some(0)) => format!("{} open", string_name(instrument, s)),
        (Some(s), Some(f)) => format!("{} {f}", string_name(instrument, s)),
        _ => tone.midi.map_or_else(String::new, midi_name),
    }
}

/// A tone as typed where no key says otherwise, else as the name spells it.
fn tone_text(name: &Name, tone: &Tone, key: Option<Key>) -> String {
    match (key, tone.spelled) {
        (None, Some(typed)) => typed.text(),
        _ => spelled(name, tone.pitch_class, key),
    }
}

/// A pitch class as the name spells it.
pub(super) fn spelled(name: &Name, pc: PitchClass, key: Option<Key>) -> String {
    match key {
        Some(key) => key.spell(pc).text(),
        None => name.degree_of(pc).note_over(name.chord.root).text(),
    }
}

/// A degree in words: `root`, `minor third`, `lowered fifth`.
pub(super) fn degree_words(degree: Degree) -> String {
    let plain = number_words(degree.number());
    match (degree.number(), degree.alter()) {
        (3, 0) => "major third".into(),
        (7, 0) => "major seventh".into(),
        (3 | 7, -1) => format!("minor {plain}"),
        (7, _) => "diminished seventh".into(),
        (_, 0) => plain.into(),
        (_, a) if a < 0 => format!("lowered {plain}"),
        _ => format!("raised {plain}"),
    }
}

const fn kind_word(kind: NameKind) -> &'static str {
    match kind {
        NameKind::Whole => "whole",
        NameKind::Shell => "shell",
        NameKind::Rootless => "rootless",
        NameKind::OverBass => "over_bass",
        NameKind::TwoChords => "two_chords",
        NameKind::Convention => "convention",
    }
}
