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
    let n_lengths = high - low + 1;
    let prior: Vec<f32> = (low..=high)
        .map(|d| {
            let bpm = 60.0 / (d as f32 * FINE_HOP_S as f32);
            let z = (bpm / weights.center_bpm).log2() / weights.width_octaves;
            -0.5 * z * z
        })
        .collect();
    let change: Vec<f32> = (0..n_lengths * WAYS)
        .map(|i| {
            let d = (i / WAYS + low) as f32;
            let p = d + (i % WAYS) as f32 - REACH as f32;
            weights.change * (d / p).ln().abs()
        })
        .collect();
    // scores of the last frames only; the way back of all
    let row = |t: usize| t % RING * n_lengths;
    let mut best = vec![f32::NEG_INFINITY; RING * n_lengths];
    let mut from = vec![u8::MAX; n * n_lengths];
    for t in 0..n {
        let here = evidence.beat[t];
        for i in 0..n_lengths {
            let d = i + low;
            let at = row(t) + i;
            let fresh = -UNEXPLAINED * t as f32;
            let mut score = here + prior[i];
            if t < d {
                best[at] = score + fresh;
                continue;
            }
            let half = evidence.division[t - d / 2];
            let thirds = 0.5 * (evidence.division[t - d / 3] + evidence.division[t - (2 * d) / 3]);
            score += weights.division * half.max(thirds - weights.third);
            let before = row(t - d);
            let first = (i as i32 - REACH).max(0);
            let last = (i as i32 + REACH).min(n_lengths as i32 - 1);
            let ways = WAYS * i + (first - i as i32 + REACH) as usize..;
            let before = &best[before + first as usize..=before + last as usize];
            let (mut top, mut top_from) = (f32::NEG_INFINITY, 0);
            for (p, (score, cost)) in before.iter().zip(&change[ways]).enumerate() {
                if score - cost > top {
                    (top, top_from) = (score - cost, first as usize + p);
                }
            }
            if top > fresh {
                best[at] = score + top;
                from[t * n_lengths + i] = top_from as u8;
            } else {
                best[at] = score + fresh;
            }
        }
    }
    let mut end = (f32::NEG_INFINITY, 0, 0);
    for t in n.saturating_sub(RING)..n {
        for i in 0..n_lengths {
            let s = best[row(t) + i] - UNEXPLAINED * (n - 1 - t) as f32;
            if s > end.0 {
                end = (s, t, i);
            }
        }
    }
    way_back(&from, n_lengths, low, (end.1, end.2))
}

/// The row of beats that ends at a frame with a length: where each came from, by frame and length
/// (`u8::MAX`: it is the first).
fn way_back(from: &[u8], n_lengths: usize, low: usize, end: (usize, usize)) -> Vec<usize> {
    let (mut t, mut i) = end;
    let mut frames = vec![];
    loop {
        frames.push(t);
        let back = from[t * n_lengths + i];
        if back == u8::MAX {
            break;
        }
        t -= i + low;
        i = usize::from(back);
    }
    frames.reverse();
    frames
}
