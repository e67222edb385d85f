//! Bass walks and capo arithmetic of `takebook shapes`.

use super::super::{CliError, Outcome};
use super::limits::key_of;
use super::told::{voicing_json, write_row};
use super::{ShapesArgs, find_row};
use crate::fretboard::{Instrument, Limits, capo_choices, walks};
use crate::theory::{Chord, Key, transpose};
use serde_json::json;
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
                    "row": way.chords.iter().zip(&row.shapes).map(|(c, v)| {
                        let mut value = voicing_json(v, c, instrument);
                        value["chord"] = json!(c.label());
                        value["symbol"] = json!(c.symbol());
                        value
                    }).collect::<Vec<_>>(),
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
    sounding: Key,
    chords: &[Chord],
    as_json: bool,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    let choices = capo_choices(sounding);
    let moved = |fret: u8, key: Key| -> Vec<String> {
        chords
            .iter()
            .map(|c| transpose(c, -i32::from(fret), key).symbol())
            .collect()
    };
    if as_json {
        let value = json!({
            "schema": "takebook-shapes-1",
            "sounding": sounding.label(),
            "capo_choices": choices.iter().map(|c| json!({
                "capo": c.fret,
                "shapes_in": c.shapes_in.label(),
                "chords": moved(c.fret, c.shapes_in),
            })).collect::<Vec<_>>(),
        });
        writeln!(out, "{value:#}")?;
    } else {
        writeln!(out, "Sounds in {}:", sounding.text())?;
        for c in &choices {
            let chords = moved(c.fret, c.shapes_in);
            let chords = if chords.is_empty() {
                String::new()
            } else {
                format!(": {}", chords.join(" "))
            };
            let capo = match c.fret {
                0 => "no capo".to_owned(),
                n => format!("capo {n}"),
            };
            writeln!(
                out,
                "  {capo:<8} play {} shapes{chords}",
                c.shapes_in.text()
            )?;
        }
    }
    Ok(Outcome::Done)
}
