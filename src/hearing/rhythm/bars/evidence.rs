//! What speaks for beats and downbeats in a take, whichever way it is counted.

use super::strokes::{Struck, strokes};
use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::outputs::Note;
use crate::hearing::rhythm::beat_numbers::beat_numbers;
use crate::hearing::rhythm::beats::BeatEvidence;
use crate::hearing::rhythm::pulse::{Moment, log_odds};

/// Evidence of one take, computed once.
pub(super) struct Evidence<'a> {
    pub(super) moments: &'a [Moment],
    pub(super) search: BeatEvidence,
    pub(super) downbeat: Vec<f32>,
    /// The first stroke, as a fine frame.
    pub(super) first: Option<usize>,
    pub(super) strokes: Vec<Struck>,
    /// Share of strokes of at most two strings.
    pub(super) picked: f32,
}

impl<'a> Evidence<'a> {
    pub(super) fn new(moments: &'a [Moment], notes: &[Note]) -> Self {
        let strokes = strokes(notes);
        let first = notes.iter().find(|n| n.probability > 0.5);
        let odds = |model, low: f32, high: f32| -> Vec<f32> {
            let of = |m: &Moment| log_odds(model, m).clamp(low, high);
            moments.iter().map(of).collect()
        };
        let numbers = beat_numbers();
        Self {
            moments,
            search: BeatEvidence {
                beat: odds(&numbers.beat, -3.0, 4.0),
                division: odds(&numbers.division, -2.0, 2.0),
            },
            downbeat: odds(&numbers.downbeat, f32::NEG_INFINITY, f32::INFINITY),
            first: first.map(|n| (n.start_s / FINE_HOP_S).round() as usize),
            picked: mean(strokes.iter().map(|s| 1.0 - s.full)),
            strokes,
        }
    }
}

pub(super) fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (mut sum, mut n) = (0.0, 0);
    for v in values {
        sum += v;
        n += 1;
    }
    if n == 0 { 0.0 } else { sum / n as f32 }
}
