//! `takebook imply`: the chords behind double stops.

use super::layout::write_under;
use super::name::instrument;
use super::{CliError, Outcome};
use crate::fretboard::{Instrument, Played, Tuning, Typed, origins, read_capo, read_played};
use crate::theory::imply::{Fragment, Implied, Place, Reading, RowReading, read_row};
use crate::theory::{Key, Label, PitchClass, Spelled};
use clap::Args;
use serde_json::{Value, json};
use std::io::Write;

/// Arguments of `takebook imply`.
#[derive(Args)]
#[command(
    after_help = "Example: takebook imply --key A \"D7 B7\" \"D9 B9\" \"D11 B10\" \"D7 B6\"\n\n\
Each double stop is one to three strings with their frets (\"D9 B8\") or notes, with\n\
octaves (\"C4 E4\") or without, low to high (\"C E\"). A separate bass follows a slash, with or without its octave or\n\
fret: \"D9 B8 / E\", \"F3 C4 / D3\". A bar line (a word of its own, \"|\") shows where\n\
bars begin: double stops of one bar may then be one chord. Without bar lines each\n\
may be a chord of its own."
)]
pub(crate) struct ImplyArgs {
    /// Double stops in order, each quoted; "|" for a bar line
    #[arg(required = true, value_name = "DOUBLE STOP")]
    fragments: Vec<String>,
    /// Key, such as A, F#m or "D dorian"; found if not given
    #[arg(long)]
    key: Option<Key>,
    /// Tuning: a name, or notes low to high
    #[arg(long, default_value = "standard")]
    tuning: Tuning,
    /// Capo fret; frets count from it
    #[arg(long, value_name = "FRET", default_value_t = 0, value_parser = read_capo)]
    capo: u8,
    /// Reads B3 G4 as notes, not as strings with frets
    #[arg(long, conflicts_with = "strings")]
    notes: bool,
    /// Reads B3 G4 as strings with frets, from a high string to a low one
    #[arg(long)]
    strings: bool,
    /// How many readings of the progression to show
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=9))]
    count: u8,
    /// Prints JSON (docs/naming-json.md)
    #[arg(long)]
    json: bool,
}

/// One typed double stop.
struct Typing {
    text: String,
    played: Played,
    fragment: Fragment,
}

/// What was typed, and how it was read if that was not asked for.
struct Read {
    row: Vec<Typing>,
    /// Why words are notes and not strings with frets.
    as_notes: Option<String>,
}

/// Double stops as strings with frets; if one of them cannot be that, all as notes.
fn read(args: &ImplyArgs, instrument: &Instrument) -> Result<Read, CliError> {
    let typed = if args.notes {
        Typed::Notes
    } else {
        Typed::Strings
    };
    let error = match read_as(&args.fragments, instrument, typed) {
        Ok(row) => match row
            .iter()
            .find(|t| !args.strings && goes_down(t, instrument))
        {
            Some(down) if !args.notes => CliError::new(format!(
                "'{}' goes from a high string to a low one (--strings reads strings with frets)",
                down.text
            )),
            _ => {
                let as_notes = None;
                return Ok(Read { row, as_notes });
            }
        },
        Err(error) => error,
    };
    match (
        args.notes || args.strings,
        read_as(&args.fragments, instrument, Typed::Notes),
    ) {
        (false, Ok(row)) => {
            let has_number = |text: &String| text.contains(|c: char| c.is_ascii_digit());
            let why = match args.fragments.iter().any(has_number) {
                true => error.to_string(),
                false => "low to high, each above the one before".to_owned(),
            };
            let as_notes = Some(why);
            Ok(Read { row, as_notes })
        }
        // the reading that comes further says what is wrong
        (false, Err(as_notes)) if strings_fail(args, instrument) => Err(as_notes),
        _ => Err(error),
    }
}

/// Whether the double stops fail as strings with frets before they fail as notes.
fn strings_fail(args: &ImplyArgs, instrument: &Instrument) -> bool {
    let fails_at = |typed: Typed| {
        let ends = 1..=args.fragments.len();
        let fails = |end: &usize| read_as(&args.fragments[..*end], instrument, typed).is_err();
        let mut counted = ends.filter(|end| args.fragments[*end - 1].trim() != "|");
        counted.find(fails)
    };
    fails_at(Typed::Strings) < fails_at(Typed::Notes)
}

/// Whether what could be strings with frets is rather notes, as `name` reads it: B3 D4 goes
/// from the B string to the D string, which nobody writes so.
fn goes_down(typing: &Typing, instrument: &Instrument) -> bool {
    let notes = typing.text.split('/').next().unwrap_or_default();
    let read = read_played(notes, instrument, Typed::Either);
    read.is_ok_and(|played| played.shape.is_none())
}

/// A bass as typed: a note with or without octave; beside strings, a string with its fret.
fn read_bass(text: &str, instrument: &Instrument, typed: Typed) -> Result<PitchClass, CliError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(CliError::new(
            "no bass behind the slash (expected one note, for example \"D9 B8 / E\")",
        ));
    }
    match text.parse::<Spelled>() {
        Ok(note) => Ok(note.pitch_class()),
        Err(error) if !text.contains(|c: char| c.is_ascii_digit()) => Err(error.into()),
        Err(_) => match &read_played(text, instrument, typed)?.tones[..] {
            [tone] => Ok(tone.pitch_class),
            _ => Err(CliError::new(format!(
                "'{text}' is no bass (expected one note, for example E or E2)"
            ))),
        },
    }
}

fn read_as(
    fragments: &[String],
    instrument: &Instrument,
    typed: Typed,
) -> Result<Vec<Typing>, CliError> {
    let bars = fragments.iter().any(|f| f.trim() == "|");
    let mut row = Vec::new();
    let mut first_of_bar = true;
    for text in fragments {
        if text.trim() == "|" {
            first_of_bar = true;
            continue;
        }
        let (notes, bass) = match text.split_once('/') {
            Some((notes, bass)) => (notes, Some(read_bass(bass, instrument, typed)?)),
            None => (text.as_str(), None),
        };
        if notes.trim().is_empty() {
            return Err(CliError::new(format!(
                "double stop {} ('{text}') is empty (expected one to three strings with frets, for example \"D9 B8\")",
                row.len() + 1
            )));
        }
        let played = read_played(notes, instrument, typed)?.in_close_position();
        if played.tones.len() > 3 {
            return Err(CliError::new(format!(
                "'{text}' has {} notes (expected one to three; takebook name names whole chords)",
                played.tones.len()
            )));
        }
        let midi: Vec<u8> = played.tones.iter().filter_map(|t| t.midi).collect();
        if midi.len() < played.tones.len() {
            return Err(CliError::new(format!(
                "'{text}' lacks octaves (expected strings with frets as \"D9 B8\", or notes as \"B3 G4\")"
            )));
        }
        let strings: Vec<u8> = played
            .tones
            .iter()
            .filter_map(|t| u8::try_from(t.string?).ok())
            .collect();
        row.push(Typing {
            text: text.trim().into(),
            fragment: Fragment {
                midi,
                strings,
                bass,
                beats: 1.0,
                place: if first_of_bar || !bars {
                    Place::BarStart
                } else {
                    Place::Weak
                },
                evidence: Vec::new(),
            },
            played,
        });
        first_of_bar = false;
    }
    if row.is_empty() {
        return Err(CliError::new(
            "no double stop given, only bar lines (expected for example \"D9 B8\")",
        ));
    }
    Ok(row)
}

/// Where the double stops of one chord come from on the neck.
fn origin(row: &[Typing], implied: &Implied, instrument: &Instrument) -> Option<String> {
    let chord = implied.label.chord()?;
    let first = row.get(implied.first)?;
    let placed: Vec<(usize, u8)> = first
        .played
        .tones
        .iter()
        .filter_map(|t| Some((t.string?, t.fret?)))
        .collect();
    if placed.len() < first.played.tones.len() {
        return None;
    }
    origins(instrument, &placed, chord)
        .first()
        .map(crate::fretboard::Origin::words)
}

pub(crate) fn run(args: &ImplyArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let instrument = instrument(&args.tuning, args.capo);
    let key = args.key;
    let Read { row, as_notes } = read(args, &instrument)?;
    let fragments: Vec<Fragment> = row.iter().map(|t| t.fragment.clone()).collect();
    let found = read_row(&fragments, key, usize::from(args.count));
    if args.json {
        let as_notes = as_notes.is_some() || args.notes;
        writeln!(out, "{:#}", row_json(&row, &found, as_notes, &instrument))?;
        return Ok(Outcome::Done);
    }
    let Some(best) = found.readings.first() else {
        return Ok(Outcome::Open);
    };
    if let Some(why) = as_notes {
        write_under(out, "", &format!("Read as notes: {why}"))?;
    }
    match key {
        Some(key) => writeln!(out, "In {}:", key.text())?,
        None => write_likeliest_key(out, &found, best)?,
    }
    for chord in &best.chords {
        write_chord(out, &row, &found, chord, &instrument)?;
    }
    for (i, other) in found.readings.iter().enumerate().skip(1) {
        let chords: Vec<String> = other.chords.iter().map(|c| c.label.symbol()).collect();
        let which = match i {
            1 => "Second-best reading".to_owned(),
            _ => format!("Reading {}", i + 1),
        };
        let (key, chords) = (other.key.text(), chords.join(", "));
        let line = format!("{which} of the progression (in {key}): {chords}");
        write_under(out, "", &line)?;
    }
    Ok(Outcome::Done)
}

/// Readings, keys and what each double stop may be, as `--json` prints them.
fn row_json(row: &[Typing], found: &RowReading, as_notes: bool, instrument: &Instrument) -> Value {
    let chord = |c: &Implied| {
        json!({
            "first": c.first + 1,
            "last": c.last + 1,
            "label": c.label.label(),
            "symbol": c.label.symbol(),
            "probability": c.probability,
            "reason": c.reason,
            "origin": origin(row, c, instrument),
        })
    };
    let reading = |r: &Reading| {
        json!({
            "key": r.key.label(),
            "probability": r.probability,
            "chords": r.chords.iter().map(chord).collect::<Vec<_>>(),
        })
    };
    let candidate =
        |(l, p): &(Label, f64)| json!({"label": l.label(), "symbol": l.symbol(), "probability": p});
    let each = row.iter().zip(&found.fragments).map(|(t, labels)| {
        json!({
            "text": t.text,
            "midi": t.fragment.midi,
            "candidates": labels.iter().map(candidate).collect::<Vec<_>>(),
        })
    });
    let key = |(k, p): &(Key, f64)| json!({"key": k.label(), "probability": p});
    json!({
        "schema": "takebook-imply-1",
        "read_as": if as_notes { "notes" } else { "strings" },
        "keys": found.keys.iter().take(4).map(key).collect::<Vec<_>>(),
        "readings": found.readings.iter().map(reading).collect::<Vec<_>>(),
        "fragments": each.collect::<Vec<_>>(),
    })
}

/// The key of the best reading, how likely it is and which comes next.
fn write_likeliest_key(
    out: &mut dyn Write,
    found: &RowReading,
    best: &Reading,
) -> Result<(), CliError> {
    let own = found.keys.iter().find(|(key, _)| *key == best.key);
    let p = own.map_or(0.0, |(_, p)| *p);
    let other = found.keys.iter().find(|(key, _)| *key != best.key);
    let other = other.filter(|(_, p)| *p > 0.05);
    let other = other.map_or_else(String::new, |(k, p)| {
        format!("; {} {:.0}%", k.text(), 100.0 * p)
    });
    let likeliest = match found.keys.first() {
        Some((key, _)) if *key == best.key => ", the likeliest key",
        _ => ", by the likeliest progression",
    };
    let (key, p) = (best.key.text(), 100.0 * p);
    writeln!(out, "In {key}{likeliest} ({p:.0}%{other}):")?;
    Ok(())
}

/// One chord of a reading, why, and what else its double stop may be.
fn write_chord(
    out: &mut dyn Write,
    row: &[Typing],
    found: &RowReading,
    chord: &Implied,
    instrument: &Instrument,
) -> Result<(), CliError> {
    let texts = row[chord.first..=chord.last]
        .iter()
        .map(|t| t.text.as_str());
    let texts = texts.collect::<Vec<_>>().join(", ");
    let (symbol, p) = (chord.label.symbol(), 100.0 * chord.probability);
    writeln!(out, "  {texts:<18} {symbol:<8} {p:>3.0}%")?;
    write_under(out, "      ", &chord.reason)?;
    if let Some(origin) = origin(row, chord, instrument) {
        write_under(out, "      ", &format!("from the neck: {origin}"))?;
    }
    let others: Vec<String> = found.fragments[chord.first]
        .iter()
        .filter(|(l, p)| !same_chord(l, &chord.label) && *p >= 0.03)
        .take(2)
        .map(|(l, p)| format!("{} {:.0}%", l.symbol(), 100.0 * p))
        .collect();
    if !others.is_empty() {
        write_under(out, "      ", &format!("or {}", others.join(", ")))?;
    }
    Ok(())
}

/// The same root and quality, however spelled.
fn same_chord(a: &Label, b: &Label) -> bool {
    match (a.chord(), b.chord()) {
        (Some(a), Some(b)) => {
            a.root.pitch_class() == b.root.pitch_class() && a.quality == b.quality
        }
        (None, None) => true,
        _ => false,
    }
}
