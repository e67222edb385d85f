//! Whether the order of the chart's bars explains the take.
//!
//! A take of the chart follows its bars. A take of something else in the same
//! key fits them in one order as well as in another. So the take is also lined
//! up with the same bars in other orders: a permutation test.
//!
//! # Source
//! Permutation tests: Good, *Permutation, Parametric and Bootstrap Tests of
//! Hypotheses*, 2005. What is permuted and how it is scaled is ours.

use super::align::{Alignment, Search, WEIGHTS};
use super::evidence::{Evidence, Reading};
use super::slots::Slot;
use std::collections::HashSet;

/// Lines up, and finds how much the order of the bars explains. `readings`: what
/// counts as written, for each slot; empty: anything.
pub(crate) fn align(
    evidence: &Evidence,
    slots: &[Slot],
    readings: &[Vec<Reading>],
) -> Option<Alignment> {
    if slots.is_empty() || evidence.bounds_s().len() < 2 {
        return None;
    }
    let search = Search::new(evidence, slots, readings);
    let (mut found, rates) = search.best()?;
    found.order = shares_of_order(&search, &found, &rates);
    Some(found)
}

/// What the chart's order gains over other orders of its bars, as a share of
/// what it could: a jump for each step from bar to bar of the take that the
/// other order does not have. None if it could gain too little to tell.
fn shares_of_order(search: &Search<'_>, found: &Alignment, rates: &[f64]) -> Option<f32> {
    let bars: Vec<&[Slot]> = search
        .slots
        .chunk_by(|a, b| a.bar_idx == b.bar_idx)
        .collect();
    let mut at = 0;
    let contents: Vec<&[usize]> = bars
        .iter()
        .map(|bar| {
            at += bar.len();
            &search.chords[at - bar.len()..at]
        })
        .collect();
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
    for seed in 1..=WEIGHTS.n_orders {
        let order = shuffled(bars.len(), seed);
        let (mut slots, mut chords) = (Vec::new(), Vec::new());
        for (place, k) in order.iter().enumerate() {
            slots.extend(bars[*k].iter().map(|slot| Slot {
                bar_idx: place,
                ..slot.clone()
            }));
            chords.extend(contents[*k]);
        }
        let other = search.with(slots, chords);
        gained += found.score - other.run(rates).map_or(other.nothing(), |a| a.score);
        let has: HashSet<_> = order
            .windows(2)
            .map(|w| (contents[w[0]], contents[w[1]]))
            .collect();
        let lost = steps
            .iter()
            .filter(|(a, b)| !has.contains(&(contents[*a], contents[*b])));
        possible += WEIGHTS.jump * lost.count() as f32;
    }
    let least = WEIGHTS.least_order_jumps * WEIGHTS.jump * WEIGHTS.n_orders as f32;
    (possible >= least).then(|| gained / possible)
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
