//! What can go wrong between sound and log.

use crate::audio::AudioError;
use crate::deciding::DecideError;
use crate::hearing::HearingError;
use crate::songlog::LogError;
use std::path::PathBuf;

/// Errors of the `drafting` room.
#[derive(Debug)]
#[non_exhaustive]
pub enum DraftError {
    /// The sound cannot be read.
    Audio(AudioError),
    /// Hearing failed.
    Hearing(HearingError),
    /// The log cannot be read or written.
    Log(LogError),
    /// A file of chords or notes cannot be read.
    Import {
        /// Which.
        path: PathBuf,
        /// Why, with the place.
        reason: String,
    },
    /// The settings cannot be decided.
    Decide(DecideError),
    /// The settings make no sense for this take.
    Asked {
        /// In words, with the way out.
        text: String,
    },
    /// The log is about something else: name another.
    AnotherTake {
        /// The log.
        log: PathBuf,
        /// What it is about.
        about: String,
    },
    /// What came out makes no sense; nothing was written. A fault of this program.
    NoSense {
        /// The take.
        take: PathBuf,
        /// Where and what.
        fault: String,
    },
    /// It was cancelled; nothing was written.
    Cancelled,
    /// A moment cannot be kept; nothing was written.
    Moment {
        /// Why, with the way out.
        text: String,
    },
}

impl std::fmt::Display for DraftError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Audio(source) => source.fmt(f),
            Self::Hearing(source) => source.fmt(f),
            Self::Log(source) => source.fmt(f),
            Self::Decide(source) => source.fmt(f),
            Self::Import { path, reason } => write!(f, "'{}': {reason}", path.display()),
            Self::AnotherTake { log, about } => write!(
                f,
                "the log '{}' is about {about}; name another log with -o",
                log.display()
            ),
            Self::NoSense { take, fault } => write!(
                f,
                "'{}' makes no sense as a song at {fault}; nothing was written",
                take.display()
            ),
            Self::Cancelled => f.write_str("cancelled; nothing was written"),
            Self::Moment { text } | Self::Asked { text } => f.write_str(text),
        }
    }
}

impl std::error::Error for DraftError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Audio(source) => Some(source),
            Self::Hearing(source) => Some(source),
            Self::Log(source) => Some(source),
            Self::Decide(source) => Some(source),
            _ => None,
        }
    }
}

impl From<DecideError> for DraftError {
    fn from(error: DecideError) -> Self {
        Self::Decide(error)
    }
}

impl From<AudioError> for DraftError {
    fn from(error: AudioError) -> Self {
        Self::Audio(error)
    }
}

impl From<HearingError> for DraftError {
    fn from(error: HearingError) -> Self {
        Self::Hearing(error)
    }
}

impl From<LogError> for DraftError {
    fn from(error: LogError) -> Self {
        Self::Log(error)
    }
}
