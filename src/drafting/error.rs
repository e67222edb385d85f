//! What can go wrong between sound and log.

use crate::audio::AudioError;
use crate::hearing::HearingError;
use crate::songlog::LogError;

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
            Self::Moment { text } => f.write_str(text),
        }
    }
}

impl std::error::Error for DraftError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Audio(source) => Some(source),
            Self::Hearing(source) => Some(source),
            Self::Log(source) => Some(source),
            Self::Moment { .. } => None,
        }
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
