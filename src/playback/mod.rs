//! What is to be heard: a stretch of a take, slower if asked, and the song's
//! chords as plucked strings to compare it with.
//!
//! Samples come out; they are played by `audio::play` or written to a file.
//! All is kept at a moderate level, and never louder than [`MOST_PEAK`].

mod error;
mod passage;
mod plucked;

pub use error::PlaybackError;
pub use passage::{Beside, MOST_PEAK, Passage, ToHear, passage};
pub use plucked::{RATE, chord_notes, plucked, plucked_song};
