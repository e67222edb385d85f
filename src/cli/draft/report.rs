//! What is reported of each take, in words and as JSON.

use super::{Done, Job, Report};
use crate::cli::layout::wrap_from;
use crate::cli::plain::{shell_word, shown};
use crate::cli::{CliError, show};
use crate::deciding::remarks;
use crate::songlog::heard::{Heard, HeardChord};
use crate::songlog::song::Span;
use crate::songlog::{self, Log};
use crate::theory::Label;
use serde_json::{Value, json};
use std::io::Write;

pub(super) fn print(job: &Job, done: &Done, out: &mut dyn Write) -> Result<(), CliError> {
    match done {
        Done::Failed(_) => {}
        Done::UpToDate => writeln!(
            out,
            "{}: unchanged since its last draft, skipped",
            shown(&job.take)
        )?,
        Done::Drafted(report) => out.write_all(report.words.as_bytes())?,
    }
    Ok(())
}

pub(super) fn report(job: &Job, log: &Log) -> Result<Report, CliError> {
    let song = songlog::resolve(log);
    let has_line = song.spans.iter().any(Span::is_line);
    let has_chord = has_chord(&log.heard);
    let heard_anything = has_chord || has_line;
    let mut words = Vec::new();
    writeln!(words, "{} -> {}", shown(&job.take), shown(&job.log))?;
    let remarks = remarks(&song);
    for warning in &remarks {
        let line = format!("  note: {warning}");
        writeln!(words, "{}", wrap_from(&line, 8))?;
    }
    if has_chord {
        writeln!(
            words,
            "  {} bars, {} chords, {} unconfirmed{}",
            song.bars.len(),
            song.n_chords(),
            song.n_open(),
            show::facts(&song)
                .map(|f| format!("; {f}"))
                .unwrap_or_default()
        )?;
    } else {
        let beside = match has_line {
            true => format!(
                ", but {} single notes: charts show them as tablature",
                log.heard.notes.len()
            ),
            false => String::new(),
        };
        writeln!(
            words,
            "  no chord was heard in {:.1} s{beside}",
            song.duration_s
        )?;
    }
    if heard_anything {
        writeln!(words, "  next: takebook show {}", shell_word(&job.log))?;
    }
    let json = json!({
        "state": "drafted",
        "heard_anything": heard_anything,
        "duration_s": song.duration_s,
        "n_bars": song.bars.len(),
        "n_chords": song.n_chords(),
        "n_open": song.n_open(),
        "tempo_bpm": song.tempo_bpm,
        "meter": song.meter.map(|(b, v)| format!("{b}/{v}")),
        "key": song.key.map(|k| k.label()),
        "tuning_cents": log.heard.tuning_cents,
        "warnings": remarks,
    });
    Ok(Report {
        words: String::from_utf8_lossy(&words).into_owned(),
        json,
        heard_anything,
    })
}

fn has_chord(heard: &Heard) -> bool {
    let first = |c: &HeardChord| c.candidates.first().map(|c| c.label.clone());
    heard
        .chords
        .iter()
        .any(|c| first(c).is_some_and(|l| l != Label::NoChord))
}

pub(super) fn as_json((job, done): (&Job, &Done)) -> Value {
    let mut value = json!({
        "take": job.take.to_string_lossy(),
        "log": job.log.to_string_lossy(),
    });
    let more = match done {
        Done::Failed(error) => json!({"state": "failed", "error": error.to_string()}),
        Done::UpToDate => json!({"state": "up to date"}),
        Done::Drafted(report) => report.json.clone(),
    };
    if let (Value::Object(all), Value::Object(more)) = (&mut value, more) {
        all.extend(more);
    }
    value
}
