//! The search: a semi-Markov lattice over the row, forwards and backwards for
//! probabilities, and its best paths.
//!
//! Every key is searched in the frame of its tonic, so that one transition
//! table serves all major keys and one all minor keys. The last state of the
//! lattice, after the chords, is "no chord".

use super::notes::{LONGEST, Notes};
use super::priors;
use super::states::{self, n_states, states};
use super::{Fragment, Mode, PitchClass};
use crate::theory::Key;
use std::sync::OnceLock;

/// Keys searched in full when the key is not given.
const N_KEYS: usize = 8;
/// What is this much less likely than the best (natural logarithm) is not followed.
const BEAM: f64 = 25.0;
/// The same for the best paths, unless very many are wanted.
const NARROW_BEAM: f64 = 14.0;
const NEVER: f64 = f64::NEG_INFINITY;

/// One chord of a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Segment {
    pub(super) first: usize,
    pub(super) last: usize,
    /// Index into [`states`], or [`n_states`] for no chord.
    pub(super) state: usize,
}

/// One reading of the row, with its probability.
pub(super) struct Path {
    pub(super) key: Key,
    pub(super) probability: f64,
    pub(super) segments: Vec<Segment>,
}

/// What the search found.
pub(super) struct Found {
    pub(super) paths: Vec<Path>,
    /// For each fragment, the probability of every state and of no chord.
    pub(super) marginals: Vec<Vec<f64>>,
    pub(super) keys: Vec<(Key, f64)>,
}

/// Transitions of one mode, in the frame of the tonic, as logarithms and plain.
struct Transitions {
    ln: Vec<Vec<f64>>,
    /// `plain[from][into]`, and the same turned round.
    plain: Vec<Vec<f64>>,
    turned: Vec<Vec<f64>>,
    start: Vec<f64>,
}

fn transitions(mode: Mode) -> &'static Transitions {
    static MAJOR: OnceLock<Transitions> = OnceLock::new();
    static MINOR: OnceLock<Transitions> = OnceLock::new();
    let table = match mode {
        Mode::Major => &MAJOR,
        Mode::Minor => &MINOR,
    };
    table.get_or_init(|| build_transitions(mode))
}

fn build_transitions(mode: Mode) -> Transitions {
    let n = n_states() + 1;
    let none = n - 1;
    let prior: Vec<f64> = states()
        .iter()
        .map(|s| priors::quality(s.quality) + priors::in_key(mode, s.root.index(), s.quality))
        .collect();
    let normalize = |row: &mut Vec<f64>| {
        let total = ln_sum(row);
        row.iter_mut().for_each(|x| *x -= total);
    };
    let ln: Vec<Vec<f64>> = (0..n)
        .map(|from| {
            let mut row: Vec<f64> = (0..n)
                .map(|to| match (from == none, to == none) {
                    (true, true) => NEVER,
                    (true, false) => -prior[to],
                    (false, true) => -priors::NO_CHORD,
                    (false, false) if from == to => NEVER,
                    (false, false) => -prior[to] - priors::motion((to % 12 + 12 - from % 12) % 12),
                })
                .collect();
            normalize(&mut row);
            row
        })
        .collect();
    let mut start: Vec<f64> = (0..n)
        .map(|s| match s {
            s if s == none => -priors::NO_CHORD,
            s if s % 12 == 0 => -prior[s] + priors::START_ON_TONIC,
            s => -prior[s],
        })
        .collect();
    normalize(&mut start);
    let plain: Vec<Vec<f64>> = ln
        .iter()
        .map(|row| row.iter().map(|x| x.exp()).collect())
        .collect();
    let turned = (0..n)
        .map(|into| plain.iter().map(|row| row[into]).collect())
        .collect();
    Transitions {
        ln,
        plain,
        turned,
        start,
    }
}

fn ln_sum(values: &[f64]) -> f64 {
    let most = values.iter().copied().fold(NEVER, f64::max);
    if most == NEVER {
        return NEVER;
    }
    most + values.iter().map(|v| (v - most).exp()).sum::<f64>().ln()
}

/// State of the tonic's frame as state of the whole, for a tonic.
fn absolute(relative: usize, tonic: usize) -> usize {
    if relative >= n_states() {
        return relative;
    }
    relative / 12 * 12 + (relative % 12 + tonic) % 12
}

/// One key's search.
struct Search<'a> {
    notes: &'a Notes,
    table: &'static Transitions,
    key: Key,
    /// Absolute state of each relative one.
    place: Vec<usize>,
    /// `into[k][s]`: log of reaching fragment `k` as the start of a segment in relative state `s`.
    into: Vec<Vec<f64>>,
    total: f64,
}

impl<'a> Search<'a> {
    fn forward(notes: &'a Notes, key: Key) -> Self {
        let all = n_states() + 1;
        let tonic = key.tonic.pitch_class().index();
        let mut search = Self {
            notes,
            table: transitions(key.mode),
            key,
            place: (0..all).map(|r| absolute(r, tonic)).collect(),
            into: Vec::with_capacity(notes.n),
            total: NEVER,
        };
        search.into.push(search.table.start.clone());
        for k in 1..=notes.n {
            let ends = search.ends(k);
            if k == notes.n {
                let last: Vec<f64> = ends
                    .iter()
                    .enumerate()
                    .map(|(s, x)| x + search.at_end(s))
                    .collect();
                search.total = ln_sum(&last);
            } else {
                search.into.push(search.change(k, &ends, false));
            }
        }
        search
    }

    fn at_end(&self, state: usize) -> f64 {
        if state < n_states() && state.is_multiple_of(12) {
            priors::END_ON_TONIC
        } else {
            0.0
        }
    }

    /// Log of all ways to end a segment just before fragment `k`.
    fn ends(&self, k: usize) -> Vec<f64> {
        let starts: Vec<usize> = (k.saturating_sub(LONGEST)..k).collect();
        (0..self.place.len())
            .map(|s| {
                let ways: Vec<f64> = starts
                    .iter()
                    .map(|i| self.into[*i][s] + self.notes.segment[*i][k - i - 1][self.place[s]])
                    .collect();
                ln_sum(&ways)
            })
            .collect()
    }

    /// Moves weights across the change before fragment `k`, forwards or backwards.
    fn change(&self, k: usize, weights: &[f64], backwards: bool) -> Vec<f64> {
        let all = weights.len();
        let most = weights.iter().copied().fold(NEVER, f64::max);
        let mut moved = vec![0.0; all];
        let table = if backwards {
            &self.table.turned
        } else {
            &self.table.plain
        };
        let slides = self.notes.slide[k] > 0.0;
        for (a, weight) in weights.iter().enumerate() {
            if *weight < most - BEAM {
                continue;
            }
            let weight = (weight - most).exp();
            for (b, (to, likely)) in moved.iter_mut().zip(&table[a]).enumerate() {
                *to += weight * likely;
                if slides {
                    let (from, into) = if backwards { (b, a) } else { (a, b) };
                    let gain = self.notes.slide_gain(k, self.place[from], self.place[into]);
                    if gain > 0.0 {
                        *to += weight * likely * gain.exp_m1();
                    }
                }
            }
        }
        moved
            .into_iter()
            .map(|x| x.ln() + most + self.notes.change[k])
            .collect()
    }

    /// Probability of each absolute state at each fragment, by running backwards too.
    fn marginals(&self) -> Vec<Vec<f64>> {
        let (n, all) = (self.notes.n, self.place.len());
        let mut marginals = vec![vec![0.0; all]; n];
        // out[k][s]: log of everything after a segment in state s that ends before fragment k
        let mut out = vec![Vec::new(); n + 1];
        out[n] = (0..all).map(|s| self.at_end(s)).collect();
        for i in (0..n).rev() {
            let longest = (n - i).min(LONGEST);
            let from_here: Vec<f64> = (0..all)
                .map(|s| {
                    let ways: Vec<f64> = (1..=longest)
                        .map(|len| self.notes.segment[i][len - 1][self.place[s]] + out[i + len][s])
                        .collect();
                    for (at, way) in ways.iter().enumerate() {
                        let p = (self.into[i][s] + way - self.total).exp();
                        if p > 1e-12 {
                            for fragment in &mut marginals[i..=i + at] {
                                fragment[self.place[s]] += p;
                            }
                        }
                    }
                    ln_sum(&ways)
                })
                .collect();
            if i > 0 {
                out[i] = self.change(i, &from_here, true);
            }
        }
        marginals
    }

    /// The best paths, each with its log-weight.
    fn best(&self, n_best: usize) -> Vec<(f64, Vec<Segment>)> {
        #[derive(Clone, Copy)]
        struct Step {
            weight: f64,
            /// The segment before: its start, state and rank there; `None` at the start of the row.
            before: Option<(usize, usize, usize)>,
        }
        let (n, all) = (self.notes.n, self.place.len());
        let beam = if n_best > 100 { BEAM } else { NARROW_BEAM };
        let keep = |list: &mut Vec<Step>, step: Step| {
            if list.len() == n_best && list[n_best - 1].weight >= step.weight {
                return;
            }
            let at = list.partition_point(|s| s.weight >= step.weight);
            list.insert(at, step);
            list.truncate(n_best);
        };
        // steps[k][s]: best ways to start a segment in state s at fragment k
        let mut steps: Vec<Vec<Vec<Step>>> = Vec::with_capacity(n);
        steps.push(
            self.table
                .start
                .iter()
                .map(|w| {
                    vec![Step {
                        weight: *w,
                        before: None,
                    }]
                })
                .collect(),
        );
        for k in 1..=n {
            let mut ends: Vec<Vec<Step>> = vec![Vec::new(); all];
            let from = k.saturating_sub(LONGEST);
            for (i, started) in steps.iter().enumerate().skip(from) {
                let segment = &self.notes.segment[i][k - i - 1];
                for s in 0..all {
                    for (rank, step) in started[s].iter().enumerate() {
                        let weight = step.weight + segment[self.place[s]];
                        keep(
                            &mut ends[s],
                            Step {
                                weight,
                                before: Some((i, s, rank)),
                            },
                        );
                    }
                }
            }
            if k == n {
                let mut last: Vec<Step> = Vec::new();
                for (s, list) in ends.into_iter().enumerate() {
                    for step in list {
                        keep(
                            &mut last,
                            Step {
                                weight: step.weight + self.at_end(s),
                                ..step
                            },
                        );
                    }
                }
                return last
                    .into_iter()
                    .map(|step| {
                        let mut segments = Vec::new();
                        let (mut end, mut before) = (n, step.before);
                        while let Some((i, s, rank)) = before {
                            segments.push(Segment {
                                first: i,
                                last: end - 1,
                                state: self.place[s],
                            });
                            end = i;
                            before = steps[i][s][rank].before;
                        }
                        segments.reverse();
                        (step.weight, segments)
                    })
                    .collect();
            }
            let most = ends
                .iter()
                .filter_map(|l| l.first())
                .map(|s| s.weight)
                .fold(NEVER, f64::max);
            let mut started: Vec<Vec<Step>> = vec![Vec::with_capacity(n_best + 1); all];
            for (from, list) in ends.iter().enumerate() {
                for step in list.iter().filter(|s| s.weight > most - beam) {
                    for (into, best) in started.iter_mut().enumerate() {
                        let weight = step.weight
                            + self.table.ln[from][into]
                            + self.notes.change[k]
                            + self.notes.slide_gain(k, self.place[from], self.place[into]);
                        if weight > NEVER {
                            keep(
                                best,
                                Step {
                                    weight,
                                    before: step.before,
                                },
                            );
                        }
                    }
                }
            }
            steps.push(started);
        }
        Vec::new()
    }
}

/// Keys worth a full search: those whose scale holds most of what sounds.
fn likely_keys(row: &[Fragment]) -> Vec<Key> {
    const MAJOR: u16 = 0b1010_1011_0101;
    const MINOR: u16 = 0b0101_1010_1101;
    let mut weight = [0.0f64; 12];
    for fragment in row {
        for pc in fragment.pitch_classes().iter().chain(fragment.bass) {
            weight[pc.index()] += fragment.beats.clamp(0.25, 4.0);
        }
    }
    let mut ranked: Vec<(f64, Key)> = [(Mode::Major, MAJOR), (Mode::Minor, MINOR)]
        .into_iter()
        .flat_map(|(mode, scale)| {
            PitchClass::all().map(move |tonic| {
                let inside: f64 = (0..12)
                    .filter(|i| states::from_root(1 << i, tonic.index()) & scale != 0)
                    .map(|i| weight[i])
                    .sum();
                let home = 0.3 * weight[tonic.index()] + 0.15 * weight[tonic.up(7).index()];
                (inside + home, Key::usual(tonic, mode))
            })
        })
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.into_iter().take(N_KEYS).map(|(_, k)| k).collect()
}

/// Searches the row in the given key, or in every likely one.
pub(super) fn search(row: &[Fragment], key: Option<Key>, n_best: usize) -> Found {
    let notes = Notes::of(row);
    let keys = key.map_or_else(|| likely_keys(row), |k| vec![k]);
    let searches: Vec<Search> = keys
        .into_iter()
        .map(|k| Search::forward(&notes, k))
        .collect();
    let totals: Vec<f64> = searches.iter().map(|s| s.total).collect();
    let evidence = ln_sum(&totals);
    let mut marginals = vec![vec![0.0; n_states() + 1]; notes.n];
    let mut ranked: Vec<(f64, Search)> = searches
        .into_iter()
        .map(|s| ((s.total - evidence).exp(), s))
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    // keys below one percent change no answer; the best is always searched
    let worth = 1 + ranked.iter().skip(1).filter(|(p, _)| *p > 0.01).count();
    let share: f64 = ranked.iter().take(worth).map(|(p, _)| p).sum();
    let mut paths: Vec<Path> = Vec::new();
    for (p, search) in ranked.iter().take(worth) {
        for (sum, own) in marginals.iter_mut().zip(search.marginals()) {
            for (x, y) in sum.iter_mut().zip(own) {
                *x += y * p / share;
            }
        }
        for (weight, segments) in search.best(n_best) {
            let probability = (weight - evidence).exp();
            match paths.iter_mut().find(|path| path.segments == segments) {
                Some(path) => path.probability += probability,
                None => paths.push(Path {
                    key: search.key,
                    probability,
                    segments,
                }),
            }
        }
    }
    paths.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    paths.truncate(n_best);
    Found {
        paths,
        marginals,
        keys: ranked.iter().map(|(p, s)| (s.key, *p)).collect(),
    }
}
