//! How far stretches of bars differ from earlier ones, for [`crate::hearing::form::search`].
//!
//! Differences are summed down the diagonals of the table of all pairs of bars,
//! so that any stretch costs two look-ups. The search goes through the bars
//! once, and no section is longer than [`LONGEST`]: only so many rows are kept,
//! and memory grows with the number of bars, not with its square.

use crate::hearing::form::search::{LONGEST, Sketch, agreement};

/// Rows that are kept: the sums before a bar and after each of a longest section.
const KEPT: usize = LONGEST + 1;

/// How differently two bars are struck, 0 to 1; half where they have other numbers of beats.
pub(in crate::hearing) fn apart(bars: &[Sketch], a: usize, b: usize) -> f64 {
    if a == b {
        return 0.0;
    }
    let (a, b) = (&bars[a].rhythm, &bars[b].rhythm);
    if a.len() != b.len() || a.is_empty() {
        return 0.5;
    }
    let (mut apart, mut all) = (0.0, 1e-6);
    for (x, y) in a.iter().zip(b) {
        apart += f64::from((x - y).abs());
        all += f64::from(x.max(*y));
    }
    apart / all
}

/// How far a bar differs from an earlier one that lies `shift` semitones lower, 0 to 1.
fn difference(bars: &[Sketch], low: usize, high: usize, shift: u8, played: f64) -> f64 {
    let differs = 1.0 - agreement(&bars[low], &bars[high], shift);
    (differs + played).min(1.0)
}

/// The difference of each bar from the one `lag` before it; the first `lag` bars have none (0).
///
/// Taken as the step of a sum, as [`Rows`] would give it.
pub(in crate::hearing) fn steps(bars: &[Sketch], lag: usize, playing: f64) -> Vec<f64> {
    let (mut steps, mut sum) = (vec![0.0; bars.len()], 0.0);
    for (i, step) in steps.iter_mut().enumerate().skip(lag) {
        let played = playing * apart(bars, i, i - lag);
        let next = sum + difference(bars, i - lag, i, 0, played);
        *step = next - sum;
        sum = next;
    }
    steps
}

/// A window of rows of the sums, for each shift; it only moves on.
pub(in crate::hearing) struct Rows<'a> {
    bars: &'a [Sketch],
    playing: f64,
    /// Semitones that are looked for.
    shifts: Vec<u8>,
    /// The last row that is there.
    last: usize,
    /// For each shift `KEPT × (n + 1)`, row `i` at `i % KEPT`: column `j` is the
    /// sum down the diagonal that ends before bars `i` and `j`, for `j <= i`.
    sums: Vec<Vec<f64>>,
}

impl<'a> Rows<'a> {
    pub(in crate::hearing) fn new(bars: &'a [Sketch], shifts: Vec<u8>, playing: f64) -> Self {
        let sums = vec![vec![0.0; KEPT * (bars.len() + 1)]; shifts.len()];
        Self {
            bars,
            playing,
            shifts,
            last: 0,
            sums,
        }
    }

    /// The shifts, in the order of their numbers elsewhere.
    pub(in crate::hearing) fn shifts(&self) -> &[u8] {
        &self.shifts
    }

    /// Moves on, so that sections from bar `start` can be looked up; not back.
    pub(in crate::hearing) fn reach(&mut self, start: usize) {
        let width = self.bars.len() + 1;
        while self.last < (start + LONGEST).min(self.bars.len()) {
            let i = self.last;
            let (before, now) = (i % KEPT * width, (i + 1) % KEPT * width);
            for j in 0..=i {
                let played = self.playing * apart(self.bars, i, j);
                for (shift, sums) in self.shifts.iter().zip(&mut self.sums) {
                    let differs = difference(self.bars, j, i, *shift, played);
                    sums[now + j + 1] = sums[before + j] + differs;
                }
            }
            for sums in &mut self.sums {
                sums[now] = 0.0;
            }
            self.last += 1;
        }
    }

    /// The summed differences of bars from `start` and those from `of`, from the
    /// `from`th to before the `to`th of each, by the number of a shift.
    pub(in crate::hearing) fn between(
        &self,
        shift: usize,
        start: usize,
        of: usize,
        from: usize,
        to: usize,
    ) -> f64 {
        let width = self.bars.len() + 1;
        let at = |k: usize| self.sums[shift][(start + k) % KEPT * width + of + k];
        at(to) - at(from)
    }
}
