//! What the search for sections looks up: repeats, new music, and what speaks for a start.

use crate::hearing::form::rows::{Rows, apart, steps};
use crate::hearing::form::sketch::{LONGEST, SLOTS, SectionWeights, Sketch};

/// In takes of more bars, repeats in other keys are not looked for: the work grows with the square.
const MOST_FOR_KEYS: usize = 400;
/// A section of so many bars need not come back to anything.
const SETTLED: usize = 8;
/// Distances at which a section copies itself, bars.
const LAGS: [usize; 3] = [2, 4, 8];

/// What the search looks up.
pub(in crate::hearing) struct Table<'a> {
    /// How far stretches of bars differ from earlier ones.
    pub(in crate::hearing) rows: Rows<'a>,
    /// Cost of new music from a start, by number of bars, `n × (LONGEST + 1)`.
    pub(in crate::hearing) new: Vec<f64>,
    /// What a section gains by starting at each bar.
    pub(in crate::hearing) gain: Vec<f64>,
    /// For a bar and each earlier one, which shifts are worth a look: a bit each.
    pub(in crate::hearing) worth: Vec<u16>,
}

/// Cost of new music from each start, by number of bars, `n × (LONGEST + 1)`.
fn new_music(bars: &[Sketch], weights: &SectionWeights) -> Vec<f64> {
    let n = bars.len();
    let before = steps(bars, 1, weights.playing);
    let copies = LAGS.map(|lag| (lag, steps(bars, lag, weights.playing)));
    let mut new = vec![0.0; n * (LONGEST + 1)];
    for start in 0..n {
        let (mut cost, mut wandered) = (0.0, 0.0);
        for k in 0..LONGEST.min(n - start) {
            let i = start + k;
            let mut bar: f64 = 1.0;
            for (lag, copied) in &copies {
                if k >= *lag {
                    bar = bar.min(weights.copy + weights.differs * copied[i]);
                }
            }
            if k > 0 {
                // a bar that goes on as the one before
                bar = bar
                    .min(0.7 * (1.0 - weights.copy) + weights.copy + weights.differs * before[i]);
            }
            cost += bar;
            if k >= SETTLED {
                let back = copies.iter().filter(|(lag, _)| *lag >= 4);
                let nearest = back.map(|(_, copied)| copied[i]).fold(0.5, f64::min);
                wandered += 2.0 * nearest;
            }
            new[start * (LONGEST + 1) + k + 1] = cost + weights.wanders * wandered;
        }
    }
    new
}

impl<'a> Table<'a> {
    pub(in crate::hearing) fn new(
        bars: &'a [Sketch],
        tonics: &[Option<u8>],
        weights: &SectionWeights,
    ) -> Self {
        let n = bars.len();
        let apart = |a: usize, b: usize| apart(bars, a, b);
        let sounding = bars.iter().any(|b| b.chords.iter().any(Option::is_some));
        let shifts = (0..12)
            .filter(|shift| *shift == 0 || (sounding && n <= MOST_FOR_KEYS))
            .collect();
        let new = new_music(bars, weights);
        let change = |i: usize| -> f64 {
            let before = [i.checked_sub(2), i.checked_sub(1)];
            let after = [Some(i), (i + 1 < n).then_some(i + 1)];
            let mut pairs = Vec::new();
            for a in before.into_iter().flatten() {
                for b in after.into_iter().flatten() {
                    pairs.push(apart(b, a));
                }
            }
            if pairs.is_empty() {
                return 0.0;
            }
            let within = |x: Option<usize>, y: Option<usize>| match (x, y) {
                (Some(x), Some(y)) => apart(x, y),
                _ => 0.0,
            };
            let mean = pairs.iter().sum::<f64>() / pairs.len() as f64;
            let inner = 0.5 * (within(before[0], before[1]) + within(after[0], after[1]));
            (mean - inner).max(0.0)
        };
        let root = |bar: usize, slot: usize| bars[bar].chords[slot].map(|c| c.root);
        // what changes from bar to bar anyhow is no new playing
        let changes: Vec<f64> = (0..n).map(change).collect();
        let usual = {
            let mut sorted = changes.clone();
            sorted.sort_by(f64::total_cmp);
            sorted.get(3 * n / 4).copied().unwrap_or(0.0)
        };
        let gain = (0..n)
            .map(|i| {
                if i == 0 {
                    return 0.0;
                }
                let is = |found: Option<u8>, above: u8| {
                    found.is_some() && found == tonics[i].map(|t| (t + above) % 12)
                };
                let mut gain = weights.rhythm * (changes[i] - usual).max(0.0);
                if is(root(i, 0), 0) {
                    gain += weights.tonic;
                }
                if is(root(i - 1, SLOTS - 1), 7) {
                    gain += weights.half_close;
                }
                if is(root(i - 1, 0), 0) && is(root(i - 1, SLOTS - 1), 0) {
                    gain += weights.close;
                }
                gain
            })
            .collect();
        Self {
            rows: Rows::new(bars, shifts, weights.playing),
            new,
            gain,
            worth: Vec::new(),
        }
    }

    /// Moves on to sections that start at a bar.
    pub(in crate::hearing) fn reach(&mut self, start: usize) {
        self.rows.reach(start);
        let len = 4.min(self.gain.len() - start);
        // in another key the first four bars must nearly agree
        let near = |of: usize, k: usize, shift: u8| {
            shift == 0 || self.rows.between(k, start, of, 0, len) <= 0.3 * len as f64
        };
        let shifts = self.rows.shifts();
        self.worth = (0..start)
            .map(|of| {
                let worth = shifts.iter().enumerate();
                let worth = worth.filter(|(k, shift)| near(of, *k, **shift));
                worth.fold(0, |bits, (k, _)| bits | 1 << k)
            })
            .collect();
    }

    /// Differences of `len` bars from `start` and those from `of`, with the end cheaper.
    pub(in crate::hearing) fn repeat(
        &self,
        shift: usize,
        start: usize,
        of: usize,
        len: usize,
        w: &SectionWeights,
    ) -> f64 {
        let body = len - len.div_ceil(4);
        let sum = |from: usize, to: usize| self.rows.between(shift, start, of, from, to);
        w.differs * sum(0, body) + w.ending * sum(body, len)
    }
}
