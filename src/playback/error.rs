//! What can be wrong with something that is to be heard.

use crate::audio::AudioError;
use crate::songlog::decided::clock;
use std::path::PathBuf;

/// Errors of the `playback` room.
#[derive(Debug)]
#[non_exhaustive]
pub enum PlaybackError {
    /// No chord at all, so no notes to pluck.
    NoNotes {
        /// What was asked for, as a symbol.
        symbol: String,
    },
    /// A shape for another number of strings.
    Strings {
        /// The shape.
        shape: String,
        /// How many strings the instrument has.
        n_strings: usize,
    },
    /// A shape in which all strings are muted.
    AllMuted,
    /// The take ends before what is to be heard begins.
    NotInTake {
        /// The take.
        path: PathBuf,
        /// Where it should begin, s.
        start_s: f64,
    },
    /// The take cannot be read.
    Take(AudioError),
}

impl std::fmt::Display for PlaybackError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoNotes { symbol } => write!(f, "label: {symbol} has no notes to pluck"),
            Self::Strings { shape, n_strings } => {
                write!(f, "shape: {shape} is not for {n_strings} strings")
            }
            Self::AllMuted => write!(f, "no string sounds in this shape"),
            Self::NotInTake { path, start_s } => write!(
                f,
                "'{}' ends before {}; is it the take that was drafted?",
                path.display(),
                clock(*start_s)
            ),
            Self::Take(source) => write!(
                f,
                "the take's sound: {source} (without it the chords alone can be heard: --chords alone)"
            ),
        }
    }
}

impl std::error::Error for PlaybackError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Take(source) => Some(source),
            _ => None,
        }
    }
}
