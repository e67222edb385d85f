//! How fast and how sure the live hearing is, by look-ahead.
//!
//! Run after `cargo test --test it rendered` (which renders the takes):
//! `cargo bench --bench listen`. For each look-ahead: how late an answer is,
//! how long the program takes for it, and how much of the takes is named
//! right at the live edge (major and minor as in MIREX, duration-weighted),
//! each answer standing for the 186 ms up to its moment. The last line is the
//! whole hearing of the finished file.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use takebook::audio;
use takebook::grading::{Strictness, Timeline, grade_chords, parse_lab};
use takebook::hearing::spectrum::{HOP, HOP_S};
use takebook::hearing::{Given, Listener, Live, Weights, interpret};

/// Frames of 46.4 ms.
const LOOK_AHEADS: [usize; 6] = [0, 2, 4, 8, 16, 70];
/// Temperatures of the candidates tried beside the usual one.
const TEMPERATURES: [f32; 4] = [3.0, 5.0, 8.0, 12.0];

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("rendered");
    let mut takes: Vec<PathBuf> = std::fs::read_dir(&folder)
        .map_err(|e| format!("no rendered takes ({e}): run cargo test --test it rendered"))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "wav"))
        .collect();
    takes.sort();
    println!("{} takes\n", takes.len());
    println!("look-ahead     delay   time an answer   maj/min right   sevenths right   said");
    for look_ahead in LOOK_AHEADS {
        let mut sums = Sums::default();
        for take in &takes {
            sums.add(take, &mut |samples| live(samples, look_ahead, 0.0))?;
        }
        sums.print(&format!("{look_ahead:>3} frames"));
    }
    for temperature in TEMPERATURES {
        let mut sums = Sums::default();
        for take in &takes {
            sums.add(take, &mut |samples| live(samples, 4, temperature))?;
        }
        sums.print(&format!("at {temperature}"));
    }
    let mut sums = Sums::default();
    for take in &takes {
        sums.add(take, &mut |samples| whole(samples))?;
    }
    sums.print("whole file");
    Ok(())
}

/// Labels in time with their probabilities, the longest delay (s), and the time
/// each answer took.
type Heard = (Vec<(f64, f64, String, f64)>, f64, Vec<Duration>);

type Hear<'a> = dyn FnMut(&[f32]) -> Result<Heard, Box<dyn Error>> + 'a;

#[derive(Default)]
struct Sums {
    right_s: [f64; 2],
    compared_s: [f64; 2],
    /// Probability told, times seconds, and the seconds.
    said: (f64, f64),
    delay_s: f64,
    times: Vec<Duration>,
}

impl Sums {
    fn add(&mut self, take: &Path, hear: &mut Hear<'_>) -> Result<(), Box<dyn Error>> {
        let mut samples = Vec::new();
        audio::open(take)?.read_mono_22050(&mut |b| samples.extend_from_slice(b), &|_| {})?;
        let (spans, delay_s, times) = hear(&samples)?;
        let parts = spans.iter().map(|(a, b, l, _)| (*a, *b, l.as_str()));
        for (a, b, label, p) in &spans {
            if label != "N" {
                self.said.0 += p * (b - a);
                self.said.1 += b - a;
            }
        }
        let heard = Timeline::from_parts(parts)?;
        let truth = parse_lab(&std::fs::read_to_string(take.with_extension("lab"))?)?;
        let grades = grade_chords(&heard, &truth)?;
        for (i, strictness) in [Strictness::MajMin, Strictness::Sevenths]
            .into_iter()
            .enumerate()
        {
            let recall = grades.recall(strictness, false).ok_or("not measured")?;
            self.right_s[i] += recall.ratio().unwrap_or(0.0);
            self.compared_s[i] += 1.0;
        }
        self.delay_s = self.delay_s.max(delay_s);
        self.times.extend(times);
        Ok(())
    }

    fn print(&mut self, what: &str) {
        self.times.sort();
        let at = |share: f64| {
            let i = (self.times.len().saturating_sub(1) as f64 * share) as usize;
            self.times.get(i).map_or(0.0, |t| t.as_secs_f64() * 1e3)
        };
        println!(
            "{what:<12}{:>6.0} ms {:>5.0} ({:>4.0}) ms {:>15.3} {:>16.3} {:>6.3}",
            self.delay_s * 1e3,
            at(0.5),
            at(0.99),
            self.right_s[0] / self.compared_s[0],
            self.right_s[1] / self.compared_s[1],
            self.said.0 / self.said.1.max(1e-9),
        );
    }
}

fn live(samples: &[f32], look_ahead: usize, temperature: f32) -> Result<Heard, Box<dyn Error>> {
    let weights = Weights {
        temperature,
        ..Weights::default()
    };
    let mut live = Live::new(Given::default(), weights, look_ahead);
    let (mut spans, mut times, mut delay_s) = (Vec::new(), Vec::new(), 0.0);
    let mut before_s = 0.0;
    for block in samples.chunks(HOP) {
        let start = Instant::now();
        if let Some(answer) = live.push(block)? {
            times.push(start.elapsed());
            delay_s = answer.delay_s;
            let (label, p) = &answer.candidates[0];
            spans.push((before_s, answer.at_s, label.label(), *p));
            before_s = answer.at_s;
        }
    }
    let end_s = samples.len() as f64 * HOP_S / HOP as f64;
    if end_s > before_s {
        spans.push((before_s, end_s, "N".into(), 1.0));
    }
    Ok((spans, delay_s, times))
}

fn whole(samples: &[f32]) -> Result<Heard, Box<dyn Error>> {
    let start = Instant::now();
    let mut listener = Listener::new();
    listener.push(samples);
    let sound = listener.finish(&|_| {})?;
    let heard = interpret(&sound, &Given::default(), &Weights::default());
    let spans = heard
        .chords
        .iter()
        .map(|c| {
            (
                c.start_s,
                c.end_s,
                c.candidates[0].0.label(),
                c.candidates[0].1,
            )
        })
        .collect();
    Ok((spans, heard.duration_s, vec![start.elapsed()]))
}
