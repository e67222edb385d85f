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
        writeln!(out, "{}. {:<12} {}", i + 1, name.text(), kind_text(name))?;
        if i > 0 && name.lower.is_some() {
            continue;
        }
        write_under(out, "   ", &degrees_text(instrument, played, name))?;
        if !name.also.is_empty() {
            let also: Vec<String> = name.also.iter().map(Chord::symbol).collect();
            write_under(out, "   ", &format!("also written {}", also.join(", ")))?;
        }
        let why = reasons(name, played.pitch_classes(), key);
        let why = match names.get(i + 1).filter(|_| i == 0) {
            Some(second) => format!("before {}: {}", second.text(), before(name, second)),
            None => format!("why: {}", why.into_iter().next().unwrap_or_default()),
        };
        write_under(out, "   ", &why)?;
    }
    if names.iter().any(|n| n.kind == NameKind::Convention) {
        write_under(
            out,
            "",
            "Where no name is common, other players may write another.",
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
                "also": name.also.iter().map(Chord::symbol).collect::<Vec<_>>(),
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

/// What is left out, or what kind of name it is.
fn kind_text(name: &Name) -> String {
    let quiet: Vec<String> = name
        .missing
        .iter()
        .filter(|d| d.number() != 1)
        .map(|d| format!("no {}", d.text()))
        .collect();
    match name.kind {
        NameKind::Shell => quiet.join(", "),
        kind => kind.words().to_owned(),
    }
}

/// `R 5 R 3 5 ♭7`, a sign for each string (`x` where none sounds), or for each note as typed.
fn degrees_text(instrument: &Instrument, played: &Played, name: &Name) -> String {
    let sign = |tone: &Tone| match name.degree_of(tone.pitch_class) {
        d if d.number() == 1 && d.alter() == 0 => "R".to_owned(),
        d => d.text(),
    };
    let signs: Vec<String> = if played.shape.is_some() {
        (0..instrument.tuning.n_strings())
            .map(|s| {
                let tone = played.tones.iter().find(|t| t.string == Some(s));
                tone.map_or_else(|| "x".to_owned(), sign)
            })
            .collect()
    } else {
        played.tones.iter().map(sign).collect()
    };
    signs.join(" ")
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
        (n, a) if a < 0 => format!("flat {}", crate::theory::number_short(n)),
        (n, _) => format!("sharp {}", crate::theory::number_short(n)),
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
