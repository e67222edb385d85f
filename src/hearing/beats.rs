//! Beats from attacks and changes of harmony, by dynamic programming.
//!
//! A beat at time `t` that lasted since `t - d` scores the evidence for a beat
//! at `t`, the evidence for a half-beat (or thirds) between, and pays for
//! attacks that lie on no division of it; a change from one beat length to the
//! next pays in proportion to the logarithm of their ratio. Every pair (t, d)
//! keeps its best predecessor, so tempo may drift but not jump.
//!
//! # Source
//! Ellis, "Beat tracking by dynamic programming", JNMR 36 (2007), for the
//! search over time; Krebs, Böck and Widmer, "An efficient state-space model
//! for joint tempo and meter tracking", ISMIR 2015, for keeping the beat length
//! in the state with an exponential cost of its change. The evidence is ours.

use super::attack::FINE_HOP_S;

/// Shortest and longest beat, in fine frames: 207 and 48 beats a minute.
const SHORTEST: usize = 25;
const LONGEST: usize = 108;
const N_LENGTHS: usize = LONGEST - SHORTEST + 1;
/// Frames whose scores are kept.
const RING: usize = 128;

/// What speaks for a beat, a value every fine frame (11.6 ms).
#[derive(Debug, Clone, Default)]
pub(crate) struct BeatEvidence {
    /// Log odds of a beat here against none.
    pub(crate) beat: Vec<f32>,
    /// Log odds of a division of the beat here against nothing.
    pub(crate) division: Vec<f32>,
}

/// Weights of the search.
#[derive(Debug, Clone)]
pub(crate) struct BeatWeights {
    /// Cost of changing the beat length by a factor e.
    pub(crate) change: f32,
    /// Center of the tempo prior, beats a minute.
    pub(crate) center_bpm: f32,
    /// Width of the tempo prior, octaves.
    pub(crate) width_octaves: f32,
    /// Weight of the tempo prior, a beat.
    pub(crate) prior: f32,
    /// Weight of divisions.
    pub(crate) division: f32,
}

impl Default for BeatWeights {
    fn default() -> Self {
        Self {
            change: 60.0,
            center_bpm: 105.0,
            width_octaves: 0.75,
            prior: 1.0,
            division: 0.5,
        }
    }
}

/// Beats found: fine frames, and the score a second.
#[derive(Debug, Clone, Default)]
pub(crate) struct BeatPath {
    pub(crate) frames: Vec<usize>,
    pub(crate) score: f32,
}

/// Finds the best beats with lengths from `shortest_s` to `longest_s`.
pub(crate) fn track(
    evidence: &BeatEvidence,
    weights: &BeatWeights,
    bounds_s: (f64, f64),
) -> BeatPath {
    let n = evidence.beat.len();
    let clamp = |s: f64| ((s / FINE_HOP_S).round() as usize).clamp(SHORTEST, LONGEST);
    let (low, high) = (clamp(bounds_s.0), clamp(bounds_s.1));
    if n < 2 * SHORTEST {
        return BeatPath::default();
    }
    let tempo_prior: Vec<f32> = (SHORTEST..=LONGEST)
        .map(|d| {
            let bpm = 60.0 / (d as f32 * FINE_HOP_S as f32);
            let z = (bpm / weights.center_bpm).log2() / weights.width_octaves;
            -0.5 * z * z * weights.prior
        })
        .collect();
    // change[k]: cost from length d to d + k - 6
    let reach = 6i32;
    // scores of the last frames only; the way back of all
    let row = |t: usize| t % RING * N_LENGTHS;
    let mut best = vec![f32::NEG_INFINITY; RING * N_LENGTHS];
    let mut from = vec![u8::MAX; n * N_LENGTHS];
    for t in 0..n {
        let here = evidence.beat[t];
        for d in low..=high {
            let at = row(t) + d - SHORTEST;
            let back = t * N_LENGTHS + d - SHORTEST;
            let mut score = here + tempo_prior[d - SHORTEST];
            if t < d {
                // the first beat: what came before is not explained
                best[at] = score - 0.02 * t as f32;
                continue;
            }
            let middle = evidence.division[t - d / 2];
            let thirds = 0.5 * (evidence.division[t - d / 3] + evidence.division[t - (2 * d) / 3]);
            score += weights.division * middle.max(thirds - 0.5);
            let before = row(t - d);
            let (mut top, mut top_from) = (f32::NEG_INFINITY, 0);
            for k in -reach..=reach {
                let p = d as i32 + k;
                if p < low as i32 || p > high as i32 {
                    continue;
                }
                let p = p as usize - SHORTEST;
                let ratio = (d as f32 / (p + SHORTEST) as f32).ln().abs();
                let s = best[before + p] - weights.change * ratio;
                if s > top {
                    (top, top_from) = (s, p);
                }
            }
            let fresh = -0.02 * t as f32;
            if top > fresh {
                best[at] = score + top;
                from[back] = top_from as u8;
            } else {
                best[at] = score + fresh;
            }
        }
    }
    // the last beat lies within one beat of the end
    let mut end = (f32::NEG_INFINITY, 0, 0);
    for t in n.saturating_sub(RING)..n {
        for d in low..=high {
            let tail = 0.02 * (n - 1 - t) as f32;
            let s = best[row(t) + d - SHORTEST] - tail;
            if s > end.0 {
                end = (s, t, d);
            }
        }
    }
    let (score, mut t, mut d) = end;
    let mut frames = vec![];
    loop {
        frames.push(t);
        let back = from[t * N_LENGTHS + d - SHORTEST];
        if back == u8::MAX {
            break;
        }
        t -= d;
        d = usize::from(back) + SHORTEST;
    }
    frames.reverse();
    BeatPath {
        frames,
        score: score / (n as f32 * FINE_HOP_S as f32),
    }
}
