//! Fits how ways to count are ranked, or what sections cost, on takes whose truth is known.
//!
//!     cargo run --release --example fit_form -- count FOLDER[,FOLDER…] TRIED[,TRIED…] [PULL[,PULL…]] [--out WEIGHTS]
//!     cargo run --release --example fit_form -- sections FOLDER[,FOLDER…] TRIED[,TRIED…] [ROUNDS] [--out WEIGHTS]
//!
//! Each folder holds NAME.wav with NAME.truth.json: `beats_s` and `downbeats_s` (s) and
//! `meter` ("6/8") for `count`; `sections` (`start`, `end` in s, `letter`) for `sections`;
//! `capo` and `tuning_offsets` as for `estimate`. The takes of the first folders are fitted
//! on (one that is named twice counts twice), those of the second only graded before and
//! after: never fit on them.
//!
//! `count`: each take's ways to count are graded, and the weights of
//! `src/hearing/weights/beats.json` are moved so that good ways rank high, by gradient
//! descent on the logarithm of how good the drawn way is expected to be; PULL holds them
//! where they are (0.001 to 0.1; several are tried in turn). It prints them as that file
//! has them.
//!
//! `sections`: the costs of `SectionWeights` are moved at random, a few at a time, as
//! long as boundaries and letters get better on all folders taken together.
//!
//! With `--out` the file of these weights is written into a folder: the last PULL's ranks into
//! its `beats.json` (with the built-in log odds if it has none yet), or `sections.json`.

#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example says how far it is"
)]

use rayon::prelude::*;
use serde_json::Value;
use std::error::Error;
use std::path::Path;
use takebook::grading::{BEAT_WINDOW_S, LabelledSpan, Timeline, beat_f, boundary_f, letter_f};
use takebook::hearing::{Form, SectionWeights, Weights, interpret, rank_weights};
use takes::SetUp;

#[path = "common/takes.rs"]
mod takes;

type Fallible<T> = Result<T, Box<dyn Error>>;

fn main() -> Fallible<()> {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let out = takes::out_folder(&mut arguments)?;
    let [what, fitted, tried, rest @ ..] = &arguments[..] else {
        return Err("say count or sections, folders to fit on and folders to try on".into());
    };
    takes::other_weights()?;
    let last = rest.first().map(String::as_str);
    match what.as_str() {
        "count" => {
            let ranks = fit_count(fitted, tried, last.unwrap_or("0.01"))?;
            out.map_or(Ok(()), |out| write_ranks(&out, &ranks))
        }
        "sections" => {
            let costs = fit_sections(fitted, tried, last.unwrap_or("300").parse()?)?;
            out.map_or(Ok(()), |out| {
                takes::write_numbers(&out, "sections.json", &costs)
            })
        }
        other => Err(format!("count or sections, not '{other}'").into()),
    }
}

/// What `of` makes of every take of some folders that has one; the folder's name with each.
fn each_take<T: Send>(
    folders: &str,
    of: impl Fn(&Path, &Value) -> Fallible<Option<T>> + Sync,
) -> Fallible<Vec<(String, T)>> {
    let mut all = Vec::new();
    for folder in folders.split(',') {
        let takes: Result<Vec<Option<T>>, String> = takes::of(Path::new(folder))?
            .par_iter()
            .map(|file| {
                let text = std::fs::read_to_string(file.with_extension("truth.json"));
                let truth = text
                    .map_err(Box::from)
                    .and_then(|t| Ok(serde_json::from_str(&t)?));
                truth
                    .and_then(|truth: Value| of(file, &truth))
                    .map_err(|e| format!("{}: {e}", file.display()))
            })
            .collect();
        all.extend(takes?.into_iter().flatten().map(|t| (folder.into(), t)));
        eprintln!("{folder}: heard");
    }
    Ok(all)
}

fn times(value: &Value) -> Vec<f64> {
    let all = value.as_array().into_iter().flatten();
    all.filter_map(Value::as_f64).collect()
}

// ---- ways to count

/// The ways to count a take.
struct Counted {
    meter: String,
    /// What describes each.
    values: Vec<Vec<f64>>,
    /// F of its beats, F of its downbeats, whether its meter is right.
    marks: Vec<[f64; 3]>,
    /// How good each is in all.
    worth: Vec<f64>,
}

fn counted(file: &Path, truth: &Value) -> Fallible<Option<Counted>> {
    let (beats_s, downs_s) = (times(&truth["beats_s"]), times(&truth["downbeats_s"]));
    let meter = truth["meter"].as_str().unwrap_or("").to_owned();
    let ways = takes::sound(file)?.ways_to_count(&SetUp::of(file)?.given()?, &Weights::default());
    if ways.is_empty() || beats_s.len() < 4 {
        return Ok(None);
    }
    let (mut marks, mut worth) = (Vec::new(), Vec::new());
    for way in &ways {
        let told = |downs: bool| -> Vec<f64> {
            let beats = way.beats.iter().filter(|b| !downs || b.1 == 1);
            beats.map(|b| b.0).collect()
        };
        let beat = beat_f(&told(false), &beats_s, BEAT_WINDOW_S)?.f;
        let down = beat_f(&told(true), &downs_s, BEAT_WINDOW_S)?.f;
        let said = format!("{}/{}", way.meter.0, way.meter.1);
        marks.push([beat, down, f64::from(said == meter)]);
        worth.push(how_good(&meter, &said, beat, down));
    }
    let values = ways.iter();
    let values = values.map(|w| w.values.iter().map(|v| f64::from(*v)).collect());
    Ok(Some(Counted {
        meter,
        values: values.collect(),
        marks,
        worth,
    }))
}

/// How good a way to count is: beats and downbeats, and a little for the meter.
fn how_good(meter: &str, said: &str, beat: f64, down: f64) -> f64 {
    // two bars of 2/4 written as one of 4/4 are hardly wrong
    if (meter, said) == ("2/4", "4/4") && down > 0.6 {
        return beat + 1.0;
    }
    let alike = meter == said || matches!((meter, said), ("6/8", "12/8") | ("12/8", "6/8"));
    beat + down + if alike { 0.3 } else { 0.0 }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// How much better a way must be to be worth e times as much: a sixth.
const SHARP: f64 = 6.0;

/// The loss of a take under weights, and its slope.
fn loss(take: &Counted, weights: &[f64]) -> (f64, Vec<f64>) {
    let softmax = |scores: Vec<f64>| -> (Vec<f64>, f64) {
        let top = scores.iter().copied().fold(f64::MIN, f64::max);
        let parts: Vec<f64> = scores.iter().map(|s| (s - top).exp()).collect();
        let sum: f64 = parts.iter().sum();
        (parts.iter().map(|p| p / sum).collect(), top + sum.ln())
    };
    let best = take.worth.iter().copied().fold(f64::MIN, f64::max);
    let ranks: Vec<f64> = take.values.iter().map(|v| dot(v, weights)).collect();
    let good = ranks.iter().zip(&take.worth);
    let good = good.map(|(r, w)| r + SHARP * (w - best)).collect();
    let ((drawn, all), (wanted, part)) = (softmax(ranks), softmax(good));
    let mut slope = vec![0.0; weights.len()];
    for ((values, d), w) in take.values.iter().zip(&drawn).zip(&wanted) {
        for (s, v) in slope.iter_mut().zip(values) {
            *s += (d - w) * v;
        }
    }
    (all - part, slope)
}

/// Puts ranks into a folder's `beats.json`.
fn write_ranks(out: &Path, ranks: &[f64]) -> Fallible<()> {
    let path = out.join("beats.json");
    let mut numbers: Value = match path.exists() {
        true => serde_json::from_str(&std::fs::read_to_string(&path)?)?,
        false => serde_json::from_str(include_str!("../../src/hearing/weights/beats.json"))?,
    };
    for ((name, _), rank) in rank_weights().iter().zip(ranks) {
        numbers["rank"][*name] = ((rank * 1e4).round() / 1e4).into();
    }
    takes::write_numbers(out, "beats.json", &numbers)
}

fn fit_count(fitted: &str, tried: &str, pulls: &str) -> Fallible<Vec<f64>> {
    let (fitted, tried) = (each_take(fitted, counted)?, each_take(tried, counted)?);
    let start: Vec<f64> = rank_weights().iter().map(|w| f64::from(w.1)).collect();
    print_marks("before", &fitted, &start);
    print_marks("before", &tried, &start);
    let mut weights = start.clone();
    for pull in pulls.split(',') {
        weights = descend(&fitted, &start, pull.parse()?);
        println!("\npull {pull}");
        for ((name, _), weight) in rank_weights().iter().zip(&weights) {
            println!("    \"{name}\": {weight:.4},");
        }
        print_marks("after", &fitted, &weights);
        print_marks("after", &tried, &weights);
    }
    Ok(weights)
}

/// Steps of the descent.
const STEPS: usize = 800;

/// Gradient descent with running means of slopes and their squares (Kingma and Ba, "Adam",
/// ICLR 2015), each weight in units of what its number varies by.
fn descend(takes: &[(String, Counted)], start: &[f64], pull: f64) -> Vec<f64> {
    let n_ways = takes.iter().map(|t| t.1.values.len()).sum::<usize>() as f64;
    let all = || takes.iter().flat_map(|t| &t.1.values);
    let unit: Vec<f64> = (0..start.len())
        .map(|k| {
            let mean = all().map(|v| v[k]).sum::<f64>() / n_ways;
            let square = all().map(|v| (v[k] - mean) * (v[k] - mean)).sum::<f64>() / n_ways;
            // what hardly varies is not worth a large weight
            square.sqrt().max(0.12)
        })
        .collect();
    let mut weights = start.to_vec();
    let (mut mean, mut square) = (vec![0.0; start.len()], vec![0.0; start.len()]);
    for step in 1..=STEPS {
        let slopes: Vec<Vec<f64>> = takes.par_iter().map(|t| loss(&t.1, &weights).1).collect();
        let rate = 0.05 * (1.0 - step as f64 / (STEPS + 1) as f64);
        for k in 0..start.len() {
            let mut slope = slopes.iter().map(|s| s[k]).sum::<f64>() / takes.len() as f64 / unit[k];
            slope += 2.0 * pull * (weights[k] - start[k]) * unit[k];
            mean[k] = 0.9 * mean[k] + 0.1 * slope;
            square[k] = 0.99 * square[k] + 0.01 * slope * slope;
            let (m, s) = (
                mean[k] / (1.0 - 0.9f64.powi(step as i32)),
                square[k] / (1.0 - 0.99f64.powi(step as i32)),
            );
            weights[k] -= rate * m / (s.sqrt() + 1e-8) / unit[k];
        }
    }
    weights
}

/// Mean F of beats and downbeats and share of right meters of the ways that rank first,
/// by folder and by meter.
fn print_marks(when: &str, takes: &[(String, Counted)], weights: &[f64]) {
    let first = |take: &Counted| {
        let ranks: Vec<f64> = take.values.iter().map(|v| dot(v, weights)).collect();
        let best = (0..ranks.len()).max_by(|a, b| ranks[*a].total_cmp(&ranks[*b]));
        best.map_or([0.0; 3], |b| take.marks[b])
    };
    let mut groups: Vec<(String, Vec<[f64; 3]>)> = Vec::new();
    for (folder, take) in takes {
        for name in [format!("{folder} all"), format!("{folder} {}", take.meter)] {
            let at = groups.iter().position(|g| g.0 == name);
            let at = at.unwrap_or_else(|| {
                groups.push((name, Vec::new()));
                groups.len() - 1
            });
            groups[at].1.push(first(take));
        }
    }
    groups.sort_by(|a, b| a.0.cmp(&b.0));
    for (name, marks) in groups {
        let mean = |k: usize| marks.iter().map(|m| m[k]).sum::<f64>() / marks.len() as f64;
        println!(
            "{when} {name}: {} takes, beats {:.3}, downbeats {:.3}, meter {:.2}",
            marks.len(),
            mean(0),
            mean(1),
            mean(2)
        );
    }
}

// ---- sections

/// A take's bars, when each starts, and its true sections.
struct Formed {
    form: Form,
    /// Number, start and end (s) of each bar.
    bars: Vec<(u32, f64, f64)>,
    truth: Timeline,
}

fn formed(file: &Path, truth: &Value) -> Fallible<Option<Formed>> {
    let sections = truth["sections"].as_array().ok_or("no sections")?;
    if sections.len() < 2 {
        return Ok(None);
    }
    let spans = sections.iter().map(|s| {
        let letter = s["letter"].as_str().unwrap_or("").to_owned();
        let time = |name: &str| s[name].as_f64().unwrap_or(0.0);
        span(time("start"), time("end"), letter)
    });
    let truth = Timeline::new(spans.collect())?;
    let given = SetUp::of(file)?.given()?;
    let heard = interpret(&takes::sound(file)?, &given, &Weights::default());
    Ok(Some(Formed {
        form: Form::of(&heard),
        bars: heard
            .bars
            .iter()
            .map(|b| (b.number, b.start_s, b.end_s))
            .collect(),
        truth,
    }))
}

fn span(start_s: f64, end_s: f64, label: String) -> LabelledSpan {
    LabelledSpan {
        start_s,
        end_s,
        label,
        line: 0,
    }
}

/// F of boundaries within 0.5 s and within 3 s, and F of letters.
fn marks(take: &Formed, weights: &SectionWeights) -> [f64; 3] {
    let bar = |number: u32| take.bars.iter().find(|b| b.0 == number);
    let sections = take.form.sections(weights);
    let spans = sections.iter().filter_map(|s| {
        let (first, last) = (bar(s.first_bar)?, bar(s.last_bar)?);
        Some(span(first.1, last.2, s.letter.clone()))
    });
    let grade = || -> Fallible<[f64; 3]> {
        let told = Timeline::new(spans.collect())?;
        let at = |window_s: f64| boundary_f(&told, &take.truth, window_s, true);
        Ok([at(0.5)?.f, at(3.0)?.f, letter_f(&told, &take.truth)?.f])
    };
    // a take in which no bars were heard has no sections
    match sections.is_empty() {
        true => [0.0; 3],
        false => grade().unwrap_or_else(|e| panic!("{e}")),
    }
}

/// What is made as large as it gets: a mean over folders.
fn score(takes: &[(String, Formed)], weights: &SectionWeights, print: Option<&str>) -> f64 {
    let all: Vec<[f64; 3]> = takes.par_iter().map(|t| marks(&t.1, weights)).collect();
    let mut folders: Vec<&str> = takes.iter().map(|t| t.0.as_str()).collect();
    folders.dedup();
    let mut sum = 0.0;
    for folder in &folders {
        let mine = takes.iter().zip(&all).filter(|(t, _)| t.0 == *folder);
        let mine: Vec<&[f64; 3]> = mine.map(|m| m.1).collect();
        let mean = |k: usize| mine.iter().map(|m| m[k]).sum::<f64>() / mine.len() as f64;
        let [near, far, letters] = [0, 1, 2].map(mean);
        if let Some(when) = print {
            println!(
                "{when} {folder}: {} takes, boundaries {near:.3} (0.5 s) {far:.3} (3 s), letters {letters:.3}",
                mine.len()
            );
        }
        sum += near + 1.5 * far + 1.2 * letters;
    }
    sum / folders.len() as f64
}

/// The costs with their names.
fn costs(w: &mut SectionWeights) -> Vec<(String, &mut f64)> {
    let lengths = w.lengths.iter_mut().enumerate();
    let mut all: Vec<(String, &mut f64)> =
        lengths.map(|(k, v)| (format!("lengths[{k}]"), v)).collect();
    let single = [
        ("letter", &mut w.letter),
        ("again", &mut w.again),
        ("known", &mut w.known),
        ("copy", &mut w.copy),
        ("differs", &mut w.differs),
        ("ending", &mut w.ending),
        ("length", &mut w.length),
        ("moved", &mut w.moved),
        ("rhythm", &mut w.rhythm),
        ("playing", &mut w.playing),
        ("tonic", &mut w.tonic),
        ("half_close", &mut w.half_close),
        ("short", &mut w.short),
        ("long", &mut w.long),
        ("duration", &mut w.duration),
        ("usual_s", &mut w.usual_s),
        ("wanders", &mut w.wanders),
        ("twice", &mut w.twice),
        ("odd_one", &mut w.odd_one),
        ("close", &mut w.close),
    ];
    all.extend(single.map(|(name, cost)| (name.to_owned(), cost)));
    all
}

fn fit_sections(fitted: &str, tried: &str, rounds: usize) -> Fallible<SectionWeights> {
    let (fitted, tried) = (each_take(fitted, formed)?, each_take(tried, formed)?);
    let start = SectionWeights::default();
    let mut weights = start.clone();
    score(&tried, &weights, Some("before"));
    let mut best = score(&fitted, &weights, Some("before"));
    // a linear congruential generator with Knuth's constants, from memory
    let mut state = 1u64;
    let mut random = move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    for round in 0..rounds {
        let step = 0.12 + 0.35 * (1.0 - round as f64 / rounds as f64);
        let mut moved = weights.clone();
        {
            let mut all = costs(&mut moved);
            for _ in 0..1 + (3.0 * random()) as usize {
                let which = (all.len() as f64 * random()) as usize;
                let z = 2.0 * (random() + random() + random() - 1.5);
                let cost = &mut all[which].1;
                **cost = (**cost * (1.0 + step * z)).max(0.0);
                if **cost < 0.2 {
                    **cost += 0.1 * random();
                }
            }
        }
        let now = score(&fitted, &moved, None) - strayed(&mut moved.clone(), &start);
        if now > best + 1e-4 {
            (best, weights) = (now, moved);
            println!("{round}: {best:.4}");
        }
    }
    println!("{weights:#?}");
    score(&fitted, &weights, Some("after"));
    score(&tried, &weights, Some("after"));
    Ok(weights)
}

/// How far costs went from where they were: none moves for nothing.
fn strayed(weights: &mut SectionWeights, start: &SectionWeights) -> f64 {
    let mut start = start.clone();
    let pairs = costs(weights).into_iter().zip(costs(&mut start));
    let far = |((_, now), (_, was)): ((String, &mut f64), (String, &mut f64))| {
        ((*now + 0.3) / (*was + 0.3)).ln().powi(2)
    };
    0.0006 * pairs.map(far).sum::<f64>()
}
