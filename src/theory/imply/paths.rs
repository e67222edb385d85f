//! The best paths through the lattice.

use super::lattice::{BEAM, Search, Segment};

/// The beam where no very many paths are wanted.
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
    let highest = |steps: &Steps| {
        let firsts = steps.iter().filter_map(|list| list.first());
        firsts.map(|s| s.weight).fold(f64::NEG_INFINITY, f64::max)
    };
    let mut most = vec![highest(&started[0])];
    for k in 1..search.notes.n {
        let ends = ends(search, &started, &most, k, n);
        let next = changes(search, &ends, k, n);
        most.push(highest(&next));
        started.push(next);
    }
    let mut last: Vec<Step> = Vec::new();
    for (s, list) in ends(search, &started, &most, search.notes.n, n)
        .iter()
        .enumerate()
    {
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
fn ends(search: &Search, started: &[Steps], most: &[f64], k: usize, n: usize) -> Steps {
    let mut ends: Steps = vec![Vec::new(); search.place.len()];
    // what is far below the last double stop alone would not be followed either
    let alone = search.segment(k - 1, k);
    let weights = (0..)
        .zip(&started[k - 1])
        .filter_map(|(s, list)| Some(list.first()?.weight + alone[s]));
    let least = match k < search.notes.n {
        true => weights.fold(f64::NEG_INFINITY, f64::max) - beam(n),
        false => f64::NEG_INFINITY,
    };
    for i in search.starts(k, most, least) {
        let segment = search.segment(i, k);
        for (s, (list, end)) in started[i].iter().zip(&mut ends).enumerate() {
            let own = segment[s];
            if list.first().is_none_or(|step| step.weight + own < least) {
                continue;
            }
            for (rank, step) in list.iter().enumerate() {
                let weight = step.weight + own;
                let before = Some((i, s, rank));
                keep(end, Step { weight, before }, n);
            }
        }
    }
    ends
}

/// What is this much less likely than the best (natural logarithm) is not followed.
const fn beam(n: usize) -> f64 {
    if n > 100 { BEAM } else { NARROW_BEAM }
}

/// The best ways to start a segment in each state at double stop `k`, after those
/// that end before it.
fn changes(search: &Search, ends: &Steps, k: usize, n: usize) -> Steps {
    let firsts = ends.iter().filter_map(|list| list.first());
    let most = firsts.map(|s| s.weight).fold(f64::NEG_INFINITY, f64::max);
    let mut started: Steps = vec![Vec::with_capacity(n.min(64) + 1); ends.len()];
    // the least weight that is still kept for each state
    let mut least = vec![f64::NEG_INFINITY; ends.len()];
    let mut slide = vec![0.0; ends.len()];
    for (from, list) in ends.iter().enumerate() {
        if list.first().is_none_or(|s| s.weight <= most - beam(n)) {
            continue;
        }
        let slid = search.notes.slid[k]
            .iter()
            .filter(|slid| slid.from.contains(&search.place[from]));
        let slid: Vec<usize> = slid
            .flat_map(|slid| slid.into.iter().map(|s| search.relative[*s]))
            .collect();
        slid.iter().for_each(|s| slide[*s] = search.notes.slide[k]);
        for step in list.iter().filter(|s| s.weight > most - beam(n)) {
            let row = search.table.ln[from].iter().zip(&slide).zip(&mut least);
            for (into, ((ln, slide), least)) in row.enumerate() {
                let weight = step.weight + ln + search.notes.change[k] + slide;
                if weight > *least {
                    let best = &mut started[into];
                    keep(best, Step { weight, ..*step }, n);
                    if best.len() == n {
                        *least = best[n - 1].weight;
                    }
                }
            }
        }
        slid.iter().for_each(|s| slide[*s] = 0.0);
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
