//! What can keep a folder from being packed or unpacked.

use std::path::PathBuf;

/// Errors of the `backup` room. In each case nothing is left half-written.
#[derive(Debug)]
#[non_exhaustive]
pub enum BackupError {
    /// A file or folder cannot be read.
    Read {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file or folder cannot be written.
    Write {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file of that name is there already.
    Exists {
        /// Which.
        path: PathBuf,
    },
    /// The disk has no room for it.
    NoRoom {
        /// Where.
        path: PathBuf,
        /// Bytes that are needed.
        needed: u64,
        /// Bytes that are free.
        free: u64,
    },
    /// There is no song in the folder.
    NoSongs {
        /// Which folder.
        folder: PathBuf,
    },
    /// The file is no archive that is read here.
    NotAnArchive {
        /// Which file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// The archive has something that is not unpacked; nothing of it was.
    Refused {
        /// Which archive.
        path: PathBuf,
        /// What, by its name in the archive; empty for the whole.
        entry: String,
        /// Why.
        reason: String,
    },
    /// Files of the archive are in the folder with another content; nothing was unpacked.
    Differs {
        /// Which folder.
        folder: PathBuf,
        /// Their names.
        names: Vec<String>,
    },
    /// It was stopped.
    Stopped,
}

/// How many names an error lists.
const N_NAMED: usize = 5;

/// `1.4 GB`, `12 MB`, `3 kB`
pub(super) fn size(bytes: u64) -> String {
    match bytes {
        0..1_000_000 => format!("{} kB", bytes.div_ceil(1000)),
        1_000_000..1_000_000_000 => format!("{} MB", bytes / 1_000_000),
        _ => format!("{:.1} GB", bytes as f64 / 1e9),
    }
}

impl std::fmt::Display for BackupError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Read { path, source } => {
                write!(f, "cannot read '{}': {source}", path.display())
            }
            Self::Write { path, source } => {
                write!(f, "cannot write '{}': {source}", path.display())
            }
            Self::Exists { path } => write!(
                f,
                "'{}' already exists; not overwritten (give another name, or --overwrite)",
                path.display()
            ),
            Self::NoRoom { path, needed, free } => write!(
                f,
                "the disk of '{}' has no room: {} are needed, {} are free; nothing was written",
                path.display(),
                size(*needed),
                size(*free)
            ),
            Self::NoSongs { folder } => write!(
                f,
                "there is no song in the folder '{}'; nothing was written (a song is a .takebook file)",
                folder.display()
            ),
            Self::NotAnArchive { path, reason } => {
                write!(
                    f,
                    "'{}' is no ZIP archive that can be read: {reason}",
                    path.display()
                )
            }
            Self::Refused {
                path,
                entry,
                reason,
            } if entry.is_empty() => {
                write!(f, "'{}': {reason}; nothing was unpacked", path.display())
            }
            Self::Refused {
                path,
                entry,
                reason,
            } => write!(
                f,
                "'{}': '{entry}' in it {reason}; nothing was unpacked",
                path.display()
            ),
            Self::Differs { folder, names } => {
                let named: Vec<&str> = names.iter().take(N_NAMED).map(String::as_str).collect();
                let more = names.len().saturating_sub(N_NAMED);
                let more = match more {
                    0 => String::new(),
                    n => format!(" and {n} more"),
                };
                write!(
                    f,
                    "'{}' has other files by the names {}{more}: nothing was unpacked, and nothing replaced (name a new folder)",
                    folder.display(),
                    named.join(", ")
                )
            }
            Self::Stopped => write!(f, "stopped; nothing was left behind"),
        }
    }
}

impl std::error::Error for BackupError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Read { source, .. } | Self::Write { source, .. } => Some(source),
            _ => None,
        }
    }
}
