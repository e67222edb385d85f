//! A semi-Markov lattice over the row in one key, forwards and backwards for
//! probabilities.
//!
//! Every key is searched in the frame of its tonic, so that one table of changes
//! serves all keys of a mode. The last state of the lattice, after the chords, is
//! "no chord".

use super::frame::{Frame, Transitions, ln_sum};
use super::notes::{LONGEST, Notes};
use super::states::{self, n_states};
use super::weights::weights;

/// What is this much less likely than the best (natural logarithm) is not followed.
pub(super) const BEAM: f64 = 16.0;
/// What is less likely (natural logarithm) changes no probability.
const RARE: f64 = -27.0;
const NEVER: f64 = f64::NEG_INFINITY;

/// One chord of a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Segment {
    pub(super) first: usize,
    pub(super) last: usize,
    /// Index into [`states`](super::states()), or [`n_states`] for no chord.
    pub(super) state: usize,
}

/// State of the tonic's frame as state of the whole, for a tonic.
fn absolute(relative: usize, tonic: usize) -> usize {
    if relative >= n_states() {
        return relative;
    }
    relative / 12 * 12 + (relative % 12 + tonic) % 12
}

/// One key's search.
pub(super) struct Search<'a> {
    pub(super) notes: &'a Notes,
    pub(super) table: &'static Transitions,
    pub(super) frame: Frame,
    /// Absolute state of each relative one.
    pub(super) place: Vec<usize>,
    /// `into[k][s]`: log of reaching double stop `k` as the start of a segment in relative state `s`.
    into: Vec<Vec<f64>>,
    pub(super) total: f64,
}

impl<'a> Search<'a> {
    /// Takes what the frame costs beforehand.
    pub(super) fn forward(notes: &'a Notes, frame: Frame, cost: f64) -> Self {
        let all = n_states() + 1;
        let tonic = frame.key.tonic.pitch_class().index();
        let mut search = Self {
            notes,
            table: frame.transitions(),
            frame,
            place: (0..all).map(|r| absolute(r, tonic)).collect(),
            into: Vec::with_capacity(notes.n),
            total: NEVER,
        };
        let start = search.start();
        search.into.push(start.iter().map(|x| x - cost).collect());
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

    /// Log of starting the row in each relative state.
    pub(super) fn start(&self) -> Vec<f64> {
        let own = self.place.iter().map(|place| self.notes.start[*place]);
        self.table
            .start
            .iter()
            .zip(own)
            .map(|(x, y)| x + y)
            .collect()
    }

    /// Gain of ending on a relative state.
    pub(super) fn at_end(&self, state: usize) -> f64 {
        if state < n_states() && state.is_multiple_of(12) {
            weights().end_on_tonic
        } else {
            0.0
        }
    }

    /// Log-likelihoods of a segment from double stop `i` to before `end`, by
    /// relative state: what its notes say, less the tones that neither the key
    /// nor the notes have.
    pub(super) fn segment(&self, i: usize, end: usize) -> impl Fn(usize) -> f64 {
        let notes = &self.notes.segment[i][end - i - 1];
        let tonic = self.frame.key.tonic.pitch_class().index();
        let silent = !states::from_root(self.notes.union[i][end - i - 1], tonic);
        let cost = weights().silent_outside_key;
        move |s| {
            let unheard = (self.table.foreign[s] & silent).count_ones();
            notes[self.place[s]] - cost * f64::from(unheard)
        }
    }

    /// Log of all ways to end a segment just before double stop `k`.
    fn ends(&self, k: usize) -> Vec<f64> {
        let starts = k.saturating_sub(LONGEST)..k;
        let segments: Vec<_> = starts.map(|i| (i, self.segment(i, k))).collect();
        (0..self.place.len())
            .map(|s| {
                let sums: Vec<f64> = segments
                    .iter()
                    .map(|(i, segment)| self.into[*i][s] + segment(s))
                    .collect();
                ln_sum(&sums)
            })
            .collect()
    }

    /// Moves weights across the change before double stop `k`, forwards or backwards.
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

    /// Probability of each absolute state at each double stop, by running backwards too.
    pub(super) fn marginals(&self) -> Vec<Vec<f64>> {
        let (n, all) = (self.notes.n, self.place.len());
        let mut marginals = vec![vec![0.0; all]; n];
        // out[k][s]: log of everything after a segment in state s that ends before double stop k
        let mut out = vec![Vec::new(); n + 1];
        out[n] = (0..all).map(|s| self.at_end(s)).collect();
        for i in (0..n).rev() {
            let longest = (n - i).min(LONGEST);
            let segments: Vec<_> = (1..=longest).map(|len| self.segment(i, i + len)).collect();
            let mut from_here = Vec::with_capacity(all);
            for s in 0..all {
                let sums: Vec<f64> = segments
                    .iter()
                    .enumerate()
                    .map(|(at, segment)| segment(s) + out[i + at + 1][s])
                    .collect();
                for (at, sum) in sums.iter().enumerate() {
                    let ln = self.into[i][s] + sum - self.total;
                    if ln > RARE {
                        let p = ln.exp();
                        for fragment in &mut marginals[i..=i + at] {
                            fragment[self.place[s]] += p;
                        }
                    }
                }
                from_here.push(ln_sum(&sums));
            }
            if i > 0 {
                out[i] = self.change(i, &from_here, true);
            }
        }
        marginals
    }
}
