//! What it costs a chord to start at a moment of the grid.

use crate::hearing::harmony::chords::ChordWeights;
use crate::hearing::rhythm::grid::Grid;

/// What it costs a chord to start at `time_s`.
pub(crate) fn start_cost(grid: &Grid, time_s: f64, weights: &ChordWeights) -> f32 {
    if grid.beats.len() < 2 {
        return weights.on_beat;
    }
    let after = grid.beats.partition_point(|b| b.0 < time_s);
    let (before, next) = (after.saturating_sub(1), after.min(grid.beats.len() - 1));
    let nearest = if (grid.beats[next].0 - time_s).abs() < (grid.beats[before].0 - time_s).abs() {
        next
    } else {
        before
    };
    let (beat_s, place) = grid.beats[nearest];
    let length = if next > before {
        grid.beats[next].0 - grid.beats[before].0
    } else {
        0.5
    };
    let near = (0.16 * length).clamp(0.05, 0.09);
    let off = (time_s - beat_s).abs();
    if off < near {
        if place == 1 {
            weights.on_bar
        } else {
            weights.on_beat
        }
    } else if (off - 0.5 * length).abs() < near {
        weights.on_half
    } else {
        weights.off_grid
    }
}
