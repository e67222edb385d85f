//! What speaks for each string of each strum of takes whose truth is known, and for each note
//! beside the strings, a line each: "string" or "stray", 1 or 0 (struck or not), then the
//! numbers. `docs/training/fit_strums.py` fits on it.
//!
//!     cargo run --release --example strum_rows -- TAKES > rows.txt
//!
//! TAKES holds NAME.wav and NAME.truth.json (`notes`: start, end, MIDI, string; `capo` and
//! `tuning_offsets`; takes whose `backing` is not "none" are left out, since others play too).

use serde_json::Value;
use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use takebook::hearing::{OfStrum, Weights, strum_evidence};

#[path = "common/takes.rs"]
mod takes;

/// A note this near is the one that was heard, s.
const NEAR_S: f64 = 0.05;

fn main() -> Result<(), Box<dyn Error>> {
    let Some(folder) = std::env::args().nth(1) else {
        return Err("say a folder of takes with their truth".into());
    };
    let mut out = std::io::stdout().lock();
    for file in takes::of(Path::new(&folder))? {
        let truth = std::fs::read_to_string(file.with_extension("truth.json"))?;
        let truth: Value = serde_json::from_str(&truth)?;
        if truth["backing"].as_str().is_some_and(|b| b != "none") {
            continue;
        }
        let note = |n: &Value| Some((n.get(0)?.as_f64()?, n.get(2)?.as_u64()?));
        let notes: Vec<(f64, u64)> = truth["notes"]
            .as_array()
            .map(|all| all.iter().filter_map(note).collect())
            .unwrap_or_default();
        let given = takes::SetUp::of(&file)?.given()?;
        let sound = takes::sound(&file)?;
        for told in strum_evidence(&sound, &given, &Weights::default()) {
            let (kind, numbers) = match &told {
                OfStrum::String(string) => ("string", &string.numbers[..]),
                OfStrum::Stray(stray) => ("stray", &stray.numbers[..]),
            };
            let mut line = format!("{kind} {}", u8::from(was_struck(&told, &notes)));
            for number in numbers {
                write!(line, " {number:.4}")?;
            }
            writeln!(out, "{line}")?;
        }
    }
    Ok(())
}

fn was_struck(told: &OfStrum, notes: &[(f64, u64)]) -> bool {
    let (midi, (first, last)) = match told {
        OfStrum::String(s) => (
            s.midi,
            s.time_s.map_or(s.strum_s, |time_s| (time_s, time_s)),
        ),
        OfStrum::Stray(s) => (s.midi, (s.time_s, s.time_s)),
    };
    let near = first - NEAR_S..last + NEAR_S;
    notes
        .iter()
        .any(|(start_s, of)| *of == u64::from(midi) && near.contains(start_s))
}
