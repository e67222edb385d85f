//! The log as it stands, read again whenever the file changes.

use crate::deciding::{Known, Saved};
use crate::songlog::resolve::resolve_with_unfit;
use crate::songlog::song::Song;
use crate::songlog::{self, Log, LogError};
use std::collections::VecDeque;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::SystemTime;

/// What tells that a file changed without reading it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stamp {
    bytes: u64,
    changed: Option<SystemTime>,
    /// A renamed file is another one, even at the same time and length.
    inode: u64,
}

impl Stamp {
    pub(super) fn of(path: &Path) -> std::io::Result<Self> {
        let facts = std::fs::metadata(path)?;
        if !facts.is_file() {
            return Err(std::io::Error::new(
                std::io::ErrorKind::NotFound,
                "it is no file",
            ));
        }
        Ok(Self {
            bytes: facts.len(),
            changed: facts.modified().ok(),
            #[cfg(unix)]
            inode: std::os::unix::fs::MetadataExt::ino(&facts),
            #[cfg(not(unix))]
            inode: 0,
        })
    }

    /// As an entity tag, quotes included.
    pub(super) fn tag(&self) -> String {
        let since = self
            .changed
            .and_then(|t| t.duration_since(SystemTime::UNIX_EPOCH).ok())
            .map_or(0, |d| d.as_nanos());
        format!("\"{:x}-{since:x}-{:x}\"", self.bytes, self.inode)
    }
}

/// A log at one moment, and the song it makes.
#[derive(Debug)]
pub(super) struct Snapshot {
    /// Differs whenever the log's content does.
    pub(super) revision: String,
    /// The file's text.
    text: String,
    pub(super) log: Log,
    pub(super) song: Song,
    /// Decisions that do not fit what is heard.
    pub(super) n_unfit: usize,
    /// The song as JSON but for its chords, once it was asked for.
    pub(super) told: OnceLock<serde_json::Value>,
}

impl Snapshot {
    /// For a decision on it.
    pub(super) fn known(&self) -> Known<'_> {
        Known {
            text: &self.text,
            log: &self.log,
            song: &self.song,
        }
    }
}

/// Reads one log.
#[derive(Debug)]
pub(super) struct Book {
    path: PathBuf,
    last: Mutex<Option<(Stamp, Arc<Snapshot>)>>,
    /// The latest ones that were read, so that a page can be told what changed since.
    known: Mutex<VecDeque<Arc<Snapshot>>>,
}

/// Snapshots that are remembered.
const N_KNOWN: usize = 4;

impl Book {
    pub(super) fn new(path: PathBuf) -> Self {
        Self {
            path,
            last: Mutex::new(None),
            known: Mutex::default(),
        }
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// The log as it is now.
    pub(super) fn read(&self) -> Result<Arc<Snapshot>, LogError> {
        self.read_after(None)
    }

    /// The log as it is now; what was just saved is not made of its text again if that is
    /// still what the file holds.
    pub(super) fn read_after(&self, saved: Option<Saved>) -> Result<Arc<Snapshot>, LogError> {
        let failed = |source| LogError::Read {
            path: self.path.clone(),
            source,
        };
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        // taken before reading: what changes meanwhile is read the next time
        let stamp = Stamp::of(&self.path).map_err(failed)?;
        if let Some((known, snapshot)) = &*last
            && *known == stamp
        {
            return Ok(Arc::clone(snapshot));
        }
        let bytes = std::fs::read(&self.path).map_err(failed)?;
        let mut hasher = DefaultHasher::new();
        bytes.hash(&mut hasher);
        let revision = format!("{:016x}", hasher.finish());
        let text = String::from_utf8(bytes).map_err(|_| LogError::NotALog {
            path: self.path.clone(),
            found: "its content is not text".into(),
        })?;
        let (log, song, n_unfit) = match saved {
            Some(saved) if saved.text == text => (saved.log, saved.song, saved.n_unfit),
            _ => {
                let log = songlog::read(&self.path, &text)?;
                let (song, unfit) = resolve_with_unfit(&log);
                (log, song, unfit.len())
            }
        };
        let snapshot = Arc::new(Snapshot {
            revision,
            text,
            log,
            song,
            n_unfit,
            told: OnceLock::new(),
        });
        *last = Some((stamp, Arc::clone(&snapshot)));
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() == N_KNOWN {
            known.pop_front();
        }
        known.push_back(Arc::clone(&snapshot));
        Ok(snapshot)
    }

    /// The log as it was at a revision, if it is remembered.
    pub(super) fn known(&self, revision: &str) -> Option<Arc<Snapshot>> {
        let known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        known.iter().find(|s| s.revision == revision).cloned()
    }
}
