//! Tempo, meter and bars: which of several ways to count is a player's.
//!
//! The beat search is asked for its own best tempo and for the tempos that
//! players confuse with it (half, double, and the triple ratios), each also
//! shifted by half a beat, each counted in two, three and four. Every such
//! hypothesis is described by some eighty numbers (how well its beats, their
//! halves, thirds and quarters meet attacks; how much harmony and bass change
//! on downbeats, on other beats and between; where a bass note sounds alone and
//! where a full hand; its tempo and bar length), and a fitted linear rank decides.
//!
//! Where the count breaks (a dropped or added beat) a hidden Markov model over
//! the place in the bar may jump, at a cost.
//!
//! # Source
//! Downbeats by a hidden Markov model over places in the bar: Peeters and
//! Papadopoulos, IEEE TASLP 19 (2011). Description and rank: ours.

mod accents;
mod describe;
mod evidence;
mod hypothesis;
pub(in crate::hearing) mod numbers;
mod places;
mod repeats;
mod rows;
mod strokes;

use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::outputs::Given;
use crate::hearing::outputs::Note;
use crate::hearing::rhythm::beats::BeatWeights;
use crate::hearing::rhythm::count::Count;
use crate::hearing::rhythm::pulse::Moment;
use evidence::Evidence;
use hypothesis::Hypothesis;
use places::Fixed;
use rayon::prelude::*;
use rows::{beat_rows, meters};

/// Finds the count, or none where there is too little to count.
pub(crate) fn count(
    moments: &[Moment],
    notes: &[Note],
    given: &Given,
    weights: &BeatWeights,
) -> Option<Count> {
    let best = counts(moments, notes, given, weights).into_iter().next();
    best.map(|(count, _)| count)
}

/// Every way to count with its rank, likeliest first; the first with the next best way.
pub(crate) fn counts(
    moments: &[Moment],
    notes: &[Note],
    given: &Given,
    weights: &BeatWeights,
) -> Vec<(Count, f32)> {
    let all = ranked(moments, notes, given, weights);
    let mut counts: Vec<_> = all.iter().map(|h| (h.as_count(given), h.rank)).collect();
    if let [(first, _), ..] = &mut counts[..] {
        let best = &all[0];
        let other = all.iter().find(|h| h.counts_otherwise(best));
        first.other = other.map(|h| h.as_other(best.rank));
    }
    counts
}

/// Every way to count, likeliest first, each with the numbers that describe it
/// in the order of [`crate::hearing::rhythm::beat_numbers::Described`].
pub(crate) fn ways(
    moments: &[Moment],
    notes: &[Note],
    given: &Given,
    weights: &BeatWeights,
) -> Vec<(Count, Vec<f32>)> {
    let all = ranked(moments, notes, given, weights).into_iter();
    all.map(|way| (way.as_count(given), way.values)).collect()
}

fn ranked(
    moments: &[Moment],
    notes: &[Note],
    given: &Given,
    weights: &BeatWeights,
) -> Vec<Hypothesis> {
    let evidence = Evidence::new(moments, notes);
    let fixed = Fixed::of(given);
    let (rows, meters) = (beat_rows(&evidence, given, weights), meters(given));
    let mut all: Vec<Hypothesis> = rows
        .par_iter()
        .flat_map_iter(|frames| meters.iter().map(move |per_bar| (frames, *per_bar)))
        .map(|(frames, per_bar)| evidence.describe(frames, per_bar, &fixed))
        .collect();
    all.sort_by(|a, b| b.rank.total_cmp(&a.rank));
    all
}

/// The same beats counted anew, with bars that start at these times (s) having
/// so many beats; the rest is fitted around them.
pub(crate) fn recount(
    count: &Count,
    moments: &[Moment],
    given: &Given,
    bars: &[(f64, u8)],
) -> Count {
    let evidence = Evidence::new(moments, &[]);
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
