//! Beats and bars by the song net: a pointer that runs through bars at a tempo that may change
//! from beat to beat.
//!
//! The count of attacks and chords ([`super::bars`]) is right where a player plays what is on
//! the page. Where one syncopates, rests or swings, what the net learned of such playing says
//! more. So the count is held against the net's beats; where it fits them badly, the pointer
//! looks for a better one.
//!
//! # Source
//! The state space (place in the bar, tempo) and its transitions: Krebs, Böck and Widmer, "An
//! efficient state-space model for joint tempo and meter tracking", ISMIR 2015; joint downbeats:
//! Böck, Krebs and Widmer, ISMIR 2016. Costs: ours.

use crate::hearing::acoustic::songs::{FINE_S, Pulse};
use crate::hearing::learned;
use crate::hearing::rhythm::count::{Count, OtherWay};
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
    /// Of each unit of the logarithm of their lengths' ratio beyond that.
    jump: f32,
    /// Fine frames that a beat may differ by at little cost.
    free_frames: usize,
    /// The share of a beat's length around it in which frames count as on the beat is one in
    /// so many.
    beat_share: f32,
    /// Weight of downbeats beside beats.
    downbeat: f32,
    /// How much better three beats in a bar must be than four.
    against_three: f32,
    /// How much better two must be.
    against_two: f32,
    /// A count that fits the net's beats at least so well is kept, nats a second.
    trusted_per_s: f64,
    /// How much better another must fit to take its place, nats a second.
    better_per_s: f64,
    /// The same where both are as three against two: two ways to feel one thing.
    better_hemiola_per_s: f64,
    /// Downbeats that fit at least so well are kept, nats a beat.
    trusted_downbeat: f64,
    /// How much better others must fit, nats a beat.
    better_downbeat: f64,
}

static WEIGHTS: LazyLock<PointerWeights> = LazyLock::new(|| learned::read(&BAR_POINTER));

/// The count, or the pointer's where that fits what the net hears of beats much better; bars
/// begin where the net hears downbeats, if it hears them plainly elsewhere.
pub(crate) fn by_pulse(counted: Option<Count>, pulse: &[Pulse]) -> Option<Count> {
    let w = &*WEIGHTS;
    let before = counted
        .as_ref()
        .map_or(f64::MIN, |c| fit(pulse, &c.beats_s));
    let kept = |counted: Option<Count>| counted.map(|c| with_downbeats(c, pulse));
    if before >= w.trusted_per_s || pulse.len() < 4 * w.longest {
        return kept(counted);
    }
    let Some(found) = pointed(pulse) else {
        return kept(counted);
    };
    let better = match &counted {
        Some(count) if is_hemiola(count, &found) => w.better_hemiola_per_s,
        _ => w.better_per_s,
    };
    if fit(pulse, &found.beats_s) < before + better {
        return kept(counted);
    }
    let other = counted.as_ref().and_then(|c| as_other(c, &found));
    Some(Count { other, ..found })
}

/// Beats a minute of a count, the median.
fn bpm(count: &Count) -> f64 {
    let lengths = count.beats_s.windows(2).map(|w| w[1] - w[0]).collect();
    60.0 / crate::hearing::rhythm::grid::median(lengths)
}

fn is_hemiola(one: &Count, other: &Count) -> bool {
    let ratio = (bpm(one) / bpm(other)).ln().abs();
    (ratio - 1.5f64.ln()).abs() < 0.04
}

/// A count of even bars with its first beat where the net hears downbeats, if they fit badly as
/// they are and much better elsewhere.
fn with_downbeats(count: Count, pulse: &[Pulse]) -> Count {
    let w = &*WEIGHTS;
    let per_bar = usize::from(count.per_bar);
    let place = |k: usize, first: usize| (k + per_bar - first) % per_bar;
    let first = count.places.iter().position(|p| *p == 1);
    let (Some(first), 2..) = (first, per_bar) else {
        return count;
    };
    let even = |(k, p): (usize, &u8)| usize::from(*p) == place(k, first % per_bar) + 1;
    if !count.places.iter().enumerate().all(even) {
        return count;
    }
    let at = |time_s: f64| {
        let frame = (time_s / FINE_S).round() as usize;
        let near = frame.saturating_sub(2)..(frame + 3).min(pulse.len());
        near.map(|t| pulse[t].downbeat).fold(0.0, f32::max)
    };
    let heard: Vec<f64> = count
        .beats_s
        .iter()
        .map(|t| f64::from(at(*t).clamp(0.004, 0.996)))
        .collect();
    let score = |first: usize| {
        let of = |(k, p): (usize, &f64)| match place(k, first) {
            0 => p.ln(),
            _ => (1.0 - p).ln(),
        };
        heard.iter().enumerate().map(of).sum::<f64>() / heard.len().max(1) as f64
    };
    let now = score(first % per_bar);
    let best = (0..per_bar)
        .max_by(|a, b| score(*a).total_cmp(&score(*b)))
        .unwrap_or(0);
    if now >= w.trusted_downbeat || score(best) < now + w.better_downbeat {
        return count;
    }
    let places = (0..count.beats_s.len()).map(|k| place(k, best) as u8 + 1);
    Count {
        places: places.collect(),
        ..count
    }
}

/// The count that was given up, as a doubt to tell.
fn as_other(count: &Count, found: &Count) -> Option<OtherWay> {
    let (old, new) = (bpm(count), bpm(found));
    let otherwise = (old / new).ln().abs() > 0.04 || count.per_bar != found.per_bar;
    (count.beats_s.len() > 4 && otherwise).then(|| OtherWay {
        behind: 1.0,
        meter: match count.compound {
            true => (count.per_bar * 3, 8),
            false => (count.per_bar, 4),
        },
        tempo_bpm: old,
        first_downbeat_s: count
            .places
            .iter()
            .position(|p| *p == 1)
            .map_or(count.beats_s[0], |i| count.beats_s[i]),
    })
}

/// How well beats meet what the net hears: log probabilities on beats, and of peaks that no beat
/// meets, for each second of the take.
fn fit(pulse: &[Pulse], beats_s: &[f64]) -> f64 {
    const REACH: usize = 2;
    let clip = |p: f32| f64::from(p.clamp(0.004, 0.996));
    let mut met = vec![false; pulse.len()];
    let mut sum = 0.0;
    for time_s in beats_s {
        let at = (time_s / FINE_S).round() as usize;
        let near = at.saturating_sub(REACH)..(at + REACH + 1).min(pulse.len());
        let best = near.clone().map(|t| pulse[t].beat).fold(0.0, f32::max);
        if !near.is_empty() {
            sum += clip(best).ln();
            met[near].fill(true);
        }
    }
    for t in 1..pulse.len().saturating_sub(1) {
        let p = pulse[t].beat;
        if !met[t] && p >= 0.3 && p >= pulse[t - 1].beat && p > pulse[t + 1].beat {
            sum += (1.0 - clip(p)).ln();
        }
    }
    sum / (pulse.len() as f64 * FINE_S).max(1.0)
}

/// The likeliest bars of four, three or two beats.
fn pointed(pulse: &[Pulse]) -> Option<Count> {
    let w = &*WEIGHTS;
    let against = [(4, 0.0), (3, w.against_three), (2, w.against_two)];
    let (_, beats, per_bar) = against
        .into_iter()
        .map(|(per_bar, cost)| {
            let (score, beats) = run(pulse, per_bar);
            (score - cost, beats, per_bar)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    if beats.len() < 4 {
        return None;
    }
    Some(Count {
        beats_s: beats.iter().map(|(t, _)| centered(pulse, *t)).collect(),
        places: beats.iter().map(|(_, p)| *p as u8 + 1).collect(),
        per_bar: per_bar as u8,
        compound: false,
        other: None,
    })
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
    fn new() -> Self {
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
            w.tempo_change + w.jump * ratio
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

/// The best path: its score and its beats (frame, place from 0).
fn run(pulse: &[Pulse], per_bar: usize) -> (f32, Vec<(usize, usize)>) {
    let w = &*WEIGHTS;
    let states = States::new();
    let n_lengths = states.lengths.len();
    // 0: on a beat; 1: between; of the second half of a beat the next place counts
    let mut kind = vec![1u8; states.n];
    let mut late = vec![false; states.n];
    for (length, first) in states.lengths.iter().zip(&states.firsts) {
        let reach = *length as f32 / w.beat_share / 2.0;
        for i in 0..*length {
            let near = (i as f32) < reach || i as f32 >= *length as f32 - reach;
            kind[first + i] = u8::from(!near);
            late[first + i] = 2 * i >= *length;
        }
    }
    let mut scores = vec![0.0f32; per_bar * states.n];
    let mut next = scores.clone();
    // of each frame, place and length: the length before
    let mut came: Vec<u8> = Vec::with_capacity(pulse.len() * per_bar * n_lengths);
    for p in pulse {
        let beat = p.beat.clamp(1e-3, 1.0 - 1e-3);
        let down = (p.downbeat / (p.beat + 0.02)).clamp(0.03, 0.97);
        let on = beat.ln();
        let between = ((1.0 - beat) / (w.beat_share - 1.0)).ln();
        let (is_down, is_not) = (w.downbeat * down.ln(), w.downbeat * (1.0 - down).ln());
        for place in 0..per_bar {
            let before = (place + per_bar - 1) % per_bar;
            let (to, from) = (place * states.n, before * states.n);
            next[to + 1..to + states.n].copy_from_slice(&scores[to..to + states.n - 1]);
            for (l, first) in states.firsts.iter().enumerate() {
                let mut best = (f32::MIN, 0);
                for k in 0..n_lengths {
                    let end = from + states.firsts[k] + states.lengths[k] - 1;
                    let score = scores[end] - states.change[l][k];
                    if score > best.0 {
                        best = (score, k);
                    }
                }
                next[to + first] = best.0;
                came.push(best.1 as u8);
            }
            for i in 0..states.n {
                let of = if late[i] {
                    (place + 1) % per_bar
                } else {
                    place
                };
                next[to + i] += match (kind[i], of) {
                    (0, 0) => on + is_down,
                    (0, _) => on + is_not,
                    _ => between,
                };
            }
        }
        std::mem::swap(&mut scores, &mut next);
    }
    let best = (0..scores.len())
        .max_by(|a, b| scores[*a].total_cmp(&scores[*b]))
        .unwrap_or(0);
    (
        scores[best],
        traced(&states, per_bar, best, &came, pulse.len()),
    )
}

fn traced(
    states: &States,
    per_bar: usize,
    last: usize,
    came: &[u8],
    n_frames: usize,
) -> Vec<(usize, usize)> {
    let (mut place, mut state) = (last / states.n, last % states.n);
    let n_lengths = states.lengths.len();
    let mut out = Vec::new();
    for t in (0..n_frames).rev() {
        let length = states.firsts.partition_point(|f| *f <= state) - 1;
        if state == states.firsts[length] {
            out.push((t, place));
            let k = usize::from(came[(t * per_bar + place) * n_lengths + length]);
            place = (place + per_bar - 1) % per_bar;
            state = states.firsts[k] + states.lengths[k] - 1;
        } else {
            state -= 1;
        }
    }
    out.reverse();
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pulse each `beat` frames, every fourth a downbeat, from frame 10 on.
    fn steady(beat: f64, n_beats: usize) -> Vec<Pulse> {
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
    fn a_steady_pulse_is_followed_with_its_bars() {
        let pulse = steady(21.4, 40);
        let count = pointed(&pulse).expect("a count");
        assert_eq!(count.per_bar, 4);
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

    #[test]
    fn a_count_between_the_beats_gives_way() {
        let pulse = steady(22.0, 40);
        let off: Vec<f64> = (0..40)
            .map(|k| FINE_S * (21.0 + 22.0 * f64::from(k)))
            .collect();
        let wrong = Count {
            places: (0..40).map(|k| k % 4 + 1).collect(),
            beats_s: off,
            per_bar: 4,
            compound: false,
            other: None,
        };
        let right = by_pulse(Some(wrong), &pulse).expect("a count");
        let near = (right.beats_s[8] / FINE_S - 10.0) / 22.0;
        assert!((near - near.round()).abs() < 0.1, "{near}");
    }

    #[test]
    fn bars_begin_where_downbeats_are_heard() {
        let pulse = steady(22.0, 40);
        let count = Count {
            beats_s: (0..40)
                .map(|k| FINE_S * (10.0 + 22.0 * f64::from(k)))
                .collect(),
            places: (0..40).map(|k| (k + 2) % 4 + 1).collect(),
            per_bar: 4,
            compound: false,
            other: None,
        };
        let places = by_pulse(Some(count), &pulse).expect("a count").places;
        assert_eq!(places[..5], [1, 2, 3, 4, 1]);
    }

    #[test]
    fn a_count_that_fits_stays() {
        let pulse = steady(22.0, 40);
        let beats_s = (0..40)
            .map(|k| FINE_S * (10.0 + 22.0 * f64::from(k)))
            .collect();
        let count = Count {
            places: (0..40).map(|k| k % 2 + 1).collect(),
            beats_s,
            per_bar: 2,
            compound: false,
            other: None,
        };
        assert_eq!(by_pulse(Some(count), &pulse).map(|c| c.per_bar), Some(2));
    }
}
