//! `takebook draft`: analyses takes and writes a log for each.

mod one;
mod plan;
mod report;

use self::one::draft;
use self::plan::plan;
use self::report::{as_json, print};
use super::{CliError, Outcome};
use crate::deciding::{BarBeats, Taps, read_tempo};
use crate::fretboard::{Tuning, read_capo};
use crate::songlog;
use crate::songlog::decided::Setting;
use crate::theory::Key;
use indicatif::MultiProgress;
use serde_json::{Value, json};
use std::io::Write;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// Arguments of `draft`.
#[derive(clap::Args)]
#[command(after_help = "Example: takebook draft evening.wav --capo 2")]
pub(crate) struct Args {
    /// Sound files, or folders of them (of a folder only what is new or changed is
    /// drafted); or a file of chords or notes to start from: .txt (a chart you
    /// typed), .lab, .jams, .musicxml, .mxl, .mid.
    #[arg(required_unless_present = "list", value_name = "TAKE")]
    takes: Vec<PathBuf>,
    /// A file that names takes or folders, one a line (- for standard input); only what is new or changed is drafted.
    #[arg(long, value_name = "FILE")]
    list: Option<PathBuf>,
    /// Only takes that are new or changed since their last draft.
    #[arg(long)]
    changed: bool,
    /// The log to write; for several takes a folder, made if need be. Left out, beside each take.
    #[arg(short, long, value_name = "LOG")]
    output: Option<PathBuf>,
    /// Title of the song.
    #[arg(long)]
    title: Option<String>,
    /// Fret of the capo, 0 for none.
    #[arg(long, value_name = "FRET", value_parser = read_capo)]
    capo: Option<u8>,
    /// Tuning: a name (standard, drop D, open G, half a step down), letters or notes low to high.
    #[arg(long)]
    tuning: Option<Tuning>,
    /// Key, if you know it: G, Am.
    #[arg(long)]
    key: Option<Key>,
    /// Tempo in bpm, if you know it.
    #[arg(long, value_name = "BPM", value_parser = read_tempo)]
    tempo: Option<f64>,
    /// Meter, if you know it: 4/4, 3/4, 6/8.
    #[arg(long, value_parser = songlog::read_meter)]
    meter: Option<(u8, u8)>,
    /// Where the first downbeat is, in seconds.
    #[arg(long, value_name = "S", value_parser = read_seconds)]
    first_downbeat: Option<f64>,
    /// Every beat as you tapped it: a file with a time on each line, or 0.5,1.02,1.55,…
    #[arg(long, value_name = "FILE|TIMES")]
    beats: Option<Taps>,
    /// A bar with more or fewer beats than the others: 9=2 gives bar 9 two beats.
    #[arg(long, value_name = "BAR=N")]
    bar_beats: Vec<BarBeats>,
    /// Takes back what was set before, so that it is heard: tempo, beats, meter, ….
    #[arg(long, value_enum, value_name = "WHAT")]
    as_heard: Vec<Setting>,
    /// How many takes at a time; left out, one a core.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
    /// One line of JSON for each take, as soon as it is done.
    #[arg(long, conflicts_with = "json")]
    json_lines: bool,
}

/// One take to draft.
struct Job {
    take: PathBuf,
    log: PathBuf,
    /// Skipped if nothing changed since its last draft.
    only_changed: bool,
}

/// What became of one take; of a thousand takes only this is kept in memory.
enum Done {
    Drafted(Box<Report>),
    UpToDate,
    Failed(CliError),
}

/// What is reported of a drafted take.
struct Report {
    words: String,
    json: Value,
    heard_anything: bool,
}

pub(crate) fn run(args: Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let jobs = plan(&args)?;
    let bars = MultiProgress::new();
    let (sender, receiver) = std::sync::mpsc::channel();
    let (stop, next) = (AtomicBool::new(false), AtomicUsize::new(0));
    let pools = pools(&args, jobs.len())?;
    let results = std::thread::scope(|scope| {
        for pool in &pools {
            let sender = sender.clone();
            let (jobs, args, bars, stop, next) = (&jobs, &args, &bars, &stop, &next);
            scope.spawn(move || {
                while !stop.load(Ordering::Relaxed) {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = jobs.get(i) else { break };
                    let done = pool
                        .install(|| draft(job, args, bars))
                        .unwrap_or_else(Done::Failed);
                    // the receiver is gone only if writing failed
                    let _ = sender.send((i, done));
                }
            });
        }
        drop(sender);
        let report = print_all(&jobs, &args, receiver, out);
        stop.store(true, Ordering::Relaxed);
        report
    })?;
    if args.json {
        let drafts: Vec<Value> = jobs.iter().zip(&results).map(as_json).collect();
        writeln!(out, "{}", json!({"version": 1, "drafts": drafts}))?;
    }
    close(&jobs, results)
}

/// Threads for each of the takes that are heard at a time.
///
/// A pool for each: in one pool a thread that waits for a part of its take would
/// begin another take meanwhile, on the same stack, and in that one the next.
fn pools(args: &Args, n_takes: usize) -> Result<Vec<rayon::ThreadPool>, CliError> {
    let failed = |e: &dyn std::fmt::Display| {
        CliError::new(format!("cannot start {:?} jobs: {e}", args.jobs))
    };
    let all = match args.jobs {
        Some(n) => usize::from(n),
        None => rayon::current_num_threads(),
    };
    let n_pools = all.min(n_takes).max(1);
    (0..n_pools)
        .map(|i| {
            let n = all / n_pools + usize::from(i < all % n_pools);
            rayon::ThreadPoolBuilder::new()
                .num_threads(n.max(1))
                .build()
                .map_err(|e| failed(&e))
        })
        .collect()
}

/// Prints the report of each take as soon as it is its turn; gives what became of all.
fn print_all(
    jobs: &[Job],
    args: &Args,
    receiver: std::sync::mpsc::Receiver<(usize, Done)>,
    out: &mut dyn Write,
) -> Result<Vec<Done>, CliError> {
    let mut done: Vec<Option<Done>> = jobs.iter().map(|_| None).collect();
    let mut next = 0;
    for (i, one) in receiver {
        if args.json_lines {
            let mut line = as_json((&jobs[i], &one));
            line["version"] = json!(1);
            writeln!(out, "{line}")?;
            out.flush()?;
        }
        done[i] = Some(one);
        while let Some(Some(one)) = done.get(next) {
            if !args.json && !args.json_lines {
                print(&jobs[next], one, out)?;
                out.flush()?;
            }
            next += 1;
        }
    }
    Ok(done.into_iter().flatten().collect())
}

/// Exit code and error of all takes together.
fn close(jobs: &[Job], results: Vec<Done>) -> Result<Outcome, CliError> {
    let n = results.len();
    let mut failed = Vec::new();
    let mut silent = false;
    for (job, done) in jobs.iter().zip(results) {
        match done {
            Done::Failed(error) if n == 1 => return Err(error),
            Done::Failed(error) => failed.push(format!("{}: {error}", job.take.display())),
            Done::Drafted(report) => silent |= !report.heard_anything,
            Done::UpToDate => {}
        }
    }
    if !failed.is_empty() {
        let head = format!("{} of {n} takes could not be drafted:", failed.len());
        return Err(CliError::list(&head, &failed));
    }
    Ok(if silent { Outcome::Open } else { Outcome::Done })
}

fn read_seconds(text: &str) -> Result<f64, String> {
    text.trim_end_matches('s')
        .parse()
        .ok()
        .filter(|s| (0.0..604_800.0).contains(s))
        .ok_or_else(|| format!("'{text}' is not a time in seconds"))
}
