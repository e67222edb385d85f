//! Beats and notes: how many were found, within the usual windows.

use super::matching::{largest_matching, paired_times};
use super::{Found, GradingError};

/// The usual window for beats, s (Davies, Degara and Plumbley, "Evaluation
/// methods for musical audio beat tracking algorithms", 2009).
pub const BEAT_WINDOW_S: f64 = 0.07;
/// The usual window for note onsets, s (Bay, Ehmann and Downie, ISMIR 2009).
pub const ONSET_WINDOW_S: f64 = 0.05;
/// Pitch may be off by this, cents (ibid.).
const PITCH_WINDOW_CENTS: f64 = 50.0;

/// A note as it is graded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoteEvent {
    /// Onset, s.
    pub start_s: f64,
    /// End, s, later than the onset.
    pub end_s: f64,
    /// Pitch, MIDI, fractions allowed.
    pub midi: f64,
}

/// Precision, recall and F of beats (s, rising) within `window_s`, usually [`BEAT_WINDOW_S`].
///
/// Nothing is trimmed; beat trackers are often graded from 5 s on, which the caller can do.
///
/// # Errors
/// * [`GradingError::Events`] for times that do not rise from 0.
pub fn beat_f(
    estimate_s: &[f64],
    reference_s: &[f64],
    window_s: f64,
) -> Result<Found, GradingError> {
    for times in [estimate_s, reference_s] {
        let mut before = 0.0;
        for t in times {
            if !t.is_finite() || *t < before {
                return Err(GradingError::Events { at_s: *t });
            }
            before = *t;
        }
    }
    Ok(Found::from_counts(
        paired_times(reference_s, estimate_s, window_s),
        reference_s.len(),
        estimate_s.len(),
    ))
}

/// Precision, recall and F of note onsets alone, pitch ignored, within `window_s`.
///
/// # Errors
/// * [`GradingError::Events`] for times that are negative or no numbers.
pub fn onset_f(
    estimate: &[NoteEvent],
    reference: &[NoteEvent],
    window_s: f64,
) -> Result<Found, GradingError> {
    notes_f(estimate, reference, window_s, false)
}

/// Precision, recall and F of notes: onset within `window_s`, pitch within 50 cents, ends ignored.
///
/// # Errors
/// * [`GradingError::Events`] for times that are negative or no numbers.
pub fn note_f(
    estimate: &[NoteEvent],
    reference: &[NoteEvent],
    window_s: f64,
) -> Result<Found, GradingError> {
    notes_f(estimate, reference, window_s, true)
}

fn notes_f(
    estimate: &[NoteEvent],
    reference: &[NoteEvent],
    window_s: f64,
    with_pitch: bool,
) -> Result<Found, GradingError> {
    for note in estimate.iter().chain(reference) {
        if !(note.start_s.is_finite() && note.start_s >= 0.0 && note.midi.is_finite()) {
            return Err(GradingError::Events { at_s: note.start_s });
        }
    }
    let mut order: Vec<usize> = (0..reference.len()).collect();
    order.sort_by(|a, b| reference[*a].start_s.total_cmp(&reference[*b].start_s));
    let fits = |one: &NoteEvent, other: &NoteEvent| {
        // rounded to 0.1 ms, so that exactly 50 ms is within 50 ms
        let apart_s = ((one.start_s - other.start_s).abs() * 1e4).round_ties_even() / 1e4;
        apart_s <= window_s
            && (!with_pitch || (one.midi - other.midi).abs() * 100.0 <= PITCH_WINDOW_CENTS)
    };
    let may: Vec<Vec<usize>> = estimate
        .iter()
        .map(|note| {
            let from =
                order.partition_point(|r| reference[*r].start_s < note.start_s - window_s - 0.001);
            order[from..]
                .iter()
                .take_while(|r| reference[**r].start_s <= note.start_s + window_s + 0.001)
                .filter(|r| fits(note, &reference[**r]))
                .copied()
                .collect()
        })
        .collect();
    Ok(Found::from_counts(
        largest_matching(&may, reference.len()),
        reference.len(),
        estimate.len(),
    ))
}
