//! Symbols as they are printed, and how many bars of them a line holds.

use super::{BARS_IN_ROW, Measure, moving};
use crate::chart::{ChartError, Options};
use crate::songlog::song::{Song, Span};
use crate::theory::{Key, Label, Mode, PitchClass, Spelled, key_at, roman};
use std::collections::HashMap;

/// How the chord of a span is printed on this sheet.
pub(super) type Printer = Box<dyn Fn(&Span) -> String>;

/// Puts degrees, a walking bass and moving top notes to the marks.
pub(super) fn annotate(
    song: &Song,
    options: &Options,
    measures: &mut [Measure],
) -> Result<(), ChartError> {
    if options.degrees_under && song.key.is_none() {
        return Err(ChartError::NoKey {
            option: "--degrees",
        });
    }
    let up = shift(song, options);
    let basses: HashMap<usize, String> = moving::basses(song, up).into_iter().collect();
    let tops: HashMap<usize, String> = moving::tops(song, up).into_iter().collect();
    for mark in measures.iter_mut().flat_map(|m| &mut m.marks) {
        let span = &song.spans[mark.span];
        let key = song.key_at(span.start_s).filter(|_| options.degrees_under);
        mark.degree = key
            .zip(span.label.chord())
            .map(|(key, chord)| roman(chord, key));
        if !mark.held {
            mark.bass = basses.get(&mark.span).cloned();
            mark.top = tops.get(&mark.span).cloned();
        }
    }
    Ok(())
}

pub(super) fn printer(song: &Song, options: &Options) -> Result<Printer, ChartError> {
    if !options.degrees {
        let (up, key) = (shift(song, options), song.key);
        return Ok(Box::new(move |span| {
            at_sight(&played(&span.label, up, key))
        }));
    }
    let first = song.key.ok_or(ChartError::NoKey {
        option: "--degrees",
    })?;
    let changes = song.key_changes.clone();
    Ok(Box::new(move |span| {
        let key = key_at(Some(first), &changes, span.start_s).unwrap_or(first);
        match span.label.chord() {
            Some(chord) => roman(chord, key),
            None => span.label.symbol(),
        }
    }))
}

/// Semitones that the song sounds above the names on its pages.
pub(super) fn shift(song: &Song, options: &Options) -> i32 {
    match options.concert || options.degrees {
        true => 0,
        false => song.instrument.above_shapes(),
    }
}

/// The chord whose shape is played behind a capo or in a lower tuning, spelled in the key that is fingered.
pub(super) fn played(label: &Label, up: i32, key: Option<Key>) -> Label {
    let Some(chord) = label.chord().filter(|_| up != 0) else {
        return label.clone();
    };
    let down = |pitch: PitchClass| pitch.up(-up);
    let root = down(chord.root.pitch_class());
    let spelled = match key {
        Some(key) => Key::usual(down(key.tonic.pitch_class()), key.mode).spell(root),
        None => Key::usual(root, Mode::Major).tonic,
    };
    Label::Chord(chord.with_root(spelled))
}

/// The symbol, its bass as it is read at sight: E♭♭ is printed D (common practice, no source).
fn at_sight(label: &Label) -> String {
    let Some(chord) = label.chord() else {
        return label.symbol();
    };
    let bass = chord.bass_note();
    let plain = match bass.alter() {
        2.. => Spelled::from_fifths(bass.fifths() - 12),
        ..=-2 => Spelled::from_fifths(bass.fifths() + 12),
        _ => return chord.symbol(),
    };
    let mut upper = chord.clone();
    upper.bass = None;
    format!("{}/{}", upper.symbol(), plain.text())
}

/// Bars of a row to set on one line, 4, 2 or 1, so that symbols stay readable.
///
/// Counts characters: a line of four has room for about fifteen full ones a
/// bar, a tail's being narrower and a gap following each chord (ours; a writer
/// that can measure still shrinks what does not fit). Takes the print's scale.
pub(in crate::chart) fn bars_on_line(row: &[Measure], scale: f64) -> usize {
    const ROOM: f64 = 15.0;
    const TAIL: f64 = 0.72;
    const GAP: f64 = 0.8;
    let length = |m: &Measure| -> f64 {
        let chords = m.marks.iter().map(|mark| {
            let (root, tail, bass) = split_symbol(&mark.symbol);
            let full = root.chars().count() + bass.chars().count() + usize::from(mark.open);
            full as f64 + TAIL * tail.chars().count() as f64 + GAP
        });
        chords.sum::<f64>() * scale
    };
    let longest = row.iter().map(length).fold(0.0, f64::max);
    match longest {
        l if l <= ROOM => BARS_IN_ROW,
        l if l <= 2.1 * ROOM => 2,
        _ => 1,
    }
}

/// A symbol as root (with the `m` of minor), tail and bass with its slash: `C♯m`, `7`, `/E`. Degrees stay whole.
pub(in crate::chart) fn split_symbol(symbol: &str) -> (&str, &str, &str) {
    if !symbol.starts_with(|c: char| ('A'..='G').contains(&c)) {
        return (symbol, "", "");
    }
    let root_end = symbol
        .char_indices()
        .skip(1)
        .find(|(_, c)| !matches!(c, '♯' | '♭'))
        .map_or(symbol.len(), |(i, _)| i);
    let minor = symbol[root_end..].starts_with('m') && !symbol[root_end..].starts_with("maj");
    let (root, rest) = symbol.split_at(root_end + usize::from(minor));
    // the slash of 6/9 belongs to the tail
    let bass_at = rest
        .rfind('/')
        .filter(|i| rest[i + 1..].starts_with(|c: char| c.is_ascii_uppercase()))
        .unwrap_or(rest.len());
    let (tail, bass) = rest.split_at(bass_at);
    (root, tail, bass)
}
