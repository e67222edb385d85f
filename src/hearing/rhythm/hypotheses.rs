//! Every way to count a take, for programs that fit how ways are ranked.

use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::notes::events::{notes, possible};
use crate::hearing::pipeline::{Sound, Weights};
use crate::hearing::reading::Given;
use crate::hearing::rhythm::bars::ways;
use crate::hearing::rhythm::beat_numbers::RANK;
use crate::hearing::rhythm::clock::on_strokes;
use crate::hearing::rhythm::grid::grid;
use crate::hearing::rhythm::pulse::{described, moments};

/// One way to count a take.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Beat times (s) and their places in the bar, from 1.
    pub beats: Vec<(f64, u8)>,
    /// Beats in a bar and the note value of a beat.
    pub meter: (u8, u8),
    /// The numbers that describe it, in the order of [`rank_weights`].
    pub values: Vec<f32>,
}

/// The names of what describes a way to count, with their weights: a way's rank is
/// the sum of its values by weight, and the highest is taken.
pub fn rank_weights() -> &'static [(&'static str, f32)] {
    &RANK
}

impl Sound {
    /// What the models of beats, divisions and downbeats read of each moment, and the
    /// time between two moments (s): for programs that fit those models.
    pub fn beat_moments(&self) -> (Vec<[f32; 13]>, f64) {
        (moments(self).iter().map(described).collect(), FINE_HOP_S)
    }

    /// Every way to count the take that is ranked, likeliest first; none where
    /// nothing is struck.
    pub fn ways_to_count(&self, given: &Given, weights: &Weights) -> Vec<Way> {
        let heard = notes(self, &possible(self, &weights.notes), &weights.notes);
        if heard.is_empty() {
            return Vec::new();
        }
        let all = ways(&moments(self), &heard, given, &weights.beats);
        all.into_iter()
            .filter_map(|(mut count, values)| {
                count.beats_s = on_strokes(&count.beats_s, &self.strokes);
                let grid = grid(Some(&count), given, &heard, self.duration_s());
                Some(Way {
                    beats: grid.beats,
                    meter: grid.meter?,
                    values,
                })
            })
            .collect()
    }
}
