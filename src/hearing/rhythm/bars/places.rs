//! The place of each beat in its bar, and what the user said of it.

use super::evidence::Evidence;
use super::numbers::bar_weights;
use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::outputs::Given;

/// What the user said of the count.
#[derive(Debug, Clone, Default)]
pub(super) struct Fixed {
    /// The first downbeat, s.
    pub(super) downbeat_s: Option<f64>,
    /// Start of a bar (s) and its beats.
    pub(super) bars: Vec<(f64, u8)>,
}

impl Fixed {
    pub(super) fn of(given: &Given) -> Self {
        Self {
            downbeat_s: given.first_downbeat_s,
            bars: Vec::new(),
        }
    }

    /// For each beat whether it must be a downbeat or must not; and runs of beats that are one bar.
    fn beats(&self, frames: &[usize]) -> (Vec<Option<bool>>, Vec<(usize, usize)>) {
        let nearest = |at_s: f64| {
            let wanted = at_s / FINE_HOP_S;
            (0..frames.len()).min_by(|a, b| {
                let off = |i: usize| (frames[i] as f64 - wanted).abs();
                off(*a).total_cmp(&off(*b))
            })
        };
        let mut must = vec![None; frames.len()];
        if let Some(first) = self.downbeat_s.and_then(nearest) {
            must[first] = Some(true);
        }
        let mut runs = Vec::new();
        for (at_s, n_beats) in &self.bars {
            let Some(first) = nearest(*at_s) else {
                continue;
            };
            let next = first + usize::from(*n_beats);
            for (i, beat) in must
                .iter_mut()
                .enumerate()
                .skip(first)
                .take(next - first + 1)
            {
                *beat = Some(i == first || i == next);
            }
            runs.push((first, next.min(frames.len())));
        }
        (must, runs)
    }
}

impl Evidence<'_> {
    /// The place of each beat in its bar, the row's score and the jumps in it.
    pub(super) fn places(
        &self,
        frames: &[usize],
        per_bar: u8,
        fixed: &Fixed,
    ) -> (Vec<u8>, f32, usize) {
        let m = usize::from(per_bar);
        let odds = |frame: usize| self.downbeat[frame];
        let soft = |x: f32| if x > 20.0 { x } else { x.exp().ln_1p() };
        // ln of probability over what the place alone would give
        let score = |frame: usize, place: usize| {
            let x = odds(frame);
            if place == 0 {
                -soft(-x) + (m as f32).ln()
            } else {
                -soft(x) - (1.0 - 1.0 / m as f32).ln()
            }
        };
        // more than all evidence together
        const FORCED: f32 = 1000.0;
        let skip = bar_weights().skip;
        let (must, runs) = fixed.beats(frames);
        let n = frames.len();
        let mut best = vec![0f32; m];
        let mut from = vec![0usize; n * m];
        for (k, frame) in frames.iter().enumerate() {
            let before = best.clone();
            let (top, top_place) =
                before
                    .iter()
                    .enumerate()
                    .fold((f32::NEG_INFINITY, 0), |acc, (i, s)| {
                        if *s > acc.0 { (*s, i) } else { acc }
                    });
            for place in 0..m {
                let mut here = score(*frame, place);
                if place == 0
                    && let Some(downbeat) = must[k]
                {
                    here += if downbeat { FORCED } else { -FORCED };
                }
                let previous = (place + m - 1) % m;
                let (came, which) = if k == 0 {
                    (0.0, previous)
                } else if top - skip > before[previous] {
                    (top - skip, top_place)
                } else {
                    (before[previous], previous)
                };
                best[place] = came + here;
                from[k * m + place] = which;
            }
        }
        let (mut place, mut total) = (0, f32::NEG_INFINITY);
        for (i, s) in best.iter().enumerate() {
            if *s > total {
                (place, total) = (i, *s);
            }
        }
        let mut places = vec![0u8; n];
        let mut jumps = 0;
        for k in (0..n).rev() {
            places[k] = place as u8 + 1;
            let previous = from[k * m + place];
            if k > 0 && (previous + 1) % m != place {
                jumps += 1;
            }
            place = previous;
        }
        total -= FORCED * must.iter().filter(|m| **m == Some(true)).count() as f32;
        for (first, next) in runs {
            for (k, place) in places[first..next].iter_mut().enumerate() {
                *place = k as u8 + 1;
            }
        }
        (places, total, jumps)
    }
}
