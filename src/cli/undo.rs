//! `takebook undo`: takes decisions back; the history.

use super::{CliError, Outcome};
use crate::deciding::{self, Undone};
use crate::songlog::decided::{Act, holding};
use crate::songlog::{Log, resolve, store};
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `undo`.
#[derive(clap::Args)]
#[command(after_help = "Example: takebook undo evening.takebook")]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    /// Which decisions, by their number in --list; left out, the latest that holds. The number of an undo brings back what it took.
    #[arg(value_name = "N")]
    numbers: Vec<u32>,
    /// Lists all decisions and changes nothing.
    #[arg(long, conflicts_with = "numbers")]
    list: bool,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    if args.list {
        let log = store::load(&args.log)?;
        list(&log, args.json, out)?;
        return Ok(Outcome::Done);
    }
    let Undone { id, of, log } = deciding::undo(&args.log, &args.numbers)?;
    let words: Vec<String> = log
        .decided
        .iter()
        .filter(|d| of.contains(&d.id))
        .map(|d| {
            let what = if d.takes_back().next().is_some() {
                "brought back what was taken"
            } else {
                "taken back"
            };
            format!("{} {what}: {}", d.id, d.text())
        })
        .collect();
    let n_open = resolve(&log).n_open();
    if args.json {
        let result = serde_json::json!({"version": 1, "decision": id, "of": of, "n_open": n_open});
        writeln!(out, "{result}")?;
    } else {
        for line in words {
            writeln!(out, "{line}")?;
        }
        writeln!(
            out,
            "{n_open} chords open. To bring it back: takebook undo {} {id}",
            args.log.display()
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
                let acts: Vec<String> = d.acts.iter().map(Act::text).collect();
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
        writeln!(out, "nothing was decided yet")?;
    }
    for (d, holds) in log.decided.iter().zip(holds) {
        let mut text = d.text();
        if d.acts.len() > 6 {
            text = format!("{} and {} more", d.acts[0].text(), d.acts.len() - 1);
        }
        let mark = if holds { "" } else { " (taken back)" };
        let line = format!("{:>4}  {}  {text}{mark}", d.id, d.at);
        writeln!(out, "{}", super::layout::wrap_from(&line, 28))?;
    }
    Ok(())
}
