//! Repeats over several sections: a verse and its chorus that are played twice.

use super::Measure;
use super::refer::{differing, is_referred, join};
use super::repeats::{Part, both_names};

/// Sections that such a repeat holds at least: a single one folds by itself.
const LEAST: usize = 2;

/// Puts repeat signs round sections that come again together at once.
pub(super) fn fold(parts: &mut Vec<Part>) {
    let mut first = 0;
    while first < parts.len() {
        let Some((n, times)) = group(parts, first) else {
            first += 1;
            continue;
        };
        let again: Vec<Part> = parts.drain(first + n..first + n * times).collect();
        for (i, part) in again.into_iter().enumerate() {
            let printed = &mut parts[first + i % n];
            let lead = printed.n_lead();
            join(&mut printed.measures[lead..], &part.measures);
            printed.name = both_names(printed.name.take(), part.name);
        }
        parts[first].signs.opens = true;
        parts[first + n - 1].signs.closes = times as u32;
        first += n;
    }
}

/// How many sections from one on come again together at once, and how often they are played.
fn group(parts: &[Part], first: usize) -> Option<(usize, usize)> {
    let most = (parts.len() - first) / 2;
    (LEAST..=most).find_map(|n| {
        let mut passes = parts[first..].chunks_exact(n);
        let one = passes.next()?;
        let times = 1 + passes.take_while(|pass| is_again(one, pass)).count();
        // what refers to a section before has no bars that signs could stand at
        let printed = |i: usize| !is_referred(&parts[..first + i], &parts[first + i]);
        (times > 1 && (0..n).all(printed)).then_some((n, times))
    })
}

/// Whether sections are played as those before them, bar for bar.
fn is_again(one: &[Part], other: &[Part]) -> bool {
    one.iter().zip(other).enumerate().all(|(i, (a, b))| {
        let lead = a.n_lead();
        let plain = |p: &Part| p.times == 1 && p.second.is_empty();
        let new_key = |m: &Measure| m.new_key.is_some();
        let bars = &a.measures[lead..];
        // only the first of them may come from another key, and have bars that lead in
        let from = usize::from(i == 0);
        a.is_kin(b)
            && a.feel == b.feel
            && plain(a)
            && plain(b)
            && (i == 0 || lead == 0)
            && bars.len() == b.measures.len()
            && differing(bars, &b.measures).is_empty()
            && !bars.iter().skip(from).any(new_key)
            && !b.measures.iter().any(new_key)
    })
}
