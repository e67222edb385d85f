//! Tempo, meter and bars: which of several ways to count is a player's.
//!
//! The beat search is asked for its own best tempo and for the tempos that
//! players confuse with it (half, double, and the triple ratios), each also
//! shifted by half a beat, each counted in two, three and four. Every such
//! hypothesis is described by some thirty numbers (how well its beats, their
//! halves, thirds and quarters meet attacks; how much harmony and bass change
//! on downbeats, on other beats and between; its tempo and bar length), and a
//! fitted linear rank decides.
//!
//! Where the count breaks (a dropped or added beat) a hidden Markov model over
//! the place in the bar may jump, at a cost.
//!
//! # Source
//! Downbeats by a hidden Markov model over places in the bar: Peeters and
//! Papadopoulos, IEEE TASLP 19 (2011). Description and rank: ours.

use super::attack::FINE_HOP_S;
use super::beat_numbers::{BEAT, DIVISION, DOWNBEAT, RANK};
use super::beats::{BeatEvidence, BeatWeights, LONGEST, SHORTEST, track};
use super::pulse::{Moment, log_odds};
use super::reading::Given;

/// Cost of a jump in the count: a beat too few or too many in a bar.
const SKIP: f32 = 8.0;

/// Beats with their places in bars of a meter.
#[derive(Debug, Clone, Default)]
pub(crate) struct Count {
    /// Beat times, s.
    pub(crate) beats_s: Vec<f64>,
    /// Place of each beat in its bar, from 1.
    pub(crate) places: Vec<u8>,
    /// Beats in a bar.
    pub(crate) per_bar: u8,
    /// Whether beats divide in three.
    pub(crate) compound: bool,
    /// How far the next different hypothesis lies behind, in nats of its rank.
    pub(crate) margin: f32,
}

struct Hypothesis {
    frames: Vec<usize>,
    places: Vec<u8>,
    per_bar: u8,
    third: f32,
    half: f32,
    rank: f32,
}

/// Evidence of one take, computed once.
struct Evidence<'a> {
    moments: &'a [Moment],
    search: BeatEvidence,
    downbeat: Vec<f32>,
}

/// Finds the count, or none where there is too little to count.
pub(crate) fn count(moments: &[Moment], given: &Given, weights: &BeatWeights) -> Option<Count> {
    let evidence = Evidence {
        moments,
        search: BeatEvidence {
            beat: moments
                .iter()
                .map(|m| log_odds(&BEAT, m).clamp(-3.0, 4.0))
                .collect(),
            division: moments
                .iter()
                .map(|m| log_odds(&DIVISION, m).clamp(-2.0, 2.0))
                .collect(),
        },
        downbeat: moments.iter().map(|m| log_odds(&DOWNBEAT, m)).collect(),
    };
    let mut all = Vec::new();
    for frames in beat_rows(&evidence, given, weights) {
        for per_bar in meters(given) {
            all.push(evidence.describe(&frames, per_bar, given));
        }
    }
    all.sort_by(|a, b| b.rank.total_cmp(&a.rank));
    let best = all.first()?;
    let other = all
        .iter()
        .find(|h| h.per_bar != best.per_bar || h.frames != best.frames);
    Some(Count {
        beats_s: best.frames.iter().map(|f| *f as f64 * FINE_HOP_S).collect(),
        places: best.places.clone(),
        per_bar: best.per_bar,
        compound: match given.meter {
            Some((_, value)) => value == 8,
            None => best.third > best.half + 0.3,
        },
        margin: other.map_or(f32::INFINITY, |h| best.rank - h.rank),
    })
}

/// Beats in a bar worth trying; 6/8 is counted in two, 12/8 in four.
fn meters(given: &Given) -> Vec<u8> {
    match given.meter {
        Some((n, 8)) if n % 3 == 0 && n > 3 => vec![n / 3],
        Some((n, _)) => vec![n.clamp(2, 12)],
        None => vec![2, 3, 4],
    }
}

/// The rows of beats to choose from.
fn beat_rows(evidence: &Evidence<'_>, given: &Given, weights: &BeatWeights) -> Vec<Vec<usize>> {
    let n = evidence.moments.len();
    if given.beats_s.len() >= 2 {
        let frames = given
            .beats_s
            .iter()
            .map(|s| ((s / FINE_HOP_S).round() as usize).min(n.saturating_sub(1)))
            .collect();
        return vec![frames];
    }
    let around = |length: f64| {
        (
            (length * 0.86).floor().max(SHORTEST as f64) as usize,
            (length * 1.15).ceil().min(LONGEST as f64) as usize,
        )
    };
    let mut rows: Vec<Vec<usize>> = Vec::new();
    let mut add = |frames: Vec<usize>| {
        if frames.len() >= 6 {
            let shifted = frames
                .windows(2)
                .map(|w| w[0] + (w[1] - w[0]) / 2)
                .collect();
            rows.push(frames);
            rows.push(shifted);
        }
    };
    if let Some(bpm) = given.tempo_bpm {
        let length = 60.0 / bpm / FINE_HOP_S;
        add(track(&evidence.search, weights, around(length)));
        return rows;
    }
    let free = track(&evidence.search, weights, (SHORTEST, LONGEST));
    let length = median_gap(&free);
    if length <= 0.0 {
        return rows;
    }
    for ratio in [1.0, 0.5, 2.0, 1.5, 2.0 / 3.0, 3.0, 1.0 / 3.0] {
        let length = length * ratio;
        if (SHORTEST as f64 * 0.95..=LONGEST as f64 * 1.05).contains(&length) {
            add(track(&evidence.search, weights, around(length)));
        }
    }
    rows
}

fn median_gap(frames: &[usize]) -> f64 {
    let mut gaps: Vec<usize> = frames.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_unstable();
    let n = gaps.len();
    match n {
        0 => 0.0,
        _ if n % 2 == 1 => gaps[n / 2] as f64,
        _ => (gaps[n / 2 - 1] + gaps[n / 2]) as f64 / 2.0,
    }
}

fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (mut sum, mut n) = (0.0, 0);
    for v in values {
        sum += v;
        n += 1;
    }
    if n == 0 { 0.0 } else { sum / n as f32 }
}

impl Evidence<'_> {
    fn describe(&self, frames: &[usize], per_bar: u8, given: &Given) -> Hypothesis {
        let (places, bar_score, jumps) = self.places(frames, per_bar, given);
        let (beat, division) = (&self.search.beat, &self.search.division);
        let gaps: Vec<(usize, usize)> = frames.windows(2).map(|w| (w[0], w[1] - w[0])).collect();
        let seconds = self.moments.len() as f32 * FINE_HOP_S as f32;
        let length_s = median_gap(frames) as f32 * FINE_HOP_S as f32;
        let beats: f32 = frames.iter().map(|f| beat[*f]).sum();
        let halves: Vec<f32> = gaps.iter().map(|(f, g)| division[f + g / 2]).collect();
        let pair = |a: usize, b: usize| 0.5 * (division[a] + division[b]);
        let quarters: Vec<f32> = gaps
            .iter()
            .map(|(f, g)| pair(f + g / 4, f + 3 * g / 4))
            .collect();
        let thirds: Vec<f32> = gaps
            .iter()
            .map(|(f, g)| pair(f + g / 3, f + 2 * g / 3))
            .collect();
        let change = |f: usize| self.moments[f][3];
        let at_place = |wanted: &dyn Fn(u8) -> bool| {
            mean(
                frames
                    .iter()
                    .zip(&places)
                    .filter(|(_, p)| wanted(**p))
                    .map(|(f, _)| change(*f)),
            )
        };
        let (on, off) = (at_place(&|p| p == 1), at_place(&|p| p != 1));
        let share =
            |v: &[f32], over: f32| mean(v.iter().map(|x| if *x > over { 1.0 } else { 0.0 }));
        let (half, quarter, third) = (
            mean(halves.iter().copied()),
            mean(quarters.iter().copied()),
            mean(thirds.iter().copied()),
        );
        let tempo = (60.0 / length_s.max(1e-3) / 105.0).log2();
        let is = |n: u8| if per_bar == n { 1.0 } else { 0.0 };
        let length = (length_s * f32::from(per_bar)).max(1e-3).ln();
        let n = frames.len() as f32;
        let value = |name: &str| match name {
            "beat_mean" => beats / n,
            "beat_rate" => beats / seconds,
            "half" => half,
            "quarter" => quarter,
            "third" => third,
            "tempo" => tempo,
            "tempo2" => tempo * tempo,
            "tempo_abs" => tempo.abs(),
            "bar_mean" => bar_score / n,
            "bar_rate" => bar_score / seconds,
            "change_on" => on,
            "change_off" => off,
            "change_half" => mean(gaps.iter().map(|(f, g)| change(f + g / 2))),
            "change_mid" if per_bar == 4 => at_place(&|p| p == 3),
            "change_mid" => off,
            "skips" => jumps as f32 / n,
            "two" => is(2),
            "three" => is(3),
            "four" => is(4),
            "two_third" => is(2) * third,
            "two_half" => is(2) * half,
            "three_half" => is(3) * half,
            "four_half" => is(4) * half,
            "two_tempo" => is(2) * tempo,
            "three_tempo" => is(3) * tempo,
            "four_tempo" => is(4) * tempo,
            "length" => length,
            "length2" => length * length,
            "half_share" => share(&halves, 0.0),
            "quarter_share" => share(&quarters, 0.0),
            "third_share" => share(&thirds, 0.3),
            _ => 0.0,
        };
        let rank = RANK.iter().map(|(name, weight)| weight * value(name)).sum();
        Hypothesis {
            frames: frames.to_vec(),
            places,
            per_bar,
            third,
            half,
            rank,
        }
    }

    /// The place of each beat in its bar, the row's score and the jumps in it.
    fn places(&self, frames: &[usize], per_bar: u8, given: &Given) -> (Vec<u8>, f32, usize) {
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
        let forced = given.first_downbeat_s.and_then(|s| {
            let wanted = s / FINE_HOP_S;
            (0..frames.len()).min_by(|a, b| {
                (frames[*a] as f64 - wanted)
                    .abs()
                    .total_cmp(&(frames[*b] as f64 - wanted).abs())
            })
        });
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
                if forced == Some(k) && place == 0 {
                    here += 1000.0;
                }
                let previous = (place + m - 1) % m;
                let (came, which) = if k == 0 {
                    (0.0, previous)
                } else if top - SKIP > before[previous] {
                    (top - SKIP, top_place)
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
        if forced.is_some() {
            total -= 1000.0;
        }
        (places, total, jumps)
    }
}
