//! Which count is the take's: of all that attacks and chords allow and all that the song net's
//! pulse allows, each also with its bars begun elsewhere, the one that both speak for.
//!
//! The counts of attacks and chords ([`super::bars`]) are right where a player plays what is on
//! the page. Where one syncopates, rests or swings, what the net learned of such playing says
//! more, and its pointer ([`super::bar_pointer`]) adds counts of its own.
//!
//! # Source
//! A conditional logit over counts (McFadden 1974, from memory); its numbers and fit: ours.

use crate::hearing::acoustic::songs::{FINE_S, Pulse};
use crate::hearing::learned;
use crate::hearing::rhythm::bar_pointer::pointed;
use crate::hearing::rhythm::count::{Count, OtherWay};
use crate::hearing::rhythm::grid::median;
use crate::hearing::weight_files::COUNT_CHOICE;
use serde::Deserialize;
use std::sync::LazyLock;

/// What speaks for and against a count, or the weight of each.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::hearing) struct CountNumbers {
    /// The rank that attacks and chords give it.
    rank: f32,
    /// 1: they have no such count.
    unranked: f32,
    /// 1: its bars begin elsewhere than they say, or have another length.
    moved: f32,
    /// Log probability of the net's beats, a second.
    fit: f32,
    /// The mean log probability on its beats.
    on_beat: f32,
    /// Mean log probability of the net's downbeats, a beat.
    downbeat: f32,
    /// 1: the pointer found it.
    pointed: f32,
    /// 1: three beats in a bar.
    three: f32,
    /// 1: two.
    two: f32,
    /// 1: beats that divide in three.
    compound: f32,
    /// Natural logarithm of its tempo over `tempo_bpm`.
    faster: f32,
    /// The square of that.
    far: f32,
}

impl CountNumbers {
    /// Names of the numbers, in the order of [`Self::values`].
    pub(in crate::hearing) const NAMES: [&'static str; 12] = [
        "rank", "unranked", "moved", "fit", "on_beat", "downbeat", "pointed", "three", "two",
        "compound", "faster", "far",
    ];

    pub(in crate::hearing) fn values(&self) -> [f32; 12] {
        [
            self.rank,
            self.unranked,
            self.moved,
            self.fit,
            self.on_beat,
            self.downbeat,
            self.pointed,
            self.three,
            self.two,
            self.compound,
            self.faster,
            self.far,
        ]
    }

    fn score(&self) -> f32 {
        let weights = WEIGHTS.weights.values();
        self.values().iter().zip(weights).map(|(v, w)| v * w).sum()
    }
}

/// How much each number that describes a count speaks for it, and limits.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct ChoiceWeights {
    weights: CountNumbers,
    /// A count that attacks and chords do not have is ranked so far below the best of theirs.
    unranked_by: f32,
    tempo_bpm: f32,
    /// A count of attacks and chords that meets the net's beats at least so well (nats a second)
    /// is kept if it meets the downbeats so well (nats a beat).
    trusted_fit: f32,
    trusted_downbeat: f32,
    /// So many counts of attacks and chords are looked at.
    looked_at: usize,
    /// Beats in three to two of the best count of attacks and chords must meet the net's beats so
    /// much better (nats a second): two bars of three played over three of two sound like it.
    hemiola_fit: f32,
    /// Nats of a unit of the score.
    nats: f32,
}

static WEIGHTS: LazyLock<ChoiceWeights> = LazyLock::new(|| learned::read(&COUNT_CHOICE));

/// The take's count, of those that attacks and chords allow (best first, with their ranks) and
/// of the pointer's.
pub(crate) fn chosen(mut ranked: Vec<(Count, f32)>, pulse: &[Pulse]) -> Option<Count> {
    if is_trusted(&ranked, pulse) {
        return Some(ranked.swap_remove(0).0);
    }
    let mut all: Vec<(Count, f32)> = to_choose_from(&ranked, pulse)
        .into_iter()
        .map(|(count, numbers)| (count, numbers.score()))
        .collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (best, score) = all.first()?;
    let other = all.iter().find(|(count, _)| counts_otherwise(count, best));
    Some(Count {
        other: other.map(|(count, of_it)| as_other(count, WEIGHTS.nats * (score - of_it))),
        ..best.clone()
    })
}

/// Whether the best count of attacks and chords meets what the net hears so well that it stays.
pub(in crate::hearing) fn is_trusted(ranked: &[(Count, f32)], pulse: &[Pulse]) -> bool {
    let (w, heard) = (&*WEIGHTS, Heard { pulse });
    ranked.first().is_some_and(|(count, _)| {
        heard.fit(&count.beats_s) >= w.trusted_fit && heard.downbeats(count) >= w.trusted_downbeat
    })
}

/// Every count there is to choose from, with what speaks for it.
pub(in crate::hearing) fn to_choose_from(
    ranked: &[(Count, f32)],
    pulse: &[Pulse],
) -> Vec<(Count, CountNumbers)> {
    let w = &*WEIGHTS;
    let ranked = &ranked[..w.looked_at.min(ranked.len())];
    let heard = Heard { pulse };
    let mut all = Vec::new();
    for (count, rank) in ranked {
        let numbers = CountNumbers {
            rank: *rank,
            ..heard.of_beats(count)
        };
        placings(count, true, numbers, &heard, &mut all);
    }
    let best = ranked.first().map_or(0.0, |r| r.1);
    for mut count in pointed(pulse) {
        let same = same_beats(&count, ranked);
        count.compound = same.is_some_and(|(other, _)| other.compound);
        let numbers = CountNumbers {
            rank: same.map_or((best - w.unranked_by).min(0.0), |(_, rank)| *rank),
            unranked: f32::from(u8::from(same.is_none())),
            pointed: 1.0,
            ..heard.of_beats(&count)
        };
        let has_bars = count.per_bar > 1;
        count.per_bar = count.per_bar.max(2);
        placings(&count, has_bars, numbers, &heard, &mut all);
    }
    if let Some((best, _)) = ranked.first() {
        let (tempo, least) = (bpm(best), heard.fit(&best.beats_s) + w.hemiola_fit);
        all.retain(|(count, numbers)| !is_hemiola(bpm(count) / tempo) || numbers.fit >= least);
    }
    all
}

/// Whether two tempos stand in three to two.
fn is_hemiola(ratio: f64) -> bool {
    (ratio.ln().abs() - 1.5f64.ln()).abs() < SAME_TEMPO
}

/// Adds the count with its own bars, if it has some, and with even bars of every kind.
fn placings(
    count: &Count,
    has_bars: bool,
    of_beats: CountNumbers,
    heard: &Heard<'_>,
    all: &mut Vec<(Count, CountNumbers)>,
) {
    let mut add = |count: Count, moved: f32| {
        let numbers = CountNumbers {
            moved,
            downbeat: heard.downbeats(&count),
            three: f32::from(u8::from(count.per_bar == 3)),
            two: f32::from(u8::from(count.per_bar == 2)),
            ..of_beats
        };
        all.push((count, numbers));
    };
    if has_bars {
        add(count.clone(), 0.0);
    }
    for n in 2..=4usize {
        for first in 0..n {
            let place = |k: usize| ((k + n - first) % n) as u8 + 1;
            let moved = Count {
                places: (0..count.beats_s.len()).map(place).collect(),
                per_bar: n as u8,
                ..count.clone()
            };
            if !has_bars || moved.places != count.places || moved.per_bar != count.per_bar {
                add(moved, 1.0);
            }
        }
    }
}

/// What the net hears, with which counts are compared.
struct Heard<'a> {
    pulse: &'a [Pulse],
}

impl Heard<'_> {
    /// What speaks for the beats of a count, whatever its bars and its rank.
    fn of_beats(&self, count: &Count) -> CountNumbers {
        let on: f32 = self.on(&count.beats_s, |p| p.beat).map(f32::ln).sum();
        let faster = (bpm(count) as f32 / WEIGHTS.tempo_bpm).ln();
        CountNumbers {
            fit: self.fit(&count.beats_s),
            on_beat: on / count.beats_s.len().max(1) as f32,
            compound: f32::from(u8::from(count.compound)),
            faster,
            far: faster * faster,
            ..CountNumbers::default()
        }
    }

    /// The most of a probability near each time.
    fn on<'b>(
        &'b self,
        times_s: &'b [f64],
        of: impl Fn(&Pulse) -> f32 + 'b,
    ) -> impl Iterator<Item = f32> + 'b {
        times_s.iter().map(move |t| {
            let most = self.pulse[self.near(*t)]
                .iter()
                .map(&of)
                .fold(0.0, f32::max);
            most.clamp(LEAST, 1.0 - LEAST)
        })
    }

    fn near(&self, time_s: f64) -> std::ops::Range<usize> {
        const REACH: usize = 2;
        let at = (time_s / FINE_S).round().max(0.0) as usize;
        let to = (at + REACH + 1).min(self.pulse.len());
        at.saturating_sub(REACH).min(to)..to
    }

    /// How well beats meet what the net hears: log probabilities on beats, and of peaks that no
    /// beat meets, for each second of the take.
    fn fit(&self, beats_s: &[f64]) -> f32 {
        let mut met = vec![false; self.pulse.len()];
        for time_s in beats_s {
            met[self.near(*time_s)].fill(true);
        }
        let on: f32 = self.on(beats_s, |p| p.beat).map(f32::ln).sum();
        let mut missed = 0.0;
        for (t, around) in self.pulse.windows(3).enumerate() {
            let [before, p, after] = [around[0].beat, around[1].beat, around[2].beat];
            if !met[t + 1] && p >= PEAK && p >= before && p > after {
                missed += (1.0 - p.min(1.0 - LEAST)).ln();
            }
        }
        (on + missed) / (self.pulse.len() as f32 * FINE_S as f32).max(1.0)
    }

    /// Mean log probability that downbeats are where the count has them, a beat.
    fn downbeats(&self, count: &Count) -> f32 {
        let heard = self.on(&count.beats_s, |p| p.downbeat);
        let of = |(p, place): (f32, &u8)| match place {
            1 => p.ln(),
            _ => (1.0 - p).ln(),
        };
        heard.zip(&count.places).map(of).sum::<f32>() / count.beats_s.len().max(1) as f32
    }
}

/// Probabilities nearer to 0 or 1 say no more.
const LEAST: f32 = 0.004;
/// A peak of beats that a count must meet.
const PEAK: f32 = 0.3;

/// Beats a minute of a count, the median.
fn bpm(count: &Count) -> f64 {
    60.0 / median(count.beats_s.windows(2).map(|w| w[1] - w[0]).collect()).max(1e-3)
}

/// Logarithms of tempos nearer than this are one tempo.
const SAME_TEMPO: f64 = 0.04;

/// The best count of attacks and chords with nearly the same beats, and its rank.
fn same_beats<'a>(count: &Count, ranked: &'a [(Count, f32)]) -> Option<&'a (Count, f32)> {
    const SAME_S: f64 = 0.07;
    let tempo = bpm(count);
    ranked.iter().find(|(other, _)| {
        let off = |t: &f64| off_s(&other.beats_s, *t);
        (bpm(other) / tempo).ln().abs() < SAME_TEMPO
            && median(count.beats_s.iter().map(off).collect()) < SAME_S
    })
}

/// How far the nearest of some times lies from one, s.
fn off_s(times_s: &[f64], t: f64) -> f64 {
    let next = times_s.partition_point(|b| *b < t);
    let around = next.saturating_sub(1)..(next + 1).min(times_s.len());
    let off = times_s[around].iter().map(|b| (b - t).abs());
    off.fold(f64::MAX, f64::min)
}

/// Whether two counts differ in what a person would call tempo, meter or where bars begin.
fn counts_otherwise(a: &Count, b: &Count) -> bool {
    let tempo = bpm(b);
    let downbeats_s: Vec<f64> = downbeats_s(b).collect();
    let (mut same, mut n) = (0, 0);
    for t in self::downbeats_s(a) {
        same += usize::from(off_s(&downbeats_s, t) < 15.0 / tempo);
        n += 1;
    }
    (bpm(a) / tempo).ln().abs() > SAME_TEMPO
        || (a.per_bar, a.compound) != (b.per_bar, b.compound)
        || 2 * same < n
}

fn downbeats_s(count: &Count) -> impl Iterator<Item = f64> {
    let beats = count.beats_s.iter().zip(&count.places);
    beats.filter(|(_, place)| **place == 1).map(|(t, _)| *t)
}

/// A count as the doubt to report.
fn as_other(count: &Count, behind: f32) -> OtherWay {
    OtherWay {
        behind,
        meter: match count.compound {
            true => (count.per_bar * 3, 8),
            false => (count.per_bar, 4),
        },
        tempo_bpm: bpm(count),
        first_downbeat_s: downbeats_s(count).next().unwrap_or(count.beats_s[0]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::rhythm::bar_pointer::tests::steady;

    /// Forty beats, each 22 frames, from a frame on, counted in bars whose first begins so late.
    fn counted(from: f64, per_bar: u8, late: u8) -> Count {
        Count {
            beats_s: (0..40)
                .map(|k| FINE_S * (from + 22.0 * f64::from(k)))
                .collect(),
            places: (0..40)
                .map(|k| (k + per_bar - late) % per_bar + 1)
                .collect(),
            per_bar,
            compound: false,
            other: None,
        }
    }

    #[test]
    fn a_count_between_the_beats_gives_way() {
        let right = chosen(vec![(counted(21.0, 4, 0), 3.0)], &steady(22.0, 40)).expect("a count");
        let near = (right.beats_s[8] / FINE_S - 10.0) / 22.0;
        assert!((near - near.round()).abs() < 0.1, "{near}");
    }

    #[test]
    fn bars_begin_where_downbeats_are_heard() {
        let counts = vec![(counted(10.0, 4, 2), 3.0)];
        let places = chosen(counts, &steady(22.0, 40)).expect("a count").places;
        assert_eq!(places[..5], [1, 2, 3, 4, 1]);
    }

    #[test]
    fn a_count_that_fits_stays() {
        let counts = vec![(counted(10.0, 4, 0), 3.0), (counted(21.0, 3, 0), 2.0)];
        let kept = chosen(counts, &steady(22.0, 40)).expect("a count");
        assert_eq!((kept.per_bar, kept.places[0]), (4, 1));
        assert!(kept.other.is_none_or(|o| o.behind > 0.7));
    }
}
