//! Holds a chart against itself and against a take. Pure: plain values in,
//! findings out.
//!
//! [`read_chart`] reads the chart alone: what a hand cannot reach, what is
//! spelled oddly, what is still open. [`check_take`] lines a take up with the
//! chart by its evidence and says bar by bar where it departs.

mod align;
mod evidence;
mod judge;
mod reading;
mod slots;
mod take;
#[cfg(test)]
mod tests;

pub use evidence::Evidence;
pub use judge::{Departure, Finding};
pub use reading::{Remark, RemarkKind, read_chart};
pub use slots::{Slot, slots};
pub use take::{PlayedBar, TakeCheck, check_take};
