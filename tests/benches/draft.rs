//! What a draft costs: seconds and peak memory for a minute of sound, beside
//! the least that the work could need, in the same run on the same machine.
//!
//!     cargo bench --bench draft
//!
//! The least is: decode the file, mix it to mono, halve its rate, and take one
//! short-time Fourier transform (8192 points every 512 samples at 22,050 Hz).
//! Each runs three times in a process of its own; the fastest counts. Memory
//! is the high-water mark that Linux keeps of each process. The minute is drafted
//! on one thread; ten minutes then show what a second thread brings.
//!
//! A peer made of general parts (`peer.py` beside this file: PyPI's librosa, installed
//! by tests/setup) does the same minute: chroma, beats and a search over templates.

#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a benchmark prints"
)]

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler};
use std::error::Error;
use std::path::Path;
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};
use takebook::units::{SampleRate, Seconds};
use takebook::voice::{Strike, Stroke, perform, strum};

const RATE: SampleRate = SampleRate(44_100);
const HEARING_RATE: SampleRate = SampleRate(22_050);
const MINUTE: Seconds = Seconds(60.0);
const N_RUNS: usize = 3;
const FRAME: usize = 8192;
const HOP: usize = 512;

/// The argument that makes this program do the least work instead.
const LEAST: &str = "least-work";

fn main() -> ExitCode {
    match bench() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn bench() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, what, take] = &arguments[..]
        && what == LEAST
    {
        return least_work(Path::new(take));
    }
    let folder = tempfile::tempdir()?;
    let take = folder.path().join("minute.wav");
    write_minute(&take)?;

    let me = std::env::current_exe()?;
    let least = fastest(|| {
        let mut command = Command::new(&me);
        command.arg(LEAST).arg(&take);
        command
    })?;
    let log = folder.path().join("minute.takebook");
    let drafted = |take: &Path, threads: &str| {
        fastest(|| {
            let _ = std::fs::remove_file(&log); // each run starts without a log
            let mut command = Command::new(env!("CARGO_BIN_EXE_takebook"));
            command.arg("draft").arg(take).arg("-o").arg(&log);
            command.env("RAYON_NUM_THREADS", threads);
            command
        })
    };
    let draft = drafted(&take, "1")?;

    println!("a minute of strummed guitar, WAV, 44.1 kHz, 16 bit, stereo\n");
    println!("{:<28}{:>10}{:>16}", "", "seconds", "peak memory");
    for (name, cost) in [("decode and one transform", &least), ("draft", &draft)] {
        let mib = cost.peak_kib as f64 / 1024.0;
        println!("{name:<28}{:>10.3}{mib:>12.1} MiB", cost.time.as_secs_f64());
    }
    let times = draft.time.as_secs_f64() / least.time.as_secs_f64();
    let memory = draft.peak_kib as f64 / least.peak_kib as f64;
    println!("{:<28}{times:>9.1}x{memory:>15.1}x", "ratio");

    let peer_s = peer(&take)?;
    let faster = peer_s / draft.time.as_secs_f64();
    println!("{:<28}{peer_s:>10.3}", "peer of general parts");
    println!("{:<28}{faster:>9.1}x", "draft is faster by");

    let long = folder.path().join("long.wav");
    repeat(&take, &long, 10)?;
    println!("\nten minutes of it\n");
    let one = drafted(&long, "1")?;
    let two = drafted(&long, "2")?;
    for (name, cost) in [("one thread", &one), ("two threads", &two)] {
        let mib = cost.peak_kib as f64 / 1024.0;
        println!("{name:<28}{:>10.3}{mib:>12.1} MiB", cost.time.as_secs_f64());
    }
    let gain = one.time.as_secs_f64() / two.time.as_secs_f64();
    println!("{:<28}{gain:>9.1}x", "the second thread brings");
    Ok(())
}

/// Seconds that the peer needs, by its own clock: loading and compiling left out.
fn peer(take: &Path) -> Result<f64, Box<dyn Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join(".venv/bin/python3");
    if !python.exists() {
        return Err("the peer needs tests/setup to be run first".into());
    }
    let mut command = Command::new(python);
    command.arg(root.join("tests/benches/peer.py")).arg(take);
    for threads in [
        "OMP_NUM_THREADS",
        "OPENBLAS_NUM_THREADS",
        "NUMBA_NUM_THREADS",
    ] {
        command.env(threads, "1");
    }
    let output = command.output()?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned().into());
    }
    Ok(String::from_utf8(output.stdout)?.trim().parse()?)
}

/// A WAV file so many times after itself.
fn repeat(from: &Path, to: &Path, times: usize) -> Result<(), Box<dyn Error>> {
    let mut reader = hound::WavReader::open(from)?;
    let samples = reader.samples::<i16>().collect::<Result<Vec<_>, _>>()?;
    let mut wav = hound::WavWriter::create(to, reader.spec())?;
    for _ in 0..times {
        for sample in &samples {
            wav.write_sample(*sample)?;
        }
    }
    wav.finalize()?;
    Ok(())
}

struct Cost {
    time: Duration,
    peak_kib: u64,
}

/// The fastest of some runs, with the highest memory of them all.
fn fastest(command: impl Fn() -> Command) -> Result<Cost, Box<dyn Error>> {
    let mut best: Option<Cost> = None;
    for _ in 0..N_RUNS {
        let cost = measured(command())?;
        best = Some(match best {
            None => cost,
            Some(b) => Cost {
                time: b.time.min(cost.time),
                peak_kib: b.peak_kib.max(cost.peak_kib),
            },
        });
    }
    best.ok_or_else(|| "no run".into())
}

fn measured(mut command: Command) -> Result<Cost, Box<dyn Error>> {
    let start = Instant::now();
    let mut child = command
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()?;
    let status_file = format!("/proc/{}/status", child.id());
    let mut peak_kib = 0;
    let status = loop {
        if let Some(kib) = high_water_kib(&status_file) {
            peak_kib = kib.max(peak_kib);
        }
        if let Some(status) = child.try_wait()? {
            break status;
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    let time = start.elapsed();
    // 1: it ran, but chords stay open
    if !matches!(status.code(), Some(0 | 1)) {
        let stderr = child.wait_with_output()?.stderr;
        return Err(format!("{command:?}: {}", String::from_utf8_lossy(&stderr)).into());
    }
    Ok(Cost { time, peak_kib })
}

/// The line `VmHWM: 1234 kB` (proc(5)); none once the process has ended.
fn high_water_kib(status_file: &str) -> Option<u64> {
    let text = std::fs::read_to_string(status_file).ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// A minute of strummed chords, a little different left and right.
fn write_minute(path: &Path) -> Result<(), Box<dyn Error>> {
    let chords: [&[(usize, u8)]; 4] = [
        &[(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)],
        &[(2, 50), (3, 57), (4, 62), (5, 66)],
        &[(0, 40), (1, 47), (2, 52), (3, 55), (4, 59), (5, 64)],
        &[(1, 48), (2, 52), (3, 55), (4, 60), (5, 64)],
    ];
    let mut strikes: Vec<Strike> = Vec::new();
    for beat in 0..118 {
        let on_s = 0.5 + 0.5 * f64::from(beat);
        let chord = chords[(beat / 4) as usize % 4];
        let off_s = 0.5 + 2.0 * f64::from(beat / 4 + 1);
        strikes.extend(strum(chord, Stroke::Down, on_s, off_s, 0.012, 0.8));
    }
    let left = perform(&strikes, 0.6, MINUTE, RATE);
    let right = perform(&strikes, 0.5, MINUTE, RATE);
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: RATE.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec)?;
    for (l, r) in left.iter().zip(&right) {
        wav.write_sample((l * 32_767.0) as i16)?;
        wav.write_sample((r * 32_767.0) as i16)?;
    }
    wav.finalize()?;
    Ok(())
}

/// Decode, mix, resample, transform; the sum of all magnitudes keeps it honest.
fn least_work(path: &Path) -> Result<(), Box<dyn Error>> {
    let mut reader = hound::WavReader::open(path)?;
    let samples = reader.samples::<i16>().collect::<Result<Vec<_>, _>>()?;
    let mono: Vec<f32> = samples
        .chunks_exact(2)
        .map(|c| (f32::from(c[0]) + f32::from(c[1])) / 65_536.0)
        .collect();
    drop(samples);
    let (from, to) = (RATE.0 as usize, HEARING_RATE.0 as usize);
    let mut resampler = Fft::<f32>::new(from, to, 1024, 1, FixedSync::Both)?;
    let input = InterleavedSlice::new(&mono, 1, mono.len())?;
    let halved = resampler.process_all(&input, mono.len(), None)?.take_data();

    let window: Vec<f32> = (0..FRAME)
        .map(|i| 0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / FRAME as f32).cos())
        .collect();
    let transform = realfft::RealFftPlanner::<f32>::new().plan_fft_forward(FRAME);
    let (mut frame, mut spectrum) = (transform.make_input_vec(), transform.make_output_vec());
    let mut sum = 0.0f64;
    for start in (0..halved.len().saturating_sub(FRAME)).step_by(HOP) {
        for (out, (x, w)) in frame.iter_mut().zip(halved[start..].iter().zip(&window)) {
            *out = x * w;
        }
        transform.process(&mut frame, &mut spectrum)?;
        sum += f64::from(spectrum.iter().map(|c| c.norm()).sum::<f32>());
    }
    if sum > 0.0 {
        Ok(())
    } else {
        Err("the minute is silent".into())
    }
}
