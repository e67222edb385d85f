//! How long after a strum `takebook listen` shows its chord, on the wall clock.
//!
//! Run after `cargo test --release --test it real_guitars` (which makes the takes):
//! `cargo bench --bench first_chords`, or with a number of sessions (14 if left out) and the
//! path of another build of the program. The program is started as a user starts it, with a microphone that is a pipe into
//! which the sound of real strings goes at the speed at which it was played, a block every
//! 10 ms (Linux, ALSA's `file` plug-in). The clock runs from the moment at which the strum's
//! first string is in the pipe until the line with the right major or minor chord (sevenths
//! count as their triad) has come out.
//!
//! * first chords: a new session each, after 0.5, 1, 2 and 4 s of silence in turn;
//! * later chords: the chords of whole takes after the first, where the chord changes.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::error::Error;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};
use takebook::audio;
use takebook::theory::Label;

const RATE_HZ: usize = 48_000;
/// Samples of one channel that go into the pipe at once.
const BLOCK: usize = RATE_HZ / 100;
const SILENCES_S: [f64; 4] = [0.5, 1.0, 2.0, 4.0];
const TAKES: [&str; 2] = ["Wood-strummed", "Carbon-strummed"];
/// A chord that has not come by then never came, s.
const LATEST_S: f64 = 2.0;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let n: usize = arguments.iter().find_map(|a| a.parse().ok()).unwrap_or(14);
    let another = arguments.iter().find(|a| Path::new(a).is_file());
    let program = another.map_or(env!("CARGO_BIN_EXE_takebook"), String::as_str);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("real-guitars");
    let takes: Vec<Take> = TAKES
        .iter()
        .map(|name| Take::read(&folder.join(name)))
        .collect::<Result<_, _>>()?;
    let mut first = Vec::new();
    let chords = takes
        .iter()
        .flat_map(|t| t.chords.iter().map(move |c| (t, c)));
    let chords: Vec<_> = chords.collect();
    for i in 0..n {
        // chords of both takes in turn
        let (take, chord) = &chords[(i * 5) % chords.len()];
        let silence_s = SILENCES_S[i % SILENCES_S.len()];
        let mut sound = vec![0.0; (silence_s * RATE_HZ as f64) as usize];
        sound.extend_from_slice(take.part(chord.start_s, chord.end_s));
        let shown = session(program, &sound)?;
        first.push(lateness(&shown, silence_s, &chord.label));
    }
    print("first chords", &first);
    let mut later = Vec::new();
    for take in takes.iter().take(n.div_ceil(14)) {
        let shown = session(program, &take.samples)?;
        for pair in take.chords.windows(2) {
            if triad(&pair[0].label) != triad(&pair[1].label) {
                later.push(lateness(&shown, pair[1].start_s, &pair[1].label));
            }
        }
    }
    print("later chords", &later);
    Ok(())
}

fn print(what: &str, late_s: &[f64]) {
    let mut sorted = late_s.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
    println!(
        "{what}: {} strums, median {:.3} s, 95 of 100 by {:.3} s, latest {:.3} s",
        sorted.len(),
        at(0.5),
        at(0.95),
        at(1.0)
    );
}

/// A chord of a take, from its first string on.
struct Chord {
    start_s: f64,
    end_s: f64,
    label: String,
}

struct Take {
    /// Mono, 48 kHz.
    samples: Vec<f32>,
    chords: Vec<Chord>,
}

impl Take {
    fn read(path: &Path) -> Result<Self, Box<dyn Error>> {
        let missing = |e| {
            format!(
                "no {} ({e}): run cargo test --test it real_guitars",
                path.display()
            )
        };
        let lab = std::fs::read_to_string(path.with_extension("lab")).map_err(missing)?;
        let notes = std::fs::read_to_string(path.with_extension("json"))?;
        let notes: serde_json::Value = serde_json::from_str(&notes)?;
        let starts: Vec<f64> = notes["notes"]
            .as_array()
            .ok_or("no notes")?
            .iter()
            .filter_map(|n| n[0].as_f64())
            .collect();
        let mut chords = Vec::new();
        for line in lab.lines() {
            let parts: Vec<&str> = line.split_whitespace().collect();
            let [start, end_s, label] = parts[..] else {
                continue;
            };
            let (start, end_s): (f64, f64) = (start.parse()?, end_s.parse()?);
            let inside = starts
                .iter()
                .copied()
                .filter(|s| (start - 1e-3..end_s).contains(s));
            if label != "N" {
                chords.push(Chord {
                    start_s: inside.fold(f64::INFINITY, f64::min),
                    end_s,
                    label: label.into(),
                });
            }
        }
        let sound = audio::decode(&path.with_extension("wav"))?;
        Ok(Self {
            samples: at_48k(&sound.samples, sound.rate.0),
            chords,
        })
    }

    fn part(&self, start_s: f64, end_s: f64) -> &[f32] {
        let [a, b] = [start_s, end_s].map(|s| (s * RATE_HZ as f64) as usize);
        &self.samples[a.min(self.samples.len())..b.min(self.samples.len())]
    }
}

/// At 48 kHz, by straight lines between samples: good enough for what is timed.
fn at_48k(mono: &[f32], rate_hz: u32) -> Vec<f32> {
    let step = f64::from(rate_hz) / RATE_HZ as f64;
    let n = (mono.len() as f64 / step) as usize;
    (0..n)
        .map(|i| {
            let at = i as f64 * step;
            let k = (at as usize).min(mono.len().saturating_sub(2));
            let part = (at - k as f64) as f32;
            mono[k] * (1.0 - part) + mono[k + 1] * part
        })
        .collect()
}

/// When each first candidate was shown, s from the moment at which the sound began.
fn session(program: &str, sound: &[f32]) -> Result<Vec<(f64, String)>, Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let pipe = folder.path().join("microphone");
    let made = Command::new("mkfifo").arg(&pipe).status()?;
    if !made.success() {
        return Err("mkfifo does not run".into());
    }
    let config = folder.path().join("asound.conf");
    let text = format!(
        "pcm.!default {{ type file slave.pcm {{ type null }} file \"/dev/null\" infile \"{}\" format \"raw\" }}\n",
        pipe.display()
    );
    std::fs::write(&config, text)?;
    let mut program = Command::new(program)
        .args(["listen", "--json"])
        .env("ALSA_CONFIG_PATH", &config)
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .spawn()?;
    let lines = program.stdout.take().ok_or("no output")?;
    let (tell, told) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(lines).lines().map_while(Result::ok) {
            if tell.send((Instant::now(), line)).is_err() {
                return;
            }
        }
    });
    let start = feed(&pipe, sound)?;
    program.kill()?;
    program.wait()?;
    let mut shown = Vec::new();
    for (at, line) in told {
        let line: serde_json::Value = serde_json::from_str(&line)?;
        let label = line["candidates"][0]["label"].as_str().unwrap_or("N");
        let at_s = at.saturating_duration_since(start).as_secs_f64();
        shown.push((at_s, label.to_owned()));
    }
    Ok(shown)
}

/// Plays into the pipe; gives when the sound began. A second of silence comes before: a device
/// is opened, closed and opened again.
fn feed(pipe: &PathBuf, sound: &[f32]) -> Result<Instant, Box<dyn Error>> {
    let open = || File::options().write(true).open(pipe);
    let bytes = |block: &[f32]| -> Vec<u8> {
        let stereo = block.iter().flat_map(|x| [*x, *x]);
        stereo.flat_map(f32::to_le_bytes).collect()
    };
    let mut out = open()?;
    let mut opened = Instant::now();
    let still = vec![0.0; BLOCK];
    let mut n_still = 0;
    while opened.elapsed() < Duration::from_secs(1) {
        if out.write_all(&bytes(&still)).is_err() {
            out = open()?;
            (opened, n_still) = (Instant::now(), 0);
        }
        n_still += 1;
        wait(opened, n_still);
    }
    let start = opened + Duration::from_millis(10 * n_still);
    for (i, block) in sound.chunks(BLOCK).enumerate() {
        out.write_all(&bytes(block))?;
        wait(start, i as u64 + 1);
    }
    std::thread::sleep(Duration::from_millis(300));
    Ok(start)
}

/// Waits until so many blocks after a moment.
fn wait(from: Instant, n_blocks: u64) {
    let due = from + Duration::from_millis(10 * n_blocks);
    std::thread::sleep(due.saturating_duration_since(Instant::now()));
}

/// s from a strum's first string until its chord was shown (0 if it stood there already).
fn lateness(shown: &[(f64, String)], start_s: f64, label: &str) -> f64 {
    let wanted = triad(label);
    let mut now = None;
    for (at_s, label) in shown {
        if *at_s > start_s {
            if now == wanted {
                return 0.0;
            }
            if triad(label) == wanted {
                return at_s - start_s;
            }
        } else {
            now = triad(label);
        }
    }
    LATEST_S
}

/// Root and whether the third is major, of a chord that has a third.
fn triad(label: &str) -> Option<(i32, bool)> {
    let label: Label = label.parse().ok()?;
    let chord = label.chord()?;
    let third = chord.quality.degrees.iter().find(|d| d.number() == 3)?;
    Some((chord.root.pitch_class().index() as i32, third.alter() == 0))
}
