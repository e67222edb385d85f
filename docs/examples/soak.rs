//! Long work: many short takes drafted in one run, and one take of hours.
//!
//! ```sh
//! cargo build --release && cargo run --release --example soak -- 500 3
//! ```
//!
//! 500 takes of 5 to 15 s cut from the demo takes, then the demo takes repeated
//! for 3 hours; prints time of the processor, the largest memory, and memory as
//! it went (Linux: from /proc). The takes lie in a folder of their own, which is
//! removed at the end; a take of 3 hours has 480 MB.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Instant;

type Failed = Box<dyn std::error::Error>;

const RATE_HZ: u32 = 22_050;

fn main() -> Result<(), Failed> {
    let mut args = std::env::args().skip(1);
    let n_takes: usize = args
        .next()
        .ok_or("expected: how many takes, how many hours")?
        .parse()?;
    let hours: f64 = args.next().ok_or("expected: how many hours")?.parse()?;
    let sound = demo_takes()?;
    let folder = tempfile::tempdir()?;
    let out = &mut std::io::stdout();

    let takes = folder.path().join("takes");
    std::fs::create_dir(&takes)?;
    let mut length_s = 0.0;
    for i in 0..n_takes {
        // lengths and places that repeat only after many takes
        let n = RATE_HZ as usize * (5 + i * 7 % 11);
        let from = i * 104_729 % (sound.len() - n);
        write(
            &takes.join(format!("take{i:05}.wav")),
            [&sound[from..from + n]],
        )?;
        length_s += n as f64 / f64::from(RATE_HZ);
    }
    writeln!(
        out,
        "{n_takes} takes, {:.2} h of sound together",
        length_s / 3600.0
    )?;
    soak(&takes, n_takes, length_s, out)?;

    let long = folder.path().join("long.wav");
    let n_times = (hours * 3600.0 * f64::from(RATE_HZ) / sound.len() as f64).ceil() as usize;
    write(&long, std::iter::repeat_n(&sound[..], n_times))?;
    let length_s = n_times as f64 * sound.len() as f64 / f64::from(RATE_HZ);
    writeln!(out, "one take of {:.2} h", length_s / 3600.0)?;
    soak(&long, 1, length_s, out)?;
    let log = std::fs::metadata(long.with_extension("takebook"))?.len();
    writeln!(out, "  its log has {:.1} MB", log as f64 / 1e6)?;
    Ok(())
}

/// The demo takes, one after the other.
fn demo_takes() -> Result<Vec<i16>, Failed> {
    let mut all = Vec::new();
    for name in ["lantern-porch", "river-stairs", "attic-letters"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/{name}.wav"));
        let mut reader = hound::WavReader::open(path)?;
        if reader.spec().sample_rate != RATE_HZ || reader.spec().channels != 1 {
            return Err(format!("{name} is not mono at {RATE_HZ} Hz").into());
        }
        all.extend(reader.samples::<i16>().collect::<Result<Vec<_>, _>>()?);
    }
    Ok(all)
}

fn write<'a>(path: &Path, parts: impl IntoIterator<Item = &'a [i16]>) -> Result<(), Failed> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec)?;
    for part in parts {
        for sample in part {
            writer.write_sample(*sample)?;
        }
    }
    Ok(writer.finalize()?)
}

/// Drafts and tells what it took.
fn soak(takes: &Path, n_takes: usize, length_s: f64, out: &mut impl Write) -> Result<(), Failed> {
    let program = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/release/takebook");
    let start = Instant::now();
    let mut child = Command::new(program)
        .args(["draft", "--json-lines"])
        .arg(takes)
        .stdout(Stdio::piped())
        .spawn()?;
    let lines = BufReader::new(child.stdout.take().ok_or("no output")?);
    let (mut n_drafted, mut last) = (0, Memory::default());
    let every = (n_takes / 5).max(1);
    // a long take says nothing on its way: look from time to time
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        lines
            .lines()
            .map_while(Result::ok)
            .for_each(|l| drop(sender.send(l)))
    });
    loop {
        let told = receiver.recv_timeout(std::time::Duration::from_millis(100));
        if let Some(now) = memory(&child) {
            last = now;
        }
        match told {
            Ok(line) => {
                n_drafted += usize::from(line.contains("\"drafted\""));
                if n_drafted % every == 0 {
                    writeln!(out, "  after {n_drafted:>5}: {:>6.0} MB now", last.now_mb)?;
                }
            }
            Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {}
            Err(std::sync::mpsc::RecvTimeoutError::Disconnected) => break,
        }
    }
    let status = child.wait()?;
    if status.code() == Some(2) || n_drafted != n_takes {
        return Err(format!("only {n_drafted} were drafted, {status}").into());
    }
    let hours = length_s / 3600.0;
    writeln!(
        out,
        "  at most {:.0} MB; {:.1} s, of the processor {:.1} s ({:.0} s an hour of sound)",
        last.most_mb,
        start.elapsed().as_secs_f64(),
        last.processor_s,
        last.processor_s / hours
    )?;
    Ok(())
}

#[derive(Default, Clone, Copy)]
struct Memory {
    now_mb: f64,
    most_mb: f64,
    processor_s: f64,
}

/// What the system tells of a running program; none once it has ended.
fn memory(child: &Child) -> Option<Memory> {
    let read = |name: &str| std::fs::read_to_string(format!("/proc/{}/{name}", child.id())).ok();
    let status = read("status")?;
    let kilobytes = |name: &str| -> Option<f64> {
        let line = status.lines().find(|l| l.starts_with(name))?;
        line.split_whitespace().nth(1)?.parse().ok()
    };
    let stat = read("stat")?;
    // proc(5): after the name in brackets, fields 14 and 15, in ticks of 1/100 s
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |i: usize| fields.get(i)?.parse::<f64>().ok();
    Some(Memory {
        now_mb: kilobytes("VmRSS:")? / 1e3,
        most_mb: kilobytes("VmHWM:")? / 1e3,
        processor_s: (ticks(11)? + ticks(12)?) / 100.0,
    })
}
