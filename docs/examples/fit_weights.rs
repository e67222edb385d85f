//! Fits weights of the musical stage on takes whose truth is known.
//!
//!     cargo run --release --example fit_weights -- FOLDER[,FOLDER…] NAME[,NAME…] [WEIGHT=VALUE…]
//!     cargo run --release --example fit_weights -- FOLDER[,FOLDER…] NAME[,NAME…] --out WEIGHTS
//!     cargo run --release --example fit_weights -- FOLDER[,FOLDER…] - [WEIGHT=VALUE…]
//!
//! Each FOLDER holds NAME.wav with NAME.lab (the truth) and, if the guitar is
//! not in standard tuning, NAME.truth.json (see `estimate`). The sound of each
//! take is heard once; then one weight after another is moved up and down as long
//! as that raises the score: the mean over folders of root, majmin with bass,
//! sevenths, tetrads and seg. `-` only prints the score of the weights as given. With `--out`
//! the files of these weights are written into a folder.
//!
//! Never fit on takes that are used to say how well hearing does.

#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example says how far it is"
)]

use rayon::prelude::*;
use std::error::Error;
use std::path::Path;
use takebook::grading::{LabelledSpan, Strictness, Timeline, grade_chords, parse_lab};
use takebook::hearing::{Given, Sound, Weights, interpret};
use takes::SetUp;

#[path = "common/named_weights.rs"]
mod named_weights;
#[path = "common/takes.rs"]
mod takes;

/// A weight is moved by this share of itself, then by less.
const STEPS: [f64; 3] = [0.5, 0.2, 0.08];
/// What the score is made of: a strictness and whether the bass counts.
const MEASURES: [(Strictness, bool); 5] = [
    (Strictness::Root, false),
    (Strictness::MajMin, false),
    (Strictness::MajMin, true),
    (Strictness::Sevenths, false),
    (Strictness::Tetrads, false),
];

struct Take {
    folder: usize,
    sound: Sound,
    given: Given,
    truth: Timeline,
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let out = takes::out_folder(&mut arguments)?;
    let [folders, names, settings @ ..] = &arguments[..] else {
        return Err("say folders of takes and the names of weights, or - for none".into());
    };
    takes::other_weights()?;
    let mut weights = Weights::default();
    for setting in settings {
        named_weights::set(&mut weights, setting)?;
    }
    let folders: Vec<&Path> = folders.split(',').map(Path::new).collect();
    let mut takes = Vec::new();
    for (index, folder) in folders.iter().enumerate() {
        takes.extend(takes_of(folder, index)?);
        eprintln!("{}: heard", folder.display());
    }
    let mut best = score(&takes, folders.len(), &weights, true);
    println!("{best:.5} as given");
    if names == "-" {
        return Ok(());
    }
    for step in STEPS {
        for name in names.split(',') {
            for factor in [1.0 + step, 1.0 / (1.0 + step)] {
                // as far as it gets better
                loop {
                    let mut tried = weights.clone();
                    let slot = named_weights::slot(&mut tried, name)
                        .ok_or(format!("no weight is called '{name}'"))?;
                    let value = slot.get() * factor;
                    slot.put(value);
                    let now = score(&takes, folders.len(), &tried, false);
                    if now <= best + 2e-5 {
                        break;
                    }
                    (best, weights) = (now, tried);
                    println!("{best:.5} {name}={value:.4}");
                }
            }
        }
    }
    score(&takes, folders.len(), &weights, true);
    if let Some(out) = out {
        takes::write_numbers(&out, "chords.json", &weights.chords)?;
        takes::write_numbers(&out, "shapes.json", &weights.fit)?;
        takes::write_numbers(&out, "plucks.json", &weights.plucks)?;
        takes::write_numbers(&out, "notes.json", &weights.notes)?;
    }
    Ok(())
}

fn takes_of(folder: &Path, index: usize) -> Result<Vec<Take>, Box<dyn Error>> {
    let files = takes::of(folder)?;
    let takes: Result<Vec<Take>, String> = files
        .par_iter()
        .map(|file| take(file, index).map_err(|e| format!("{}: {e}", file.display())))
        .collect();
    Ok(takes?)
}

fn take(file: &Path, folder: usize) -> Result<Take, Box<dyn Error>> {
    let truth = parse_lab(&std::fs::read_to_string(file.with_extension("lab"))?)?;
    Ok(Take {
        folder,
        sound: takes::sound(file)?,
        given: SetUp::of(file)?.given()?,
        truth,
    })
}

/// Mean over folders and measures, each pooled over a folder's seconds.
fn score(takes: &[Take], n_folders: usize, weights: &Weights, print: bool) -> f64 {
    let grades: Vec<_> = takes
        .par_iter()
        .map(|take| {
            let heard = interpret(&take.sound, &take.given, weights);
            let spans = heard.chords.iter().map(|c| LabelledSpan {
                start_s: c.start_s,
                end_s: c.end_s,
                label: c.candidates[0].0.label(),
                line: 0,
            });
            let estimate = Timeline::new(spans.collect()).unwrap_or_else(|e| panic!("{e}"));
            let grades = grade_chords(&estimate, &take.truth).unwrap_or_else(|e| panic!("{e}"));
            let seconds = take.truth.end_s().unwrap_or(0.0);
            (take.folder, seconds, grades)
        })
        .collect();
    let mut sum = 0.0;
    for folder in 0..n_folders {
        let mine = || grades.iter().filter(|g| g.0 == folder);
        let mut row: Vec<f64> = MEASURES
            .iter()
            .map(|(strictness, bass)| {
                let (mut right, mut all) = (0.0, 1e-9);
                for recall in mine().filter_map(|g| g.2.recall(*strictness, *bass)) {
                    right += recall.right_s;
                    all += recall.compared_s;
                }
                right / all
            })
            .collect();
        let seconds: f64 = mine().map(|g| g.1).sum();
        row.push(mine().map(|g| g.1 * g.2.seg()).sum::<f64>() / seconds);
        if print {
            let row: Vec<String> = row.iter().map(|v| format!("{v:.4}")).collect();
            println!("folder {folder}: {}", row.join(" "));
        }
        sum += row.iter().sum::<f64>() / row.len() as f64;
    }
    sum / n_folders as f64
}
