//! Why something cannot be decided.

use crate::fretboard::FretboardError;
use crate::songlog::LogError;

/// Errors of the `deciding` room. The log is untouched whenever one is given.
#[derive(Debug)]
#[non_exhaustive]
pub enum DecideError {
    /// What was asked makes no sense there: what was found, what was expected.
    Asked {
        /// In words, with the way out.
        text: String,
    },
    /// It makes sense, but not with what is heard and decided now.
    Unfit {
        /// In words, with the reason.
        text: String,
    },
    /// The shape is none of this instrument.
    Shape(FretboardError),
    /// The log cannot be read or written.
    Log(LogError),
}

impl DecideError {
    pub(super) fn asked(text: impl Into<String>) -> Self {
        Self::Asked { text: text.into() }
    }
}

impl std::fmt::Display for DecideError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Asked { text } => f.write_str(text),
            Self::Unfit { text } => write!(f, "nothing was changed; it does not fit: {text}"),
            Self::Shape(source) => source.fmt(f),
            Self::Log(source) => source.fmt(f),
        }
    }
}

impl std::error::Error for DecideError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Shape(source) => Some(source),
            Self::Log(source) => Some(source),
            _ => None,
        }
    }
}

impl From<LogError> for DecideError {
    fn from(error: LogError) -> Self {
        Self::Log(error)
    }
}

impl From<FretboardError> for DecideError {
    fn from(error: FretboardError) -> Self {
        Self::Shape(error)
    }
}
