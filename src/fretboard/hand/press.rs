//! What one finger presses, and how far all of them reach.

use crate::fretboard::neck::span_mm;

/// Strings one finger presses together.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Press {
    pub(super) fret: u8,
    pub(super) from: u8,
    pub(super) to: u8,
    pub(super) thumb: bool,
}

/// From the lowest to the highest pressed fret, mm.
pub(super) fn span_of(capo: u8, presses: &[Press]) -> f64 {
    let frets = || presses.iter().map(|p| p.fret + capo);
    match (frets().min(), frets().max()) {
        (Some(low), Some(high)) => span_mm(low, high),
        _ => 0.0,
    }
}
