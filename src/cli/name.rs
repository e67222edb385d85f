//! `takebook name`: names for what a hand holds.

mod compared;
mod told;

use self::compared::{comparison_json, write_comparison};
use self::told::{item_json, write_item};
use super::{CliError, Outcome};
use crate::fretboard::{
    Comparison, Instrument, MovingNote, Played, Sameness, Shape, Tuning, Typed, compare,
    moving_note, read_capo, read_played, string_name,
};
use crate::theory::naming::{Context, Name, names};
use crate::theory::{Chord, Key, Spelled, parse_midi_name};
use clap::Args;
use serde_json::json;
use std::io::Write;

/// Arguments of `takebook name`.
#[derive(Args)]
#[command(after_help = "Example: takebook name x79987 --key Em\n\n\
Give a fingering low string to high (x79987, x-10-12-12-11-10), strings with\n\
frets (A6 B4 e5) or notes, lowest first (D# A, B3 G4). Quote several to compare\n\
them: takebook name \"A4 B2 e3\" \"A4 D6 B8\". Exit code 1: not the same chord.")]
pub(crate) struct NameArgs {
    /// A fingering or notes; several are compared
    #[arg(required = true, value_name = "SHAPE or NOTES")]
    what: Vec<String>,
    /// Tuning: a name, or notes low to high as "D2 A2 D3 G3 B3 E4"
    #[arg(long, default_value = "standard")]
    tuning: Tuning,
    /// Capo fret; frets count from it
    #[arg(long, value_name = "FRET", default_value_t = 0, value_parser = read_capo)]
    capo: u8,
    /// Key, for spelling and rank, such as G or F#m
    #[arg(long)]
    key: Option<Key>,
    /// Reads B3 G4 as notes
    #[arg(long, conflicts_with = "strings")]
    notes: bool,
    /// Reads B3 G4 as strings with frets
    #[arg(long)]
    strings: bool,
    /// How many names to show
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u8).range(1..=12))]
    count: u8,
    /// Prints JSON (docs/naming-json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &NameArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let instrument = instrument(&args.tuning, args.capo);
    let key = args.key;
    let row = read_row(args, &instrument)?;
    let found = row
        .iter()
        .map(|p| names_of(p, key, usize::from(args.count)));
    let found: Vec<Vec<Name>> = found.collect();
    let others = row.iter().skip(1);
    let comparisons: Vec<Comparison> = others.filter_map(|p| compare(&row[0], p, key)).collect();
    let moving = moving_note(&row, key);
    let is_different = |c: &Comparison| c.sameness == Sameness::Different;
    let outcome = match comparisons.iter().any(is_different) {
        true => Outcome::Open,
        false => Outcome::Done,
    };
    if args.json {
        let items = row.iter().zip(&found);
        let items = items.map(|(p, n)| item_json(&instrument, p, n, key));
        let compared = row.iter().skip(1).zip(&comparisons);
        let compared = compared.map(|(p, c)| comparison_json(&row[0], p, c, &instrument, key));
        let value = json!({
            "schema": "takebook-name-1",
            "tuning": instrument.tuning.text(),
            "capo": instrument.capo,
            "key": key.map(Key::label),
            "items": items.collect::<Vec<_>>(),
            "compared": compared.collect::<Vec<_>>(),
            "moving_note": moving.as_ref().map(|m| json!({
                "string": string_name(&instrument, m.string),
                "names": m.names.iter().map(Name::text).collect::<Vec<_>>(),
            })),
        });
        writeln!(out, "{value:#}")?;
        return Ok(outcome);
    }
    for (i, (played, names)) in row.iter().zip(&found).enumerate() {
        if i > 0 {
            writeln!(out)?;
        }
        if played.may_be_strings {
            writeln!(out, "Read as notes (--strings reads strings with frets).")?;
        }
        write_item(out, &instrument, played, names, key)?;
    }
    for (played, comparison) in row.iter().skip(1).zip(&comparisons) {
        writeln!(out)?;
        write_comparison(out, &row[0], played, comparison, &instrument, key)?;
    }
    if let Some(moving) = moving {
        write_moving(out, &row, &moving, &instrument)?;
    }
    Ok(outcome)
}

/// What was typed, as played.
fn read_row(args: &NameArgs, instrument: &Instrument) -> Result<Vec<Played>, CliError> {
    let typed = match (args.notes, args.strings) {
        (true, _) => Typed::Notes,
        (_, true) => Typed::Strings,
        _ => Typed::Either,
    };
    if let ([text], Typed::Either) = (&args.what[..], typed)
        && let Ok(chord) = text.parse::<Chord>()
    {
        return Err(is_chord(text, &chord));
    }
    let read = |text: &String| {
        read_played(text, instrument, typed).map_err(|error| match text.parse::<Chord>() {
            Ok(chord) => is_chord(text, &chord),
            Err(_) => error.into(),
        })
    };
    items(&args.what).iter().map(read).collect()
}

/// The names of what was played, the best first; without a key they are spelled as typed.
fn names_of(played: &Played, key: Option<Key>, n: usize) -> Vec<Name> {
    let context = Context {
        bass: played.bass(),
        key,
        root: None,
    };
    let found = names(played.pitch_classes(), context, n);
    match key {
        Some(_) => found,
        None => found
            .into_iter()
            .map(|n| n.spelled_like(&played.spellings()))
            .collect(),
    }
}

/// The note that moves over a chord that is held.
fn write_moving(
    out: &mut dyn Write,
    row: &[Played],
    moving: &MovingNote,
    instrument: &Instrument,
) -> Result<(), CliError> {
    let names: Vec<String> = moving.names.iter().map(Name::text).collect();
    let fret =
        |shape: &Shape| shape.frets()[moving.string].map_or_else(|| "x".into(), |f| f.to_string());
    let frets: Vec<String> = row
        .iter()
        .filter_map(|p| p.shape.as_ref())
        .map(fret)
        .collect();
    writeln!(
        out,
        "\nOne note moves over a held chord: the {} string at {} makes {}.",
        string_name(instrument, moving.string),
        frets.join(", "),
        names.join(", ")
    )?;
    Ok(())
}

/// A chord's name where a shape or notes are expected; G7 is no single note then.
fn is_chord(text: &str, chord: &Chord) -> CliError {
    let note = match text.parse::<Spelled>().is_ok() || parse_midi_name(text).is_ok() {
        true => "; --notes names the single note",
        false => "",
    };
    CliError::new(format!(
        "'{text}' is the name of a chord, {}; takebook shapes {text} shows how to play it{note}",
        join_notes(chord),
    ))
}

/// `C E G`
fn join_notes(chord: &Chord) -> String {
    let notes: Vec<String> = chord.notes().iter().map(|n| n.text()).collect();
    notes.join(" ")
}

/// Single words such as `A6 B4 e5` belong together; quoted ones and shapes stand alone.
fn items(what: &[String]) -> Vec<String> {
    let mut items: Vec<String> = Vec::new();
    let mut open = false;
    for word in what {
        let letter = word.starts_with(|c: char| c.is_ascii_alphabetic() && !matches!(c, 'x' | 'X'))
            || word.contains(':');
        // `x 0 2 3 2 …`, a shape in single signs
        let sign = word.len() <= 2
            && !word.is_empty()
            && word
                .chars()
                .all(|c| c.is_ascii_digit() || matches!(c, 'x' | 'X'));
        let single = (letter || sign) && !word.trim().contains([' ', ',']);
        match items.last_mut() {
            Some(last) if single && open => {
                last.push(' ');
                last.push_str(word);
            }
            _ => items.push(word.clone()),
        }
        open = single;
    }
    items
}

/// An instrument from a tuning and a capo.
pub(super) fn instrument(tuning: &Tuning, capo: u8) -> Instrument {
    Instrument {
        tuning: tuning.clone(),
        capo,
        ..Instrument::default()
    }
}
