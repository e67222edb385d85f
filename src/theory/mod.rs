//! Music and nothing else: pitch classes, degrees, qualities, chords, keys.
//!
//! Integers only (probabilities in [`imply`] apart): no files, no instrument.
//! Pitch class 0 is C.

mod chord;
mod degree;
mod error;
pub mod imply;
mod key;
mod key_fit;
mod key_path;
pub mod naming;
mod pitch;
mod qualities;
mod roman;
mod symbol;
#[cfg(test)]
mod tests;

pub use chord::{Chord, Label, chord_tail_text};
pub use degree::Degree;
pub use error::TheoryError;
pub use key::{Key, Mode};
pub use key_fit::{Triad, fit, fitting_keys};
pub use key_path::{KeyChange, KeyCosts, TimedTriad, key_at, keys_along, n_changes_before};
pub use pitch::{PitchClass, PitchClassSet, Spelled, midi_name, parse_midi_name};
pub use qualities::{N_NET, QUALITIES, Quality};
pub use roman::{number, number_short, number_words, roman, transpose};
