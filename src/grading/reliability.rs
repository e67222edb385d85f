//! Whether probabilities are honest: what was said to be 80 % sure should be
//! right in 80 % of the time.
//!
//! # Source
//! Reliability diagram and expected calibration error: Guo, Pleiss, Sun and
//! Weinberger, "On Calibration of Modern Neural Networks", ICML 2017, sections
//! 2 and 3. There every sample counts once; here it counts by its time.

use super::{GradingError, Timeline};
use crate::theory::Label;

/// How many bins of equal width the probabilities are sorted into.
pub const N_BINS: usize = 10;

/// What was said of a stretch of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// Where it starts, s.
    pub start_s: f64,
    /// Where it ends, s.
    pub end_s: f64,
    /// What was said.
    pub label: Label,
    /// How sure it was, 0 to 1.
    pub probability: f64,
}

/// What was said with about the same probability.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Bin {
    /// Time in the bin, s.
    pub time_s: f64,
    /// Time for which it was right, s.
    pub right_s: f64,
    /// Sum of probability times time, s.
    said_s: f64,
}

impl Bin {
    /// Mean probability said, 0 to 1; none if the bin is empty.
    pub fn said(&self) -> Option<f64> {
        (self.time_s > 0.0).then(|| self.said_s / self.time_s)
    }

    /// Share of the time that was right, 0 to 1; none if the bin is empty.
    pub fn right(&self) -> Option<f64> {
        (self.time_s > 0.0).then(|| self.right_s / self.time_s)
    }
}

/// Said against right, in bins of equal width from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reliability {
    /// The bins, low probabilities first.
    pub bins: [Bin; N_BINS],
}

impl Reliability {
    /// Adds what was said of one take. Right is what has the root, the notes and
    /// the bass of the truth, however it is spelled; time that the truth does
    /// not label, or labels unknown, does not count.
    ///
    /// # Errors
    /// * [`GradingError::Label`] for a label of the truth that is none.
    pub fn add(&mut self, said: &[Said], truth: &Timeline) -> Result<(), GradingError> {
        let truth: Vec<(f64, f64, Label)> = truth
            .spans()
            .iter()
            .map(|span| {
                let label = span.label.parse().map_err(|_| GradingError::Label {
                    line: span.line,
                    found: span.label.chars().take(60).collect(),
                    meant: None,
                })?;
                Ok((span.start_s, span.end_s, label))
            })
            .collect::<Result<_, GradingError>>()?;
        for one in said {
            let bin = (one.probability * N_BINS as f64) as usize;
            let bin = &mut self.bins[bin.min(N_BINS - 1)];
            for (start_s, end_s, label) in &truth {
                let time_s = one.end_s.min(*end_s) - one.start_s.max(*start_s);
                if time_s <= 0.0 || *label == Label::Unknown {
                    continue;
                }
                bin.time_s += time_s;
                bin.said_s += one.probability * time_s;
                if same(&one.label, label) {
                    bin.right_s += time_s;
                }
            }
        }
        Ok(())
    }

    /// Expected calibration error, 0 to 1: how far said and right lie apart, in
    /// the mean over all time; none if nothing was added.
    pub fn error(&self) -> Option<f64> {
        let total: f64 = self.bins.iter().map(|b| b.time_s).sum();
        let apart: f64 = self.bins.iter().map(|b| (b.said_s - b.right_s).abs()).sum();
        (total > 0.0).then_some(apart / total)
    }
}

fn same(a: &Label, b: &Label) -> bool {
    match (a, b) {
        (Label::Chord(a), Label::Chord(b)) => {
            a.root.pitch_class() == b.root.pitch_class()
                && a.pitch_classes() == b.pitch_classes()
                && a.bass_pitch_class() == b.bass_pitch_class()
        }
        (a, b) => a == b,
    }
}
