//! What capo or tuning hearing suggests where nobody says how the guitar is set up.
//!
//!     cargo run --release --example suggested -- FOLDER [FOLDER…]
//!
//! Each folder holds NAME.wav with NAME.truth.json, of which only `capo` and `tuning_offsets` are
//! read (docs/training/README.md), after hearing. Prints each take that is set up otherwise or is
//! taken to be, and how many suggestions are right, wrong and missing. Suites for it:
//! `python3 docs/training/suite.py set-ups FOLDER …`; ordinary takes: any other.

#![expect(clippy::print_stdout, reason = "an example prints what it found")]

use std::error::Error;
use std::path::Path;
use takebook::fretboard::{Instrument, Tuning};
use takebook::hearing::{Given, Weights, interpret};
use takes::SetUp;

#[path = "common/takes.rs"]
mod takes;

fn main() -> Result<(), Box<dyn Error>> {
    let folders: Vec<String> = std::env::args().skip(1).collect();
    if folders.is_empty() {
        return Err("which folders? cargo run --release --example suggested -- FOLDER".into());
    }
    let weights = Weights::default();
    let (mut right, mut silent, mut wrong, mut usual, mut alarms) = (0, 0, 0, 0, 0);
    for folder in &folders {
        for file in takes::of(Path::new(folder))? {
            let set_up = SetUp::of(&file)?;
            let sound = takes::sound(&file)?;
            let suggested = interpret(&sound, &Given::default(), &weights).suggested;
            let said = suggested.as_ref().map(words);
            let true_words = words_of(&set_up)?;
            match (&true_words, &said) {
                (None, None) => usual += 1,
                (None, Some(_)) => {
                    usual += 1;
                    alarms += 1;
                }
                (Some(_), None) => silent += 1,
                (Some(t), Some(s)) if t == s => right += 1,
                (Some(_), Some(_)) => wrong += 1,
            }
            if true_words.is_some() || said.is_some() {
                let or_none = |w: &Option<String>| w.clone().unwrap_or_else(|| "nothing".into());
                let (is, said) = (or_none(&true_words), or_none(&said));
                println!("{}: is {is}; suggested {said}", file.display());
            }
        }
    }
    let n = right + silent + wrong;
    println!("set up otherwise {n}: right {right}, none suggested {silent}, wrong {wrong}");
    println!("set up as usual {usual}: suggested for {alarms}");
    Ok(())
}

/// A set-up in words that compare.
fn words(instrument: &Instrument) -> String {
    let standard = Tuning::standard();
    let open = instrument.tuning.open().iter().zip(standard.open());
    let offsets: Vec<i64> = open.map(|(m, s)| i64::from(*m) - i64::from(*s)).collect();
    format!("capo {}, strings {offsets:?}", instrument.capo)
}

/// The true set-up in the same words; none for a usual one.
fn words_of(set_up: &SetUp) -> Result<Option<String>, Box<dyn Error>> {
    let given = set_up.given()?.instrument;
    Ok((given != Instrument::default()).then(|| words(&given)))
}
