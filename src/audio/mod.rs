//! Sound files and the microphone to samples: the only room that knows decoders and devices.
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
//! A microphone is read through a ring of many seconds ([`Capture`], with the
//! feature `mic`); what comes out of it goes to a [`Recording`], to a
//! [`LevelMeter`] or, made mono by [`ToHearing`], to hearing.
//!
//! [`compress`] makes a take small for a page that plays it.
//!
//! What is to be heard goes out by `play`; [`stretch`] makes it slower at the
//! same pitch.
//!
//! Not here: anything that knows music.

mod decode;
#[cfg(feature = "mic")]
mod device;
#[cfg(feature = "mic")]
mod device_clicks;
mod device_error;
#[cfg(feature = "mic")]
mod device_out;
mod disk;
mod edits;
mod error;
mod facts;
mod marks;
#[cfg(feature = "mic")]
mod metronome;
mod mono;
mod opus;
mod opus_decoder;
mod record;
mod record_level;
mod record_mono;
mod resample;
#[cfg(feature = "mic")]
mod ring;
mod source;
mod stretch;
#[cfg(feature = "mic")]
mod taking;
#[cfg(test)]
mod tests;

#[cfg(feature = "mic")]
pub use device::{Capture, Faults, InputDevice, WantedDevice, capture, input_devices};
#[cfg(feature = "mic")]
pub use device_clicks::{CountIn, count_in};
pub use device_error::DeviceError;
#[cfg(feature = "mic")]
pub use device_out::play;
pub use disk::free_bytes;
pub use error::AudioError;
pub use facts::{Facts, Fingerprint, Tags};
pub use marks::{marks, mend};
#[cfg(feature = "mic")]
pub use metronome::Metronome;
pub use opus::compress;
pub use record::{Recording, SampleForm};
pub use record_level::{Level, LevelMeter};
pub use record_mono::{Channels, ToHearing};
pub use source::{Decoded, HEARING_RATE, LONGEST_S, Source, decode, open};
pub use stretch::stretch;
#[cfg(feature = "mic")]
pub use taking::{TakeEnd, Taking};

/// File name endings that are worth trying, lower case, without the dot.
pub const ENDINGS: &[&str] = &[
    "wav", "wave", "flac", "mp3", "ogg", "oga", "m4a", "mp4", "m4v", "mov", "aac", "aif", "aiff",
    "caf", "mka", "mkv", "webm", "opus",
];
