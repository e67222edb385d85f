//! What hearing weighs in each take of a folder, as JSON lines for programs that fit weights
//! (docs/training/fit_song_use.py): the counts it chooses from, and every moment where a string
//! may have been struck.
//!
//!     cargo run --release --example hearing_rows -- TAKES > ROWS.jsonl

#![expect(clippy::print_stdout, reason = "an example prints its result")]

use serde_json::json;
use std::error::Error;
use std::path::Path;
use takebook::hearing::{COUNT_NUMBERS, Weights, count_samples, note_samples};

#[path = "common/takes.rs"]
mod takes;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("say a folder of WAV files")?;
    takes::other_weights()?;
    let weights = Weights::default();
    for file in takes::of(Path::new(&folder))? {
        let given = takes::SetUp::of(&file)?.given()?;
        let sound = takes::sound(&file)?;
        let counts = count_samples(&sound, &given, &weights).into_iter();
        let counts: Vec<_> = counts
            .map(|c| json!({"beats": c.beats, "numbers": c.numbers}))
            .collect();
        let notes = note_samples(&sound, &weights).into_iter();
        let notes: Vec<_> = notes
            .map(|n| json!([n.time_s, n.midi, n.classifier, n.song, n.overtone]))
            .collect();
        let name = file.file_stem().map(|n| n.to_string_lossy().into_owned());
        let row = json!({"take": name, "capo": given.instrument.capo, "names": COUNT_NUMBERS, "counts": counts, "notes": notes});
        println!("{row}");
    }
    Ok(())
}
