//! What is decided about one chord: which it is, how it is played, a note to it.

use super::place::Place;
use super::words::{listed, percent};
use super::{DecideError, DecisionRequest};
use crate::fretboard::Shape;
use crate::songlog::decided::{Act, How};
use crate::songlog::song::{Song, Span};
use crate::theory::Label;

/// Candidate, chord, shape and note for one place.
pub(super) fn acts(
    request: &DecisionRequest,
    place: Place,
    song: &Song,
    acts: &mut Vec<Act>,
) -> Result<(), DecideError> {
    let spans = place.spans(song);
    let wants_one =
        request.candidate.is_some() || request.chord.is_some() || request.shape.is_some();
    if spans.len() != 1 && wants_one {
        return Err(DecideError::asked(format!(
            "several chords are there: {}; name a beat, or make them one (join)",
            listed(song, &spans)
        )));
    }
    let Some(i) = spans.first() else {
        return Err(DecideError::asked("no chord sounds there"));
    };
    let span = &song.spans[*i];
    if let Some(n) = request.candidate {
        acts.push(candidate(n, span)?);
    }
    let mut part = (span.start_s, span.end_s);
    if let Some(label) = &request.chord {
        part = chord(label, place, span, acts);
    }
    let (start_s, end_s) = part;
    if let Some(shape) = &request.shape {
        for shape in std::iter::once(shape).chain(&request.alt_shape) {
            check_shape(shape, song)?;
        }
        acts.push(Act::Shape {
            start_s,
            end_s,
            shape: shape.clone(),
            or_shape: request.alt_shape.clone(),
        });
    }
    if let Some(text) = &request.note {
        let (start_s, end_s) = match place {
            Place::Stretch(from, to) => (from, to),
            Place::Point(_) => part,
        };
        acts.push(Act::Note {
            start_s: Some(start_s),
            end_s: Some(end_s),
            text: text.clone(),
        });
    }
    Ok(())
}

/// The `n`th candidate of a chord, from 1, is right.
fn candidate(n: usize, span: &Span) -> Result<Act, DecideError> {
    let found = n.checked_sub(1).and_then(|n| span.candidates.get(n));
    let missing = || DecideError::asked(format!("there is no candidate {n}: {}", candidates(span)));
    Ok(Act::Chord {
        start_s: span.start_s,
        end_s: span.end_s,
        label: found.ok_or_else(missing)?.label.clone(),
        how: if n == 1 {
            How::Proposed
        } else {
            How::Candidate
        },
    })
}

/// A chord that was typed; gives from where to where it is meant, s.
fn chord(label: &Label, place: Place, span: &Span, acts: &mut Vec<Act>) -> (f64, f64) {
    let (mut start_s, mut end_s) = (span.start_s, span.end_s);
    // of a longer chord only the part in the place, unless that says the same
    if let Place::Stretch(from, to) = place
        && *label != span.label
    {
        for (edge_s, inside) in [(from, from > start_s), (to, to < end_s)] {
            if inside {
                acts.push(Act::Split { at_s: edge_s });
            }
        }
        start_s = start_s.max(from);
        end_s = end_s.min(to);
    }
    acts.push(Act::Chord {
        start_s,
        end_s,
        label: label.clone(),
        how: match span.candidates.iter().position(|c| c.label == *label) {
            Some(0) => How::Proposed,
            Some(_) => How::Candidate,
            None => How::Own,
        },
    });
    (start_s, end_s)
}

fn check_shape(shape: &Shape, song: &Song) -> Result<(), DecideError> {
    let (found, expected) = (shape.frets().len(), song.instrument.tuning.n_strings());
    if found != expected {
        return Err(crate::fretboard::FretboardError::StringCount {
            text: shape.text(),
            found,
            expected,
            meant: None,
        }
        .into());
    }
    let highest =
        song.instrument.highest_fret - song.instrument.capo.min(song.instrument.highest_fret);
    match shape.frets().iter().flatten().find(|f| **f > highest) {
        Some(fret) => Err(crate::fretboard::FretboardError::FretRange {
            fret: u32::from(*fret),
            highest,
        }
        .into()),
        None => Ok(()),
    }
}

fn candidates(span: &Span) -> String {
    let all: Vec<String> = span
        .candidates
        .iter()
        .enumerate()
        .map(|(i, c)| format!("{} {} {}", i + 1, c.label.symbol(), percent(c.probability)))
        .collect();
    all.join(", ")
}
