//! Captions: a cue a chord, and a cue a section at the top of the picture.
//!
//! # Source
//! W3C, WebVTT: The Web Video Text Tracks Format, sections 4.1 and 4.2.

use super::sheet::all_bars;
use super::{Options, PERMISSION};
use crate::songlog::song::{Song, State};
use std::fmt::Write;

/// Everything before a cue, in order of its start.
struct Cue {
    start_ms: u64,
    end_ms: u64,
    settings: &'static str,
    id: String,
    text: String,
}

/// The file. A cue that `options.offset_s` moves before 0 is cut or left out.
pub(super) fn write(song: &Song, options: &Options) -> String {
    let mut cues = Vec::new();
    let bars = all_bars(song);
    for (i, section) in song.sections.iter().enumerate() {
        let inside = || {
            bars.iter()
                .filter(|b| (section.first_bar..=section.last_bar).contains(&b.number))
        };
        let (Some(first), Some(last)) = (inside().next(), inside().next_back()) else {
            continue;
        };
        let mut text = format!("Section {}", section.letter);
        if let Some(name) = &section.name {
            let _ = write!(text, ": {name}");
        }
        if !section.differs.is_empty() {
            let _ = write!(text, " ({})", section.differs);
        }
        cues.extend(cue(
            (first.start_s, last.end_s),
            options,
            " line:0",
            format!("section-{}", i + 1),
            &text,
        ));
    }
    for (i, span) in song.spans.iter().enumerate() {
        let mut text = span.label.symbol();
        if span.state == State::Open && text != "?" {
            text.push('?');
        }
        if let Some(shape) = span.shapes.first() {
            let _ = write!(text, "  {shape}");
        }
        cues.extend(cue(
            (span.start_s, span.end_s),
            options,
            "",
            format!("chord-{}", i + 1),
            &text,
        ));
    }
    cues.sort_by_key(|c| (c.start_ms, std::cmp::Reverse(c.end_ms)));
    let mut text = String::from("WEBVTT");
    let title = escape(&song.title);
    if !title.is_empty() {
        let _ = write!(text, " {title}");
    }
    let _ = write!(text, "\n\nNOTE\n{}\n", escape(PERMISSION));
    for cue in cues {
        let _ = write!(
            text,
            "\n{}\n{} --> {}{}\n{}\n",
            cue.id,
            stamp(cue.start_ms),
            stamp(cue.end_ms),
            cue.settings,
            cue.text
        );
    }
    text
}

fn cue(
    (start_s, end_s): (f64, f64),
    options: &Options,
    settings: &'static str,
    id: String,
    text: &str,
) -> Option<Cue> {
    let ms = |t: f64| ((t + options.offset_s).max(0.0) * 1000.0).round() as u64;
    let (start_ms, end_ms) = (ms(start_s), ms(end_s));
    (end_ms > start_ms).then(|| Cue {
        start_ms,
        end_ms,
        settings,
        id,
        text: escape(text),
    })
}

/// `HH:MM:SS.mmm`.
fn stamp(ms: u64) -> String {
    format!(
        "{:02}:{:02}:{:02}.{:03}",
        ms / 3_600_000,
        ms / 60_000 % 60,
        ms / 1000 % 60,
        ms % 1000
    )
}

/// Cue text: markup signs as entities (that covers the arrow too), one line.
fn escape(text: &str) -> String {
    super::xml::one_line(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}
