//! Lines a take up with the chart: which stretch of it plays which slot.
//!
//! A segmental search over the take's stretches and the chart's slots. A slot
//! lasts about as long as in the chart, scaled by the tempo; the sound of a
//! slot should be the written chord, but a wrong chord costs only so much, so
//! that one wrong chord does not move its neighbors. From the end of a bar the
//! take may jump to the start of any other bar, and before, after and between
//! it may play or say anything for a small cost a second.
//!
//! # Source
//! Segmental dynamic programming: Sarawagi and Cohen, NIPS 2004. Jumps for
//! repeats and skips: Müller, *Fundamentals of Music Processing*, 2015,
//! section 4.3 treats the idea; the terms and weights here are ours.

use super::evidence::{Evidence, Heardable};
use super::slots::Slot;
use std::rc::Rc;

/// Most that a wrong chord costs, ln.
const WRONG: f32 = 14.0;
/// Cost of a jump to another bar, ln.
const JUMP: f32 = 11.0;
/// More for a jump back to the bar just played: a chord that rings on sounds like it.
const SAME_BAR: f32 = 8.0;
/// Cost of going on after a pause, ln, wherever that is.
const AFTER_PAUSE: f32 = JUMP + 4.0;
/// More for a jump or a start that is at no start of a section, ln: among ways
/// that sound alike the one that a player would take.
const WITHIN_SECTION: f32 = 1.0;
/// Cost of a slot that starts where nothing is struck, ln.
const NO_STROKE: f32 = 4.0;
/// Cost of a frame that plays nothing of the chart, ln, beyond what the take's
/// frames cost anyway where they are read freely: less than a wrong chord costs.
const ASIDE: f32 = 0.12;
/// Share of that cost where nothing is struck.
const RINGING: f32 = 0.2;
/// How far the length of a slot strays, as a share of it and in s.
const STRAY: (f64, f64) = (0.12, 0.06);
/// Shortest and longest a slot may get, as a share of what is expected.
const LENGTHS: (f64, f64) = (0.5, 1.9);
/// Tempi tried: this many steps of an eighth of an octave on each side.
const TEMPO_STEPS: i32 = 8;

/// Orders of the bars that the chart's own is held against.
const N_ORDERS: u64 = 4;
/// The order tells something if it may gain so much, ln: three jumps.
const LEAST_ORDER: f32 = 3.0 * JUMP;

/// One slot as played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Played {
    pub(crate) slot_idx: usize,
    /// Bounds of the evidence.
    pub(crate) from: usize,
    pub(crate) to: usize,
}

/// The take lined up with the chart.
#[derive(Debug, Clone)]
pub(crate) struct Alignment {
    /// Slots in the order played.
    pub(crate) played: Vec<Played>,
    /// How much of what the order of the bars should gain it does gain, 1 for
    /// all of it; none where the chart's bars are too much alike to tell.
    pub(crate) order: Option<f32>,
    score: f32,
}

/// Where the best path into a cell came from.
#[derive(Debug, Clone, Copy)]
enum Before {
    /// Nothing of the chart was played yet.
    Start,
    /// A pause, or the end.
    Aside,
    Slot(usize),
}

struct Search<'a> {
    evidence: &'a Evidence,
    slots: &'a [Slot],
    readings: &'a [Vec<Heardable>],
    /// Best score of any reading, by start bound and number of stretches less one.
    best_of: Rc<Vec<Vec<f32>>>,
    /// Cost of a frame that plays nothing of the chart, ln.
    aside: f32,
}

/// Lines up. `readings`: what counts as written, for each slot; empty: anything.
pub(crate) fn align(
    evidence: &Evidence,
    slots: &[Slot],
    readings: &[Vec<Heardable>],
) -> Option<Alignment> {
    let n = evidence.bounds_s().len();
    if slots.is_empty() || n < 2 {
        return None;
    }
    let longest_s = slots.iter().map(|s| s.length_s).fold(0.0, f64::max) * 2.0 * LENGTHS.1;
    let mut lengths: Vec<f64> = slots.iter().map(|s| s.length_s).collect();
    lengths.sort_by(f64::total_cmp);
    let best_of = best_scores(evidence, longest_s.min(24.0));
    let search = Search {
        aside: ASIDE + usual_cost(evidence, &best_of, lengths[lengths.len() / 2]),
        evidence,
        slots,
        readings,
        best_of: Rc::new(best_of),
    };
    let mut best: Option<Alignment> = None;
    for step in -TEMPO_STEPS..=TEMPO_STEPS {
        let rate = f64::from(step).exp2().powf(0.125);
        let found = search.run(&vec![rate; n]);
        if let Some(found) = found
            && best.as_ref().is_none_or(|b| found.score > b.score)
        {
            best = Some(found);
        }
    }
    // again with the tempo of the surroundings
    let first = best?;
    let rates = search.rates(&first);
    let mut found = search.run(&rates).unwrap_or(first);
    found.order = search.order(&found, &rates);
    Some(found)
}

fn best_scores(evidence: &Evidence, longest_s: f64) -> Vec<Vec<f32>> {
    let bounds = evidence.bounds_s();
    (0..bounds.len())
        .map(|from| {
            (from + 1..bounds.len())
                .take_while(|to| bounds[*to] - bounds[from] <= longest_s || *to == from + 1)
                .map(|to| {
                    let scores = evidence.scores(from, to);
                    let all = evidence.everything().iter();
                    all.map(|(what, prior)| scores.of(*what) + prior)
                        .fold(f32::MIN, f32::max)
                })
                .collect()
        })
        .collect()
}

/// What a frame costs, the median over stretches of this length read freely.
fn usual_cost(evidence: &Evidence, best_of: &[Vec<f32>], length_s: f64) -> f32 {
    let bounds = evidence.bounds_s();
    let mut costs: Vec<f32> = (0..bounds.len())
        .filter_map(|from| {
            let to = (from + 1..bounds.len()).find(|to| bounds[*to] - bounds[from] >= length_s)?;
            let best = best_of[from].get(to - from - 1)?;
            let frames = evidence.n_frames(from, to).max(1.0);
            Some((evidence.base(from, to) - best) / frames)
        })
        .collect();
    costs.sort_by(f32::total_cmp);
    costs.get(costs.len() / 2).copied().unwrap_or(0.0).max(0.0)
}

/// The numbers below `n` in an order that depends on `seed` alone (Fisher and
/// Yates, with the multiplier of Knuth's MMIX generator).
fn shuffled(n: usize, seed: u64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..n).collect();
    let mut state = seed;
    for k in (1..n).rev() {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        order.swap(k, ((state >> 33) % (k as u64 + 1)) as usize);
    }
    order
}

impl Search<'_> {
    /// How well a stretch plays a slot, 0 at most or little more.
    fn sound(&self, slot_idx: usize, from: usize, to: usize) -> f32 {
        let Some(best) = self.best_of[from].get(to - from - 1) else {
            return f32::NEG_INFINITY;
        };
        let written = self.readings[slot_idx]
            .iter()
            .map(|r| self.evidence.score(from, to, *r))
            .fold(f32::MIN, f32::max);
        let heard = if self.readings[slot_idx].is_empty() {
            *best
        } else {
            written.max(best - WRONG)
        };
        let stroke = if self.evidence.struck(from) {
            0.0
        } else {
            NO_STROKE
        };
        heard - stroke - self.evidence.base(from, to)
    }

    fn run(&self, rates: &[f64]) -> Option<Alignment> {
        let bounds = self.evidence.bounds_s();
        let (n, n_slots) = (bounds.len(), self.slots.len());
        let first_of_bar = |i: usize| i == 0 || self.slots[i].bar_idx != self.slots[i - 1].bar_idx;
        let last_of_bar =
            |i: usize| i + 1 == n_slots || self.slots[i].bar_idx != self.slots[i + 1].bar_idx;
        let mut best = vec![f32::NEG_INFINITY; n * n_slots];
        let mut back = vec![(0usize, Before::Start); n * n_slots];
        let mut enter = vec![(f32::NEG_INFINITY, Before::Start); n * n_slots];
        let mut start = vec![0.0f32; n];
        let mut aside = vec![(f32::NEG_INFINITY, None::<usize>); n];
        for b in 0..n {
            for i in 0..n_slots {
                let expected_s = self.slots[i].length_s * rates[b];
                for a in (0..b).rev() {
                    let length_s = bounds[b] - bounds[a];
                    if length_s > LENGTHS.1 * expected_s {
                        break;
                    }
                    let (before, from) = enter[a * n_slots + i];
                    if length_s < LENGTHS.0 * expected_s || before == f32::NEG_INFINITY {
                        continue;
                    }
                    let stray = STRAY.0.powi(2) + (STRAY.1 / expected_s).powi(2);
                    let off = (length_s / expected_s).ln().powi(2) / (2.0 * stray);
                    let score = before - off as f32 + self.sound(i, a, b);
                    if score > best[b * n_slots + i] {
                        best[b * n_slots + i] = score;
                        back[b * n_slots + i] = (a, from);
                    }
                }
            }
            let row = &best[b * n_slots..(b + 1) * n_slots];
            let ended = |usable: &dyn Fn(usize) -> bool, cost: &dyn Fn(usize) -> f32| {
                (0..n_slots)
                    .filter(|i| last_of_bar(*i) && usable(*i))
                    .map(|i| (row[i] - cost(i), i))
                    .max_by(|x, y| x.0.total_cmp(&y.0))
                    .unwrap_or((f32::NEG_INFINITY, 0))
            };
            if b > 0 {
                let on = self.beside(b - 1);
                start[b] = start[b - 1] + on;
                aside[b] = (aside[b - 1].0 + on, None);
            }
            let stopped = ended(&|_| true, &|i| if i + 1 == n_slots { 0.0 } else { JUMP });
            if stopped.0 > aside[b].0 {
                aside[b] = (stopped.0, Some(stopped.1));
            }
            let jumped = ended(&|_| true, &|_| JUMP);
            let bar = |i: usize| self.slots[i].bar_idx;
            let elsewhere = ended(&|i| bar(i) != bar(jumped.1), &|_| JUMP);
            for i in 0..n_slots {
                let cell = &mut enter[b * n_slots + i];
                let mut offer = |score: f32, from: Before| {
                    if score > cell.0 {
                        *cell = (score, from);
                    }
                };
                if i > 0 {
                    offer(row[i - 1], Before::Slot(i - 1));
                }
                if first_of_bar(i) {
                    let within = if self.slots[i].starts_section {
                        0.0
                    } else {
                        WITHIN_SECTION
                    };
                    let late = if i == 0 { 0.0 } else { JUMP + within };
                    offer(start[b] - late, Before::Start);
                    offer(aside[b].0 - AFTER_PAUSE - within, Before::Aside);
                    if bar(jumped.1) == bar(i) {
                        offer(jumped.0 - SAME_BAR, Before::Slot(jumped.1));
                        offer(elsewhere.0 - within, Before::Slot(elsewhere.1));
                    } else {
                        offer(jumped.0 - within, Before::Slot(jumped.1));
                    }
                }
            }
        }
        // back from the end, where anything may follow the chart
        let mut played = Vec::new();
        let score = aside[n - 1].0;
        if start[n - 1] > score {
            return None;
        }
        let mut at = (n - 1, Before::Aside);
        loop {
            match at {
                (_, Before::Start) => break,
                (b, Before::Aside) => match aside[b].1 {
                    Some(i) => at = (b, Before::Slot(i)),
                    None => at = (b - 1, Before::Aside),
                },
                (b, Before::Slot(i)) => {
                    let (a, from) = back[b * n_slots + i];
                    played.push(Played {
                        slot_idx: i,
                        from: a,
                        to: b,
                    });
                    at = (a, from);
                }
            }
        }
        played.reverse();
        (!played.is_empty()).then_some(Alignment {
            played,
            order: None,
            score,
        })
    }

    /// How much better the take fits the chart than the same bars in other orders.
    ///
    /// A take of the chart follows its bars; a take of something else in the
    /// same key fits them in one order as well as in another. What the order
    /// may gain at most is a jump for each step from bar to bar that the other
    /// order does not have.
    fn order(&self, found: &Alignment, rates: &[f64]) -> Option<f32> {
        let bars: Vec<&[Slot]> = self.slots.chunk_by(|a, b| a.bar_idx == b.bar_idx).collect();
        let contents: Vec<Vec<&[Heardable]>> = {
            let mut at = 0;
            let of = bars.iter().map(|bar| {
                at += bar.len();
                self.readings[at - bar.len()..at]
                    .iter()
                    .map(Vec::as_slice)
                    .collect()
            });
            of.collect()
        };
        let bar_of: Vec<usize> = bars
            .iter()
            .enumerate()
            .flat_map(|(k, bar)| std::iter::repeat_n(k, bar.len()))
            .collect();
        let steps: Vec<(usize, usize)> = found
            .played
            .windows(2)
            .map(|w| (bar_of[w[0].slot_idx], bar_of[w[1].slot_idx]))
            .filter(|(a, b)| a != b)
            .collect();
        let (mut gained, mut possible) = (0.0, 0.0);
        for seed in 1..=N_ORDERS {
            let order = shuffled(bars.len(), seed);
            let (mut slots, mut readings) = (Vec::new(), Vec::new());
            for (place, k) in order.iter().enumerate() {
                slots.extend(bars[*k].iter().map(|slot| Slot {
                    bar_idx: place,
                    ..slot.clone()
                }));
                readings.extend(contents[*k].iter().map(|r| r.to_vec()));
            }
            let other = Search {
                slots: &slots,
                readings: &readings,
                best_of: Rc::clone(&self.best_of),
                ..*self
            };
            let score = other.run(rates).map_or(other.nothing(), |a| a.score);
            gained += found.score - score;
            let has: std::collections::HashSet<_> = order
                .windows(2)
                .map(|w| (&contents[w[0]], &contents[w[1]]))
                .collect();
            let lost = steps
                .iter()
                .filter(|(a, b)| !has.contains(&(&contents[*a], &contents[*b])));
            possible += JUMP * lost.count() as f32;
        }
        (possible >= LEAST_ORDER * N_ORDERS as f32).then(|| gained / possible)
    }

    /// Score of a take that plays nothing of the chart.
    fn nothing(&self) -> f32 {
        (0..self.evidence.bounds_s().len() - 1)
            .map(|b| self.beside(b))
            .sum()
    }

    /// What the stretch after a bound costs if it plays nothing of the chart.
    fn beside(&self, from: usize) -> f32 {
        // a last chord that rings on is nobody's bar
        let share = if self.evidence.struck(from) {
            1.0
        } else {
            RINGING
        };
        self.evidence
            .rest(from)
            .max(-share * self.aside * self.evidence.n_frames(from, from + 1))
    }

    /// The tempo at each bound: the median over the slots around it.
    fn rates(&self, alignment: &Alignment) -> Vec<f64> {
        const AROUND: usize = 6;
        let bounds = self.evidence.bounds_s();
        let own: Vec<f64> = alignment
            .played
            .iter()
            .map(|p| (bounds[p.to] - bounds[p.from]) / self.slots[p.slot_idx].length_s)
            .collect();
        let local: Vec<f64> = (0..own.len())
            .map(|k| {
                let mut near =
                    own[k.saturating_sub(AROUND)..(k + AROUND + 1).min(own.len())].to_vec();
                near.sort_by(f64::total_cmp);
                near[near.len() / 2]
            })
            .collect();
        (0..bounds.len())
            .map(|b| {
                let k = alignment.played.partition_point(|p| p.to < b);
                local[k.min(local.len() - 1)]
            })
            .collect()
    }
}
