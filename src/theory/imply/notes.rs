//! What the notes of a row say, whatever the key: how well every run of
//! double stops fits every chord, where chords change, where a pair slides.

use super::states::{self, n_states, states};
use super::weights::weights;
use super::{Fragment, Place};
use crate::theory::Quality;
use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

/// Longest run of double stops that one chord may cover.
pub(super) const LONGEST: usize = 24;

/// What the notes say, whatever the key.
pub(super) struct Notes {
    pub(super) n: usize,
    /// `runs[i][len - 1]`: the run of `len` double stops from `i`.
    pub(super) runs: Vec<Vec<Run>>,
    /// What the first double stop says about each state to start with.
    pub(super) start: Vec<f64>,
    /// Log-probability of a change at each double stop.
    pub(super) change: Vec<f64>,
    /// Gain of a slide into each double stop; 0 where there is none.
    pub(super) slide: Vec<f64>,
    /// Changes that keep the tones of a slide into each double stop; none where there is none.
    pub(super) slid: Vec<Vec<Slid>>,
}

/// States before and after a slide whose chords have the two double stops as the same tones.
pub(super) struct Slid {
    pub(super) from: Vec<usize>,
    pub(super) into: Vec<usize>,
}

/// A run of double stops under one chord.
pub(super) struct Run {
    /// Log-likelihood by state, staying inside included.
    pub(super) ln: Vec<f64>,
    /// The highest of them.
    pub(super) most: f64,
    /// The pitch classes heard, the bass included.
    pub(super) union: u16,
}

impl Notes {
    pub(super) fn of(row: &[Fragment]) -> Self {
        let n = row.len();
        let all = n_states() + 1;
        let w = weights();
        let sets: Vec<u16> = row.iter().map(heard).collect();
        let own: Vec<Vec<f64>> = row.iter().map(own_share).collect();
        let bass: Vec<Option<Vec<f64>>> = row.iter().map(bass_share).collect();
        let shown: Vec<Vec<bool>> = row.iter().map(shown_whole).collect();
        let change: Vec<f64> = row.iter().map(|f| change(f.place)).collect();
        let start = row.first().map_or_else(Vec::new, |first| {
            (0..all)
                .map(|s| match states::third_below_seventh(s, first) {
                    true => w.start_in_close_position,
                    false => 0.0,
                })
                .collect()
        });
        let mut runs = Vec::with_capacity(n);
        for i in 0..n {
            let mut held = 0u16;
            let mut sum = vec![0.0; all];
            let mut thick = vec![false; all];
            let mut from_here = Vec::with_capacity(LONGEST);
            let mut written = row[i].bass;
            for k in i..n.min(i + LONGEST) {
                held |= sets[k];
                let stay = if k == i { 0.0 } else { (1.0 - change[k]).ln() };
                // another bass where a chord may well begin is another chord's; between, the
                // first bass says more than a walk away from it
                let is_new = row[k].bass.is_some() && written.is_some() && row[k].bass != written;
                let begins = is_new && change[k] >= 0.5;
                written = row[k].bass.or(written);
                let stay = if begins {
                    stay - w.bass.new_within
                } else {
                    stay
                };
                let weight = if k == i || begins { 1.0 } else { 0.5 };
                for s in 0..all {
                    let bass = bass[k].as_ref().map_or(0.0, |b| b[s]);
                    sum[s] += own[k][s] + weight * bass + stay;
                    thick[s] |= shown[k][s];
                }
                from_here.push(Run::of(&sum, &thick, held));
            }
            runs.push(from_here);
        }
        let mut known: HashMap<&[u8], Rc<Roles>> = HashMap::new();
        let mut roles: Vec<Rc<Roles>> = Vec::with_capacity(n);
        for f in row {
            let of = || Rc::new(tones(f));
            roles.push(Rc::clone(known.entry(&f.midi).or_insert_with(of)));
        }
        let slide: Vec<f64> = (0..n)
            .map(|k| match k {
                0 => 0.0,
                _ => slide_gain(&row[k - 1], &row[k]),
            })
            .collect();
        let slid = (0..n)
            .map(|k| match slide[k] > 0.0 {
                true => same_tones(&roles[k - 1], &roles[k]),
                false => Vec::new(),
            })
            .collect();
        Self {
            n,
            runs,
            start,
            change: change.iter().map(|p| p.ln()).collect(),
            slide,
            slid,
        }
    }
}

impl Run {
    /// Takes what its double stops say of every state, whether they show the state whole, and
    /// their pitch classes.
    fn of(sum: &[f64], thick: &[bool], union: u16) -> Self {
        let thin = weights().thin;
        let last = sum.len() - 1;
        let mut ln = Vec::with_capacity(sum.len());
        for (quality, sums) in sum[..last].chunks(12).enumerate() {
            let missing = states::missing(quality, union);
            for ((sum, missing), root) in sums.iter().zip(missing).zip(0..) {
                ln.push(match thick[12 * quality + root] {
                    true => sum - missing,
                    false => sum - missing - thin,
                });
            }
        }
        ln.push(sum[last]);
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Self { ln, most, union }
    }
}

/// States by the tones of them that a double stop has.
type Roles = BTreeMap<u32, Vec<usize>>;

fn tones(fragment: &Fragment) -> Roles {
    let mut by_tones = Roles::new();
    for state in 0..n_states() {
        if let Some(role) = states::roles(state, fragment) {
            by_tones.entry(role).or_default().push(state);
        }
    }
    by_tones
}

fn same_tones(before: &Roles, after: &Roles) -> Vec<Slid> {
    let of = |(role, from): (&u32, &Vec<usize>)| {
        let (from, into) = (from.clone(), after.get(role)?.clone());
        Some(Slid { from, into })
    };
    before.iter().filter_map(of).collect()
}

/// The pitch classes of a double stop and its bass.
fn heard(fragment: &Fragment) -> u16 {
    fragment.pitch_classes().0 | fragment.bass.map_or(0, |b| 1 << b.index())
}

/// Probability that the chord changes at a place.
fn change(place: Place) -> f64 {
    let change = &weights().change;
    match place {
        Place::BarStart => change.bar_start,
        Place::Strong => change.strong,
        Place::Weak => change.weak,
    }
}

/// One double stop's own share for every state, its bass apart.
fn own_share(fragment: &Fragment) -> Vec<f64> {
    let w = weights();
    let all = n_states() + 1;
    let set = fragment.pitch_classes().0;
    let told = fragment.evidence.len();
    let is_sixth = matches!(fragment.midi[..], [a, b] if matches!(a.abs_diff(b), 8 | 9));
    (0..all)
        .map(|s| {
            let none = s == all - 1;
            let sound = match told == all || (told == all - 1 && !none) {
                true => fragment.evidence[s],
                false => 0.0,
            };
            sound
                - match (none, set) {
                    (true, _) => w.note_without_chord * f64::from(set.count_ones()),
                    (false, 0) => w.chord_without_note,
                    (false, _) => states::outside(s, set, fragment),
                }
                + match !none && is_sixth && states::from_root(set, s % 12) & 1 == 0 {
                    true => w.missing.root - w.missing.root_of_sixth,
                    false => 0.0,
                }
        })
        .collect()
}

/// What the bass says about every state, if one tells. Players leave a root to the
/// bass: beside a separate bass, a root that sounds nowhere is hardly meant.
fn bass_share(fragment: &Fragment) -> Option<Vec<f64>> {
    let bass = fragment.telling_bass()?;
    let separate = fragment.bass.is_some();
    let heard = heard(fragment);
    let costs = states()
        .iter()
        .map(|state| {
            let cost = bass_cost(state.quality, bass.above(state.root), separate);
            match separate && states::from_root(heard, state.root.index()) & 1 == 0 {
                true => -cost - weights().bass.root_nowhere,
                false => -cost,
            }
        })
        .chain([0.0])
        .collect();
    Some(costs)
}

/// What a bass costs that is not the root. The low note of a wide pair is its
/// root; a separate bass may well walk.
fn bass_cost(quality: &Quality, semitones: i32, separate: bool) -> f64 {
    if semitones == 0 {
        return 0.0;
    }
    let w = &weights().bass;
    let tone = quality
        .degrees
        .iter()
        .find(|d| d.semitones() % 12 == semitones)
        .map(|d| d.number());
    let as_bass = match tone {
        Some(3) => w.third,
        Some(5) => w.fifth,
        Some(7) => w.seventh,
        Some(_) => w.other_tone,
        None => w.no_tone,
    };
    if separate {
        as_bass
    } else {
        as_bass + w.of_wide_pair
    }
}

/// For every state, whether one double stop is enough to tell it: triads always
/// are; a chord of four tones and more by three of them (the bass counts), or by
/// the third and seventh that make it a dominant.
fn shown_whole(fragment: &Fragment) -> Vec<bool> {
    let set = heard(fragment);
    (0..=n_states())
        .map(|s| {
            s == n_states()
                || states::n_tones(s) <= 3
                || set.count_ones() >= 3
                || states::holds_tritone(s, fragment.pitch_classes().0)
        })
        .collect()
}

/// What it gains to read two double stops as one pair of strings slid along the
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
        by_low.abs().max(by_high.abs()) <= i32::from(weights().slide_near_frets),
    ) {
        (false, _) => 0.0,
        (true, true) => weights().slide,
        (true, false) => weights().slide_far,
    }
}
