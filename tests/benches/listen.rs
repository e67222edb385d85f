//! How fast and how sure the live hearing is, by look-ahead.
//!
//! Run after `cargo test --test it rendered` (which renders the takes):
//! `cargo bench --bench listen`, or `cargo bench --bench listen -- FOLDER` for
//! other takes with NAME.lab and NAME.json beside NAME.wav. For each look-ahead:
//!
//! * how late an answer is, how long the program takes for it, and which share
//!   of one core listening takes;
//! * how much of the takes is named right at the live edge (major and minor as
//!   in MIREX, duration-weighted), each answer standing for the 46 ms up to its
//!   moment;
//! * for strums (three notes or more, each at most 60 ms after the one before):
//!   in which share of them the right major or minor chord is shown 250 and
//!   400 ms after the last string, and how late it is shown in 95 and 99 of 100.
//!   The clock is the audio clock plus the time the program took; sound comes
//!   in blocks of 256 samples (12 ms), as from a device. The same for those
//!   strums alone that bring another chord.
//!
//! The line "whole file" is the whole hearing of the finished file. The last
//! section is a soak: an hour of sound (one take again and again) through the
//! live hearing, as fast as it goes, with the memory that the program holds on
//! the way. `cargo bench --bench listen -- --soak` runs that section alone.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use takebook::audio;
use takebook::grading::{Strictness, Timeline, grade_chords, parse_lab};
use takebook::hearing::spectrum::{HOP, HOP_S};
use takebook::hearing::{Given, Listener, Live, Weights, interpret};

/// Frames of 46.4 ms.
const LOOK_AHEADS: [usize; 4] = [0, 1, 2, 4];
/// Samples that come at once.
const BLOCK: usize = 256;
/// Sound in the soak, s.
const SOAK_S: f64 = 3600.0;
/// Temperatures of the candidates tried beside the usual one.
const TEMPERATURES: [f32; 4] = [3.0, 5.0, 8.0, 12.0];

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args()
        .skip(1)
        .find(|a| !a.starts_with('-'))
        .map_or_else(
            || Path::new(env!("CARGO_TARGET_TMPDIR")).join("rendered"),
            PathBuf::from,
        );
    let mut takes: Vec<PathBuf> = std::fs::read_dir(&folder)
        .map_err(|e| format!("no rendered takes ({e}): run cargo test --test it rendered"))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "wav"))
        .collect();
    takes.sort();
    println!("{} takes\n", takes.len());
    if std::env::args().any(|a| a == "--soak") {
        return soak(takes.first().ok_or("no rendered takes")?);
    }
    println!("look-ahead     delay   time an answer  of a core   maj/min   sevenths   said");
    for look_ahead in LOOK_AHEADS {
        let mut sums = Sums::default();
        for take in &takes {
            sums.add(take, &mut |samples| live(samples, look_ahead, 0.0))?;
        }
        sums.print(&format!("{look_ahead:>3} frames"));
        sums.print_strums();
    }
    for temperature in TEMPERATURES {
        let mut sums = Sums::default();
        for take in &takes {
            sums.add(take, &mut |samples| live(samples, 0, temperature))?;
        }
        sums.print(&format!("at {temperature}"));
    }
    let mut sums = Sums::default();
    for take in &takes {
        sums.add(take, &mut |samples| whole(samples))?;
    }
    sums.print("whole file");
    println!();
    soak(takes.first().ok_or("no rendered takes")?)
}

/// An hour of sound through the live hearing: what it holds in memory, and how fast it is.
fn soak(take: &Path) -> Result<(), Box<dyn Error>> {
    let mut samples = Vec::new();
    audio::open(take)?.read_mono_22050(&mut |b| samples.extend_from_slice(b), &|_| {})?;
    let mut live = Live::new(Given::default(), Weights::default(), 0);
    let (mut n, mut n_answers) = (0usize, 0usize);
    let (mut told_s, start) = (0.0, Instant::now());
    println!("soak: an hour of sound, memory held by the program");
    for block in samples.chunks(BLOCK).cycle() {
        n_answers += usize::from(live.push(block)?.is_some());
        n += block.len();
        let heard_s = n as f64 * HOP_S / HOP as f64;
        if heard_s >= told_s {
            let minutes = told_s / 60.0;
            match resident_kib() {
                Some(kib) => println!("  after {minutes:>4.0} min: {:>6.1} MiB", kib / 1024.0),
                None => println!("  after {minutes:>4.0} min: not known on this system"),
            }
            told_s += if told_s < 300.0 { 60.0 } else { 300.0 };
        }
        if heard_s >= SOAK_S {
            break;
        }
    }
    println!(
        "  {n_answers} answers, {:.1} times as fast as it sounds",
        SOAK_S / start.elapsed().as_secs_f64()
    );
    Ok(())
}

/// What the program holds in memory now, KiB: the line `VmRSS: 1234 kB` (proc(5)).
fn resident_kib() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmRSS:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// What was told of a take.
#[derive(Default)]
struct Heard {
    /// Labels in time with their probabilities.
    spans: Vec<(f64, f64, String, f64)>,
    /// When each first candidate was shown, s from the take's start.
    shown: Vec<(f64, String)>,
    delay_s: f64,
    /// The time each answer took.
    times: Vec<Duration>,
    /// The time all pushes took, and the sound they held, s.
    busy_s: f64,
    sound_s: f64,
}

type Hear<'a> = dyn FnMut(&[f32]) -> Result<Heard, Box<dyn Error>> + 'a;

#[derive(Default)]
struct Sums {
    right_s: [f64; 2],
    compared_s: [f64; 2],
    /// Probability told, times seconds, and the seconds.
    said: (f64, f64),
    delay_s: f64,
    times: Vec<Duration>,
    busy_s: f64,
    sound_s: f64,
    /// s from a strum's last string until the right chord was shown, and
    /// whether the strum brought another chord.
    late_s: Vec<(f64, bool)>,
}

impl Sums {
    fn add(&mut self, take: &Path, hear: &mut Hear<'_>) -> Result<(), Box<dyn Error>> {
        let mut samples = Vec::new();
        audio::open(take)?.read_mono_22050(&mut |b| samples.extend_from_slice(b), &|_| {})?;
        let heard = hear(&samples)?;
        let spans = &heard.spans;
        let parts = spans.iter().map(|(a, b, l, _)| (*a, *b, l.as_str()));
        for (a, b, label, p) in spans {
            if label != "N" {
                self.said.0 += p * (b - a);
                self.said.1 += b - a;
            }
        }
        let timeline = Timeline::from_parts(parts)?;
        let truth = parse_lab(&std::fs::read_to_string(take.with_extension("lab"))?)?;
        let grades = grade_chords(&timeline, &truth)?;
        for (i, strictness) in [Strictness::MajMin, Strictness::Sevenths]
            .into_iter()
            .enumerate()
        {
            let recall = grades.recall(strictness, false).ok_or("not measured")?;
            self.right_s[i] += recall.ratio().unwrap_or(0.0);
            self.compared_s[i] += 1.0;
        }
        self.delay_s = self.delay_s.max(heard.delay_s);
        self.busy_s += heard.busy_s;
        self.sound_s += heard.sound_s;
        if !heard.shown.is_empty() {
            let lab = std::fs::read_to_string(take.with_extension("lab"))?;
            for strum in strums(&take.with_extension("json"), &lab)? {
                self.late_s.extend(lateness(&strum, &heard.shown));
            }
        }
        self.times.extend(heard.times);
        Ok(())
    }

    fn print_strums(&mut self) {
        for only_new in [false, true] {
            let mut late: Vec<f64> = self
                .late_s
                .iter()
                .filter(|(_, new)| *new || !only_new)
                .map(|(s, _)| *s)
                .collect();
            late.sort_by(f64::total_cmp);
            let within = |s: f64| late.iter().filter(|l| **l <= s).count() as f64;
            let n = late.len().max(1) as f64;
            let at = |share: f64| late.get((n * share) as usize).copied().unwrap_or(f64::NAN);
            println!(
                "    {:>5} strums{}: shown within 250 ms {:.3}, 400 ms {:.3}; 95 of 100 by {:.0} ms, 99 by {:.0} ms",
                late.len(),
                if only_new { " with another chord" } else { "" },
                within(0.25) / n,
                within(0.4) / n,
                at(0.95) * 1e3,
                at(0.99) * 1e3,
            );
        }
    }

    fn print(&mut self, what: &str) {
        self.times.sort();
        let at = |share: f64| {
            let i = (self.times.len().saturating_sub(1) as f64 * share) as usize;
            self.times.get(i).map_or(0.0, |t| t.as_secs_f64() * 1e3)
        };
        println!(
            "{what:<12}{:>6.0} ms {:>5.1} ({:>4.1}) ms {:>9.1} % {:>9.3} {:>10.3} {:>6.3}",
            self.delay_s * 1e3,
            at(0.5),
            at(0.99),
            100.0 * self.busy_s / self.sound_s.max(1e-9),
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
    let mut heard = Heard::default();
    let (mut before_s, mut n) = (0.0, 0);
    for block in samples.chunks(BLOCK) {
        let start = Instant::now();
        let answer = live.push(block)?;
        let took = start.elapsed();
        n += block.len();
        heard.busy_s += took.as_secs_f64();
        if let Some(answer) = answer {
            heard.times.push(took);
            heard.delay_s = answer.delay_s;
            let (label, p) = &answer.candidates[0];
            let shown_s = n as f64 * HOP_S / HOP as f64 + took.as_secs_f64();
            heard.shown.push((shown_s, label.label()));
            heard.spans.push((before_s, answer.at_s, label.label(), *p));
            before_s = answer.at_s;
        }
    }
    heard.sound_s = samples.len() as f64 * HOP_S / HOP as f64;
    if heard.sound_s > before_s {
        heard.spans.push((before_s, heard.sound_s, "N".into(), 1.0));
    }
    Ok(heard)
}

/// One strum: its last string, the strum after it (or the end), s, and its chord.
struct Strum {
    last_s: f64,
    next_s: f64,
    label: String,
    brings_another: bool,
}

/// The strums of a take whose chord is major or minor in MIREX's sense.
fn strums(notes: &Path, lab: &str) -> Result<Vec<Strum>, Box<dyn Error>> {
    let value: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(notes)?)?;
    let mut starts: Vec<f64> = value["notes"]
        .as_array()
        .ok_or("no notes")?
        .iter()
        .filter_map(|n| n[0].as_f64())
        .collect();
    starts.sort_by(f64::total_cmp);
    let mut groups: Vec<(f64, f64, usize)> = Vec::new();
    for s in starts {
        match groups.last_mut() {
            Some((_, last, n)) if s - *last <= 0.06 => {
                *last = s;
                *n += 1;
            }
            _ => groups.push((s, s, 1)),
        }
    }
    let chords: Vec<(f64, f64, &str)> = lab
        .lines()
        .filter_map(|line| {
            let mut parts = line.split_whitespace();
            let (a, b) = (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
            Some((a, b, parts.next()?))
        })
        .collect();
    let label = |s: f64| {
        let chord = chords.iter().find(|(a, b, _)| *a <= s && s < *b);
        chord.map_or("N", |(_, _, label)| *label)
    };
    let mut before = "N";
    let mut out = Vec::new();
    for (i, (_, last_s, n)) in groups.iter().enumerate() {
        let now = label(last_s + 0.02);
        if *n >= 3 && majmin(now).is_some() {
            out.push(Strum {
                last_s: *last_s,
                next_s: groups.get(i + 1).map_or(f64::INFINITY, |g| g.0),
                label: now.into(),
                brings_another: majmin(now) != majmin(before),
            });
        }
        before = now;
    }
    Ok(out)
}

/// Root and mode of a label that counts as major or minor.
fn majmin(label: &str) -> Option<(i32, bool)> {
    let label: takebook::theory::Label = label.parse().ok()?;
    let chord = label.chord()?;
    let has = |number: u8, alter: i8| {
        chord
            .quality
            .degrees
            .iter()
            .any(|d| (d.number(), d.alter()) == (number, alter))
    };
    let root = chord.root.pitch_class().index() as i32;
    match (has(3, 0), has(3, -1), has(5, 0)) {
        (true, false, true) => Some((root, true)),
        (false, true, true) => Some((root, false)),
        _ => None,
    }
}

/// When the right chord was shown after a strum, s from its last string: 0 if
/// it was there already and stayed; infinite if it never was before the next
/// strum and 400 ms.
fn lateness(strum: &Strum, shown: &[(f64, String)]) -> Option<(f64, bool)> {
    let wanted = majmin(&strum.label);
    let until = strum.next_s.max(strum.last_s + 0.4);
    let mut right_since = f64::INFINITY;
    for (at_s, label) in shown {
        if *at_s > until {
            break;
        }
        if majmin(label) != wanted {
            // what is wrong well before the strum's end says nothing
            right_since = f64::INFINITY;
        } else if right_since.is_infinite() {
            right_since = *at_s;
            if *at_s >= strum.last_s {
                break;
            }
        } else if *at_s >= strum.last_s {
            break;
        }
    }
    Some(((right_since - strum.last_s).max(0.0), strum.brings_another))
}

fn whole(samples: &[f32]) -> Result<Heard, Box<dyn Error>> {
    let start = Instant::now();
    let mut listener = Listener::new();
    listener.push(samples);
    let sound = listener.finish(&|_| true)?;
    let heard = interpret(&sound, &Given::default(), &Weights::default());
    let spans = heard
        .chords
        .iter()
        .map(|c| {
            let (label, p, _) = &c.candidates[0];
            (c.start_s, c.end_s, label.label(), *p)
        })
        .collect();
    Ok(Heard {
        spans,
        delay_s: heard.duration_s,
        times: vec![start.elapsed()],
        busy_s: start.elapsed().as_secs_f64(),
        sound_s: heard.duration_s,
        shown: Vec::new(),
    })
}
