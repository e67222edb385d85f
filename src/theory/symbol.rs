//! Chord symbols as people write them: one reader for every spelling.
//!
//! A symbol is a root, then words and numbers in any usual order: triad (`m`, `-`, `dim`, `+`),
//! seventh (`7`, `maj7`, `Δ`, `ø`), extensions, alterations (`b9`, `-9`, `♭9`), `sus`, `add`, `no`,
//! with brackets, commas, slashes and spaces between them, then a bass behind a slash. Two
//! chords, `D over C`, are read as the lower one with the notes of the upper one added.
//! What cannot be meant (`Cm#7`) is refused with the nearest spelling.
//!
//! # Source
//! Common practice, no source; `fixtures/naming/spellings.tsv` lists what must read.

mod degrees;
mod nearest;
mod numbers;
mod plain;
mod words;

pub(super) use plain::as_signs;

use super::{Chord, Degree, Spelled, TheoryError};
use degrees::of_degrees;
use nearest::{nearest, other_root};
use plain::{plain, unwrapped};

/// Reads a chord symbol.
///
/// # Errors
/// * [`TheoryError::ChordLabel`] for anything that is none, with the nearest spelling where there is one.
pub(super) fn read(text: &str) -> Result<Chord, TheoryError> {
    let written = as_signs(&plain(unwrapped(text.trim())));
    let refuse = |part: &str, nearest: Option<String>| TheoryError::ChordLabel {
        text: text.into(),
        part: part.into(),
        nearest,
    };
    if let Some((upper, lower)) = written.split_once(" over ") {
        return Ok(stacked(&read(upper)?, &read(lower)?));
    }
    let (root, rest) =
        Spelled::read(&written, true).ok_or_else(|| refuse("", other_root(&written)))?;
    let (tail, bass) = match rest.rsplit_once('/') {
        // `6/9` and `7/b9` hold no bass
        Some((tail, bass)) => match bass.trim().parse::<Spelled>() {
            Ok(note) => (tail.trim_end(), Some(Degree::between(root, note))),
            Err(_) if bass.contains(|c: char| c.is_ascii_digit()) => (rest, None),
            Err(_) => return Err(refuse(bass, None)),
        },
        None => (rest, None),
    };
    let chord = tail_on(root, tail).map_err(|part| {
        let over = if tail.len() < rest.len() {
            &rest[tail.len()..]
        } else {
            ""
        };
        let better = nearest(root, tail).map(|t| format!("{}{t}{over}", root.ascii()));
        refuse(&part, better)
    })?;
    Ok(match bass {
        Some(bass) => chord.over(bass),
        None => chord,
    })
}

/// The lower chord with the notes of the upper one as its tensions.
fn stacked(upper: &Chord, lower: &Chord) -> Chord {
    let root = lower.root.pitch_class();
    let mut degrees = lower.degrees();
    for note in upper.notes() {
        let above = note.pitch_class().above(root);
        if degrees.iter().any(|d| d.over(root) == note.pitch_class()) {
            continue;
        }
        degrees.push(match above {
            1 => Degree::new(9, -1),
            2 => Degree::new(9, 0),
            3 => Degree::new(9, 1),
            5 => Degree::new(11, 0),
            6 => Degree::new(11, 1),
            8 => Degree::new(13, -1),
            9 if degrees.iter().all(|d| d.number() != 7) => Degree::new(6, 0),
            9 => Degree::new(13, 0),
            other => Degree::plain(other),
        });
    }
    Chord {
        bass: lower.bass,
        ..of_degrees(lower.root, &degrees, &[])
    }
}

/// What is known of a chord while its symbol is read.
#[derive(Default)]
struct Reading {
    minor: bool,
    /// `maj`, `M` or `Δ`, which make the next number's seventh a major one.
    major: bool,
    /// `Δ`, which is a seventh by itself.
    triangle: bool,
    diminished: bool,
    half_diminished: bool,
    power: bool,
    single: bool,
    sus: Vec<Degree>,
    fifths: Vec<Degree>,
    sixth: bool,
    /// Alteration of the seventh, -1 for a minor one.
    seventh: Option<i8>,
    /// The number the chord is stacked up to: 9, 11, 13.
    stack: u8,
    /// Alterations and further numbers, which replace the plain tension of their number.
    tensions: Vec<Degree>,
    /// What `add` adds, which replaces nothing.
    added: Vec<Degree>,
    /// What `no` leaves out: a number, or exactly one degree (`nob3`).
    omitted: Vec<Degree>,
    altered: bool,
    /// Whether anything was read.
    any: bool,
    /// A suspension was just read: `sus` in `sus2`, `sus24`.
    after_sus: bool,
    /// A bracket was just opened.
    in_bracket: bool,
}

/// Reads all that follows the root; the part that is not understood as error.
fn tail_on(root: Spelled, tail: &str) -> Result<Chord, String> {
    if tail.matches('(').count() != tail.matches(')').count() {
        return Err(tail.into());
    }
    // a single note, and what may be added to it
    let behind = tail.strip_prefix("(1)");
    let mut reading = Reading {
        single: behind.is_some(),
        any: behind.is_some(),
        ..Reading::default()
    };
    let mut rest = behind.unwrap_or(tail);
    while let Some(c) = rest.chars().next() {
        // a slash first is no separator: `C/3` is an inversion in label syntax
        if matches!(c, ' ' | ',' | '(' | ')') || c == '/' && reading.any {
            reading.in_bracket = c == '(';
            if c != '/' {
                reading.after_sus = false;
            }
            rest = &rest[c.len_utf8()..];
            continue;
        }
        rest = reading.token(rest).ok_or_else(|| rest.to_owned())?;
        (reading.any, reading.in_bracket) = (true, false);
    }
    let (degrees, omitted) = reading.degrees().ok_or_else(|| tail.to_owned())?;
    Ok(of_degrees(root, &degrees, &omitted))
}
