//! Holds a chart against itself and against a take. Pure: plain values in,
//! findings out.
//!
//! [`read_chart`] reads the chart alone: what a hand cannot reach, what is
//! spelled oddly, what is still open. [`check_take`] lines a take up with the
//! chart by its evidence, says whether it is the chart's song at all, and bar by
//! bar where it departs.

mod align;
mod evidence;
mod judge;
mod order;
mod outcome;
mod reading;
mod slots;
mod summary;
mod take;
#[cfg(test)]
mod tests;
mod timing;
mod told;
mod verdict;

pub use evidence::{Evidence, Level};
pub use judge::{Departure, Finding};
pub use outcome::{Fit, PlayedBar, TakeCheck, Verdict};
pub use reading::{Remark, RemarkKind, read_chart};
pub use slots::{Slot, slots};
pub use take::check_take;
pub use told::check_json;
