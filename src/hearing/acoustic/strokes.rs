//! Strokes: when strings are struck, by the attacks alone, and how strong each is.

use crate::hearing::acoustic::attack::{Attacks, FINE_HOP_S};
use crate::hearing::strum_window::strum_window;

/// From the start of a stroke to the peak of its attack strength, s; the
/// median over rendered strums and plucks.
pub(crate) const PEAK_LAG_S: f64 = 0.014;
/// From where an attack has risen to half its peak to the start of the stroke, s: the
/// median over rendered strums and plucks of four sounds (each of them within 8 ms of it).
const RISE_LAG_S: f64 = 0.003;

/// One stroke: when it begins and how strong it is (1 = strong for its surroundings).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stroke {
    pub(crate) time_s: f64,
    pub(crate) strength: f32,
}

/// Scales attack strength to its surroundings: 0 at the local floor, 1 at the
/// local strong attacks; at most 1.5.
pub(crate) fn normalized(values: &[f32]) -> Vec<f32> {
    const BLOCK: usize = 32; // 0.37 s
    const AROUND: usize = 12; // blocks on both sides: ±4.5 s
    if values.is_empty() {
        return Vec::new();
    }
    let mut sorted = values.to_vec();
    let quantile = |v: &mut Vec<f32>, q: f64| {
        let at = ((v.len() - 1) as f64 * q) as usize;
        *v.select_nth_unstable_by(at, f32::total_cmp).1
    };
    let strong_anywhere = quantile(&mut sorted, 0.97).max(1e-6);
    let n_blocks = values.len().div_ceil(BLOCK);
    let bounds: Vec<(f32, f32)> = (0..n_blocks)
        .map(|b| {
            let from = b.saturating_sub(AROUND) * BLOCK;
            let to = ((b + AROUND + 1) * BLOCK).min(values.len());
            let mut around = values[from..to].to_vec();
            let floor = quantile(&mut around, 0.4);
            let strong = quantile(&mut around, 0.97);
            (floor, (strong - floor).max(0.15 * strong_anywhere))
        })
        .collect();
    values
        .iter()
        .enumerate()
        .map(|(i, v)| {
            let (floor, span) = bounds[i / BLOCK];
            ((v - floor) / span).clamp(0.0, 1.5)
        })
        .collect()
}

/// Strokes in order of time.
pub(crate) fn strokes(attacks: &Attacks) -> Vec<Stroke> {
    let level = normalized(&attacks.flux);
    let together_s = strum_window().attacks_s;
    let n = level.len();
    let mut found: Vec<Stroke> = Vec::new();
    for i in 0..n {
        let here = level[i];
        let from = i.saturating_sub(2);
        let to = (i + 3).min(n);
        let around = level[from..to].iter().copied().fold(0.0, f32::max);
        if here < 0.15 || here < around {
            continue;
        }
        let time_s = (rise(&attacks.flux, i) * FINE_HOP_S + RISE_LAG_S).max(0.0);
        match found.last_mut() {
            Some(last) if time_s - last.time_s < together_s => {
                last.strength = last.strength.max(here);
            }
            _ => found.push(Stroke {
                time_s,
                strength: here,
            }),
        }
    }
    found
}

/// Where an attack (by strength, as heard, not scaled) has risen to half its peak at
/// `peak` or just after it, in fine frames and parts of one: strings struck one after
/// another draw a peak out, but not its start.
fn rise(flux: &[f32], mut peak: usize) -> f64 {
    /// A rise takes no longer, fine frames: 93 ms.
    const LONGEST: usize = 8;
    // what is scaled is cut off at the top, and may begin there
    while peak + 1 < flux.len() && flux[peak + 1] > flux[peak] {
        peak += 1;
    }
    let half = 0.5 * flux[peak];
    let mut first = peak;
    while first > 0 && flux[first - 1] >= half && peak - first < LONGEST {
        first -= 1;
    }
    match first.checked_sub(1).map(|before| flux[before]) {
        Some(before) if before < half => {
            let part = (half - before) / (flux[first] - before);
            first as f64 - 1.0 + f64::from(part)
        }
        _ => first as f64,
    }
}
