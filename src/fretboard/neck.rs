//! Distances along a neck, in millimeters.
//!
//! # Source
//! Equal temperament: each fret divides the remaining string by the twelfth
//! root of two (French, "Engineering the Guitar", Springer 2009, chapter on
//! fret placement, from memory).

use std::sync::LazyLock;

/// Scale length of a full-size guitar, mm; the usual handbook value for a
/// classical guitar; steel-string guitars lie a little below, down to about 630 mm
/// (common practice, no source).
pub const SCALE_MM: f64 = 650.0;

/// Distance of a fret from the nut, mm, on the usual scale length; fret 0 is the nut.
///
/// # Example
/// ```
/// // the twelfth fret halves the string
/// assert!((takebook::fretboard::fret_mm(12) - 325.0).abs() < 1e-9);
/// ```
pub fn fret_mm(fret: u8) -> f64 {
    static ALL: LazyLock<[f64; 256]> = LazyLock::new(|| {
        std::array::from_fn(|fret| SCALE_MM * (1.0 - (-(fret as f64) / 12.0).exp2()))
    });
    ALL[usize::from(fret)]
}

/// Distance between two frets, mm, counted from the nut; the capo's fret is added by the caller.
pub fn span_mm(low: u8, high: u8) -> f64 {
    fret_mm(high) - fret_mm(low)
}
