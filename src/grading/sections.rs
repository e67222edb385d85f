//! Sections: whether boundaries and letters agree.

use super::matching::paired_times;
use super::{Found, GradingError, Timeline};

/// Letters are compared every so many seconds (Levy and Sandler, IEEE TASLP 2008).
const FRAME_S: f32 = 0.1;

/// Precision, recall and F of section boundaries within `window_s`, usually 0.5 or 3 s.
///
/// The estimate is cut or filled to the reference's span. With `inner_only`
/// the first and last boundary, which are given, are left out.
///
/// # Errors
/// * [`GradingError::EmptyReference`] if there is nothing to grade against.
///
/// # Source
/// Turnbull, Lanckriet, Pampalk and Goto, ISMIR 2007.
pub fn boundary_f(
    estimate: &Timeline,
    reference: &Timeline,
    window_s: f64,
    inner_only: bool,
) -> Result<Found, GradingError> {
    let (reference, estimate) = together(reference, estimate)?;
    let reference_s = boundaries(&reference, inner_only);
    let estimate_s = boundaries(&estimate, inner_only);
    Ok(Found::from_counts(
        paired_times(&reference_s, &estimate_s, window_s),
        reference_s.len(),
        estimate_s.len(),
    ))
}

/// Precision, recall and F of pairs of moments that carry the same letter.
///
/// The estimate is cut or filled to the reference's span; letters need not be
/// the same letters, and their case does not matter.
///
/// # Errors
/// * [`GradingError::EmptyReference`] if there is nothing to grade against.
///
/// # Source
/// Levy and Sandler, "Structural segmentation of musical audio by constrained
/// clustering", IEEE TASLP 16(2), 2008.
pub fn letter_f(estimate: &Timeline, reference: &Timeline) -> Result<Found, GradingError> {
    let (reference, estimate) = together(reference, estimate)?;
    let ours = frames(&reference);
    let theirs = frames(&estimate);
    let pairs = |n: u64| (n * n.saturating_sub(1)) as f64 / 2.0;
    let mut counts_ours = std::collections::BTreeMap::<&str, u64>::new();
    let mut counts_theirs = std::collections::BTreeMap::<&str, u64>::new();
    let mut counts_both = std::collections::BTreeMap::<(&str, &str), u64>::new();
    for (a, b) in ours.iter().zip(&theirs) {
        *counts_ours.entry(a).or_default() += 1;
        *counts_theirs.entry(b).or_default() += 1;
        *counts_both.entry((a, b)).or_default() += 1;
    }
    let both: f64 = counts_both.values().map(|n| pairs(*n)).sum();
    let of = |total: f64| if total > 0.0 { both / total } else { 0.0 };
    Ok(Found::from_ratios(
        of(counts_theirs.values().map(|n| pairs(*n)).sum()),
        of(counts_ours.values().map(|n| pairs(*n)).sum()),
    ))
}

/// Both from 0 to the reference's end.
fn together(
    reference: &Timeline,
    estimate: &Timeline,
) -> Result<(Timeline, Timeline), GradingError> {
    let end_s = reference.end_s().ok_or(GradingError::EmptyReference)?;
    // what is filled in gets labels that no one writes
    Ok((
        reference.fitted_with(0.0, end_s, "\u{1}before", "\u{1}after"),
        estimate.fitted_with(0.0, end_s, "\u{1}before", "\u{1}after"),
    ))
}

/// Rounded to 10 µs, so that a span's end and the next one's start are one boundary.
fn boundaries(timeline: &Timeline, inner_only: bool) -> Vec<f64> {
    let mut times: Vec<f64> = timeline
        .spans()
        .iter()
        .flat_map(|s| [s.start_s, s.end_s])
        .map(|t| (t * 1e5).round_ties_even() / 1e5)
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    if inner_only {
        times = times.into_iter().skip(1).collect();
        times.pop();
    }
    times
}

fn frames(timeline: &Timeline) -> Vec<String> {
    let end_s = timeline.end_s().unwrap_or(0.0);
    let n = (end_s / 0.1).floor() as usize;
    // single precision as the definition's own code has it: 0.3 s is a hair beyond 0.3
    let times: Vec<f64> = (0..n).map(|i| f64::from(i as f32 * FRAME_S)).collect();
    let mut labels = vec![String::new(); n];
    for span in timeline.spans() {
        let from = times.partition_point(|t| *t < span.start_s);
        let to = times.partition_point(|t| *t <= span.end_s);
        for label in &mut labels[from.min(to)..to] {
            *label = span.label.to_lowercase();
        }
    }
    labels
}
