//! One bar: what was heard, the candidates and why, the shapes, its repeats.

use super::super::CliError;
use super::super::layout::{HELD, chord_box, columns, pad, side_by_side, wrap, wrap_from};
use super::{marked, said_by_file};
use crate::deciding::place::{Place, Twin, name_of, read, section_at, twins};
use crate::deciding::{percent, song_json};
use crate::songlog::decided::clock;
use crate::songlog::song::{Song, Span, State};
use crate::theory::midi_name;
use std::io::Write;

/// How many shapes are drawn for a chord.
const N_SHAPES: usize = 5;
/// How many notes are listed for a chord.
const N_NOTES: usize = 24;

pub(super) fn bar(
    song: &Song,
    number: u32,
    json: bool,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    let place = read(&number.to_string(), song)?[0];
    let repeats = twins(place, song);
    if json {
        let chords = |place: &Place| {
            let spans = place.spans(song);
            spans
                .into_iter()
                .map(|i| song_json::span(&song.spans[i]))
                .collect::<Vec<_>>()
        };
        let repeats: Vec<_> = repeats
            .iter()
            .map(|t| serde_json::json!({"bar": t.bar, "same": t.same, "chords": chords(&t.place)}))
            .collect();
        let result = serde_json::json!({
            "version": song_json::SONG_JSON_VERSION,
            "bar": number,
            "chords": chords(&place),
            "repeats": repeats,
        });
        writeln!(out, "{result}")?;
        return Ok(());
    }
    writeln!(out, "{}", bar_heading(place, number, song))?;
    for i in place.spans(song) {
        writeln!(out)?;
        reasons(&song.spans[i], song, out)?;
    }
    if !repeats.is_empty() {
        let text: Vec<String> = repeats.iter().map(|t| repeat_text(*t, song)).collect();
        let line = format!("in the repeats: {}", text.join("; "));
        writeln!(out, "\n{}", wrap_from(&line, 16))?;
    }
    Ok(())
}

fn bar_heading(place: Place, number: u32, song: &Song) -> String {
    let mut text = format!("bar {number}");
    if let Place::Stretch(from, to) = place {
        text.push_str(&format!(", {} to {}", clock(from), clock(to)));
    }
    if let Some((i, _)) = section_at(place.start_s(), song) {
        let section = &song.sections[i];
        text.push_str(&format!(", section {}", section.letter));
        if let Some(name) = &section.name {
            text.push_str(&format!(" ({name})"));
        }
    }
    wrap_from(&text, 2)
}

fn repeat_text(twin: Twin, song: &Song) -> String {
    let chords: Vec<String> = twin
        .place
        .spans(song)
        .into_iter()
        .map(|i| {
            let span = &song.spans[i];
            let sure = span.certainty.map(percent).unwrap_or_default();
            format!("{} {sure}", marked(span)).trim_end().to_owned()
        })
        .collect();
    let differs = if twin.same { "" } else { " (differs)" };
    format!("bar {} {}{differs}", twin.bar, chords.join(", "))
}

fn reasons(span: &Span, song: &Song, out: &mut dyn Write) -> Result<(), CliError> {
    let state = match (span.state, span.certainty) {
        (State::Open, _) => "unconfirmed".into(),
        (State::Decided, None) => "confirmed, entered by you".into(),
        (State::Decided, Some(_)) if said_by_file(span) => "confirmed, as in the file".into(),
        (State::Decided, Some(sure)) => format!("confirmed, proposed with {}", percent(sure)),
    };
    let line = format!(
        "{}  from {} to {} ({} to {}): {state}",
        marked(span),
        name_of(span.start_s, song),
        name_of(span.end_s, song),
        clock(span.start_s),
        clock(span.end_s),
    );
    writeln!(out, "{}", wrap_from(&line, 2))?;
    for (i, c) in span.candidates.iter().enumerate() {
        let line = format!(
            "  {} {} {:>5}  {}",
            i + 1,
            pad(&c.label.symbol(), 10),
            if said_by_file(span) {
                String::new()
            } else {
                percent(c.probability)
            },
            c.reason
        );
        writeln!(out, "{}", wrap_columns(&line, 22))?;
    }
    writeln!(out, "{}", wrap_from(&heard_notes(span), 9))?;
    if span.fragment {
        writeln!(out, "  read from a few plucked notes, not a whole chord")?;
    }
    let blocks: Vec<(String, Vec<String>)> = span
        .shapes
        .iter()
        .take(N_SHAPES)
        .enumerate()
        .map(|(i, shape)| {
            let mark = if i < span.n_decided_shapes { "" } else { "?" };
            (format!("   {shape}{mark}"), chord_box(shape))
        })
        .collect();
    if !blocks.is_empty() {
        writeln!(out)?;
        for line in side_by_side(&blocks) {
            writeln!(out, "{line}")?;
        }
    }
    for note in &span.notes {
        writeln!(out, "{}", wrap_from(&format!("  * {note}"), 4))?;
    }
    Ok(())
}

/// Wraps a line that has columns, which [`wrap_from`] would close up.
fn wrap_columns(line: &str, indent: usize) -> String {
    let head: String = line.chars().take(indent).collect();
    let tail: String = line.chars().skip(indent).collect();
    let held = HELD.to_string().repeat(columns(&head));
    let marked = format!("{held}{tail}");
    let wrapped = wrap(&marked, indent);
    wrapped.replacen(&held, &head, 1)
}

fn heard_notes(span: &Span) -> String {
    if span.struck.is_empty() {
        return "  heard: no string struck in it".into();
    }
    let mut parts: Vec<String> = span
        .struck
        .iter()
        .take(N_NOTES)
        .map(|(midi, at_s)| format!("{} {at_s:.2}s", midi_name(*midi)))
        .collect();
    if span.struck.len() > N_NOTES {
        parts.push(format!("and {} more", span.struck.len() - N_NOTES));
    }
    let bass = span
        .bass_midi
        .map_or_else(String::new, |b| format!("; lowest {}", midi_name(b)));
    format!("  heard: {}{bass}", parts.join(", "))
}
