//! Frames and times.

use crate::hearing::acoustic::spectrum::HOP_S;

/// Frames whose span of 46 ms overlaps a stretch of time, with the share of it that does.
pub(crate) fn frames_in(
    start_s: f64,
    end_s: f64,
    n_frames: usize,
) -> impl Iterator<Item = (usize, f32)> {
    let a = start_s / HOP_S + 0.5;
    let b = end_s / HOP_S + 0.5;
    let first = a.floor().max(0.0) as usize;
    let last = (b.ceil() as usize).min(n_frames);
    (first..last).filter_map(move |f| {
        let share = (b.min(f as f64 + 1.0) - a.max(f as f64)) as f32;
        (share > 0.0).then_some((f, share))
    })
}
