//! `takebook name`: names for what a hand holds.

use super::{CliError, Outcome};
use crate::fretboard::{
    Comparison, Instrument, Played, Sameness, Tuning, Typed, compare, hold, moving_note,
    read_played, string_name,
};
use crate::theory::naming::{Context, Name, NameKind, before, names, reasons};
use crate::theory::{Degree, Key, PitchClass, midi_name, number_words};
use clap::Args;
use serde_json::{Value, json};
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
    tuning: String,
    /// Capo fret; frets count from it
    #[arg(long, default_value_t = 0)]
    capo: u8,
    /// Key, for spelling and rank, such as G or F#m
    #[arg(long)]
    key: Option<String>,
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

/// An instrument from a tuning's text and a capo, checked.
pub(super) fn instrument(tuning: &str, capo: u8) -> Result<Instrument, CliError> {
    let instrument = Instrument {
        tuning: tuning.parse::<Tuning>()?,
        capo,
        ..Instrument::default()
    };
    if capo > 12 {
        return Err(CliError::new(format!(
            "a capo at fret {capo} leaves too little neck (expected 0 to 12)"
        )));
    }
    Ok(instrument)
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

pub(crate) fn run(args: &NameArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let instrument = instrument(&args.tuning, args.capo)?;
    let key = args.key.as_deref().map(str::parse::<Key>).transpose()?;
    let typed = match (args.notes, args.strings) {
        (true, _) => Typed::Notes,
        (_, true) => Typed::Strings,
        _ => Typed::Either,
    };
    let row = items(&args.what)
        .iter()
        .map(|text| read_played(text, &instrument, typed))
        .collect::<Result<Vec<Played>, _>>()?;
    let context = |p: &Played| Context {
        bass: p.bass(),
        key,
        root: None,
    };
    let found: Vec<Vec<Name>> = row
        .iter()
        .map(|p| {
            let found = names(p.pitch_classes(), context(p), usize::from(args.count));
            match key {
                Some(_) => found,
                // without a key the spelling is as typed
                None => found
                    .into_iter()
                    .map(|n| n.spelled_like(&p.spellings()))
                    .collect(),
            }
        })
        .collect();
    let comparisons: Vec<Comparison> = row
        .iter()
        .skip(1)
        .filter_map(|p| compare(&row[0], p, key))
        .collect();
    let moving = moving_note(&row, key);
    let same = comparisons
        .iter()
        .all(|c| c.sameness != Sameness::Different);
    if args.json {
        let items: Vec<Value> = row
            .iter()
            .zip(&found)
            .map(|(p, n)| item_json(&instrument, p, n, key))
            .collect();
        let value = json!({
            "schema": "takebook-name-1",
            "tuning": instrument.tuning.text(),
            "capo": instrument.capo,
            "key": key.map(Key::label),
            "items": items,
            "compared": comparisons.iter().enumerate()
                .map(|(i, c)| comparison_json(&row[0], &row[i + 1], c, &instrument, key))
                .collect::<Vec<_>>(),
            "moving_note": moving.as_ref().map(|m| json!({
                "string": string_name(&instrument, m.string),
                "names": m.names.iter().map(Name::text).collect::<Vec<_>>(),
            })),
        });
        writeln!(out, "{value:#}")?;
    } else {
        for (i, (played, names)) in row.iter().zip(&found).enumerate() {
            if i > 0 {
                writeln!(out)?;
            }
            write_item(out, &instrument, played, names, key)?;
        }
        for (i, comparison) in comparisons.iter().enumerate() {
            writeln!(out)?;
            write_comparison(out, &row[0], &row[i + 1], comparison, &instrument, key)?;
        }
        if let Some(moving) = moving {
            let names: Vec<String> = moving.names.iter().map(Name::text).collect();
            let frets: Vec<String> = row
                .iter()
                .filter_map(|p| p.shape.as_ref())
                .map(|s| s.frets()[moving.string].map_or_else(|| "x".into(), |f| f.to_string()))
                .collect();
            writeln!(
                out,
                "\nOne note moves over a held chord: the {} string at {} makes {}.",
                string_name(&instrument, moving.string),
                frets.join(", "),
                names.join(", ")
            )?;
        }
    }
    Ok(if same { Outcome::Done } else { Outcome::Open })
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

/// A pitch class as the name spells it.
fn spelled(name: &Name, pc: PitchClass, key: Option<Key>) -> String {
    match key {
        Some(key) => key.spell(pc).text(),
        None => name.degree_of(pc).note_over(name.chord.root).text(),
    }
}

/// A tone as typed where no key says otherwise, else as the name spells it.
fn tone_text(name: &Name, tone: &crate::fretboard::Tone, key: Option<Key>) -> String {
    match (key, tone.spelled) {
        (None, Some(typed)) => typed.text(),
        _ => spelled(name, tone.pitch_class, key),
    }
}

fn doubled(played: &Played, name: &Name) -> Vec<String> {
    let set = played.pitch_classes();
    set.iter()
        .filter(|pc| played.tones.iter().filter(|t| t.pitch_class == *pc).count() > 1)
        .map(|pc| degree_words(name.degree_of(pc)))
        .collect()
}

/// `A fret 7` or `B3` or `D♯`: where a tone was typed.
fn place(instrument: &Instrument, tone: &crate::fretboard::Tone) -> String {
    match (tone.string, tone.fret) {
        (Some(s), Some(0)) => format!("{} open", string_name(instrument, s)),
        (Some(s), Some(f)) => format!("{} {f}", string_name(instrument, s)),
        _ => tone.midi.map_or_else(String::new, midi_name),
    }
}

fn write_item(
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
    wrap(out, "", &heading)?;
    let hand = played.shape.as_ref().and_then(|s| hold(instrument, s));
    if hand.is_some_and(|h| h.is_wide()) {
        wrap(out, "   ", crate::fretboard::STRETCH_CAUTION)?;
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
        wrap(out, "   ", &format!("plays: {}", degrees.join(", ")))?;
        if i == 0 {
            let doubled = doubled(played, name);
            if !doubled.is_empty() {
                wrap(out, "   ", &format!("doubled: {}", doubled.join(", ")))?;
            }
        }
        let why = reasons(name, played.pitch_classes(), key);
        wrap(out, "   ", &format!("why: {}", why.join("; ")))?;
        if let Some(second) = names.get(i + 1).filter(|_| i == 0) {
            wrap(
                out,
                "   ",
                &format!("before {}: {}", second.text(), before(name, second)),
            )?;
        }
    }
    if names.iter().any(|n| n.kind == NameKind::Convention) {
        wrap(
            out,
            "",
            "A name by convention says what sounds; other players may write it otherwise.",
        )?;
    }
    Ok(())
}

/// What differs, tone by tone: `the second adds E, its fifth, on the D string`.
fn differences(
    played: &Played,
    only: &[PitchClass],
    name: &Name,
    instrument: &Instrument,
    key: Option<Key>,
) -> Vec<String> {
    only.iter()
        .map(|pc| {
            let at: Vec<String> = played
                .tones
                .iter()
                .filter(|t| t.pitch_class == *pc)
                .filter_map(|t| t.string)
                .map(|s| string_name(instrument, s))
                .collect();
            let place = if at.is_empty() {
                String::new()
            } else {
                format!(" on the {} string", at.join(" and "))
            };
            format!(
                "{} ({} of {}){place}",
                spelled(name, *pc, key),
                degree_words(name.degree_of(*pc)),
                name.text()
            )
        })
        .collect()
}

const fn verdict(sameness: Sameness) -> &'static str {
    match sameness {
        Sameness::SameNotes => "the same notes",
        Sameness::SamePitchClasses => "the same chord: same tones over the same bass",
        Sameness::OtherBass => "the same tones over another bass",
        Sameness::SameName => "the same chord, one with a tone left out",
        Sameness::Different => "not the same chord",
    }
}

const fn verdict_word(sameness: Sameness) -> &'static str {
    match sameness {
        Sameness::SameNotes => "same_notes",
        Sameness::SamePitchClasses => "same_pitch_classes",
        Sameness::OtherBass => "other_bass",
        Sameness::SameName => "same_name",
        Sameness::Different => "different",
    }
}

fn write_comparison(
    out: &mut dyn Write,
    first: &Played,
    second: &Played,
    seen: &Comparison,
    instrument: &Instrument,
    key: Option<Key>,
) -> Result<(), CliError> {
    let [a, b] = &seen.names;
    wrap(
        out,
        "",
        &format!(
            "{} ({}) and {} ({}): {}.",
            first.text(),
            a.text(),
            second.text(),
            b.text(),
            verdict(seen.sameness)
        ),
    )?;
    for (which, played, only, name) in [
        ("first", first, &seen.only_first, a),
        ("second", second, &seen.only_second, b),
    ] {
        let list = differences(played, only, name, instrument, key);
        if !list.is_empty() {
            wrap(
                out,
                "   ",
                &format!("only the {which} sounds {}", list.join(", ")),
            )?;
        }
    }
    Ok(())
}

fn comparison_json(
    first: &Played,
    second: &Played,
    seen: &Comparison,
    instrument: &Instrument,
    key: Option<Key>,
) -> Value {
    let [a, b] = &seen.names;
    json!({
        "first": first.text(),
        "second": second.text(),
        "verdict": verdict_word(seen.sameness),
        "same": seen.sameness != Sameness::Different,
        "only_first": differences(first, &seen.only_first, a, instrument, key),
        "only_second": differences(second, &seen.only_second, b, instrument, key),
    })
}

fn item_json(instrument: &Instrument, played: &Played, names: &[Name], key: Option<Key>) -> Value {
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
                "lower_label": name.lower.as_ref().map(crate::theory::Chord::label),
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
        "shape": played.shape.as_ref().map(crate::fretboard::Shape::text),
        "names": list,
    })
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

/// Writes text within 80 columns, every line after the same indent.
pub(super) fn wrap(out: &mut dyn Write, indent: &str, text: &str) -> std::io::Result<()> {
    const WIDTH: usize = 80;
    let mut line = String::from(indent);
    let mut width = indent.chars().count();
    let mut empty = true;
    for word in text.split_whitespace() {
        let n = word.chars().count();
        if !empty && width + 1 + n > WIDTH {
            writeln!(out, "{line}")?;
            line = format!("{indent}  ");
            width = indent.chars().count() + 2;
            empty = true;
        }
        if !empty {
            line.push(' ');
            width += 1;
        }
        line.push_str(word);
        width += n;
        empty = false;
    }
    writeln!(out, "{line}")
}
