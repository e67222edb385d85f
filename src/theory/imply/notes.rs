//! What the notes of a row say, whatever the key: how well every run of
//! fragments fits every chord, where chords change, where a pair slides.

use super::Fragment;
use super::priors;
use super::states::{self, n_states, states};

/// Longest run of fragments that one chord may cover.
pub(super) const LONGEST: usize = 24;

/// What the notes say, whatever the key.
pub(super) struct Notes {
    pub(super) n: usize,
    /// `segment[i][len - 1][state]`: log-likelihood of a segment, staying inside included.
    pub(super) segment: Vec<Vec<Vec<f64>>>,
    /// Log-probability of a change at each fragment.
    pub(super) change: Vec<f64>,
    /// Gain of a slide into each fragment; 0 where there is none.
    pub(super) slide: Vec<f64>,
    /// Tones of each fragment as numbers of each state.
    roles: Vec<Vec<Option<u32>>>,
}

impl Notes {
    pub(super) fn of(row: &[Fragment]) -> Self {
        let n = row.len();
        let all = n_states() + 1;
        let none = all - 1;
        let sets: Vec<u16> = row
            .iter()
            .map(|f| {
                let bass = f.bass.map_or(0, |b| 1 << b.index());
                f.pitch_classes().0 | bass
            })
            .collect();
        // one fragment's own share for every state, its bass apart
        let own: Vec<Vec<f64>> = row
            .iter()
            .map(|fragment| {
                let set = fragment.pitch_classes().0;
                let heard = |s: usize| {
                    let told = fragment.evidence.len();
                    if told == all || (told == all - 1 && s < none) {
                        fragment.evidence[s]
                    } else {
                        0.0
                    }
                };
                let chord = |s: usize| match set {
                    0 => -priors::CHORD_WITHOUT_NOTE,
                    _ => -states::outside(s, set, fragment),
                };
                let rest = -priors::NOTE_WITHOUT_CHORD * f64::from(set.count_ones());
                (0..all)
                    .map(|s| heard(s) + if s == none { rest } else { chord(s) })
                    .collect()
            })
            .collect();
        let bass: Vec<Vec<f64>> = row
            .iter()
            .map(|fragment| match fragment.telling_bass() {
                None => vec![0.0; all],
                Some(bass) => (0..all)
                    .map(|s| match states().get(s) {
                        None => 0.0,
                        Some(state) => -priors::bass(
                            state.quality,
                            bass.above(state.root),
                            fragment.bass.is_some(),
                        ),
                    })
                    .collect(),
            })
            .collect();
        let change: Vec<f64> = row.iter().map(|f| priors::change(f.place)).collect();
        let segment = (0..n)
            .map(|i| {
                let mut union = 0u16;
                let mut fullest = 0;
                let mut sum = vec![0.0; all];
                (i..n.min(i + LONGEST))
                    .map(|k| {
                        union |= sets[k];
                        fullest = fullest.max(row[k].pitch_classes().len());
                        let thin = if fullest < 3 { priors::THIN } else { 0.0 };
                        // the first bass of a chord tells more than a walk away from it
                        let weight = if k == i { 1.0 } else { 0.5 };
                        let stay = if k == i { 0.0 } else { (1.0 - change[k]).ln() };
                        for (s, x) in sum.iter_mut().enumerate() {
                            *x += own[k][s] + weight * bass[k][s] + stay;
                        }
                        sum.iter()
                            .enumerate()
                            .map(|(s, x)| match s {
                                s if s == none => *x,
                                s => {
                                    let rich = states::n_tones(s) > 3;
                                    x - states::missing(s, union) - if rich { thin } else { 0.0 }
                                }
                            })
                            .collect()
                    })
                    .collect()
            })
            .collect();
        let slide = (0..n)
            .map(|k| {
                if k == 0 {
                    0.0
                } else {
                    slide_gain(&row[k - 1], &row[k])
                }
            })
            .collect();
        let roles = row
            .iter()
            .map(|f| (0..all).map(|s| states::roles(s, f)).collect())
            .collect();
        Self {
            n,
            segment,
            change: change.iter().map(|p| p.ln()).collect(),
            slide,
            roles,
        }
    }

    /// What a change from one state to another gains by the slide into fragment `k`.
    pub(super) fn slide_gain(&self, k: usize, from: usize, to: usize) -> f64 {
        let gain = self.slide[k];
        if gain > 0.0 {
            let before = self.roles[k - 1][from];
            if before.is_some() && before == self.roles[k][to] {
                return gain;
            }
        }
        0.0
    }
}

/// What it gains to read two fragments as one pair of strings slid along the
/// neck: same strings (or the same kind of interval), both notes moved the same way.
fn slide_gain(before: &Fragment, after: &Fragment) -> f64 {
    let pair = |f: &Fragment| -> Option<(u8, u8)> {
        match f.midi[..] {
            [a, b] if a != b => Some((a.min(b), a.max(b))),
            _ => None,
        }
    };
    let (Some((low, high)), Some((low2, high2))) = (pair(before), pair(after)) else {
        return 0.0;
    };
    let (by_low, by_high) = (
        i32::from(low2) - i32::from(low),
        i32::from(high2) - i32::from(high),
    );
    if by_low.signum() != by_high.signum() || by_low == 0 {
        return 0.0;
    }
    let known = before.strings.len() == 2 && after.strings.len() == 2;
    let sorted = |f: &Fragment| {
        let mut strings = f.strings.clone();
        strings.sort_unstable();
        strings
    };
    let same_pair = if known {
        sorted(before) == sorted(after)
    } else {
        // thirds after thirds, sixths after sixths
        let kind = |interval: u8| match interval % 12 {
            3 | 4 => Some(3 + interval / 12),
            8 | 9 => Some(6 + interval / 12),
            _ => None,
        };
        kind(high - low).is_some() && kind(high - low) == kind(high2 - low2)
    };
    match (
        same_pair,
        by_low.abs().max(by_high.abs()) <= i32::from(priors::SLIDE_NEAR),
    ) {
        (false, _) => 0.0,
        (true, true) => priors::SLIDE,
        (true, false) => priors::SLIDE_FAR,
    }
}
