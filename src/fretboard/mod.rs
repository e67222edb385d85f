//! Instruments and hands: tunings, capo, shapes (fingerings), what a hand reaches.
//!
//! Strings are counted from the lowest-pitched as written in a shape, index 0
//! (`E A D G B e`). Frets are counted from the capo; 0 is the open string.

mod compare;
mod ease;
mod error;
mod fingering;
mod forms;
mod hand;
mod neck;
mod played;
mod row;
mod search;
mod shape;
mod taught;
#[cfg(test)]
mod tests;
mod tuning;
mod uses;
mod voicing;
mod walk;

pub use compare::{Comparison, MovingNote, Sameness, compare, moving_note};
pub use error::FretboardError;
pub use forms::{Origin, origins};
pub use hand::{Barre, Finger, Hand, STRETCH_CAUTION, WIDE_SPAN_MM, hold};
pub use neck::{SCALE_MM, fret_mm, span_mm};
pub use played::{Played, Tone, Typed, read_played, string_by_name, string_name};
pub use row::{Row, first_without_shape, smoothest, travel};
pub use search::voicings;
pub use shape::Shape;
pub use taught::{taught, taught_over_capo, usual_first, usual_voicings};
pub use tuning::{HIGHEST_CAPO, Instrument, Tuning, check_capo, read_capo};
pub use uses::{Use, distinct_uses, is_on_usual_strings, use_of, wanted_for};
pub use voicing::{Limits, Voicing, Wanted, distinct};
pub use walk::{CapoChoice, Walk, capo_choices, walks};
