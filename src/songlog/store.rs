//! Logs on disk: saved whole or not at all, locked while they are written.
//!
//! Beside the logs lies a folder `.takebook` with the lock, the file being
//! written and the last five versions of each log.

use super::saving::{self, Failure, Files, Places};
use super::{Log, LogError, format};
use std::fs::{File, TryLockError};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{PoisonError, RwLock, RwLockWriteGuard};
use std::time::{Duration, Instant};

/// Ending of a log's file name, without the dot.
pub const ENDING: &str = "takebook";
/// Folder for what the user need not see.
pub(crate) const SIDE_FOLDER: &str = ".takebook";
/// The largest log that is read: half an hour of strumming makes 3 MB.
pub const MAX_BYTES: u64 = 256 << 20;
/// How long to wait for another writer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Reads a log.
///
/// # Errors
/// * [`LogError::Read`] if there is no such file, or it cannot be read.
/// * [`LogError::NotALog`], [`LogError::Newer`], [`LogError::Wrong`] by its content.
pub fn load(path: &Path) -> Result<Log, LogError> {
    format::read(path, &text(path)?)
}

/// The text of a log.
fn text(path: &Path) -> Result<String, LogError> {
    let failed = |source| LogError::Read {
        path: path.into(),
        source,
    };
    let kind = std::fs::metadata(path).map_err(failed)?;
    if !kind.is_file() {
        // opening a pipe that nobody writes to would wait for ever
        let what = if kind.is_dir() {
            "a folder"
        } else {
            "a pipe or a device"
        };
        return Err(LogError::NotALog {
            path: path.into(),
            found: format!("it is {what}"),
        });
    }
    let file = File::open(path).map_err(failed)?;
    let mut bytes = Vec::new();
    // not by its stated size: it may grow meanwhile
    file.take(MAX_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(LogError::NotALog {
            path: path.into(),
            found: format!("it is larger than {} MiB", MAX_BYTES >> 20),
        });
    }
    String::from_utf8(bytes).map_err(|_| LogError::NotALog {
        path: path.into(),
        found: "its content is not text".into(),
    })
}

/// A log file that nobody else writes to while this value lives.
#[derive(Debug)]
pub struct Locked {
    places: Places,
    _lock: File,
}

/// Locks a log for writing; the file itself need not exist yet.
///
/// # Errors
/// * [`LogError::Write`] if its folder cannot be written to.
/// * [`LogError::Busy`] if another program holds it for longer than ten seconds.
pub fn lock(path: &Path) -> Result<Locked, LogError> {
    let failed = |source| LogError::Write {
        path: path.into(),
        source,
    };
    if path.exists() && !path.is_file() {
        let what = if path.is_dir() {
            "a folder"
        } else {
            "a pipe or a device"
        };
        return Err(failed(std::io::Error::other(format!("it is {what}"))));
    }
    if path.is_symlink() && !path.exists() {
        let gone = "it is a link to a file that is not there; remove the link or name the file";
        return Err(failed(std::io::Error::other(gone)));
    }
    // a link is followed, so that saving replaces the log and not the link
    let real = std::fs::canonicalize(path).unwrap_or_else(|_| path.into());
    if std::fs::metadata(&real).is_ok_and(|m| m.permissions().readonly()) {
        return Err(failed(std::io::Error::other("it is write-protected")));
    }
    let side = folder(&real).join(SIDE_FOLDER);
    if !folder(&real).is_dir() {
        let missing = format!("there is no folder '{}'", folder(&real).display());
        return Err(failed(std::io::Error::other(missing)));
    }
    std::fs::create_dir_all(&side).map_err(failed)?;
    let lock = File::create(side.join(side_name(&real, ".lock"))).map_err(failed)?;
    let start = Instant::now();
    loop {
        match lock.try_lock() {
            Ok(()) => break,
            Err(TryLockError::WouldBlock) if start.elapsed() < PATIENCE => {
                std::thread::sleep(Duration::from_millis(2));
            }
            Err(TryLockError::WouldBlock) => return Err(LogError::Busy { path: path.into() }),
            Err(TryLockError::Error(source)) => return Err(failed(source)),
        }
    }
    Ok(Locked {
        places: Places {
            folder: folder(&real).into(),
            log: real,
            side,
        },
        _lock: lock,
    })
}

/// Held by each save for reading, and for writing by who wants none to start.
static SAVING: RwLock<()> = RwLock::new(());

/// While it lives no save of this program is under way.
#[derive(Debug)]
pub struct NoSaves(#[expect(dead_code, reason = "held")] RwLockWriteGuard<'static, ()>);

/// Waits for saves under way and holds off later ones: before the program ends
/// out of turn, so that nothing half-saved is left.
pub fn hold_saves() -> NoSaves {
    NoSaves(SAVING.write().unwrap_or_else(PoisonError::into_inner))
}

/// As [`lock`], for a log that must be there: makes nothing where there is none. Gives the log
/// too, as it is while it is locked; none if its text is still the `known` one.
///
/// # Errors
/// As [`load`] and [`lock`].
pub fn lock_existing(path: &Path, known: Option<&str>) -> Result<(Locked, Option<Log>), LogError> {
    let before = text(path)?;
    let is_known = known == Some(before.as_str());
    let log = match is_known {
        true => None,
        false => Some(format::read(path, &before)?),
    };
    let locked = lock(path)?;
    let now = text(&locked.places.log)?;
    // long logs take long to read, and are seldom changed just then
    let log = match now == before {
        true => log,
        false => Some(format::read(path, &now)?),
    };
    Ok((locked, log))
}

impl Locked {
    /// Reads the log.
    ///
    /// # Errors
    /// As [`load`].
    pub fn load(&self) -> Result<Log, LogError> {
        load(&self.places.log)
    }

    /// Saves the log: whole or not at all; the version before is kept. Gives its text.
    ///
    /// # Errors
    /// * [`LogError::Write`]; what was there before is untouched.
    /// * [`LogError::Unsure`]; the log is replaced, but may not outlast a power cut.
    pub fn save(&self, log: &Log) -> Result<String, LogError> {
        let _under_way = SAVING.read().unwrap_or_else(PoisonError::into_inner);
        let path = self.places.log.clone();
        let text = format::write(log);
        match saving::save(&Files, &self.places, &text) {
            Ok(()) => Ok(text),
            Err(Failure::Untouched(source)) => Err(LogError::Write { path, source }),
            Err(Failure::Unsure(source)) => Err(LogError::Unsure { path, source }),
        }
    }
}

fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

fn side_name(path: &Path, tail: &str) -> std::ffi::OsString {
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(tail);
    name
}

/// Where a log's take lies: beside the log unless the log says otherwise.
pub fn take_path(log_path: &Path, log: &Log) -> PathBuf {
    folder(log_path).join(&log.take.file)
}

/// Now, UTC, RFC 3339, to the second.
pub fn now() -> String {
    let now = jiff::Timestamp::now();
    jiff::Timestamp::from_second(now.as_second())
        .unwrap_or(now)
        .to_string()
}
