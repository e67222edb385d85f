//! Instruments and hands: tunings, capo, shapes (fingerings), what a hand reaches.
//!
//! Strings are counted from the lowest-pitched as written in a shape, index 0
//! (`E A D G B e`). Frets are counted from the capo; 0 is the open string.

mod error;
mod shape;
#[cfg(test)]
mod tests;
mod tuning;

pub use error::FretboardError;
pub use shape::Shape;
pub use tuning::{Instrument, Tuning};
