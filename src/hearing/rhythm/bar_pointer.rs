//! Beats and bars by the song net: a pointer that runs through bars at a tempo that may change
//! from beat to beat.
//!
//! Which of these counts, and of those of attacks and chords ([`super::bars`]), is the take's,
//! [`super::count_choice`] decides.
//!
//! # Source
//! The state space (place in the bar, tempo) and its transitions: Krebs, Böck and Widmer, "An
//! efficient state-space model for joint tempo and meter tracking", ISMIR 2015; joint downbeats:
//! Böck, Krebs and Widmer, ISMIR 2016. Costs: ours.

use crate::hearing::acoustic::songs::{FINE_S, Pulse};
use crate::hearing::learned;
use crate::hearing::rhythm::count::Count;
use crate::hearing::weight_files::BAR_POINTER;
use serde::Deserialize;
use std::sync::LazyLock;

/// Limits and costs of the search, in nats where nothing else is said.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PointerWeights {
    /// Fine frames of the shortest beat.
    shortest: usize,
    /// Fine frames of the longest beat.
    longest: usize,
    /// Of a beat that is shorter or longer than the one before by up to `free_frames`.
    tempo_change: f32,
    /// Fine frames that a beat may differ by at little cost.
    free_frames: usize,
    /// The share of a beat's length around it in which frames count as on the beat is one in
    /// so many.
    beat_share: f32,
    /// Weight of downbeats beside beats.
    downbeat: f32,
    /// Each is one more count to choose from.
    runs: Vec<Supposed>,
}

static WEIGHTS: LazyLock<PointerWeights> = LazyLock::new(|| learned::read(&BAR_POINTER));

/// What a run of the pointer supposes.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Supposed {
    /// Beats in a bar; with one, it looks for beats alone.
    per_bar: usize,
    /// Cost of each unit of the logarithm of two beats' ratio beyond what is free.
    jump: f32,
}

/// The likeliest counts of a take, one for each supposition.
pub(crate) fn pointed(pulse: &[Pulse]) -> Vec<Count> {
    let w = &*WEIGHTS;
    if pulse.len() < 4 * w.longest {
        return Vec::new();
    }
    let count = |supposed: &Supposed| {
        let beats = run(pulse, supposed, PIECE);
        Count {
            beats_s: beats.iter().map(|(t, _)| centered(pulse, *t)).collect(),
            places: beats.iter().map(|(_, p)| *p as u8 + 1).collect(),
            per_bar: supposed.per_bar as u8,
            compound: false,
            other: None,
        }
    };
    let all: Vec<Count> = w.runs.iter().map(count).collect();
    all.into_iter().filter(|c| c.beats_s.len() >= 6).collect()
}

/// Where a beat lies between frames: the mean of what the net hears around it, s.
fn centered(pulse: &[Pulse], frame: usize) -> f64 {
    let near = frame.saturating_sub(2)..(frame + 3).min(pulse.len());
    let weight = |t: usize| f64::from(pulse[t].beat).powi(2);
    let total: f64 = near.clone().map(weight).sum();
    let mean: f64 = near.map(|t| t as f64 * weight(t)).sum();
    FINE_S
        * if total > 0.01 {
            mean / total
        } else {
            frame as f64
        }
}

/// States: for each place in the bar, for each length of a beat, each frame of it.
struct States {
    lengths: Vec<usize>,
    /// First state of each length.
    firsts: Vec<usize>,
    /// States of one place.
    n: usize,
    /// Cost from one length to another, by index.
    change: Vec<Vec<f32>>,
}

impl States {
    fn new(jump: f32) -> Self {
        let w = &*WEIGHTS;
        let lengths: Vec<usize> = (w.shortest..=w.longest).collect();
        let mut firsts = Vec::with_capacity(lengths.len());
        let mut n = 0;
        for length in &lengths {
            firsts.push(n);
            n += length;
        }
        let cost = |from: usize, to: usize| {
            let off = from.abs_diff(to);
            if off == 0 {
                return 0.0;
            }
            let beyond = off.saturating_sub(w.free_frames);
            let ratio = ((from as f32 + beyond as f32) / from as f32).ln();
            w.tempo_change + jump * ratio
        };
        let change = lengths
            .iter()
            .map(|to| lengths.iter().map(|from| cost(*from, *to)).collect())
            .collect();
        Self {
            lengths,
            firsts,
            n,
            change,
        }
    }
}

/// Fine frames whose way back is kept at a time, 3 minutes: it is searched once more from the
/// last piece to the first, so that hours need no more memory than minutes.
const PIECE: usize = 1 << 13;

/// The beats (frame, place from 0) of the best path; the way back is kept of `piece` frames at a
/// time.
fn run(pulse: &[Pulse], supposed: &Supposed, piece: usize) -> Vec<(usize, usize)> {
    let mut search = Search::new(supposed);
    let mut came = Vec::new();
    let mut before = Vec::new();
    for piece in pulse.chunks(piece) {
        before.push(search.scores.clone());
        search.forward(piece, &mut came);
    }
    let scores = &search.scores;
    let best = (0..scores.len())
        .max_by(|a, b| scores[*a].total_cmp(&scores[*b]))
        .unwrap_or(0);
    let mut at = (best / search.states.n, best % search.states.n);
    let mut out = Vec::new();
    while let Some(scores) = before.pop() {
        let start = before.len() * piece;
        let frames = start..(start + piece).min(pulse.len());
        // the last piece is still there
        if frames.end < pulse.len() {
            search.scores = scores;
            search.forward(&pulse[frames.clone()], &mut came);
        }
        search.trace(frames, &came, &mut at, &mut out);
    }
    out.reverse();
    out
}

/// A search under one supposition.
struct Search {
    states: States,
    per_bar: usize,
    /// Of each state of a place whether it is on a beat.
    on_beat: Vec<bool>,
    /// Whether it is in the second half of a beat, of which the next place counts.
    late: Vec<bool>,
    /// Of every place and state, after the last frame.
    scores: Vec<f32>,
    next: Vec<f32>,
}

impl Search {
    fn new(supposed: &Supposed) -> Self {
        let states = States::new(supposed.jump);
        let mut on_beat = vec![false; states.n];
        let mut late = vec![false; states.n];
        for (length, first) in states.lengths.iter().zip(&states.firsts) {
            let reach = *length as f32 / WEIGHTS.beat_share / 2.0;
            for i in 0..*length {
                on_beat[first + i] = (i as f32) < reach || i as f32 >= *length as f32 - reach;
                late[first + i] = 2 * i >= *length;
            }
        }
        let scores = vec![0.0f32; supposed.per_bar * states.n];
        Self {
            per_bar: supposed.per_bar,
            on_beat,
            late,
            next: scores.clone(),
            scores,
            states,
        }
    }

    /// Scores the next frames; gives of each frame, place and length the length before.
    fn forward(&mut self, pulse: &[Pulse], came: &mut Vec<u8>) {
        let w = &*WEIGHTS;
        let (states, per_bar) = (&self.states, self.per_bar);
        let mut ends = vec![0.0; states.lengths.len()];
        came.clear();
        for p in pulse {
            let beat = p.beat.clamp(1e-3, 1.0 - 1e-3);
            let down = (p.downbeat / (p.beat + 0.02)).clamp(0.03, 0.97);
            let on = beat.ln();
            let between = ((1.0 - beat) / (w.beat_share - 1.0)).ln();
            let (is_down, is_not) = (w.downbeat * down.ln(), w.downbeat * (1.0 - down).ln());
            for place in 0..per_bar {
                let before = (place + per_bar - 1) % per_bar;
                let (to, from) = (place * states.n, before * states.n);
                let next = &mut self.next[to..to + states.n];
                next[1..].copy_from_slice(&self.scores[to..to + states.n - 1]);
                let lasts = states.firsts.iter().zip(&states.lengths);
                for (end, (first, length)) in ends.iter_mut().zip(lasts) {
                    *end = self.scores[from + first + length - 1];
                }
                for (first, change) in states.firsts.iter().zip(&states.change) {
                    let mut best = (f32::MIN, 0);
                    for (k, (end, cost)) in ends.iter().zip(change).enumerate() {
                        if end - cost > best.0 {
                            best = (end - cost, k);
                        }
                    }
                    next[*first] = best.0;
                    came.push(best.1 as u8);
                }
                let on_of = |place: usize| on + if place == 0 { is_down } else { is_not };
                let ons = [on_of(place), on_of((place + 1) % per_bar)];
                let kinds = self.on_beat.iter().zip(&self.late);
                for (score, (on_beat, late)) in next.iter_mut().zip(kinds) {
                    *score += match on_beat {
                        true => ons[usize::from(*late)],
                        false => between,
                    };
                }
            }
            std::mem::swap(&mut self.scores, &mut self.next);
        }
    }

    /// Goes back through these frames from the place and state `at`; adds their beats.
    fn trace(
        &self,
        frames: std::ops::Range<usize>,
        came: &[u8],
        at: &mut (usize, usize),
        out: &mut Vec<(usize, usize)>,
    ) {
        let (states, per_bar) = (&self.states, self.per_bar);
        let (mut place, mut state) = *at;
        for (row, t) in frames.enumerate().rev() {
            let length = states.firsts.partition_point(|f| *f <= state) - 1;
            if state == states.firsts[length] {
                out.push((t, place));
                let row = (row * per_bar + place) * states.lengths.len();
                let k = usize::from(came[row + length]);
                place = (place + per_bar - 1) % per_bar;
                state = states.firsts[k] + states.lengths[k] - 1;
            } else {
                state -= 1;
            }
        }
        *at = (place, state);
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A pulse each `beat` frames, every fourth a downbeat, from frame 10 on.
    pub(in crate::hearing::rhythm) fn steady(beat: f64, n_beats: usize) -> Vec<Pulse> {
        let quiet = Pulse {
            beat: 0.01,
            downbeat: 0.005,
            strum: 0.0,
            up: 0.0,
        };
        let mut out = vec![quiet; 20 + (beat * n_beats as f64) as usize];
        for k in 0..n_beats {
            let at = 10 + (beat * k as f64).round() as usize;
            let down = if k % 4 == 0 { 0.9 } else { 0.02 };
            // as the net tells a beat: surest at its frame, less beside it
            for (frame, beat) in [(at - 1, 0.4), (at, 0.9), (at + 1, 0.4)] {
                out[frame].beat = beat;
                out[frame].downbeat = beat * down;
            }
        }
        out
    }

    #[test]
    fn the_way_back_in_pieces_is_that_of_the_whole() {
        let pulse = steady(21.4, 40);
        for supposed in &WEIGHTS.runs {
            let whole = run(&pulse, supposed, pulse.len());
            assert!(whole.len() > 30);
            for piece in [1, 100, 300, pulse.len() - 1] {
                assert!(run(&pulse, supposed, piece) == whole, "pieces of {piece}");
            }
        }
    }

    #[test]
    fn a_steady_pulse_is_followed_with_its_bars() {
        let pulse = steady(21.4, 40);
        let counts = pointed(&pulse);
        let count = counts.iter().find(|c| c.per_bar == 4).expect("a count");
        for k in 2..38 {
            let at = FINE_S * (10.0 + 21.4 * k as f64);
            let beat = count
                .beats_s
                .iter()
                .position(|b| (b - at).abs() < 0.04)
                .unwrap_or_else(|| panic!("no beat at {at}"));
            assert_eq!(usize::from(count.places[beat]), k % 4 + 1, "beat {k}");
        }
    }
}
