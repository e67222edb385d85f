//! Logs on disk: saved whole or not at all, locked while they are written.
//!
//! Beside the logs lies a folder `.takebook` with the lock, the file being
//! written and the last five versions of each log.

use super::{Log, LogError, format};
use std::fs::{File, TryLockError};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Ending of a log's file name, without the dot.
pub const ENDING: &str = "takebook";
/// Folder for what the user need not see.
const SIDE_FOLDER: &str = ".takebook";
/// How many old versions are kept.
const N_KEPT: usize = 5;
/// How long to wait for another writer.
const PATIENCE: Duration = Duration::from_secs(3);

/// Reads a log.
///
/// # Errors
/// * [`LogError::Read`] if there is no such file, or it cannot be read.
/// * [`LogError::NotALog`], [`LogError::Newer`], [`LogError::Wrong`] by its content.
pub fn load(path: &Path) -> Result<Log, LogError> {
    let bytes = std::fs::read(path).map_err(|source| LogError::Read {
        path: path.into(),
        source,
    })?;
    let text = String::from_utf8(bytes).map_err(|_| LogError::NotALog {
        path: path.into(),
        found: "its content is not text".into(),
    })?;
    format::read(path, &text)
}

/// A log file that nobody else writes to while this value lives.
#[derive(Debug)]
pub struct Locked {
    path: PathBuf,
    side: PathBuf,
    _lock: File,
}

/// Locks a log for writing; the file itself need not exist yet.
///
/// # Errors
/// * [`LogError::Write`] if its folder cannot be written to.
/// * [`LogError::Busy`] if another program holds it for longer than three seconds.
pub fn lock(path: &Path) -> Result<Locked, LogError> {
    let failed = |source| LogError::Write {
        path: path.into(),
        source,
    };
    if path.is_dir() {
        return Err(failed(std::io::Error::other("it is a folder")));
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
                std::thread::sleep(Duration::from_millis(20));
            }
            Err(TryLockError::WouldBlock) => return Err(LogError::Busy { path: path.into() }),
            Err(TryLockError::Error(source)) => return Err(failed(source)),
        }
    }
    Ok(Locked {
        path: real,
        side,
        _lock: lock,
    })
}

/// As [`lock`], for a log that must be there: makes nothing where there is none.
///
/// # Errors
/// As [`load`] and [`lock`].
pub fn lock_existing(path: &Path) -> Result<Locked, LogError> {
    load(path)?;
    lock(path)
}

impl Locked {
    /// Reads the log.
    ///
    /// # Errors
    /// As [`load`].
    pub fn load(&self) -> Result<Log, LogError> {
        load(&self.path)
    }

    /// Saves the log: whole or not at all; the version before is kept.
    ///
    /// # Errors
    /// * [`LogError::Write`]; what was there before is untouched.
    pub fn save(&self, log: &Log) -> Result<(), LogError> {
        self.save_text(&format::write(log))
            .map_err(|source| LogError::Write {
                path: self.path.clone(),
                source,
            })
    }

    fn save_text(&self, text: &str) -> std::io::Result<()> {
        self.clear_unfinished();
        let mut builder = tempfile::Builder::new();
        let prefix = side_name(&self.path, ".saving-");
        builder.prefix(&prefix);
        #[cfg(unix)]
        let permissions = {
            use std::os::unix::fs::PermissionsExt;
            // what a new file gets; the user's mask is applied by the system
            std::fs::Permissions::from_mode(0o666)
        };
        #[cfg(unix)]
        builder.permissions(permissions);
        let mut file = builder.tempfile_in(&self.side)?;
        file.write_all(text.as_bytes())?;
        file.as_file().sync_all()?;
        self.keep_old()?;
        file.persist(&self.path).map_err(|e| e.error)?;
        #[cfg(unix)]
        File::open(folder(&self.path))?.sync_all()?;
        Ok(())
    }

    /// Removes what a writer of this log left that was killed while saving.
    fn clear_unfinished(&self) {
        let prefix = side_name(&self.path, ".saving-");
        let Ok(entries) = std::fs::read_dir(&self.side) else {
            return;
        };
        for entry in entries.flatten() {
            let name = entry.file_name();
            if name
                .as_encoded_bytes()
                .starts_with(prefix.as_encoded_bytes())
            {
                // a leftover that stays does no harm
                let _ = std::fs::remove_file(entry.path());
            }
        }
    }

    /// Moves the kept versions one on and copies the present one to the front.
    fn keep_old(&self) -> std::io::Result<()> {
        if !self.path.exists() {
            return Ok(());
        }
        let kept = |n: usize| self.side.join(side_name(&self.path, &format!("~{n}")));
        for n in (1..N_KEPT).rev() {
            if kept(n).exists() {
                std::fs::rename(kept(n), kept(n + 1))?;
            }
        }
        std::fs::copy(&self.path, kept(1)).map(|_| ())
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
