//! The search: every likely key's lattice, their probabilities together, and the best paths.

use super::frame::{Frame, Habit, ln_sum};
use super::lattice::{Search, Segment};
use super::notes::Notes;
use super::states::{self, n_states};
use super::weights::weights;
use super::{Fragment, Mode, PitchClass};
use crate::theory::Key;
use rayon::prelude::*;

/// Keys searched in full when the key is not given.
const N_KEYS: usize = 8;
/// As many are tried as a blues, where a double stop may be part of one.
const N_BLUES: usize = 4;
/// One reading of the row, with its probability.
pub(super) struct Path {
    pub(super) frame: Frame,
    pub(super) probability: f64,
    pub(super) segments: Vec<Segment>,
}

/// What the search found.
pub(super) struct Found {
    pub(super) paths: Vec<Path>,
    /// For each double stop, the probability of every state and of no chord.
    pub(super) marginals: Vec<Vec<f64>>,
    pub(super) keys: Vec<(Key, f64)>,
}

/// Whether a double stop of the row is a third with a minor seventh, or may be.
fn has_tritone(row: &[Fragment]) -> bool {
    row.iter().any(|fragment| {
        let set = fragment.pitch_classes().0;
        (0..12).any(|root| states::from_root(set, root) & (1 | 1 << 6) == 1 | 1 << 6)
    })
}

/// Every frame of a key: plain, and as a blues if the row may be one.
fn frames(key: Key, blues: bool) -> impl Iterator<Item = Frame> {
    let habit = Habit::Blues;
    let as_blues = (blues && matches!(key.mode, Mode::Major | Mode::Mixolydian))
        .then_some(Frame { key, habit });
    std::iter::once(Frame::plain(key)).chain(as_blues)
}

/// What a frame costs before a note is heard, where the key is not given.
fn unusual(frame: Frame) -> f64 {
    let tonic = frame.key.tonic.pitch_class().index();
    let keys = &weights().unusual_key;
    if frame.key.mode.is_minor() {
        keys.minor[tonic]
    } else {
        keys.major[tonic]
    }
}

/// Frames worth a full search: those whose tones at home are most of what sounds.
fn likely_frames(row: &[Fragment], blues: bool) -> Vec<Frame> {
    let mut weight = [0.0f64; 12];
    for fragment in row {
        for pc in fragment.pitch_classes().iter().chain(fragment.bass) {
            weight[pc.index()] += fragment.beats.clamp(0.25, 4.0);
        }
    }
    let total: f64 = weight.iter().sum();
    let mut ranked: Vec<(f64, Frame)> = [Mode::Major, Mode::Minor]
        .into_iter()
        .flat_map(|mode| PitchClass::all().map(move |tonic| Key::usual(tonic, mode)))
        .flat_map(|key| frames(key, blues))
        .map(|frame| {
            let tonic = frame.key.tonic.pitch_class();
            let home = frame.home();
            let inside: f64 = (0..12)
                .filter(|i| states::from_root(1 << i, tonic.index()) & home != 0)
                .map(|i| weight[i])
                .sum();
            let own = 0.3 * weight[tonic.index()] + 0.15 * weight[tonic.up(7).index()];
            (inside + own - 0.05 * total * unusual(frame), frame)
        })
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    let some = |habit: Habit, n: usize| {
        let of_habit = ranked.iter().filter(move |(_, f)| f.habit == habit);
        of_habit.take(n).map(|(_, frame)| *frame)
    };
    some(Habit::Plain, N_KEYS)
        .chain(some(Habit::Blues, N_BLUES))
        .collect()
}

/// A path, the share of the likeliest of its keys, and all of them.
type Followed = (Path, f64, Vec<Frame>);

/// Searches the row in the given key, or in every likely one.
pub(super) fn search(row: &[Fragment], key: Option<Key>, n_best: usize) -> Found {
    let notes = Notes::of(row);
    let blues = has_tritone(row);
    let frames: Vec<Frame> = match key {
        Some(key) => frames(key, blues).collect(),
        None => likely_frames(row, blues),
    };
    let cost = |frame: Frame| {
        let habit = match frame.habit {
            Habit::Plain => 0.0,
            Habit::Blues => weights().blues.cost,
        };
        habit + key.map_or_else(|| unusual(frame), |_| 0.0)
    };
    // each key on its own, so that nothing depends on how many threads there are
    let searches: Vec<Search> = frames
        .into_par_iter()
        .map(|frame| Search::forward(&notes, frame, cost(frame)))
        .collect();
    let totals: Vec<f64> = searches.iter().map(|s| s.total).collect();
    let evidence = ln_sum(&totals);
    let mut ranked: Vec<(f64, Search)> = searches
        .into_iter()
        .map(|s| ((s.total - evidence).exp(), s))
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    // keys below one percent change no answer; the best is always searched
    let worth = 1 + ranked.iter().skip(1).filter(|(p, _)| *p > 0.01).count();
    let share: f64 = ranked.iter().take(worth).map(|(p, _)| p).sum();
    let mut marginals = vec![vec![0.0; n_states() + 1]; notes.n];
    let mut paths: Vec<Followed> = Vec::new();
    let followed: Vec<_> = ranked[..worth]
        .par_iter()
        .map(|(_, search)| (search.marginals(), super::paths::best(search, n_best)))
        .collect();
    for ((p, search), (own_marginals, best)) in ranked.iter().zip(followed) {
        for (sum, own) in marginals.iter_mut().zip(own_marginals) {
            for (x, y) in sum.iter_mut().zip(own) {
                *x += y * p / share;
            }
        }
        for (weight, segments) in best {
            let probability = (weight - cost(search.frame) - evidence).exp();
            match paths
                .iter_mut()
                .find(|(path, ..)| path.segments == segments)
            {
                Some((path, most, frames)) => {
                    path.probability += probability;
                    frames.push(search.frame);
                    if probability > *most {
                        (path.frame, *most) = (search.frame, probability);
                    }
                }
                None => paths.push((
                    Path {
                        frame: search.frame,
                        probability,
                        segments,
                    },
                    probability,
                    vec![search.frame],
                )),
            }
        }
    }
    let keys = by_key(&ranked);
    Found {
        paths: in_order(paths, &keys, n_best),
        marginals,
        keys,
    }
}

/// The keys of all searches with their probability, best first.
fn by_key(ranked: &[(f64, Search)]) -> Vec<(Key, f64)> {
    let mut keys: Vec<(Key, f64)> = Vec::new();
    for (p, search) in ranked {
        match keys.iter_mut().find(|(key, _)| *key == search.frame.key) {
            Some((_, sum)) => *sum += p,
            None => keys.push((search.frame.key, *p)),
        }
    }
    keys.sort_by(|a, b| b.1.total_cmp(&a.1));
    keys
}

/// The `n` best paths by probability, but first the best one of the likeliest key: a key
/// with many readings is no less likely.
fn in_order(paths: Vec<Followed>, keys: &[(Key, f64)], n: usize) -> Vec<Path> {
    let is_first = |frame: &&Frame| keys.first().is_some_and(|(key, _)| *key == frame.key);
    let read = |(path, _, frames): Followed| match frames.iter().find(is_first) {
        Some(frame) => {
            let frame = *frame;
            (true, Path { frame, ..path })
        }
        None => (false, path),
    };
    let mut paths: Vec<(bool, Path)> = paths.into_iter().map(read).collect();
    paths.sort_by(|a, b| b.1.probability.total_cmp(&a.1.probability));
    if let Some(at) = paths.iter().position(|(is_first, _)| *is_first) {
        paths[..=at].rotate_right(1);
    }
    paths.truncate(n);
    paths.into_iter().map(|(_, path)| path).collect()
}
