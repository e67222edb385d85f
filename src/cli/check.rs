//! `takebook check`: the chart read alone, or held against a take.

use super::layout::{columns, pad, wrap_from};
use super::{CliError, Outcome};
use crate::audio;
use crate::checking::{
    Evidence, Level, PlayedBar, Remark, TakeCheck, check_json, check_take, read_chart,
};
use crate::deciding::percent;
use crate::drafting::{Watch, hear_stretches};
use crate::hearing::evidence_classes;
use crate::songlog::song::Song;
use crate::songlog::{resolve, store};
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// Reads a chart for slips, or holds a new take against it, bar by bar.
///
/// The first sentence is the verdict: as written, with differences, one part
/// only, in another key, or another song. The take may be played at another
/// tempo, start in the middle, leave bars out or play them again. A bar is
/// reported where what is heard speaks clearly against what is written; a quiet
/// or muddled passage is passed over. Brushed strings and ornaments are not
/// reported without --detail.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  takebook check evening.takebook\n  \
    takebook check evening.takebook lesson.wav\n  \
    takebook check evening.takebook lesson.wav --detail\n\n\
    Exit code 0: all is well or as written; 1: something is to be looked at.")]
pub(crate) struct Args {
    /// The log with the chart.
    log: PathBuf,
    /// A new take of the same song; left out, the chart is read alone.
    take: Option<PathBuf>,
    /// Judge every note of a chord: sevenths, suspensions, small shifts in time.
    #[arg(long, requires = "take")]
    detail: bool,
    /// Results as JSON (docs/checking.md).
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let song = resolve(&store::load(&args.log)?);
    match &args.take {
        None => alone(&song, args, out),
        Some(take) => against(&song, take, args, out),
    }
}

fn alone(song: &Song, args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let remarks = read_chart(song);
    if args.json {
        writeln!(out, "{:#}", alone_json(&remarks))?;
    } else if remarks.is_empty() {
        writeln!(
            out,
            "{}: {} bars read, nothing to remark.",
            song.title,
            song.bars.len()
        )?;
    } else {
        writeln!(out, "{:<8}{:<11}remark", "bar", "about")?;
        for r in &remarks {
            let head = format!("{:<8}{:<11}", place(r.bar, r.beat), r.kind.name());
            writeln!(out, "{}", under(&head, &r.words))?;
        }
        writeln!(out, "\n{} to look at.", count(remarks.len(), "place"))?;
    }
    Ok(outcome(remarks.is_empty()))
}

fn outcome(well: bool) -> Outcome {
    if well { Outcome::Done } else { Outcome::Open }
}

fn count(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// `12`, or `12.3` for beat 3 of bar 12.
fn place(bar: u32, beat: f64) -> String {
    if beat < 1.25 {
        bar.to_string()
    } else {
        format!("{bar}.{}", (beat * 2.0).round() / 2.0)
    }
}

fn alone_json(remarks: &[Remark]) -> Value {
    let list: Vec<Value> = remarks
        .iter()
        .map(|r| json!({"about": r.kind.name(), "bar": r.bar, "beat": r.beat, "words": r.words}))
        .collect();
    json!({"version": 1, "well": remarks.is_empty(), "remarks": list})
}

/// Hears a take's evidence.
fn evidence(take: &Path) -> Result<Evidence, CliError> {
    let watch = Watch {
        progress: &|_| {},
        cancel: &AtomicBool::new(false),
    };
    let stretches = hear_stretches(&mut audio::open(take)?, &watch)?;
    Ok(Evidence::new(evidence_classes(), stretches))
}

fn against(
    song: &Song,
    take: &Path,
    args: &Args,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    let heard = evidence(take)?;
    let level = match args.detail {
        true => Level::Detail,
        false => Level::Song,
    };
    let check = check_take(song, &heard, level).ok_or_else(|| {
        CliError::new(format!(
            "{}: the chart has no bar to check against; draft or confirm it first",
            args.log.display()
        ))
    })?;
    if args.json {
        writeln!(out, "{:#}", check_json(&check))?;
    } else {
        table(song, &check, out)?;
    }
    Ok(outcome(check.as_written()))
}

fn table(song: &Song, check: &TakeCheck, out: &mut dyn Write) -> Result<(), CliError> {
    writeln!(out, "{}", wrap_from(&check.summary, 0))?;
    if song.n_open() > 0 {
        let open = count(song.n_open(), "chord");
        let words = format!("note: {open} of the chart unconfirmed, read as proposed");
        writeln!(out, "{}", wrap_from(&words, 2))?;
    }
    let told: Vec<&PlayedBar> = check
        .bars
        .iter()
        .filter(|b| !b.findings.is_empty() || !b.remarks.is_empty())
        .collect();
    if !check.recognized || told.is_empty() {
        return Ok(());
    }
    writeln!(
        out,
        "\n   {:<8}{:>8}   {:<7}what sounds",
        "bar", "in take", "sure"
    )?;
    for bar in told {
        for f in &bar.findings {
            let at = crate::songlog::decided::clock(bar.start_s);
            let sure = percent(f.certainty);
            let line = format!("{:<8}{at:>8}   {sure:<7}", place(bar.number, f.beat));
            writeln!(out, "{}", told_line("!", &line, &f.words))?;
        }
        for words in &bar.remarks {
            let at = crate::songlog::decided::clock(bar.start_s);
            let line = format!("{:<8}{at:>8}   {:<7}", bar.number, "");
            writeln!(out, "{}", told_line(" ", &line, words))?;
        }
    }
    Ok(())
}

/// A line of the table of departures.
fn told_line(mark: &str, line: &str, words: &str) -> String {
    under(&pad(&format!(" {mark} {line}"), 29), words)
}

/// Words behind a head, folded under themselves.
fn under(head: &str, words: &str) -> String {
    let indent = columns(head);
    let folded = wrap_from(&format!("{}{words}", "_".repeat(indent)), indent);
    format!("{head}{}", folded.replacen(&"_".repeat(indent), "", 1))
}
