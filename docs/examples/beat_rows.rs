//! What speaks for a beat, a division and a downbeat at moments of takes whose beats are known,
//! a line each: "beat", "division" or "downbeat", 1 or 0, then the numbers.
//! `docs/training/fit_beats.py` fits on it.
//!
//!     cargo run --release --example beat_rows -- FOLDER [FOLDER…] > rows.txt
//!
//! Each folder holds NAME.wav and NAME.truth.json (`beats_s`, `downbeats_s` in s).

use serde_json::Value;
use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

#[expect(dead_code, reason = "beats are the same in every tuning")]
#[path = "common/takes.rs"]
mod takes;

/// Of the moments that are none, one in so many is kept.
const THINNED: usize = 7;
/// A moment this far from a beat is none, s.
const CLEAR_S: f64 = 0.05;

fn main() -> Result<(), Box<dyn Error>> {
    let folders: Vec<String> = std::env::args().skip(1).collect();
    if folders.is_empty() {
        return Err("say folders of takes with their truth".into());
    }
    let mut out = std::io::stdout().lock();
    for folder in &folders {
        for file in takes::of(Path::new(folder))? {
            let truth = std::fs::read_to_string(file.with_extension("truth.json"))?;
            let truth: Value = serde_json::from_str(&truth)?;
            let times = |name: &str| -> Vec<f64> {
                let all = truth[name].as_array().into_iter().flatten();
                all.filter_map(Value::as_f64).collect()
            };
            let (beats, downbeats) = (times("beats_s"), times("downbeats_s"));
            if beats.len() < 4 {
                continue;
            }
            let (moments, hop_s) = takes::sound(&file)?.beat_moments();
            for line in lines(&moments, hop_s, &beats, &downbeats) {
                out.write_all(line.as_bytes())?;
            }
        }
    }
    Ok(())
}

fn lines(moments: &[[f32; 13]], hop_s: f64, beats: &[f64], downbeats: &[f64]) -> Vec<String> {
    let near = |times: &[f64], t: f64| times.iter().any(|b| (b - t).abs() < CLEAR_S);
    let middles: Vec<f64> = beats
        .windows(2)
        .map(|w| f64::midpoint(w[0], w[1]))
        .collect();
    let at = |t: f64| moments.get((t / hop_s).round() as usize);
    let mut all = Vec::new();
    let mut tell = |kind: &str, yes: bool, t: f64| {
        if let Some(numbers) = at(t) {
            let mut line = format!("{kind} {}", u8::from(yes));
            for number in numbers {
                // a text takes any number
                let _ = write!(line, " {number:.4}");
            }
            all.push(line + "\n");
        }
    };
    for beat in beats {
        tell("beat", true, *beat);
        tell("downbeat", near(downbeats, *beat), *beat);
    }
    for middle in &middles {
        tell("division", true, *middle);
    }
    let (first, last) = (beats[0], beats[beats.len() - 1]);
    let mut t = first;
    while t < last {
        if !near(beats, t) {
            tell("beat", false, t);
            if !near(&middles, t) {
                tell("division", false, t);
            }
        }
        t += THINNED as f64 * hop_s;
    }
    all
}
