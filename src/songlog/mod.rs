//! The log of a take: what was heard, what was decided, and the song they make.
//!
//! [`heard::Heard`] is the machine's proposal and is replaced by each draft.
//! [`decided::Decision`]s are the user's, an append-only list. [`resolve()`]
//! makes the [`song::Song`] of both; it is pure and never fails. [`store`] is
//! the only part that touches files: whole or not at all, locked while written.

mod act;
mod convert;
mod count;
pub mod decided;
mod error;
pub mod form;
#[cfg(test)]
mod form_tests;
mod format;
pub mod heard;
pub mod lessons;
#[cfg(test)]
mod old_tests;
mod parts;
mod records;
pub mod resolve;
mod saving;
mod setting;
pub mod song;
pub mod store;
#[cfg(test)]
mod tests;
pub(crate) mod text;
mod timeline;
mod times;
pub mod validate;
pub mod versions;

pub use act::VERSION;
pub use count::contradiction;
pub use error::LogError;
pub use format::{read, read_meter, write};
pub use resolve::resolve;

pub use crate::take::{Fingerprint, Tags};

use decided::Decision;
use heard::Heard;

/// Everything one log file holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Log {
    /// Which take it is about.
    pub take: Take,
    /// When the take was last drafted, UTC, RFC 3339.
    pub drafted: String,
    /// What was heard.
    pub heard: Heard,
    /// What was decided, oldest first, ids ascending.
    pub decided: Vec<Decision>,
}

/// The take that a log is about.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// Its file, relative to the log's folder where it lies in or under it.
    pub file: String,
    /// Container and coding in words.
    pub kind: String,
    /// Sample rate of the file, Hz.
    pub rate_hz: u32,
    /// Channels in the file.
    pub channels: u16,
    /// Size of the file, bytes.
    pub bytes: u64,
    /// What tells it from other takes; none if unknown.
    pub fingerprint: Option<Fingerprint>,
    /// What its tags say.
    pub tags: Tags,
}

impl Log {
    /// The same log with every harmony that sounds in place of the song's chords, where more was
    /// heard than those.
    #[must_use]
    pub fn in_detail(mut self) -> Self {
        if !self.heard.detail.is_empty() {
            self.heard.chords = std::mem::take(&mut self.heard.detail);
        }
        self
    }

    /// Id for the next decision.
    pub fn next_id(&self) -> u32 {
        self.decided.last().map_or(1, |d| d.id + 1)
    }

    /// Appends a decision and gives its id. Takes: its time, UTC, RFC 3339.
    pub fn decide(&mut self, at: String, acts: Vec<decided::Act>) -> u32 {
        let id = self.next_id();
        self.decided.push(Decision { id, at, acts });
        id
    }
}
