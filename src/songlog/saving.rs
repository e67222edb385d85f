//! The steps of a save, apart from the file system they are taken on.
//!
//! Order matters and is what the tests beside this file hold on to: the new
//! text is whole and synced before anything is moved; the version before is
//! kept before it is replaced; the log is replaced by one rename; the folder is
//! synced before the save counts as done.
//!
//! # Source
//! SQLite, "Atomic Commit In SQLite" (sync the data, then the name) and "How
//! SQLite Is Tested" (an exchangeable file system for crashes and failures).

use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};

#[cfg(test)]
mod simulated;
#[cfg(test)]
mod tests;

/// How many old versions are kept.
pub(super) const N_KEPT: usize = 5;

/// What a save asks of a file system.
pub(super) trait Disk {
    /// A file that was just made.
    type File: NewFile;
    /// Names in a folder.
    fn names(&self, folder: &Path) -> io::Result<Vec<OsString>>;
    /// The bytes of a file; none if there is no such file.
    fn read(&self, path: &Path) -> io::Result<Option<Vec<u8>>>;
    /// Whether a file is there.
    fn exists(&self, path: &Path) -> bool;
    /// Makes a file that must not be there yet, with the permissions of `like`.
    fn create(&self, path: &Path, like: &Path) -> io::Result<Self::File>;
    /// Moves a file; what was at `to` is replaced in one step.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Brings a folder's names to the disk.
    fn sync_folder(&self, folder: &Path) -> io::Result<()>;
}

/// A file that was just made.
pub(super) trait NewFile {
    /// Appends bytes.
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Brings its bytes to the disk.
    fn sync(&self) -> io::Result<()>;
}

/// How a save went wrong.
#[derive(Debug)]
pub(super) enum Failure {
    /// What was there before is untouched.
    Untouched(io::Error),
    /// The new text is in place, but may not outlast a power cut.
    Unsure(io::Error),
}

/// Where a log and what belongs to it lie.
#[derive(Debug, Clone)]
pub(super) struct Places {
    /// The log.
    pub(super) log: PathBuf,
    /// The folder the log is in.
    pub(super) folder: PathBuf,
    /// The folder for what the user need not see.
    pub(super) side: PathBuf,
}

impl Places {
    /// A file in the side folder that belongs to the log.
    pub(super) fn beside(&self, tail: &str) -> PathBuf {
        let mut name = self.log.file_name().unwrap_or_default().to_os_string();
        name.push(tail);
        self.side.join(name)
    }

    /// The `n`th last version, 1 to [`N_KEPT`].
    fn kept(&self, n: usize) -> PathBuf {
        self.beside(&format!("~{n}"))
    }
}

/// Tails of the names of files that are not finished.
const UNFINISHED: [&str; 2] = [".saving-", ".keeping-"];

/// Saves a text whole or not at all; the version before is kept. The caller
/// holds the lock.
pub(super) fn save<D: Disk>(disk: &D, places: &Places, text: &str) -> Result<(), Failure> {
    clear_unfinished(disk, places);
    let prepared = prepare(disk, places, text);
    if prepared.is_err() {
        clear_unfinished(disk, places);
    }
    prepared.map_err(Failure::Untouched)?;
    disk.sync_folder(&places.folder).map_err(Failure::Unsure)
}

/// Everything up to the rename that replaces the log.
fn prepare<D: Disk>(disk: &D, places: &Places, text: &str) -> io::Result<()> {
    let own = std::process::id();
    let saving = places.beside(&format!("{}{own}", UNFINISHED[0]));
    let keeping = places.beside(&format!("{}{own}", UNFINISHED[1]));
    write(disk, &saving, &places.log, text.as_bytes())?;
    if let Some(old) = disk.read(&places.log)? {
        // a save that failed at its last step has kept this version already
        if disk.read(&places.kept(1))?.as_ref() != Some(&old) {
            write(disk, &keeping, &places.log, &old)?;
            make_room(disk, places)?;
            disk.rename(&keeping, &places.kept(1))?;
            disk.sync_folder(&places.side)?;
        }
    }
    disk.rename(&saving, &places.log)
}

fn write<D: Disk>(disk: &D, path: &Path, like: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = disk.create(path, like)?;
    file.write_all(bytes)?;
    file.sync()
}

/// Moves kept versions one on, down to the first free place or the oldest.
fn make_room<D: Disk>(disk: &D, places: &Places) -> io::Result<()> {
    let free = (1..N_KEPT).find(|n| !disk.exists(&places.kept(*n)));
    for n in (1..free.unwrap_or(N_KEPT)).rev() {
        disk.rename(&places.kept(n), &places.kept(n + 1))?;
    }
    Ok(())
}

/// Removes what a writer of this log left that was stopped while saving.
fn clear_unfinished<D: Disk>(disk: &D, places: &Places) {
    let Ok(names) = disk.names(&places.side) else {
        return;
    };
    for name in names {
        let path = places.side.join(name);
        let left = UNFINISHED.iter().any(|tail| {
            let prefix = places.beside(tail);
            let bytes = |p: &Path| p.as_os_str().as_encoded_bytes().to_vec();
            bytes(&path).starts_with(&bytes(&prefix))
        });
        if left {
            // a leftover that stays does no harm
            let _ = disk.remove(&path);
        }
    }
}

/// The real file system.
#[derive(Debug)]
pub(super) struct Files;

impl Disk for Files {
    type File = std::fs::File;

    fn names(&self, folder: &Path) -> io::Result<Vec<OsString>> {
        std::fs::read_dir(folder)?
            .map(|entry| entry.map(|e| e.file_name()))
            .collect()
    }

    fn read(&self, path: &Path) -> io::Result<Option<Vec<u8>>> {
        match std::fs::read(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            other => other.map(Some),
        }
    }

    fn exists(&self, path: &Path) -> bool {
        path.exists()
    }

    fn create(&self, path: &Path, like: &Path) -> io::Result<Self::File> {
        let file = std::fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(path)?;
        if let Ok(old) = std::fs::metadata(like) {
            // who could not read the log must not read its next version
            file.set_permissions(old.permissions())?;
        }
        Ok(file)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        if cfg!(not(unix)) {
            return Ok(());
        }
        match std::fs::File::open(folder)?.sync_all() {
            // some network file systems cannot sync a folder, and need not
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported
                ) =>
            {
                Ok(())
            }
            other => other,
        }
    }
}

impl NewFile for std::fs::File {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        io::Write::write_all(self, bytes)
    }

    fn sync(&self) -> io::Result<()> {
        self.sync_all()
    }
}
