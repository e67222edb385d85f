//! The one error that a command ends with.

use super::plain::one_line;
use std::fmt;

/// Why a command could not be carried out: what, where, and the way out.
#[derive(Debug)]
pub(crate) struct CliError {
    text: String,
    closed_pipe: bool,
}

impl CliError {
    /// An error in words on one line: what was found, what was expected, what to do.
    pub(crate) fn new(text: impl AsRef<str>) -> Self {
        Self {
            text: one_line(text.as_ref()),
            closed_pipe: false,
        }
    }

    /// Several errors, each on a line of its own under what they have in common.
    pub(crate) fn list(head: &str, errors: &[String]) -> Self {
        let lines = std::iter::once(one_line(head))
            .chain(errors.iter().map(|e| format!("  {}", one_line(e))));
        Self {
            text: lines.collect::<Vec<_>>().join("\n"),
            closed_pipe: false,
        }
    }

    /// Whether the reader of our output went away.
    pub(crate) fn is_closed_pipe(&self) -> bool {
        self.closed_pipe
    }
}

impl fmt::Display for CliError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl From<std::io::Error> for CliError {
    fn from(error: std::io::Error) -> Self {
        Self {
            closed_pipe: error.kind() == std::io::ErrorKind::BrokenPipe,
            text: format!("cannot write the output: {error}"),
        }
    }
}

/// Each room's error becomes the command's by its message.
macro_rules! from_room {
    ($($error:ty),*) => {
        $(impl From<$error> for CliError {
            fn from(error: $error) -> Self {
                Self::new(error.to_string())
            }
        })*
    };
}

from_room!(
    crate::theory::TheoryError,
    crate::fretboard::FretboardError,
    crate::audio::AudioError,
    crate::backup::BackupError,
    crate::handout::HandoutError,
    crate::hearing::HearingError,
    crate::songlog::LogError,
    crate::chart::ChartError,
    crate::deciding::DecideError,
    crate::playback::PlaybackError,
    crate::drafting::DraftError
);

#[cfg(feature = "desk")]
from_room!(crate::desk::DeskError);
