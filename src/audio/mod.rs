//! Sound files to mono samples: the only room that knows decoders.
//!
//! Hearing works on one mono signal at [`HEARING_RATE`]. [`open`] gives a
//! [`Source`] that streams it block by block, so that a take of hours needs no
//! more memory than one of seconds; [`decode`] gives a whole take at its own
//! rate where that is what is wanted.
//!
//! Odd sound is no error: silence, clipping, damaged stretches and values that
//! are no numbers come back as warnings in [`Facts`]. Errors are for files that
//! cannot be read at all.
//!
//! Not here: anything that knows music, and the microphone.

mod decode;
mod edits;
mod error;
mod facts;
mod mono;
mod resample;
mod source;
#[cfg(test)]
mod tests;

pub use error::AudioError;
pub use facts::{Facts, Fingerprint};
pub use source::{Decoded, HEARING_RATE, Source, decode, open};

/// File name endings that are worth trying, lower case, without the dot.
pub const ENDINGS: &[&str] = &[
    "wav", "wave", "flac", "mp3", "ogg", "oga", "m4a", "mp4", "m4v", "mov", "aac", "aif", "aiff",
    "caf", "mka", "mkv", "webm",
];
