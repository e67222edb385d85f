//! One way to count a take, and whether another is really another.

use super::numbers::bar_weights;
use super::rows::median_gap;
use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::outputs::Given;
use crate::hearing::rhythm::count::{Count, OtherWay};

/// Beats with their places, and what speaks for counting so.
pub(super) struct Hypothesis {
    pub(super) frames: Vec<usize>,
    pub(super) places: Vec<u8>,
    pub(super) per_bar: u8,
    pub(super) third: f32,
    pub(super) half: f32,
    pub(super) rank: f32,
    /// What the rank is made of, in the order of the weights.
    pub(super) values: Vec<f32>,
}

impl Hypothesis {
    /// Whether its beats divide in three.
    pub(super) fn is_compound(&self) -> bool {
        bar_weights().is_compound(self.third, self.half)
    }

    /// Whether a player would call it another way to count, and not the same
    /// with a beat here or there.
    pub(super) fn counts_otherwise(&self, best: &Self) -> bool {
        /// 70 ms in fine frames: as near as a beat must be (Davies et al. 2009).
        const NEAR: usize = 6;
        let downbeats = |h: &Self| -> Vec<usize> {
            let all = h.frames.iter().zip(&h.places);
            all.filter(|(_, p)| **p == 1).map(|(f, _)| *f).collect()
        };
        let (mine, theirs) = (downbeats(self), downbeats(best));
        let met = mine
            .iter()
            .filter(|f| {
                let next = theirs.partition_point(|t| t < f);
                let around = next.saturating_sub(1)..(next + 1).min(theirs.len());
                theirs[around].iter().any(|t| t.abs_diff(**f) <= NEAR)
            })
            .count();
        let (n, m) = (self.frames.len(), best.frames.len());
        self.per_bar != best.per_bar || n.abs_diff(m) * 10 > m || met * 4 < mine.len() * 3
    }

    /// It as the grid takes it, without another.
    pub(super) fn as_count(&self, given: &Given) -> Count {
        Count {
            beats_s: if given.beats_s.len() == self.frames.len() {
                given.beats_s.clone()
            } else {
                self.frames.iter().map(|f| *f as f64 * FINE_HOP_S).collect()
            },
            places: self.places.clone(),
            per_bar: self.per_bar,
            compound: match given.meter {
                Some((_, value)) => value == 8,
                None => self.is_compound(),
            },
            other: None,
        }
    }

    pub(super) fn as_other(&self, best_rank: f32) -> OtherWay {
        let first = self.places.iter().position(|p| *p == 1).unwrap_or(0);
        let at_s = |frame: usize| frame as f64 * FINE_HOP_S;
        OtherWay {
            behind: best_rank - self.rank,
            meter: match self.is_compound() {
                true => (self.per_bar * 3, 8),
                false => (self.per_bar, 4),
            },
            tempo_bpm: 60.0 / (median_gap(&self.frames) * FINE_HOP_S).max(1e-3),
            first_downbeat_s: self.frames.get(first).copied().map_or(0.0, at_s),
        }
    }
}
