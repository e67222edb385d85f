//! What can keep something from being handed out.

use crate::audio::AudioError;
use crate::chart::ChartError;
use crate::songlog::LogError;
use std::path::{Path, PathBuf};

/// Errors of the `handout` room.
#[derive(Debug)]
#[non_exhaustive]
pub enum HandoutError {
    /// A song cannot be read.
    Log(LogError),
    /// Its recording cannot be read.
    Sound(AudioError),
    /// It has no recording.
    NoRecording {
        /// The song's file.
        log: PathBuf,
    },
    /// It cannot be written as its version says.
    Chart {
        /// The song's file.
        log: PathBuf,
        /// Why.
        source: ChartError,
    },
    /// No version of these songs is for a student.
    Nobody,
    /// A file cannot be put where it belongs.
    Put(std::io::Error),
}

impl HandoutError {
    pub(super) fn chart(log: &Path, source: ChartError) -> Self {
        Self::Chart {
            log: log.into(),
            source,
        }
    }
}

impl std::fmt::Display for HandoutError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Log(source) => source.fmt(f),
            Self::Sound(source) => source.fmt(f),
            Self::NoRecording { log } => write!(
                f,
                "'{}' has no recording: it was typed or imported (write the chart as a page without sound)",
                log.display()
            ),
            Self::Chart { log, source } => write!(f, "{}: {source}", log.display()),
            Self::Nobody => write!(
                f,
                "none of these songs has a version for a student; nothing was written (save one with: takebook chart LOG --save-version NAME --student NAME)"
            ),
            Self::Put(source) => write!(f, "the files cannot be written: {source}"),
        }
    }
}

impl std::error::Error for HandoutError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Log(source) => Some(source),
            Self::Sound(source) => Some(source),
            Self::Chart { source, .. } => Some(source),
            Self::Put(source) => Some(source),
            Self::NoRecording { .. } | Self::Nobody => None,
        }
    }
}
