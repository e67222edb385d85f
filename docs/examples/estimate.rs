//! Hears every WAV file of a folder and writes what it heard as timelines that
//! a grader reads: NAME.lab (start, end, label) and NAME.est.json (chords with
//! candidates and shapes, beats, downbeats, tempo, sections).
//!
//!     cargo run --release --example estimate -- TAKES OUT [NAME-STARTS-WITH] [WEIGHT=VALUE…]
//!
//! A weight of the musical stage is named as in `common/named_weights.rs` (`key=1.2`): that is how weights are compared on takes whose truth is known.
//!
//! Where NAME.truth.json lies beside a take, its `capo` and `tuning_offsets`
//! (semitones each string is away from standard tuning, low to high) are told
//! to hearing, as a user would; nothing else of it is read.

#![expect(clippy::print_stderr, reason = "an example says how far it is")]

use serde_json::{Value, json};
use std::error::Error;
use std::path::Path;
use takebook::hearing::{Hearing, Weights, interpret};
use takes::SetUp;

#[path = "common/named_weights.rs"]
mod named_weights;
#[path = "common/takes.rs"]
mod takes;

/// Candidates and shapes written for a chord.
const N_RANKED: usize = 6;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (folder, out) = match &arguments[..] {
        [folder, out, ..] => (Path::new(folder), Path::new(out)),
        _ => return Err("say a folder of WAV files and a folder to write to".into()),
    };
    let (settings, names): (Vec<&str>, Vec<&str>) = arguments[2..]
        .iter()
        .map(String::as_str)
        .partition(|a| a.contains('='));
    let wanted = names.first().copied().unwrap_or("");
    takes::other_weights()?;
    let mut weights = Weights::default();
    for setting in settings {
        named_weights::set(&mut weights, setting)?;
    }
    std::fs::create_dir_all(out)?;
    let mut files = takes::of(folder)?;
    files.retain(|f| stem(f).starts_with(wanted));
    for file in &files {
        let set_up = SetUp::of(file)?;
        let heard = interpret(&takes::sound(file)?, &set_up.given()?, &weights);
        let name = stem(file);
        std::fs::write(out.join(format!("{name}.lab")), lab(&heard))?;
        let text = estimate(&heard, &set_up).to_string() + "\n";
        std::fs::write(out.join(format!("{name}.est.json")), text)?;
        eprintln!("{name}: {} bars", heard.bars.len());
    }
    Ok(())
}

fn stem(file: &Path) -> String {
    let stem = file.file_stem().unwrap_or_default();
    stem.to_string_lossy().into_owned()
}

fn lab(heard: &Hearing) -> String {
    let line = |s: &takebook::hearing::HeardSpan| {
        let label = s.candidates[0].0.label();
        format!("{:.4}\t{:.4}\t{label}\n", s.start_s, s.end_s)
    };
    heard.chords.iter().map(line).collect()
}

fn estimate(heard: &Hearing, set_up: &SetUp) -> Value {
    let level = |spans: &[takebook::hearing::HeardSpan]| -> Vec<Value> {
        spans.iter().map(chord).collect()
    };
    let detail = match heard.detail.is_empty() {
        true => &heard.chords,
        false => &heard.detail,
    };
    let bar = |number: u32| heard.bars.iter().find(|b| b.number == number);
    let sections: Vec<Value> = heard
        .sections
        .iter()
        .filter_map(|s| {
            let (first, last) = (bar(s.first_bar)?, bar(s.last_bar)?);
            Some(json!({
                "start": first.start_s,
                "end": last.end_s,
                "letter": s.letter,
                "first_bar": s.first_bar,
            }))
        })
        .collect();
    let bars: Vec<Value> = heard
        .bars
        .iter()
        .map(|b| json!([b.number, b.start_s, b.end_s, b.n_beats]))
        .collect();
    let downbeats = heard.beats.iter().filter(|b| b.1 == 1).map(|b| b.0);
    json!({
        "chords": level(&heard.chords),
        "detail": level(detail),
        "strums": heard.strums.iter().map(|s| json!([s.time_s, if s.down { "D" } else { "U" }])).collect::<Vec<_>>(),
        "beats": heard.beats.iter().map(|b| b.0).collect::<Vec<_>>(),
        "downbeats": downbeats.collect::<Vec<_>>(),
        "bars": bars,
        "tempo_bpm": heard.tempo_bpm,
        "meter": heard.meter.map(|(n, value)| format!("{n}/{value}")),
        "key": heard.key.map(|k| k.label()),
        "key_changes": heard.key_changes.iter().map(|c| json!([c.at_s, c.key.label()])).collect::<Vec<_>>(),
        "sections": sections,
        "notes": heard.notes.iter().map(|n| json!({
            "start": n.start_s, "end": n.end_s, "midi": n.midi, "probability": n.probability,
        })).collect::<Vec<_>>(),
        "capo": set_up.capo,
        "tuning_offsets": set_up.offsets,
        "suggested": heard.suggested.as_ref().map(|i| json!({"tuning": i.tuning.text(), "capo": i.capo})),
        "warnings": heard.warnings,
    })
}

fn chord(span: &takebook::hearing::HeardSpan) -> Value {
    let candidates = span.candidates.iter().take(N_RANKED);
    let frets = |shape: &takebook::fretboard::Shape| -> Vec<i64> {
        let frets = shape.frets().iter();
        frets.map(|f| f.map_or(-1, i64::from)).collect()
    };
    json!({
        "start": span.start_s,
        "end": span.end_s,
        "label": span.candidates[0].0.label(),
        "candidates": candidates.clone().map(|c| c.0.label()).collect::<Vec<_>>(),
        "probabilities": candidates.map(|c| c.1).collect::<Vec<_>>(),
        "voicings": span.shapes.iter().take(N_RANKED).map(|s| frets(&s.0)).collect::<Vec<_>>(),
    })
}
