//! The project's own plucked string: deterministic, dry, and exactly in tune.
//!
//! Used for the demo takes and for hearing a shape before it is confirmed. It
//! is a stand-in for a guitar, not a recording of one: nothing that hears may
//! be tuned to it.
//!
//! # Source
//! Karplus and Strong, "Digital synthesis of plucked-string and drum timbres",
//! Computer Music Journal 7(2), 1983; Jaffe and Smith, "Extensions of the
//! Karplus-Strong plucked-string algorithm", same issue. The body's modes and
//! the default ring times are ours, set by ear.

mod body;
mod noise;
mod performance;
mod string;
#[cfg(test)]
mod tests;

pub use performance::{Strike, Stroke, perform, strum};
pub use string::{Pluck, pluck};
