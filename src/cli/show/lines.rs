//! The chart: sections, and their bars in lines.

use super::super::CliError;
use super::super::layout::{WIDTH, columns, pad, wrap_from};
use super::{facts, foot, marked};
use crate::deciding::place::{name_of, section_at};
use crate::songlog::form;
use crate::songlog::song::{Bar, Section, Song, Span};
use std::io::Write;
use std::path::Path;

pub(super) fn chart(song: &Song, path: &Path, out: &mut dyn Write) -> Result<(), CliError> {
    writeln!(out, "{}", wrap_from(&song.title, 0))?;
    if let Some(facts) = facts(song) {
        writeln!(out, "{}", wrap_from(&facts, 0))?;
    }
    for note in &song.notes {
        writeln!(out, "{}", wrap_from(&format!("* {note}"), 2))?;
    }
    let names = form::letters(song);
    for line in form_lines(song, &names) {
        writeln!(out, "{line}")?;
    }
    let mut drawn = String::new();
    let before = |s: &&Span| song.bars.first().is_some_and(|b| s.start_s < b.start_s);
    for span in in_no_bar(song).filter(before) {
        writeln!(out, "\n{}", in_no_bar_line(span, song))?;
    }
    for (section, name) in song.sections.iter().zip(&names) {
        writeln!(out, "\n{}", heading(section, name, song))?;
        let bars: Vec<&Bar> = song
            .bars
            .iter()
            .filter(|b| (section.first_bar..=section.last_bar).contains(&b.number))
            .collect();
        for line in lines(&bars, song) {
            writeln!(out, "{line}")?;
            drawn += &line;
        }
        for line in section_notes(section, song) {
            writeln!(out, "{line}")?;
        }
    }
    for span in in_no_bar(song).filter(|s| !before(s)) {
        writeln!(out, "{}", in_no_bar_line(span, song))?;
    }
    writeln!(out)?;
    foot::write(song, &drawn, path, out)
}

/// Chords before the first bar and after the last, which no line of bars shows.
fn in_no_bar(song: &Song) -> impl Iterator<Item = &Span> {
    song.chords().filter(|s| song.is_in_no_bar(s))
}

fn in_no_bar_line(span: &Span, song: &Song) -> String {
    let (first, last) = (song.bars.first(), song.bars.last());
    match (first, last) {
        (Some(first), _) if span.start_s < first.start_s => {
            format!("  before bar {}: {}", first.number, marked(span))
        }
        (_, Some(last)) => format!("  after bar {}: {}", last.number, marked(span)),
        _ => marked(span),
    }
}

/// The order of the sections, and how each variant differs; nothing for a single section.
fn form_lines(song: &Song, names: &[String]) -> Vec<String> {
    let Some(order) = form::order(song) else {
        return Vec::new();
    };
    let mut lines = vec![wrap_from(&format!("form: {order}"), 6)];
    let mut said: Vec<&String> = Vec::new();
    for (section, name) in song.sections.iter().zip(names) {
        if !section.differs.is_empty() && !said.contains(&name) {
            said.push(name);
            lines.push(wrap_from(&format!("  {name}: {}", section.differs), 6));
        }
    }
    lines
}

fn heading(section: &Section, name: &str, song: &Song) -> String {
    let first = song.sections.iter().find(|s| s.letter == section.letter);
    let again = first.filter(|f| f.first_bar != section.first_bar);
    let mut text = format!("[{name}]");
    if let Some(name) = &section.name {
        text.push_str(&format!(" {name}"));
    }
    if let Some(key) = section.key {
        text.push_str(&format!(" in {}", key.text()));
    }
    if let Some(first) = again {
        let varied = if section.differs.is_empty() {
            ""
        } else {
            ", varied"
        };
        text.push_str(&format!(
            " (as bars {} to {}{varied})",
            first.first_bar, first.last_bar
        ));
    }
    for (bar, key) in form::changes_inside(song, section) {
        text.push_str(&format!(", {} from bar {bar}", key.text()));
    }
    wrap_from(&text, 4)
}

/// Bars in lines of four, or fewer where the chords need more room.
fn lines(bars: &[&Bar], song: &Song) -> Vec<String> {
    let per_line = [4, 2, 1]
        .into_iter()
        .find(|n| {
            bars.chunks(*n).all(|line| {
                line.iter()
                    .enumerate()
                    .all(|(i, bar)| cell(bar, i > 0, room(*n), song).is_some())
            })
        })
        .unwrap_or(1);
    bars.chunks(per_line)
        .map(|line| {
            let mut text = format!("{:>4} |", line[0].number);
            for (i, bar) in line.iter().enumerate() {
                let room = room(per_line);
                let cell =
                    cell(bar, i > 0, room, song).unwrap_or_else(|| names(bar, song).join(" "));
                text.push_str(&format!(" {} |", pad(&cell, room)));
            }
            text
        })
        .collect()
}

/// Columns for one bar where so many are on a line.
fn room(per_line: usize) -> usize {
    (WIDTH - 6) / per_line - 3
}

/// The chords of a bar, each about where its beat falls; none if the room is too small.
fn cell(bar: &Bar, may_be_held: bool, room: usize, song: &Song) -> Option<String> {
    let spans = spans_of(bar, song);
    if let [only] = spans[..]
        && may_be_held
        && only.start_s < bar.start_s - 0.02
    {
        return Some("%".into());
    }
    let names: Vec<(String, usize)> = spans
        .into_iter()
        .map(|span| {
            let part = (span.start_s - bar.start_s) / (bar.end_s - bar.start_s);
            (marked(span), (part.max(0.0) * room as f64).round() as usize)
        })
        .collect();
    // from the right: how far right each may start so that the later ones fit
    let mut latest = vec![0; names.len()];
    let mut end = room;
    for (i, (name, wanted)) in names.iter().enumerate().rev() {
        latest[i] = end.checked_sub(columns(name))?.min(*wanted);
        end = latest[i].saturating_sub(1);
    }
    let mut text = String::new();
    for ((name, _), latest) in names.iter().zip(latest) {
        let earliest = if text.is_empty() {
            0
        } else {
            columns(&text) + 1
        };
        text = pad(&text, latest.max(earliest));
        text.push_str(name);
    }
    (columns(&text) <= room).then_some(text)
}

/// Spans of a bar; of neighbours that look the same only the first.
fn spans_of<'a>(bar: &Bar, song: &'a Song) -> Vec<&'a Span> {
    let mut spans: Vec<&Span> = Vec::new();
    for span in song.spans_in(bar) {
        if spans.last().is_none_or(|last| marked(last) != marked(span)) {
            spans.push(span);
        }
    }
    spans
}

fn names(bar: &Bar, song: &Song) -> Vec<String> {
    spans_of(bar, song).into_iter().map(marked).collect()
}

fn section_notes(section: &Section, song: &Song) -> Vec<String> {
    song.spans
        .iter()
        .filter(|s| {
            let here = section_at(s.start_s, song).map(|(i, _)| &song.sections[i]);
            here == Some(section)
        })
        .flat_map(|s| {
            let at = name_of(s.start_s, song);
            s.notes
                .iter()
                .map(move |n| wrap_from(&format!("     * {at}: {n}"), 9))
        })
        .collect()
}
