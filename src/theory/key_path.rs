//! The key of a piece stretch by stretch: where it modulates, and to which key.
//!
//! The cheapest row of keys explains a row of chords: each chord fits its key
//! more or less well ([`fit`]), and a change of key costs something, less where
//! a section starts than at another bar. To the relative key nothing changes:
//! it has the same notes and signature. A stretch with fewer than three
//! different chords tells no key of its own.
//!
//! # Source
//! Dynamic programming over the keys: Viterbi, IEEE Trans. Inf. Theory 13
//! (1967). What changes cost is whoever asks to say.

use super::{Key, Mode, PitchClass, Triad, fit};

/// What changes of key cost, in the unit of [`fit`] times the root of a second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KeyCosts {
    /// Cost of a change of key at a bar line.
    pub at_bar: f64,
    /// The same where a section starts.
    pub at_section: f64,
    /// Gain of a stretch that starts on its tonic.
    pub starts: f64,
    /// Gain of a piece that ends on its tonic.
    pub ends: f64,
    /// Fewer different chords tell no key.
    pub n_chords: usize,
    /// A chord so near to a bar line (s) starts on it; a push comes that much early.
    pub near_s: f64,
}

/// From here on another key holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KeyChange {
    /// From when, s.
    pub at_s: f64,
    /// The key.
    pub key: Key,
}

/// How early a chord may come that belongs to what follows, s: a push, a hand that moves early.
const EARLY_S: f64 = 0.1;

/// The key of a chord that starts at a time, of a piece that starts in `first`;
/// `changes` in order of time. A chord a little early belongs to what follows.
pub fn key_at(first: Option<Key>, changes: &[KeyChange], time_s: f64) -> Option<Key> {
    let n = n_changes_before(changes, time_s);
    n.checked_sub(1).map(|i| changes[i].key).or(first)
}

/// How many changes lie before a chord that starts at a time, s.
pub fn n_changes_before(changes: &[KeyChange], time_s: f64) -> usize {
    changes.partition_point(|c| c.at_s <= time_s + EARLY_S)
}

/// One chord of a row: what it is to a key, and when it sounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedTriad {
    /// Its triad.
    pub triad: Triad,
    /// Its root.
    pub root: PitchClass,
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
}

/// The keys of a row of chords: the first, and each change with the bar line it lies on.
///
/// Takes the chords in order, the starts of bars and those of sections, s, in
/// order. Without bars a key may change with any chord. No key without a chord.
pub fn keys_along(
    chords: &[TimedTriad],
    bars_s: &[f64],
    sections_s: &[f64],
    costs: &KeyCosts,
) -> (Option<Key>, Vec<KeyChange>) {
    let places: Vec<Option<(f64, f64)>> = chords
        .iter()
        .map(|c| place(c.start_s, bars_s, sections_s, costs))
        .collect();
    let row = cheapest(chords, &places, costs);
    let Some(first) = row.first() else {
        return (None, Vec::new());
    };
    let mut changes = Vec::new();
    for (i, pair) in row.windows(2).enumerate() {
        if let (true, Some((at_s, _))) = (pair[0] != pair[1], places[i + 1]) {
            changes.push(KeyChange { at_s, key: pair[1] });
        }
    }
    (Some(*first), changes)
}

/// Where a key that comes with a chord would start, s, and what the change costs.
fn place(start_s: f64, bars_s: &[f64], sections_s: &[f64], costs: &KeyCosts) -> Option<(f64, f64)> {
    let nearest = |lines: &[f64]| {
        let next = lines.partition_point(|b| *b < start_s);
        let around = next.saturating_sub(1)..(next + 1).min(lines.len());
        let best = lines[around]
            .iter()
            .copied()
            .min_by(|a, b| (a - start_s).abs().total_cmp(&(b - start_s).abs()));
        best.filter(|b| (b - start_s).abs() < costs.near_s)
    };
    if bars_s.is_empty() {
        return Some((start_s, costs.at_bar));
    }
    nearest(sections_s)
        .map(|at_s| (at_s, costs.at_section))
        .or(nearest(bars_s).map(|at_s| (at_s, costs.at_bar)))
}

/// A key for each chord.
fn cheapest(chords: &[TimedTriad], places: &[Option<(f64, f64)>], costs: &KeyCosts) -> Vec<Key> {
    let mut row = search(chords, places, costs);
    // a stretch that tells no key goes on as the one before, else as the next
    loop {
        let stretches: Vec<(usize, usize)> = {
            let mut bounds: Vec<usize> = (1..row.len()).filter(|i| row[*i] != row[i - 1]).collect();
            bounds.insert(0, 0);
            bounds.push(row.len());
            bounds.windows(2).map(|w| (w[0], w[1])).collect()
        };
        if stretches.len() < 2 {
            return row;
        }
        let poor = stretches.iter().find(|(from, to)| {
            let mut kinds: Vec<(PitchClass, Triad)> = Vec::new();
            for chord in &chords[*from..*to] {
                if !kinds.contains(&(chord.root, chord.triad)) {
                    kinds.push((chord.root, chord.triad));
                }
            }
            kinds.len() < costs.n_chords
        });
        let Some((from, to)) = poor.copied() else {
            return row;
        };
        let key = if from > 0 { row[from - 1] } else { row[to] };
        row[from..to].fill(key);
    }
}

fn search(chords: &[TimedTriad], places: &[Option<(f64, f64)>], costs: &KeyCosts) -> Vec<Key> {
    let keys: Vec<Key> = [Mode::Major, Mode::Minor]
        .into_iter()
        .flat_map(|mode| PitchClass::all().map(move |tonic| Key::usual(tonic, mode)))
        .collect();
    let n = keys.len();
    let mut best = vec![0f64; n];
    let mut from = vec![0usize; n * chords.len()];
    for (i, chord) in chords.iter().enumerate() {
        let before = best.clone();
        let seconds = (chord.end_s - chord.start_s).max(0.0);
        for (k, key) in keys.iter().enumerate() {
            let tonic = chord.root == key.tonic.pitch_class()
                && matches!(
                    (key.mode, chord.triad),
                    (Mode::Major, Triad::Major) | (Mode::Minor, Triad::Minor) | (_, Triad::Open)
                );
            let (mut score, mut which) = (before[k], k);
            if let (true, Some((_, cost))) = (i > 0, places[i]) {
                let gain = if tonic { costs.starts } else { 0.0 };
                for (p, other) in keys.iter().enumerate() {
                    let same_notes = (key.signature() - other.signature()).rem_euclid(12) == 0;
                    let moved = before[p] - cost + gain;
                    if !same_notes && moved > score {
                        (score, which) = (moved, p);
                    }
                }
            }
            score += seconds.sqrt() * f64::from(fit(chord.triad, chord.root, *key));
            if tonic && i == 0 {
                score += costs.starts;
            }
            if tonic && i + 1 == chords.len() {
                score += costs.ends;
            }
            best[k] = score;
            from[i * n + k] = which;
        }
    }
    // of equals the earlier
    let mut k = (0..n).fold(0, |top, k| if best[k] > best[top] { k } else { top });
    let mut row = vec![keys[0]; chords.len()];
    for i in (0..chords.len()).rev() {
        row[i] = keys[k];
        k = from[i * n + k];
    }
    row
}
