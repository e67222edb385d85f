//! The largest set of pairs in which each side is used once.
//!
//! # Source
//! Augmenting paths, breadth first: Berge, "Two theorems in graph theory",
//! PNAS 1957.

use std::collections::VecDeque;

/// The size of the largest matching; `may[i]` are the partners that `i` may take, each below `n_other`.
pub(crate) fn largest_matching(may: &[Vec<usize>], n_other: usize) -> usize {
    let mut partner_of_other: Vec<Option<usize>> = vec![None; n_other];
    let mut size = 0;
    for start in 0..may.len() {
        // who reached each other side, to walk the path back
        let mut reached_by: Vec<Option<usize>> = vec![None; n_other];
        let mut entered_by: Vec<Option<usize>> = vec![None; may.len()];
        let mut queue = VecDeque::from([start]);
        let mut free = None;
        'search: while let Some(one) = queue.pop_front() {
            for &other in &may[one] {
                if reached_by[other].is_some() {
                    continue;
                }
                reached_by[other] = Some(one);
                match partner_of_other[other] {
                    None => {
                        free = Some(other);
                        break 'search;
                    }
                    Some(next) => {
                        entered_by[next] = Some(other);
                        queue.push_back(next);
                    }
                }
            }
        }
        let Some(mut other) = free else { continue };
        size += 1;
        while let Some(one) = reached_by[other] {
            partner_of_other[other] = Some(one);
            match entered_by[one] {
                Some(before) if one != start => other = before,
                _ => break,
            }
        }
    }
    size
}

/// How many of two sorted lists of times can be paired within `window_s`.
///
/// With one window for all, pairing the earliest that fit is the largest matching.
pub(crate) fn paired_times(reference_s: &[f64], estimate_s: &[f64], window_s: f64) -> usize {
    let mut n = 0;
    let mut next = 0;
    for t in estimate_s {
        while next < reference_s.len() && reference_s[next] < t - window_s {
            next += 1;
        }
        if next < reference_s.len() && reference_s[next] <= t + window_s {
            n += 1;
            next += 1;
        }
    }
    n
}
