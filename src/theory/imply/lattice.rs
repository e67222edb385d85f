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
/// A segment that is this much less likely (natural logarithm) than the likeliest of a single
/// double stop at its end adds nothing that could be seen.
const HOPELESS: f64 = 30.0;
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
    /// Relative state of each absolute one.
    pub(super) relative: Vec<usize>,
    /// `into[k][s]`: log of reaching double stop `k` as the start of a segment in relative state `s`.
    into: Vec<Vec<f64>>,
    /// The highest of each of these.
    most: Vec<f64>,
    pub(super) total: f64,
}

fn highest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(NEVER, f64::max)
}

fn sums(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

/// For each of `n` states the logarithm of the sum of what the lists have for it, over those
/// above `least`.
fn ln_sums(lists: &[Vec<f64>], n: usize, least: f64) -> Vec<f64> {
    let mut most = vec![NEVER; n];
    for list in lists {
        for (most, x) in most.iter_mut().zip(list) {
            *most = most.max(*x);
        }
    }
    let mut values = Vec::with_capacity(lists.len());
    (0..n)
        .map(|s| {
            if most[s] <= least {
                return NEVER;
            }
            values.clear();
            values.extend(lists.iter().map(|list| list[s]).filter(|x| *x > least));
            ln_sum(&values)
        })
        .collect()
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
            relative: (0..all).map(|a| absolute(a, 12 - tonic)).collect(),
            into: Vec::with_capacity(notes.n),
            most: Vec::with_capacity(notes.n),
            total: NEVER,
        };
        let start = search.start();
        search.reach(start.iter().map(|x| x - cost).collect());
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
                search.reach(search.change(k, &ends, false));
            }
        }
        search
    }

    fn reach(&mut self, into: Vec<f64>) {
        self.most.push(highest(into.iter().copied()));
        self.into.push(into);
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
    pub(super) fn segment(&self, i: usize, end: usize) -> Vec<f64> {
        let run = &self.notes.runs[i][end - i - 1];
        let tonic = self.frame.key.tonic.pitch_class().index();
        let silent = !states::from_root(run.union, tonic);
        let cost = weights().silent_outside_key;
        let unheard = |set: &u16| cost * f64::from((set & silent).count_ones());
        let costs: Vec<f64> = self.table.foreign.iter().map(unheard).collect();
        let mut segment = Vec::with_capacity(run.ln.len());
        for of_quality in run.ln.chunks(12) {
            // the last chunk is "no chord" alone
            let (below, from_tonic) = of_quality.split_at(tonic.min(of_quality.len() - 1));
            segment.extend_from_slice(from_tonic);
            segment.extend_from_slice(below);
        }
        for (ln, set) in segment.iter_mut().zip(&self.table.foreign_of) {
            *ln -= costs[*set];
        }
        segment
    }

    /// The starts of segments that end before double stop `k`, but for those that no chord makes
    /// likelier than `least`. Takes the highest weight of each start.
    pub(super) fn starts(&self, k: usize, most: &[f64], least: f64) -> Vec<usize> {
        (k.saturating_sub(LONGEST)..k)
            .filter(|i| most[*i] + self.notes.runs[*i][k - i - 1].most >= least)
            .collect()
    }

    /// Log of all ways to end a segment just before double stop `k`.
    fn ends(&self, k: usize) -> Vec<f64> {
        let reached = |i: usize| sums(&self.segment(i, k), &self.into[i]);
        let least = highest(reached(k - 1).into_iter()) - HOPELESS;
        let starts = self.starts(k, &self.most, least);
        let each: Vec<Vec<f64>> = starts.into_iter().map(reached).collect();
        ln_sums(&each, self.place.len(), least)
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
        for (a, weight) in weights.iter().enumerate() {
            if *weight < most - BEAM {
                continue;
            }
            let weight = (weight - most).exp();
            for (to, likely) in moved.iter_mut().zip(&table[a]) {
                *to += weight * likely;
            }
        }
        let gain = self.notes.slide[k].exp_m1();
        for slid in &self.notes.slid[k] {
            let (from, into) = match backwards {
                false => (&slid.from, &slid.into),
                true => (&slid.into, &slid.from),
            };
            for a in from.iter().map(|a| self.relative[*a]) {
                if weights[a] >= most - BEAM {
                    let weight = gain * (weights[a] - most).exp();
                    for b in into.iter().map(|b| self.relative[*b]) {
                        moved[b] += weight * table[a][b];
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
        let mut most_out = vec![NEVER; n + 1];
        out[n] = (0..all).map(|s| self.at_end(s)).collect();
        most_out[n] = highest(out[n].iter().copied());
        for i in (0..n).rev() {
            let onward = |len: usize| sums(&self.segment(i, i + len), &out[i + len]);
            let alone = highest(onward(1).into_iter());
            // what is less than this counts neither here nor for what comes before
            let least = (alone - HOPELESS).min(RARE + self.total - self.most[i]);
            let lengths: Vec<usize> = (1..=(n - i).min(LONGEST))
                .filter(|len| self.notes.runs[i][len - 1].most + most_out[i + len] >= least)
                .collect();
            let each: Vec<Vec<f64>> = lengths.iter().map(|len| onward(*len)).collect();
            for (len, onward) in lengths.iter().zip(&each) {
                let states = onward.iter().zip(&self.into[i]).zip(&self.place);
                for ((sum, into), place) in states {
                    let ln = into + sum - self.total;
                    if ln > RARE {
                        let p = ln.exp();
                        for fragment in &mut marginals[i..i + len] {
                            fragment[*place] += p;
                        }
                    }
                }
            }
            let from_here = ln_sums(&each, all, least);
            if i > 0 {
                out[i] = self.change(i, &from_here, true);
                most_out[i] = highest(out[i].iter().copied());
            }
        }
        marginals
    }
}
