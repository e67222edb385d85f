//! `takebook undo`: undoes decisions; the history.

use super::layout::wrap_from;
use super::plain::shell_word;
use super::{CliError, Outcome};
use crate::deciding::{self, Undone};
use crate::songlog::decided::{Act, Clock, Decision, holding};
use crate::songlog::song::Song;
use crate::songlog::{Log, resolve, store};
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `undo`.
#[derive(clap::Args)]
#[command(after_help = "Example: takebook undo evening.takebook")]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    /// Which decisions, by their number in --list; left out, the latest. The number of an undo redoes what it undid.
    #[arg(value_name = "N")]
    numbers: Vec<u32>,
    /// Lists all decisions and changes nothing.
    #[arg(long, conflicts_with = "numbers")]
    list: bool,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

/// Of a decision with more acts than this only the first is named.
const N_NAMED: usize = 6;

pub(crate) fn run(args: Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    if args.list {
        let log = store::load(&args.log)?;
        list(&log, args.json, out)?;
        return Ok(Outcome::Done);
    }
    let allow = |_: &_| Ok::<_, CliError>(());
    let Undone { id, of, saved } = deciding::undo(&args.log, &args.numbers, None, allow)?;
    let song = saved.song;
    let words: Vec<String> = saved
        .log
        .decided
        .iter()
        .filter(|d| of.contains(&d.id))
        .map(|d| {
            let what = if d.takes_back().next().is_some() {
                "redone"
            } else {
                "undone"
            };
            format!("{} {what}: {}", d.id, in_words(d, &song))
        })
        .collect();
    let n_open = song.n_open();
    if args.json {
        let result = serde_json::json!({"version": 1, "decision": id, "of": of, "n_open": n_open});
        writeln!(out, "{result}")?;
    } else {
        for line in words {
            writeln!(out, "{}", wrap_from(&line, 2))?;
        }
        writeln!(
            out,
            "{}. To redo: takebook undo {} {id}",
            deciding::open_words(&song),
            shell_word(&args.log)
        )?;
    }
    Ok(Outcome::Done)
}

fn list(log: &Log, json: bool, out: &mut dyn Write) -> Result<(), CliError> {
    let holds = holding(&log.decided);
    if json {
        let all: Vec<_> = log
            .decided
            .iter()
            .zip(holds)
            .map(|(d, holds)| {
                let acts: Vec<String> = d.acts.iter().map(|act| act.words(&Clock)).collect();
                serde_json::json!({"id": d.id, "at": d.at, "acts": acts, "holds": holds})
            })
            .collect();
        writeln!(
            out,
            "{}",
            serde_json::json!({"version": 1, "decisions": all})
        )?;
        return Ok(());
    }
    if log.decided.is_empty() {
        writeln!(out, "no decisions yet")?;
    }
    let song = resolve(log);
    for (d, holds) in log.decided.iter().zip(holds) {
        let mark = if holds { "" } else { " (undone)" };
        let line = format!(
            "{:>4}  {}  {}{mark}",
            d.id,
            minute(&d.at),
            in_words(d, &song)
        );
        writeln!(out, "{}", wrap_from(&line, 27))?;
    }
    Ok(())
}

/// The acts of a decision with bars and beats; of many only the first.
fn in_words(decision: &Decision, song: &Song) -> String {
    let words = |act: &Act| deciding::words(act, song);
    match &decision.acts[..] {
        [first, more @ ..] if more.len() >= N_NAMED => {
            format!("{} and {} more", words(first), more.len())
        }
        acts => acts.iter().map(words).collect::<Vec<_>>().join("; "),
    }
}

/// `2026-03-01 18:05 UTC` for `2026-03-01T18:05:09Z`.
fn minute(at: &str) -> String {
    match (at.get(..10), at.get(11..16)) {
        (Some(day), Some(time)) if at.ends_with('Z') => format!("{day} {time} UTC"),
        _ => at.into(),
    }
}
