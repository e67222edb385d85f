//! The best paths through the lattice.

use super::lattice::{BEAM, Search, Segment};
use super::notes::LONGEST;

/// What is this much less likely than the best (natural logarithm) is not
/// followed, unless very many paths are wanted.
const NARROW_BEAM: f64 = 14.0;

/// A way to reach a state.
#[derive(Clone, Copy)]
struct Step {
    weight: f64,
    /// The segment before: its start, state and rank there; `None` at the start of the row.
    before: Option<(usize, usize, usize)>,
}

/// `steps[state]`: the best ways to reach each state, best first.
type Steps = Vec<Vec<Step>>;

/// Puts a step in its place if it is among the `n` best.
fn keep(list: &mut Vec<Step>, step: Step, n: usize) {
    if list.len() == n && list[n - 1].weight >= step.weight {
        return;
    }
    let at = list.partition_point(|s| s.weight >= step.weight);
    list.insert(at, step);
    list.truncate(n);
}

/// The best `n` paths of a search, each with its log-weight, best first.
pub(super) fn best(search: &Search, n: usize) -> Vec<(f64, Vec<Segment>)> {
    let start = search.start().into_iter().map(|weight| {
        vec![Step {
            weight,
            before: None,
        }]
    });
    // started[k][s]: best ways to start a segment in state s at double stop k
    let mut started: Vec<Steps> = vec![start.collect()];
    for k in 1..search.notes.n {
        let ends = ends(search, &started, k, n);
        started.push(changes(search, &ends, k, n));
    }
    let mut last: Vec<Step> = Vec::new();
    for (s, list) in ends(search, &started, search.notes.n, n).iter().enumerate() {
        for step in list {
            let weight = step.weight + search.at_end(s);
            keep(&mut last, Step { weight, ..*step }, n);
        }
    }
    last.into_iter()
        .map(|step| (step.weight, segments(search, &started, step)))
        .collect()
}

/// The best ways to end a segment in each state before double stop `k`.
fn ends(search: &Search, started: &[Steps], k: usize, n: usize) -> Steps {
    let mut ends: Steps = vec![Vec::new(); search.place.len()];
    for (i, steps) in started.iter().enumerate().skip(k.saturating_sub(LONGEST)) {
        let segment = search.segment(i, k);
        for (s, (list, end)) in steps.iter().zip(&mut ends).enumerate() {
            if list.is_empty() {
                continue;
            }
            let own = segment(s);
            for (rank, step) in list.iter().enumerate() {
                let weight = step.weight + own;
                let before = Some((i, s, rank));
                keep(end, Step { weight, before }, n);
            }
        }
    }
    ends
}

/// The best ways to start a segment in each state at double stop `k`, after those
/// that end before it.
fn changes(search: &Search, ends: &Steps, k: usize, n: usize) -> Steps {
    let most = ends
        .iter()
        .filter_map(|list| list.first())
        .map(|s| s.weight)
        .fold(f64::NEG_INFINITY, f64::max);
    let beam = if n > 100 { BEAM } else { NARROW_BEAM };
    let mut started: Steps = vec![Vec::with_capacity(n.min(64) + 1); ends.len()];
    for (from, list) in ends.iter().enumerate() {
        for step in list.iter().filter(|s| s.weight > most - beam) {
            for (into, best) in started.iter_mut().enumerate() {
                let slide = search
                    .notes
                    .slide_gain(k, search.place[from], search.place[into]);
                let weight =
                    step.weight + search.table.ln[from][into] + search.notes.change[k] + slide;
                if weight > f64::NEG_INFINITY {
                    keep(best, Step { weight, ..*step }, n);
                }
            }
        }
    }
    started
}

/// The segments of the path that ends with a step.
fn segments(search: &Search, started: &[Steps], last: Step) -> Vec<Segment> {
    let mut segments = Vec::new();
    let (mut end, mut before) = (search.notes.n, last.before);
    while let Some((first, state, rank)) = before {
        segments.push(Segment {
            first,
            last: end - 1,
            state: search.place[state],
        });
        end = first;
        before = started[first][state][rank].before;
    }
    segments.reverse();
    segments
}
