//! Under the chart: what its signs mean, what is unconfirmed, and remarks.

use super::super::CliError;
use super::super::layout::wrap_from;
use super::super::plain::shell_word;
use super::{FAIRLY_SURE, said_by_file};
use crate::deciding::place::{name_of, section_at};
use crate::deciding::{percent, remarks};
use crate::songlog::song::{Song, Span};
use crate::theory::Label;
use std::io::Write;
use std::path::Path;

/// How many of the least sure chords are named at the foot.
const N_LEAST_SURE: usize = 5;
/// A chord at least so sure is not named there.
const DOUBTFUL: f64 = 0.995;

/// Signs of the bars as drawn, what is open, warnings.
pub(super) fn write(
    song: &Song,
    drawn: &str,
    path: &Path,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    let mut legend = Vec::new();
    let unsure = |s: &&Span| s.certainty.is_some_and(|c| c < FAIRLY_SURE);
    if song.open().any(|s| !unsure(&s)) {
        legend.push("G? unconfirmed");
    }
    if song.open().any(|s| unsure(&s)) {
        legend.push("G?? unconfirmed, under 60 % probable");
    }
    if song.n_open() < song.n_chords() {
        legend.push("G confirmed");
    }
    if song.spans.iter().any(|s| !s.notes.is_empty()) {
        legend.push("* a note");
    }
    if drawn.contains("N.C.") {
        legend.push("N.C. no chord");
    }
    if song.spans.iter().any(|s| s.label == Label::Unknown) {
        legend.push("(?) no name");
    }
    if drawn.contains('%') {
        legend.push("% same chord continues");
    }
    writeln!(out, "{}", wrap_from(&legend.join("; "), 0))?;
    let (n_open, n) = (song.n_open(), song.n_chords());
    if n_open == 0 {
        writeln!(out, "all {n} chords are confirmed")?;
    } else {
        writeln!(out, "{n_open} of {n} chords unconfirmed")?;
        least_sure(song, path, out)?;
    }
    for version in &song.versions {
        let line = format!("version {}: {}", version.named(), version.settings.words());
        writeln!(out, "{}", wrap_from(&line, 2))?;
    }
    for note in &song.lesson_notes {
        let line = format!("lesson {}, {}: {}", note.number, note.head(), note.words());
        writeln!(out, "{}", wrap_from(&line, 2))?;
    }
    for warning in remarks(song) {
        writeln!(out, "{}", wrap_from(&format!("note: {warning}"), 6))?;
    }
    Ok(())
}

fn least_sure(song: &Song, path: &Path, out: &mut dyn Write) -> Result<(), CliError> {
    let sure = |s: &Span| s.certainty.unwrap_or(1.0);
    let mut open: Vec<&Span> = song
        .open()
        .filter(|s| s.certainty.is_some() && !said_by_file(s))
        .collect();
    open.sort_by(|a, b| sure(a).total_cmp(&sure(b)));
    let worst: Vec<String> = open
        .iter()
        .take(N_LEAST_SURE)
        .filter(|s| sure(s) < DOUBTFUL)
        .map(|s| {
            let sure = percent(s.certainty.unwrap_or(0.0));
            let other = s.candidates.iter().find(|c| c.label != s.label);
            let or = other.map_or_else(String::new, |c| {
                format!(" (or {} {})", c.label.symbol(), percent(c.probability))
            });
            format!(
                "{} {} {sure}{or}",
                name_of(s.start_s, song),
                s.label.symbol()
            )
        })
        .collect();
    if worst.is_empty() {
        // none is doubtful: they are looked at in their order
        open.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    }
    if let Some(first) = open.first() {
        let line = if worst.is_empty() {
            format!("probability of each: {}", percent(sure(first)))
        } else {
            format!("least certain: {}", worst.join(", "))
        };
        writeln!(out, "{}", wrap_from(&line, 12))?;
        if let Some((_, bar)) = section_at(first.start_s.max(0.0) + 0.13, song) {
            writeln!(
                out,
                "why: takebook show {} --bar {}",
                shell_word(path),
                bar.number
            )?;
        }
    }
    Ok(())
}
