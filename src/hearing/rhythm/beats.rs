//! Beats from attacks and changes of harmony, by dynamic programming.
//!
//! A beat at time `t` that lasted since `t - d` scores the evidence for a beat
//! at `t` and for a division of it in two or three; a change from one beat
//! length to the next pays in proportion to the logarithm of their ratio.
//! Every pair (t, d) keeps its best predecessor, so tempo may drift but not jump.
//!
//! # Source
//! Ellis, "Beat tracking by dynamic programming", JNMR 36 (2007), for the
//! search over time; Krebs, Böck and Widmer, "An efficient state-space model
//! for joint tempo and meter tracking", ISMIR 2015, for keeping the beat length
//! in the state with an exponential cost of its change. The evidence is ours.

use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::learned;
use crate::hearing::weight_files::BEAT_SEARCH;

/// Shortest and longest beat, in fine frames: 207 and 48 beats a minute.
pub(in crate::hearing) const SHORTEST: usize = 25;
pub(in crate::hearing) const LONGEST: usize = 108;
/// Frames whose scores are kept.
const RING: usize = 128;
/// Frames whose way back is kept at a time, 3 minutes: it is searched once more from the last
/// piece to the first, so that hours need no more memory than minutes.
const PIECE: usize = 1 << 14;
/// How many fine frames a beat may be longer or shorter than the one before.
const REACH: i32 = 6;
/// Beat lengths that one may follow.
const WAYS: usize = 2 * REACH as usize + 1;
/// Cost of a frame before the first beat or after the last.
const UNEXPLAINED: f32 = 0.02;

/// What speaks for a beat, a value every fine frame (11.6 ms).
#[derive(Debug, Clone, Default)]
pub(in crate::hearing) struct BeatEvidence {
    /// Log odds of a beat here against none.
    pub(in crate::hearing) beat: Vec<f32>,
    /// Log odds of a division of the beat here against nothing.
    pub(in crate::hearing) division: Vec<f32>,
}

/// Weights of the search.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BeatWeights {
    /// Cost of changing the beat length by a factor e.
    pub change: f32,
    /// Center of the tempo prior, beats a minute.
    pub center_bpm: f32,
    /// Width of the tempo prior, octaves.
    pub width_octaves: f32,
    /// Weight of divisions.
    pub division: f32,
    /// Divisions by three count that much less than those by two.
    pub third: f32,
}

impl Default for BeatWeights {
    fn default() -> Self {
        learned::read(&BEAT_SEARCH)
    }
}

/// The best beats whose lengths lie within `lengths` (fine frames, inclusive), as fine frames.
pub(in crate::hearing) fn track(
    evidence: &BeatEvidence,
    weights: &BeatWeights,
    lengths: (usize, usize),
) -> Vec<usize> {
    let n = evidence.beat.len();
    let (low, high) = (lengths.0.max(SHORTEST), lengths.1.min(LONGEST));
    if n < 2 * SHORTEST || low > high {
        return Vec::new();
    }
    Search::new(evidence, weights, (low, high)).beats(PIECE)
}

/// One search, with what is the same at every frame.
struct Search<'a> {
    evidence: &'a BeatEvidence,
    weights: &'a BeatWeights,
    low: usize,
    n_lengths: usize,
    prior: Vec<f32>,
    change: Vec<f32>,
}

impl<'a> Search<'a> {
    fn new(
        evidence: &'a BeatEvidence,
        weights: &'a BeatWeights,
        (low, high): (usize, usize),
    ) -> Self {
        let n_lengths = high - low + 1;
        let prior = (low..=high).map(|d| {
            let bpm = 60.0 / (d as f32 * FINE_HOP_S as f32);
            let z = (bpm / weights.center_bpm).log2() / weights.width_octaves;
            -0.5 * z * z
        });
        let change = (0..n_lengths * WAYS).map(|i| {
            let d = (i / WAYS + low) as f32;
            let p = d + (i % WAYS) as f32 - REACH as f32;
            weights.change * (d / p).ln().abs()
        });
        Self {
            evidence,
            weights,
            low,
            n_lengths,
            prior: prior.collect(),
            change: change.collect(),
        }
    }

    /// The best beats; the way back is kept of `piece` frames at a time.
    fn beats(&self, piece: usize) -> Vec<usize> {
        let n = self.evidence.beat.len();
        // scores of the last frames only
        let mut best = vec![f32::NEG_INFINITY; RING * self.n_lengths];
        let mut from = Vec::new();
        let mut before = Vec::new();
        for start in (0..n).step_by(piece) {
            before.push(best.clone());
            self.forward(start..(start + piece).min(n), &mut best, &mut from);
        }
        let mut way = WayBack::from_end(self.end(&best), self.low);
        while let Some(mut scores) = before.pop() {
            let start = before.len() * piece;
            // the last piece is still there
            if start + piece < n {
                self.forward(start..start + piece, &mut scores, &mut from);
            }
            way.through(start, &from, self.n_lengths);
        }
        way.frames.reverse();
        way.frames
    }

    fn row(&self, t: usize) -> usize {
        t % RING * self.n_lengths
    }

    /// Scores these frames, after those whose scores `best` holds; gives where each length of
    /// each frame came from (`u8::MAX`: it is the first beat).
    fn forward(&self, frames: std::ops::Range<usize>, best: &mut [f32], from: &mut Vec<u8>) {
        let (evidence, n_lengths) = (self.evidence, self.n_lengths);
        from.clear();
        from.resize(frames.len() * n_lengths, u8::MAX);
        for (t, from) in frames.zip(from.chunks_exact_mut(n_lengths)) {
            let here = evidence.beat[t];
            let fresh = -UNEXPLAINED * t as f32;
            for (i, from) in from.iter_mut().enumerate() {
                let d = i + self.low;
                let at = self.row(t) + i;
                let mut score = here + self.prior[i];
                if t < d {
                    best[at] = score + fresh;
                    continue;
                }
                let half = evidence.division[t - d / 2];
                let thirds =
                    0.5 * (evidence.division[t - d / 3] + evidence.division[t - (2 * d) / 3]);
                score += self.weights.division * half.max(thirds - self.weights.third);
                let (top, top_from) = self.before(i, self.row(t - d), best);
                if top > fresh {
                    best[at] = score + top;
                    *from = top_from as u8;
                } else {
                    best[at] = score + fresh;
                }
            }
        }
    }

    /// The best score among the lengths that length `i` may follow, in the row of scores that
    /// begins at `row`, and which length that is.
    fn before(&self, i: usize, row: usize, best: &[f32]) -> (f32, usize) {
        let first = (i as i32 - REACH).max(0);
        let last = (i as i32 + REACH).min(self.n_lengths as i32 - 1);
        let ways = WAYS * i + (first - i as i32 + REACH) as usize..;
        let before = &best[row + first as usize..=row + last as usize];
        let (mut top, mut top_from) = (f32::NEG_INFINITY, 0);
        for (p, (score, cost)) in before.iter().zip(&self.change[ways]).enumerate() {
            if score - cost > top {
                (top, top_from) = (score - cost, first as usize + p);
            }
        }
        (top, top_from)
    }

    /// Frame and length of the last beat.
    fn end(&self, best: &[f32]) -> (usize, usize) {
        let n = self.evidence.beat.len();
        let mut end = (f32::NEG_INFINITY, 0, 0);
        for t in n.saturating_sub(RING)..n {
            for i in 0..self.n_lengths {
                let s = best[self.row(t) + i] - UNEXPLAINED * (n - 1 - t) as f32;
                if s > end.0 {
                    end = (s, t, i);
                }
            }
        }
        (end.1, end.2)
    }
}

/// Beats from the last to the first.
struct WayBack {
    frames: Vec<usize>,
    /// Frame and length of the beat that is next; none before the first.
    next: Option<(usize, usize)>,
    low: usize,
}

impl WayBack {
    fn from_end(end: (usize, usize), low: usize) -> Self {
        Self {
            frames: Vec::new(),
            next: Some(end),
            low,
        }
    }

    /// Goes back through the frames from `start` on, by where each came from.
    fn through(&mut self, start: usize, from: &[u8], n_lengths: usize) {
        while let Some((t, i)) = self.next.filter(|(t, _)| *t >= start) {
            self.frames.push(t);
            let back = from[(t - start) * n_lengths + i];
            self.next = (back != u8::MAX).then(|| (t - i - self.low, usize::from(back)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_back_in_pieces_is_that_of_the_whole() {
        // an attack each 40 fine frames or so, drifting, among noise
        let n = 5000;
        let noise = |i: usize| (i * i % 101) as f32 / 101.0 - 1.5;
        let mut evidence = BeatEvidence {
            beat: (0..n).map(noise).collect(),
            division: (0..n).map(|i| noise(i + 50)).collect(),
        };
        let (mut at, mut k) = (30, 0);
        while at < n {
            evidence.beat[at] = 3.0;
            (at, k) = (at + 38 + k / 20 % 5, k + 1);
        }
        let weights = BeatWeights::default();
        let search = Search::new(&evidence, &weights, (SHORTEST, LONGEST));
        let whole = search.beats(n);
        assert!(whole.len() > 100);
        for piece in [128, 1000, 1250, n - 1] {
            assert_eq!(search.beats(piece), whole, "pieces of {piece}");
        }
    }
}
