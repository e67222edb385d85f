//! Instruments and hands: tunings, capo, shapes (fingerings), what a hand reaches.
//!
//! Strings are counted from the lowest-pitched as written in a shape, index 0
//! (`E A D G B e`). Frets are counted from the capo; 0 is the open string.

mod error;
mod hand;
mod neck;
mod shape;
#[cfg(test)]
mod tests;
mod tuning;
mod voicing;

pub use error::FretboardError;
pub use hand::{Barre, Finger, Hand, STRETCH_CAUTION, WIDE_SPAN_MM, hold};
pub use neck::{SCALE_MM, fret_mm, span_mm};
pub use shape::Shape;
pub use tuning::{Instrument, Tuning};
pub use voicing::{Limits, Voicing, Wanted, distinct, voicings};
