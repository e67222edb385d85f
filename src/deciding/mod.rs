//! What a person decides about a log, however they say it: on the command line or on the page.
//!
//! A [`DecisionRequest`] holds what is wanted at which [`place`]; [`decide()`] turns it
//! into acts, checks that they fit, and saves them as one decision, all under
//! the log's lock. [`undo()`] takes decisions back. [`words`] says what was done
//! with bars and beats, [`song_json`] gives the song to machines.
//!
//! Not here: arguments, pages, and what decisions mean (`songlog` applies them).

mod error;
mod lessons;
mod one_chord;
pub mod place;
mod request;
mod requested;
mod save;
#[cfg(test)]
mod schema_tests;
mod sections;
pub mod song_json;
mod taps;
mod undo;
mod versions;
mod words;

pub use error::DecideError;
pub use lessons::LessonNoteRequest;
pub use request::{DecisionRequest, read_tempo};
pub use requested::acts_for_song;
pub use save::{Known, Made, Saved, acts_of, decide, made_after};
pub use taps::{BarBeats, Taps};
pub use undo::{Undone, redo, redoable, undo, undoable, undone_after};
pub use versions::VersionRequest;
pub use words::{InBars, hints, open_words, percent, remarks, words};
