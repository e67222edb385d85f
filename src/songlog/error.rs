//! What can be wrong with a log file.

use std::path::PathBuf;

/// Errors of the `songlog` room. Each names the file, the place and the way out.
#[derive(Debug)]
#[non_exhaustive]
pub enum LogError {
    /// The file cannot be read; check the name.
    Read {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file cannot be written; the old one is untouched.
    Write {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file was written, but the system did not confirm that it is on the
    /// disk; look at it before going on.
    Unsure {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Not a log at all.
    NotALog {
        /// Which file.
        path: PathBuf,
        /// What was found instead.
        found: String,
    },
    /// Written by a newer takebook.
    Newer {
        /// Which file.
        path: PathBuf,
        /// Its version.
        version: u64,
    },
    /// A log with something in it that cannot be.
    Wrong {
        /// Which file.
        path: PathBuf,
        /// Where: `heard.chords[3].end_s`, or a line and column.
        place: String,
        /// What is wrong there.
        reason: String,
    },
    /// Another program is writing the log; wait and try again.
    Busy {
        /// Which file.
        path: PathBuf,
    },
}

impl std::fmt::Display for LogError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Read { path, source } if source.kind() == std::io::ErrorKind::NotFound => write!(
                f,
                "there is no log '{}' (make one with: takebook draft TAKE)",
                path.display()
            ),
            Self::Read { path, source } => {
                write!(f, "cannot read the log '{}': {source}", path.display())
            }
            Self::Write { path, source } => write!(
                f,
                "cannot write the log '{}': {source} (what was there before is untouched)",
                path.display()
            ),
            Self::Unsure { path, source } => write!(
                f,
                "the log '{}' was written, but the disk did not confirm it: {source} (look at it with show before going on; the version before is in the folder .takebook beside it)",
                path.display()
            ),
            Self::NotALog { path, found } => write!(
                f,
                "'{}' is not a log of takebook: {found} (make one with: takebook draft TAKE)",
                path.display()
            ),
            Self::Newer { path, version } => write!(
                f,
                "'{}' was written by a newer takebook (log version {version}, this one reads up to {}); update takebook to open it",
                path.display(),
                super::VERSION
            ),
            Self::Wrong {
                path,
                place,
                reason,
            } => write!(
                f,
                "the log '{}' is damaged at {place}: {reason} (put it right by hand, or take a copy from the folder .takebook beside it)",
                path.display()
            ),
            Self::Busy { path } => write!(
                f,
                "the log '{}' is being written by another takebook; try again when it is done",
                path.display()
            ),
        }
    }
}

impl std::error::Error for LogError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Read { source, .. }
            | Self::Write { source, .. }
            | Self::Unsure { source, .. } => Some(source),
            _ => None,
        }
    }
}
