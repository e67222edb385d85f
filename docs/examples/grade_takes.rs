//! Hears every take of some folders and prints the tables of docs/hearing.md.
//!
//!     cargo run --release --example grade_takes -- FOLDER [FOLDER…] [--json FILE]
//!
//! Each folder holds NAME.wav with NAME.truth.json (docs/training/README.md lists its
//! fields). `capo` and `tuning_offsets` are set for hearing, as a user would set them;
//! nothing else of the truth is read before grading. Measures are those of
//! `takebook::grading`, held against mir_eval by `cargo test --test it grade`; chords and
//! shapes are pooled by seconds, all others are means over takes by duration. `-` means
//! that no take of a row has a truth for that measure.
//!
//! With `TAKEBOOK_WEIGHTS=DIR` weights files of that folder stand in for the built-in ones.

#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example says how far it is"
)]

use rayon::prelude::*;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use takebook::fretboard::Shape;
use takebook::grading::reliability::{Reliability, Said};
use takebook::grading::{
    BEAT_WINDOW_S, ChordCode, LabelledSpan, NoteEvent, ONSET_WINDOW_S, Strictness, Timeline,
    beat_f, boundary_f, grade_chords, is_right, letter_f, note_f,
};
use takebook::hearing::{Hearing, Weights, interpret};
use takes::SetUp;

#[path = "common/takes.rs"]
mod takes;

type Fallible<T> = Result<T, Box<dyn Error>>;

const CHORDS: [(&str, Strictness, bool); 5] = [
    ("root", Strictness::Root, false),
    ("majmin", Strictness::MajMin, false),
    ("majmin_inv", Strictness::MajMin, true),
    ("sevenths", Strictness::Sevenths, false),
    ("tetrads", Strictness::Tetrads, false),
];
/// The columns of each table.
const TABLES: [(&str, &[&str]); 2] = [
    (
        "chords and shapes",
        &[
            "root",
            "majmin",
            "majmin_inv",
            "sevenths",
            "tetrads",
            "seg",
            "among_three",
            "shape",
            "shape_among_three",
        ],
    ),
    (
        "notes, beats, sections",
        &[
            "notes",
            "beats",
            "downbeats",
            "tempo",
            "meter",
            "sections_half_s",
            "sections_3_s",
            "letters",
        ],
    ),
];

/// What was reached, and of how much (s), by measure.
type Scores = BTreeMap<&'static str, (f64, f64)>;

fn main() -> Fallible<()> {
    let mut folders: Vec<String> = std::env::args().skip(1).collect();
    let json_at = folders.iter().position(|a| a == "--json");
    let file = json_at.map(|at| {
        let file = folders.get(at + 1).cloned();
        folders.truncate(at);
        file.ok_or("--json needs a file")
    });
    if folders.is_empty() {
        return Err("say folders of takes with their truth".into());
    }
    let mut told = Map::new();
    for folder in &folders {
        let graded = graded(Path::new(folder))?;
        told.insert(folder.clone(), print_tables(folder, &graded)?);
    }
    if let Some(file) = file {
        std::fs::write(file?, serde_json::to_string_pretty(&told)? + "\n")?;
    }
    Ok(())
}

/// A take's group and its scores.
struct Graded {
    category: String,
    scores: Scores,
    /// Its first candidates with their probabilities, and the true chords.
    said: Vec<Said>,
    reference: Timeline,
}

fn graded(folder: &Path) -> Fallible<Vec<Graded>> {
    let files = takes::of(folder)?;
    if files.is_empty() {
        return Err(format!("no WAV file in '{}'", folder.display()).into());
    }
    let all: Result<Vec<Graded>, String> = files
        .par_iter()
        .map(|file| grade(file).map_err(|e| format!("{}: {e}", file.display())))
        .collect();
    eprintln!("{}: heard", folder.display());
    Ok(all?)
}

fn grade(file: &Path) -> Fallible<Graded> {
    let truth = std::fs::read_to_string(file.with_extension("truth.json"))?;
    let truth: Value = serde_json::from_str(&truth)?;
    let set_up = SetUp::of(file)?;
    let heard = interpret(&takes::sound(file)?, &set_up.given()?, &Weights::default());
    let total_s = truth["duration_s"].as_f64().unwrap_or(heard.duration_s);
    let reference = truth_chords(&truth, total_s)?;
    let mut scores = Scores::new();
    chords(&heard, &reference, total_s, &mut scores)?;
    ranked(&heard, &reference, &mut scores)?;
    shapes(&heard, &truth, &set_up, &mut scores);
    notes(&heard, &truth, total_s, &mut scores)?;
    beats(&heard, &truth, total_s, &mut scores)?;
    sections(&heard, &truth, total_s, &mut scores)?;
    let said = heard.chords.iter().map(|chord| {
        let (label, probability, _) = &chord.candidates[0];
        Said {
            start_s: chord.start_s,
            end_s: chord.end_s,
            label: label.clone(),
            probability: *probability,
        }
    });
    let said = said.collect();
    Ok(Graded {
        category: truth["category"].as_str().unwrap_or("all").to_owned(),
        scores,
        said,
        reference,
    })
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(0.0)
}

fn times(value: &Value) -> Vec<f64> {
    let all = value.as_array().into_iter().flatten();
    all.filter_map(Value::as_f64).collect()
}

fn span(start_s: f64, end_s: f64, label: &str) -> LabelledSpan {
    LabelledSpan {
        start_s,
        end_s,
        label: label.to_owned(),
        line: 0,
    }
}

/// The true chords, `N` in every gap.
fn truth_chords(truth: &Value, total_s: f64) -> Fallible<Timeline> {
    let list = truth["chords"]
        .as_array()
        .ok_or("its truth has no chords")?;
    let mut spans = Vec::new();
    let mut at_s = 0.0;
    for chord in list {
        let (start_s, end_s) = (number(&chord["start"]).max(at_s), number(&chord["end"]));
        if start_s - at_s > 1e-6 {
            spans.push(span(at_s, start_s, "N"));
        }
        if end_s.min(total_s) - start_s > 1e-6 {
            let label = chord["label"].as_str().ok_or("a chord without a label")?;
            at_s = end_s.min(total_s);
            spans.push(span(start_s, at_s, label));
        }
    }
    if total_s - at_s > 1e-6 {
        spans.push(span(at_s, total_s, "N"));
    }
    Ok(Timeline::new(spans)?)
}

/// Whether a label is right at a strictness; none if it compares nothing of the true one.
fn right(truth: &str, heard: &str, strictness: Strictness) -> Fallible<Option<bool>> {
    let code = ChordCode::read;
    Ok(is_right(&code(truth)?, &code(heard)?, strictness, false))
}

/// Whether a strictness compares anything of a take but silence.
fn compares(reference: &Timeline, strictness: Strictness) -> Fallible<bool> {
    for s in reference.spans().iter().filter(|s| s.label != "N") {
        if right(&s.label, &s.label, strictness)?.is_some() {
            return Ok(true);
        }
    }
    Ok(false)
}

fn chords(
    heard: &Hearing,
    reference: &Timeline,
    total_s: f64,
    scores: &mut Scores,
) -> Fallible<()> {
    let spans = heard.chords.iter();
    let spans = spans.map(|c| span(c.start_s, c.end_s, &c.candidates[0].0.label()));
    let grades = grade_chords(&Timeline::new(spans.collect())?, reference)?;
    for (name, strictness, bass) in CHORDS {
        if compares(reference, strictness)?
            && let Some(recall) = grades.recall(strictness, bass)
        {
            scores.insert(name, (recall.right_s, recall.compared_s));
        }
    }
    scores.insert("seg", (grades.seg() * total_s, total_s));
    Ok(())
}

/// Seconds of what is true beside what was heard then, if anything.
fn overlaps<'a>(
    heard: &'a Hearing,
    start_s: f64,
    end_s: f64,
) -> Vec<(f64, &'a takebook::hearing::HeardSpan)> {
    let with = |c: &'a takebook::hearing::HeardSpan| {
        let seconds = c.end_s.min(end_s) - c.start_s.max(start_s);
        (seconds > 1e-6).then_some((seconds, c))
    };
    heard.chords.iter().filter_map(with).collect()
}

/// How long one of the first three candidates is right, at `sevenths`.
fn ranked(heard: &Hearing, reference: &Timeline, scores: &mut Scores) -> Fallible<()> {
    let strictness = Strictness::Sevenths;
    if !compares(reference, strictness)? {
        return Ok(());
    }
    let (mut right_s, mut all_s) = (0.0, 0.0);
    for truth in reference.spans() {
        if right(&truth.label, &truth.label, strictness)?.is_none() {
            continue;
        }
        all_s += truth.end_s - truth.start_s;
        let mut heard_s = 0.0;
        for (seconds, chord) in overlaps(heard, truth.start_s, truth.end_s) {
            heard_s += seconds;
            for (label, ..) in chord.candidates.iter().take(3) {
                if right(&truth.label, &label.label(), strictness)? == Some(true) {
                    right_s += seconds;
                    break;
                }
            }
        }
        if truth.label == "N" {
            right_s += (truth.end_s - truth.start_s - heard_s).max(0.0);
        }
    }
    scores.insert("among_three", (right_s, all_s));
    Ok(())
}

/// How long every string of the first shape, and of one of three, sounds as in the truth.
fn shapes(heard: &Hearing, truth: &Value, set_up: &SetUp, scores: &mut Scores) {
    let same = |shape: &Shape, frets: &[Value]| {
        let wanted = frets.iter().map(|f| f.as_i64().filter(|f| *f >= 0));
        wanted.eq(shape.frets().iter().map(|f| f.map(i64::from)))
    };
    // a truth in another set-up than the one that was given is not compared
    let offsets: Vec<i64> = times(&truth["tuning_offsets"])
        .iter()
        .map(|v| *v as i64)
        .collect();
    if !offsets.is_empty() && offsets != set_up.offsets {
        return;
    }
    let (mut first_s, mut among_s, mut all_s) = (0.0, 0.0, 0.0);
    for chord in truth["chords"].as_array().into_iter().flatten() {
        let Some(frets) = chord["frets"].as_array() else {
            continue;
        };
        let (start_s, end_s) = (number(&chord["start"]), number(&chord["end"]));
        all_s += end_s - start_s;
        for (seconds, heard) in overlaps(heard, start_s, end_s) {
            let at = heard.shapes.iter().take(3).position(|s| same(&s.0, frets));
            first_s += if at == Some(0) { seconds } else { 0.0 };
            among_s += if at.is_some() { seconds } else { 0.0 };
        }
    }
    if all_s > 0.0 {
        scores.insert("shape", (first_s, all_s));
        scores.insert("shape_among_three", (among_s, all_s));
    }
}

/// F of notes where no others play.
fn notes(heard: &Hearing, truth: &Value, total_s: f64, scores: &mut Scores) -> Fallible<()> {
    let alone = truth["backing"].as_str().is_none_or(|b| b == "none");
    let event = |start_s: f64, midi: f64| NoteEvent {
        start_s,
        end_s: start_s + 0.1,
        midi,
    };
    let list = truth["notes"].as_array();
    if let Some(list) = list.filter(|l| alone && !l.is_empty()) {
        let heard: Vec<_> = heard
            .notes
            .iter()
            .map(|n| event(n.start_s, f64::from(n.midi)))
            .collect();
        let truth: Vec<_> = list
            .iter()
            .map(|n| event(number(&n[0]), number(&n[2])))
            .collect();
        let f = note_f(&heard, &truth, ONSET_WINDOW_S)?.f;
        scores.insert("notes", (f * total_s, total_s));
    }
    Ok(())
}

/// A tempo is right within this share.
const TEMPO_WITHIN: f64 = 0.04;

fn beats(heard: &Hearing, truth: &Value, total_s: f64, scores: &mut Scores) -> Fallible<()> {
    let told = |downs: bool| -> Vec<f64> {
        let beats = heard.beats.iter().filter(|b| !downs || b.1 == 1);
        beats.map(|b| b.0).collect()
    };
    for (name, field, downs) in [
        ("beats", "beats_s", false),
        ("downbeats", "downbeats_s", true),
    ] {
        let truth_s = times(&truth[field]);
        if !truth_s.is_empty() {
            let f = beat_f(&told(downs), &truth_s, BEAT_WINDOW_S)?.f;
            scores.insert(name, (f * total_s, total_s));
        }
    }
    if let Some(bpm) = truth["tempo_bpm"].as_f64() {
        let near = heard
            .tempo_bpm
            .is_some_and(|t| (t / bpm - 1.0).abs() <= TEMPO_WITHIN);
        scores.insert("tempo", (if near { total_s } else { 0.0 }, total_s));
    }
    if let Some(meter) = truth["meter"].as_str() {
        let same = heard
            .meter
            .is_some_and(|(n, value)| format!("{n}/{value}") == meter);
        scores.insert("meter", (if same { total_s } else { 0.0 }, total_s));
    }
    Ok(())
}

/// Sections that span the whole take, `-` in every gap.
fn whole(mut spans: Vec<LabelledSpan>, total_s: f64) -> Fallible<Timeline> {
    if let Some(first) = spans.first_mut() {
        first.start_s = 0.0;
    }
    if let Some(last) = spans.last_mut() {
        last.end_s = total_s;
    }
    Ok(Timeline::new(spans)?.fitted(0.0, total_s, "-"))
}

/// Only of takes with more than one section.
fn sections(heard: &Hearing, truth: &Value, total_s: f64, scores: &mut Scores) -> Fallible<()> {
    let Some(list) = truth["sections"].as_array().filter(|l| l.len() > 1) else {
        return Ok(());
    };
    let spans = list.iter().map(|s| {
        let letter = s["letter"].as_str().unwrap_or("?");
        span(number(&s["start"]), number(&s["end"]), letter)
    });
    let reference = whole(spans.collect(), total_s)?;
    let bar = |number: u32| heard.bars.iter().find(|b| b.number == number);
    let spans = heard.sections.iter().filter_map(|s| {
        let (first, last) = (bar(s.first_bar)?, bar(s.last_bar)?);
        Some(span(first.start_s, last.end_s.min(total_s), &s.letter))
    });
    let told = whole(spans.collect(), total_s)?;
    let mut put = |name, f: f64| scores.insert(name, (f * total_s, total_s));
    if told.spans().is_empty() {
        for name in ["sections_half_s", "sections_3_s", "letters"] {
            put(name, 0.0);
        }
        return Ok(());
    }
    put(
        "sections_half_s",
        boundary_f(&told, &reference, 0.5, true)?.f,
    );
    put("sections_3_s", boundary_f(&told, &reference, 3.0, true)?.f);
    put("letters", letter_f(&told, &reference)?.f);
    Ok(())
}

/// A measure over takes; none if no take has a truth for it.
fn pooled<'a>(takes: impl Iterator<Item = &'a Graded>, name: &str) -> Option<f64> {
    let both = takes.filter_map(|t| t.scores.get(name));
    let (got, of) = both.fold((0.0, 0.0), |sum, s| (sum.0 + s.0, sum.1 + s.1));
    (of > 0.0).then_some(got / of)
}

/// Prints the tables of a folder and gives their numbers.
fn print_tables(folder: &str, takes: &[Graded]) -> Fallible<Value> {
    let mut groups: Vec<&str> = takes.iter().map(|t| t.category.as_str()).collect();
    groups.sort_unstable();
    groups.dedup();
    let mut all = Map::new();
    println!("\n## {folder}: {} takes", takes.len());
    for (title, columns) in TABLES {
        println!("\n| {title} | {} |", columns.join(" | "));
        println!("| --- |{}", " --- |".repeat(columns.len()));
        let rows = groups
            .iter()
            .map(|g| (*g, Some(*g)))
            .chain([("**all**", None)]);
        for (name, group) in rows {
            let mine = || {
                takes
                    .iter()
                    .filter(|t| group.is_none_or(|g| t.category == g))
            };
            let row: Vec<Option<f64>> = columns.iter().map(|c| pooled(mine(), c)).collect();
            if row.iter().all(Option::is_none) {
                continue;
            }
            let cells: Vec<String> = row.iter().map(|v| cell(*v)).collect();
            println!("| {name} | {} |", cells.join(" | "));
            let entry = all.entry(name.trim_matches('*')).or_insert(json!({}));
            for (column, value) in columns.iter().zip(&row) {
                entry[*column] = json!(value);
            }
        }
    }
    let mut reliability = Reliability::default();
    for take in takes {
        reliability.add(&take.said, &take.reference)?;
    }
    println!("\n| said | right | time |\n| --- | --- | --- |");
    for bin in &reliability.bins {
        if let (Some(said), Some(right)) = (bin.said(), bin.right()) {
            println!("| {said:.3} | {right:.3} | {:.1} s |", bin.time_s);
        }
    }
    let error = reliability.error();
    println!(
        "\nexpected calibration error of first candidates: {}",
        cell(error)
    );
    all.insert("calibration_error".into(), json!(error));
    Ok(Value::Object(all))
}

fn cell(value: Option<f64>) -> String {
    match value {
        // as the documents write it: .995, 1.000
        Some(v) => format!("{v:.3}").replacen("0.", ".", usize::from(v < 0.9995)),
        None => "–".into(),
    }
}
