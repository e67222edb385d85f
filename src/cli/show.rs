//! `takebook show`: a log as a chart in text, or the reasons for one bar.

mod foot;
mod lines;
mod reasons;

use super::{CliError, Outcome};
use crate::deciding::song_json;
use crate::fretboard::Tuning;
use crate::songlog::song::{Song, Span, State};
use crate::songlog::{form, resolve, store};
use crate::theory::Label;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `show`.
#[derive(clap::Args)]
#[command(after_help = "Example: takebook show evening.takebook --bar 12")]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    /// One bar: what was heard, the candidates and why, the shapes, its repeats.
    #[arg(long, value_name = "N")]
    bar: Option<u32>,
    /// Every harmony that sounds, not only the song's chords.
    #[arg(long)]
    detail: bool,
    /// Exit code 1 if a chord is not confirmed yet; for scripts.
    #[arg(long)]
    require_confirmed: bool,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

/// A candidate less sure than this gets a second question mark.
const FAIRLY_SURE: f64 = 0.6;

pub(crate) fn run(args: Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let log = store::load(&args.log)?;
    let song = match args.detail {
        true => resolve(&log.in_detail()),
        false => resolve(&log),
    };
    match (args.bar, args.json) {
        (None, true) => writeln!(out, "{}", song_json::song(&song))?,
        (None, false) => lines::chart(&song, &args.log, out)?,
        (Some(n), json) => reasons::bar(&song, n, json, out)?,
    }
    Ok(super::confirmed(args.require_confirmed, song.n_open()))
}

/// Key, tempo, meter, tuning, capo on one line; none if nothing is known.
pub(crate) fn facts(song: &Song) -> Option<String> {
    let mut facts = Vec::new();
    facts.extend(song.key.map(|k| k.text()));
    let changes = form::first_key_words(song);
    if song.key.is_none() && !changes.is_empty() {
        facts.push("key not confirmed".into());
    }
    facts.extend(changes);
    facts.extend(song.tempo_bpm.map(|t| format!("{t:.0} bpm")));
    facts.extend(song.meter.map(|(b, v)| format!("{b}/{v}")));
    if song.instrument.tuning != Tuning::standard() {
        facts.push(format!("tuning {}", song.instrument.tuning.text()));
    }
    if song.instrument.capo > 0 {
        facts.push(format!("capo {}", song.instrument.capo));
    }
    (!facts.is_empty()).then(|| facts.join(", "))
}

/// The symbol with its marks.
fn marked(span: &Span) -> String {
    let name = match span.label {
        Label::Unknown => "(?)".into(),
        _ => span.label.symbol(),
    };
    let open = match (span.state, span.certainty) {
        (State::Decided, _) => "",
        (State::Open, Some(sure)) if sure < FAIRLY_SURE => "??",
        (State::Open, _) => "?",
    };
    let note = if span.notes.is_empty() { "" } else { "*" };
    format!("{name}{open}{note}")
}

/// A chord from someone's file: nothing was heard, so nothing is doubted.
fn said_by_file(span: &Span) -> bool {
    span.candidates.len() == 1 && span.certainty == Some(1.0)
}
