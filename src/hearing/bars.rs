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
    /// The next best way to count, if it is really another one.
    pub(crate) other: Option<OtherWay>,
}

/// Another way to count the same take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OtherWay {
    /// How far it lies behind, in nats of its rank.
    pub(crate) behind: f32,
    /// Beats in a bar and note value of a beat.
    pub(crate) meter: (u8, u8),
    /// Beats a minute.
    pub(crate) tempo_bpm: f64,
    /// Its first downbeat, s.
    pub(crate) first_downbeat_s: f64,
}

struct Hypothesis {
    frames: Vec<usize>,
    places: Vec<u8>,
    per_bar: u8,
    third: f32,
    half: f32,
    rank: f32,
}

impl Hypothesis {
    /// Whether its beats divide in three.
    fn is_compound(&self) -> bool {
        /// Best on 260 rendered takes: one of them is named wrong.
        const CLEARLY: f32 = 0.2;
        self.third > self.half + CLEARLY
    }

    /// Whether a player would call it another way to count, and not the same
    /// with a beat here or there.
    fn counts_otherwise(&self, best: &Self) -> bool {
        /// 70 ms in fine frames: as near as a beat must be (Davies et al. 2009).
        const NEAR: usize = 6;
        let downbeats = |h: &Self| -> Vec<usize> {
            let all = h.frames.iter().zip(&h.places);
            all.filter(|(_, p)| **p == 1).map(|(f, _)| *f).collect()
        };
        let (mine, theirs) = (downbeats(self), downbeats(best));
        let met = mine
            .iter()
            .filter(|f| {
                let next = theirs.partition_point(|t| t < f);
                let around = next.saturating_sub(1)..(next + 1).min(theirs.len());
                theirs[around].iter().any(|t| t.abs_diff(**f) <= NEAR)
            })
            .count();
        let (n, m) = (self.frames.len(), best.frames.len());
        self.per_bar != best.per_bar || n.abs_diff(m) * 10 > m || met * 4 < mine.len() * 3
    }

    fn as_other(&self, best_rank: f32) -> OtherWay {
        let first = self.places.iter().position(|p| *p == 1).unwrap_or(0);
        let at_s = |frame: usize| frame as f64 * FINE_HOP_S;
        OtherWay {
            behind: best_rank - self.rank,
            meter: match self.is_compound() {
                true => (self.per_bar * 3, 8),
                false => (self.per_bar, 4),
            },
            tempo_bpm: 60.0 / (median_gap(&self.frames) * FINE_HOP_S).max(1e-3),
            first_downbeat_s: self.frames.get(first).copied().map_or(0.0, at_s),
        }
    }
}

/// Strokes and drums on the places of the bars: means of attack strengths.
struct Accents {
    /// How far the first stroke lies from a beat, 1 half a beat away.
    first_off: f32,
    /// Whether it is a downbeat.
    first_down: f32,
    /// Low attacks on beats over those on half-beats.
    low_beat: f32,
    /// Low attacks on downbeats over those on other beats.
    low_down: f32,
    /// High attacks on even beats over those on odd ones.
    back: f32,
    /// Attacks, low ones and high ones in the middle of a bar over those at its thirds.
    middle: [f32; 3],
}

/// Evidence of one take, computed once.
struct Evidence<'a> {
    moments: &'a [Moment],
    search: BeatEvidence,
    downbeat: Vec<f32>,
    /// The first stroke, as a fine frame.
    first: Option<usize>,
}

/// Finds the count, or none where there is too little to count.
pub(crate) fn count(
    moments: &[Moment],
    first_s: Option<f64>,
    given: &Given,
    weights: &BeatWeights,
) -> Option<Count> {
    let mut evidence = Evidence::new(moments);
    evidence.first = first_s.map(|s| (s / FINE_HOP_S).round() as usize);
    let mut all = Vec::new();
    let fixed = Fixed::of(given);
    for frames in beat_rows(&evidence, given, weights) {
        for per_bar in meters(given) {
            all.push(evidence.describe(&frames, per_bar, &fixed));
        }
    }
    all.sort_by(|a, b| b.rank.total_cmp(&a.rank));
    let best = all.first()?;
    let other = all.iter().find(|h| h.counts_otherwise(best));
    Some(Count {
        beats_s: if given.beats_s.len() == best.frames.len() {
            given.beats_s.clone()
        } else {
            best.frames.iter().map(|f| *f as f64 * FINE_HOP_S).collect()
        },
        places: best.places.clone(),
        per_bar: best.per_bar,
        compound: match given.meter {
            Some((_, value)) => value == 8,
            None => best.is_compound(),
        },
        other: other.map(|h| h.as_other(best.rank)),
    })
}

/// The same beats counted anew, with bars that start at these times (s) having
/// so many beats; the rest is fitted around them.
pub(crate) fn recount(
    count: &Count,
    moments: &[Moment],
    given: &Given,
    bars: &[(f64, u8)],
) -> Count {
    let evidence = Evidence::new(moments);
    let last = moments.len().saturating_sub(1);
    let frames: Vec<usize> = count
        .beats_s
        .iter()
        .map(|s| ((s / FINE_HOP_S).round() as usize).min(last))
        .collect();
    let mut fixed = Fixed::of(given);
    fixed.bars = bars.to_vec();
    let (places, _, _) = evidence.places(&frames, count.per_bar, &fixed);
    Count {
        places,
        ..count.clone()
    }
}

/// What the user said of the count.
#[derive(Debug, Clone, Default)]
struct Fixed {
    /// The first downbeat, s.
    downbeat_s: Option<f64>,
    /// Start of a bar (s) and its beats.
    bars: Vec<(f64, u8)>,
}

impl Fixed {
    fn of(given: &Given) -> Self {
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
        return at_tempo(evidence, weights, 60.0 / bpm / FINE_HOP_S);
    }
    let free = track(&evidence.search, weights, (SHORTEST, LONGEST));
    let length = median_gap(&free);
    if length <= 0.0 {
        return rows;
    }
    for ratio in [
        1.0,
        0.5,
        2.0,
        1.5,
        2.0 / 3.0,
        3.0,
        1.0 / 3.0,
        0.75,
        4.0 / 3.0,
    ] {
        let length = length * ratio;
        if (SHORTEST as f64 * 0.95..=LONGEST as f64 * 1.05).contains(&length) {
            add(track(&evidence.search, weights, around(length)));
        }
    }
    rows
}

/// Rows of beats of about a length in fine frames; where that is outside what
/// the search can follow, its beats are divided or left out.
fn at_tempo(evidence: &Evidence<'_>, weights: &BeatWeights, length: f64) -> Vec<Vec<usize>> {
    let followed = |length: f64| {
        let low = (length * 0.86).floor() as usize;
        let high = (length * 1.15).ceil() as usize;
        track(
            &evidence.search,
            weights,
            (low.max(SHORTEST), high.min(LONGEST)),
        )
    };
    let (shortest, longest) = (SHORTEST as f64, LONGEST as f64);
    let mut rows = Vec::new();
    if length < shortest {
        let parts = (shortest / length).ceil() as usize;
        let beats = followed(length * parts as f64);
        let divided = beats
            .windows(2)
            .flat_map(|w| (0..parts).map(move |k| w[0] + (w[1] - w[0]) * k / parts));
        rows.push(divided.chain(beats.last().copied()).collect());
    } else if length > longest {
        let parts = (length / longest).ceil() as usize;
        let beats = followed(length / parts as f64);
        rows.extend(
            (0..parts).map(|from| beats.iter().copied().skip(from).step_by(parts).collect()),
        );
    } else {
        let beats = followed(length);
        let halves = beats.windows(2).map(|w| w[0] + (w[1] - w[0]) / 2).collect();
        rows.extend([beats, halves]);
    }
    rows.retain(|row: &Vec<usize>| row.len() >= 4);
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

impl<'a> Evidence<'a> {
    fn new(moments: &'a [Moment]) -> Self {
        let odds = |model, low: f32, high: f32| -> Vec<f32> {
            let of = |m: &Moment| log_odds(model, m).clamp(low, high);
            moments.iter().map(of).collect()
        };
        Self {
            moments,
            search: BeatEvidence {
                beat: odds(&BEAT, -3.0, 4.0),
                division: odds(&DIVISION, -2.0, 2.0),
            },
            downbeat: odds(&DOWNBEAT, f32::NEG_INFINITY, f32::INFINITY),
            first: None,
        }
    }

    fn describe(&self, frames: &[usize], per_bar: u8, fixed: &Fixed) -> Hypothesis {
        let (places, bar_score, jumps) = self.places(frames, per_bar, fixed);
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
        let accents = self.accents(frames, &places, per_bar);
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
            "first_off" => accents.first_off,
            "first_down" => accents.first_down,
            "low_beat" => accents.low_beat,
            "low_down" => accents.low_down,
            "back" => accents.back,
            "three_mid_flux" => is(3) * accents.middle[0],
            "three_mid_low" => is(3) * accents.middle[1],
            "three_mid_high" => is(3) * accents.middle[2],
            "two_mid_flux" => is(2) * accents.middle[0],
            "two_mid_low" => is(2) * accents.middle[1],
            "two_mid_high" => is(2) * accents.middle[2],
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

    /// What is struck where, beside the changes of harmony.
    fn accents(&self, frames: &[usize], places: &[u8], per_bar: u8) -> Accents {
        let at = |frame: usize, k: usize| self.moments.get(frame).map_or(0.0, |m| m[k]);
        let mean_at = |k: usize, wanted: &dyn Fn(u8) -> bool| {
            let here = frames.iter().zip(places).filter(|(_, p)| wanted(**p));
            mean(here.map(|(f, _)| at(*f, k)))
        };
        let (mut first_off, mut first_down) = (0.0, 0.0);
        if let Some(first) = self.first {
            let i = frames.partition_point(|f| *f <= first);
            // the beat before it, or one before the first
            let (before, next) = match (i.checked_sub(1), frames.get(i)) {
                (Some(b), Some(n)) => (frames[b] as f32, *n as f32),
                (None, Some(n)) if frames.len() > 1 => {
                    let gap = (frames[1] - frames[0]) as f32;
                    let back = ((*n as f32 - first as f32) / gap).ceil();
                    (*n as f32 - back * gap, *n as f32 - (back - 1.0) * gap)
                }
                _ => (first as f32, first as f32 + 1.0),
            };
            let part = (first as f32 - before) / (next - before).max(1.0);
            first_off = 2.0 * part.min(1.0 - part).max(0.0);
            let nearest = if part > 0.5 { i } else { i.saturating_sub(1) };
            if first_off < 0.4 && places.get(nearest) == Some(&1) {
                first_down = 1.0;
            }
        }
        let halves = frames.windows(2).map(|w| at(w[0] + (w[1] - w[0]) / 2, 1));
        let low = mean_at(1, &|_| true);
        // the middle of the bar against what would divide it otherwise
        let middle = [0, 1, 2].map(|k| {
            let bars = (0..frames.len()).filter(|i| places[*i] == 1);
            mean(bars.filter_map(|i| {
                let next = *frames.get(i + usize::from(per_bar))?;
                let length = next - frames[i];
                let here = |part: f32| at(frames[i] + (length as f32 * part) as usize, k);
                Some(here(0.5) - 0.5 * (here(1.0 / 3.0) + here(2.0 / 3.0)))
            }))
        });
        Accents {
            first_off,
            first_down,
            low_beat: low - mean(halves),
            low_down: mean_at(1, &|p| p == 1) - mean_at(1, &|p| p != 1),
            back: match per_bar {
                2 | 4 => mean_at(2, &|p| p % 2 == 0) - mean_at(2, &|p| p % 2 == 1),
                _ => 0.0,
            },
            middle,
        }
    }

    /// The place of each beat in its bar, the row's score and the jumps in it.
    fn places(&self, frames: &[usize], per_bar: u8, fixed: &Fixed) -> (Vec<u8>, f32, usize) {
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
        total -= FORCED * must.iter().filter(|m| **m == Some(true)).count() as f32;
        for (first, next) in runs {
            for (k, place) in places[first..next].iter_mut().enumerate() {
                *place = k as u8 + 1;
            }
        }
        (places, total, jumps)
    }
}
