//! The rows of beats, and the numbers of beats in a bar, that are worth ranking.

use super::describe::Evidence;
use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::reading::Given;
use crate::hearing::rhythm::beats::{BeatWeights, LONGEST, SHORTEST, track};
use rayon::prelude::*;

/// Beats in a bar worth trying; 6/8 is counted in two, 12/8 in four.
pub(super) fn meters(given: &Given) -> Vec<u8> {
    match given.meter {
        Some((n, 8)) if n % 3 == 0 && n > 3 => vec![n / 3],
        Some((n, _)) => vec![n.clamp(2, 12)],
        None => vec![2, 3, 4],
    }
}

/// The rows of beats to choose from.
pub(super) fn beat_rows(
    evidence: &Evidence<'_>,
    given: &Given,
    weights: &BeatWeights,
) -> Vec<Vec<usize>> {
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
    let add = |frames: Vec<usize>| {
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
    let ratios = [
        1.0,
        0.5,
        2.0,
        1.5,
        2.0 / 3.0,
        3.0,
        1.0 / 3.0,
        0.75,
        4.0 / 3.0,
    ];
    let followed = SHORTEST as f64 * 0.95..=LONGEST as f64 * 1.05;
    let found: Vec<_> = ratios
        .into_par_iter()
        .map(|ratio| length * ratio)
        .filter(|length| followed.contains(length))
        .map(|length| track(&evidence.search, weights, around(length)))
        .collect();
    found.into_iter().for_each(add);
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

pub(super) fn median_gap(frames: &[usize]) -> f64 {
    let mut gaps: Vec<usize> = frames.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_unstable();
    let n = gaps.len();
    match n {
        0 => 0.0,
        _ if n % 2 == 1 => gaps[n / 2] as f64,
        _ => (gaps[n / 2 - 1] + gaps[n / 2]) as f64 / 2.0,
    }
}
