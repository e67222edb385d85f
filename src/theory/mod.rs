//! Music and nothing else: pitch classes, degrees, qualities, chords, keys.
//!
//! Integers only: no floats, no files, no instrument. Pitch class 0 is C.

mod chord;
mod degree;
mod error;
mod key;
mod pitch;
mod qualities;
#[cfg(test)]
mod tests;

pub use chord::{Chord, Label};
pub use degree::Degree;
pub use error::TheoryError;
pub use key::{Key, Mode};
pub use pitch::{PitchClass, PitchClassSet, Spelled, midi_name, parse_midi_name};
pub use qualities::{QUALITIES, Quality};
