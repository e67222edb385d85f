//! Bass walks and capo arithmetic of `takebook shapes`.

use super::super::{CliError, Outcome};
use super::limits::key_of;
use super::told::{voicing_json, write_row};
use super::{ShapesArgs, find_row, write_boxes};
use crate::fretboard::{Instrument, Limits, Voicing, capo_choices, walks};
use crate::theory::{Chord, Key, transpose};
use serde_json::{Value, json};
use std::io::Write;

pub(super) fn run_walks(
    args: &ShapesArgs,
    chords: &[Chord],
    key: Option<Key>,
    limits: &Limits,
    instrument: &Instrument,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    if chords.len() < 2 {
        return Err(CliError::new(
            "--walk needs two chords or more, for example: takebook shapes G Em --walk",
        ));
    }
    let key = key.unwrap_or_else(|| key_of(chords));
    let mut any = false;
    let mut list = Vec::new();
    for pair in chords.windows(2) {
        let ways = walks(&pair[0], &pair[1], key);
        if !args.json {
            writeln!(
                out,
                "{} to {} in {}:{}",
                pair[0].symbol(),
                pair[1].symbol(),
                key.text(),
                if ways.is_empty() {
                    " no bass walk by step"
                } else {
                    ""
                }
            )?;
        }
        for way in ways {
            let Ok(row) = find_row(&way.chords, limits, &[], instrument) else {
                continue;
            };
            any = true;
            if args.json {
                list.push(json!({
                    "words": way.words,
                    "row": way.chords.iter().zip(&row.shapes)
                        .map(|(c, v)| shape_of(c, v, instrument))
                        .collect::<Vec<_>>(),
                }));
            } else {
                writeln!(out, " {}", way.words)?;
                write_row(out, &way.chords, &row, None, instrument)?;
            }
        }
    }
    if args.json {
        let value = json!({"schema": "takebook-shapes-1", "walks": list});
        writeln!(out, "{value:#}")?;
    }
    Ok(if any { Outcome::Done } else { Outcome::Open })
}

pub(super) fn run_capo(
    args: &ShapesArgs,
    sounding: Key,
    chords: &[Chord],
    limits: &Limits,
    instrument: &Instrument,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    let mut list = Vec::new();
    if !args.json {
        writeln!(out, "Sounds in {}:", sounding.text())?;
    }
    for choice in capo_choices(sounding) {
        let by = -i32::from(choice.fret);
        let moved: Vec<Chord> = chords
            .iter()
            .map(|c| transpose(c, by, choice.shapes_in))
            .collect();
        let behind = Instrument {
            capo: choice.fret,
            ..instrument.clone()
        };
        let neck = behind.highest_fret.saturating_sub(choice.fret);
        let limits = Limits {
            highest_fret: limits.highest_fret.min(neck),
            ..limits.clone()
        };
        let row = match moved.is_empty() {
            true => None,
            false => find_row(&moved, &limits, &[], &behind).ok(),
        };
        if args.json {
            let shapes = row.iter().flat_map(|row| moved.iter().zip(&row.shapes));
            list.push(json!({
                "capo": choice.fret,
                "shapes_in": choice.shapes_in.label(),
                "chords": moved.iter().map(Chord::symbol).collect::<Vec<_>>(),
                "row": shapes.map(|(c, v)| shape_of(c, v, &behind)).collect::<Vec<_>>(),
            }));
            continue;
        }
        let capo = match choice.fret {
            0 => "no capo".to_owned(),
            n => format!("capo {n}"),
        };
        let symbols: Vec<String> = moved.iter().map(Chord::symbol).collect();
        let symbols = match &symbols[..] {
            [] => String::new(),
            symbols => format!(": {}", symbols.join(" ")),
        };
        let key = choice.shapes_in.text();
        writeln!(out, " {capo:<8} play {key} shapes{symbols}")?;
        match row {
            Some(row) => {
                write_row(out, &moved, &row, None, &behind)?;
                write_boxes(args, &moved, &row, out)?;
            }
            None if !moved.is_empty() => {
                writeln!(out, "  not all of them have shapes under these limits")?;
            }
            None => {}
        }
    }
    if args.json {
        let value = json!({
            "schema": "takebook-shapes-1",
            "sounding": sounding.label(),
            "capo_choices": list,
        });
        writeln!(out, "{value:#}")?;
    }
    Ok(Outcome::Done)
}

/// A shape of a progression, with its chord.
fn shape_of(chord: &Chord, v: &Voicing, instrument: &Instrument) -> Value {
    let mut value = voicing_json(v, chord, instrument);
    value["chord"] = json!(chord.label());
    value["symbol"] = json!(chord.symbol());
    value
}
