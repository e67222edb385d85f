//! `takebook confirm`: the user's decisions about a place or the whole take.

use super::{CliError, Outcome};
use crate::deciding::{self, DecisionRequest, Made, words};
use crate::songlog::decided::Act;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `confirm`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook confirm evening.takebook 12.3 --chord Am7 --shape x02010\n\nPlaces: a bar 12, a beat 12.3, bars 5-8, a time 31.2s or 0:31.2, a section by\nletter (A for all of them, A2 for the second) or by name, or all.\n\nSections: --section-name and --section-letter apply to the whole section that a\nbar is in; a range of bars that is no section yet (5-8) becomes one. Silence before\nthe first bar and after the last is confirmed with those bars."
)]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    #[command(flatten)]
    request: DecisionRequest,

    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

/// How many acts are named one by one.
const N_NAMED: usize = 12;

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let requests = std::slice::from_ref(&args.request);
    let made = deciding::decide(&args.log, requests, None, |_| Ok::<_, CliError>(()))?;
    if args.json {
        writeln!(out, "{}", made_json(&made))?;
        return Ok(Outcome::Done);
    }
    let Made {
        acts,
        hints,
        before,
        saved,
        id,
    } = made;
    let song = saved.song;
    for act in acts.iter().filter(|a| !is_help(a, &acts)).take(N_NAMED) {
        writeln!(out, "{}", super::layout::wrap(&words(act, &before), 2))?;
    }
    if acts.len() > N_NAMED {
        writeln!(out, "and {} more", acts.len() - N_NAMED)?;
    }
    for hint in hints {
        writeln!(out, "{}", super::layout::wrap(&format!("note: {hint}"), 6))?;
    }
    writeln!(out, "decision {id}; {}", deciding::open_words(&song))?;
    Ok(Outcome::Done)
}

/// A decision as JSON, whichever command made it.
pub(super) fn made_json(made: &Made) -> serde_json::Value {
    let told = made.acts.iter().map(|a| words(a, &made.before));
    serde_json::json!({
        "version": 1,
        "decision": made.id,
        "acts": told.collect::<Vec<String>>(),
        "hints": made.hints,
        "n_chords": made.saved.song.n_chords(),
        "n_open": made.saved.song.n_open(),
    })
}

/// A decision in words: what it does, a line each, and its number.
pub(super) fn write_made(made: &Made, as_json: bool, out: &mut dyn Write) -> Result<(), CliError> {
    if as_json {
        writeln!(out, "{}", made_json(made))?;
        return Ok(());
    }
    for act in &made.acts {
        let line = words(act, &made.before);
        writeln!(out, "{}", super::layout::wrap(&line, 2))?;
    }
    writeln!(out, "decision {}", made.id)?;
    Ok(())
}

/// Splits that only make room for a chord go without saying.
fn is_help(act: &Act, all: &[Act]) -> bool {
    matches!(act, Act::Split { .. }) && all.iter().any(|a| matches!(a, Act::Chord { .. }))
}
