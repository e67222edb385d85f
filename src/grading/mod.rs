//! Measures one timeline against another, by the field's definitions.
//!
//! Pure: text and numbers in, numbers out. Chords ([`grade_chords`]) are
//! weighed by duration at several strictnesses, beats, boundaries, letters and
//! notes ([`beat_f`], [`boundary_f`], [`letter_f`], [`onset_f`], [`note_f`])
//! by precision, recall and F. All times are seconds.
//!
//! # Source
//! Raffel, McFee, Humphrey, Salamon, Nieto, Liang and Ellis, "mir_eval: a
//! transparent implementation of common MIR metrics", ISMIR 2014, and the
//! definitions it gathers; tests hold every number against that library.
//! Chord measures: Harte, "Towards automatic extraction of harmony
//! information from music signals", PhD thesis, Queen Mary, 2010; Pauwels and
//! Peeters, "Evaluating automatically estimated chord sequences", ICASSP 2013.
//!
//! Not here: files (the `cli` room reads them) and thresholds of what is good.

mod chords;
mod encode;
mod error;
mod events;
mod lab;
mod matching;
pub mod reliability;
mod sections;
mod timeline;

#[cfg(test)]
mod tests;

pub use chords::{
    ChordGrades, Difference, Recall, STRICTNESSES, Strictness, differences, grade_chords, is_right,
};
pub use encode::ChordCode;
pub use error::GradingError;
pub use events::{BEAT_WINDOW_S, NoteEvent, ONSET_WINDOW_S, beat_f, note_f, onset_f};
pub use lab::{MAX_LINES, parse_lab};
pub use sections::{boundary_f, letter_f};
pub use timeline::{LabelledSpan, Timeline};

/// Precision, recall and their harmonic mean, each 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Found {
    /// Part of the estimate that is right.
    pub precision: f64,
    /// Part of the reference that was found.
    pub recall: f64,
    /// Harmonic mean of the two; 0 if both are 0.
    pub f: f64,
}

impl Found {
    /// From a count of matches; all 0 if either side is empty.
    pub(crate) fn from_counts(n_matched: usize, n_reference: usize, n_estimate: usize) -> Self {
        if n_reference == 0 || n_estimate == 0 {
            return Self::default();
        }
        Self::from_ratios(
            n_matched as f64 / n_estimate as f64,
            n_matched as f64 / n_reference as f64,
        )
    }

    pub(crate) fn from_ratios(precision: f64, recall: f64) -> Self {
        let sum = precision + recall;
        let f = if sum > 0.0 {
            2.0 * precision * recall / sum
        } else {
            0.0
        };
        Self {
            precision,
            recall,
            f,
        }
    }
}
