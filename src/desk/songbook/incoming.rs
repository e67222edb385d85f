//! A file on its way into the folder: written beside the songs under a name that is not listed,
//! and given its own when it is whole. No file that is there is ever replaced.

use crate::audio::{self, free_bytes};
use crate::desk::error::{ApiError, ApiResult};
use crate::drafting::{DraftError, read_import};
use crate::foreign;
use crate::songlog::resolve::Settings;
use crate::songlog::store;
use axum::http::StatusCode;
use std::io::Write;
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// The largest recording that can be added, bytes: three hours of stereo at 44.1 kHz and 16 bits.
pub(in crate::desk) const LARGEST: u64 = 2 << 30;
/// The longest name of a file, bytes, so that a number and an ending still fit.
const LONGEST_NAME: usize = 200;
/// The name of a file that is not whole yet begins and ends so.
const UNFINISHED: (&str, &str) = ("adding-", ".part");
/// Numbers that are tried after a name that is taken.
const N_NAMES: u32 = 10_000;

/// What a file may be, by its ending.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A recording, or a video with one.
    Sound,
    /// Chords or notes of another program, or a typed chart.
    Chords(foreign::Kind),
    /// A song file.
    Song,
}

impl Kind {
    /// By the ending of a name, if it is one that is read.
    pub(super) fn of(name: &str) -> Option<Self> {
        let ending = Path::new(name).extension()?.to_str()?.to_ascii_lowercase();
        if ending == store::ENDING {
            return Some(Self::Song);
        }
        if audio::ENDINGS.contains(&ending.as_str()) {
            return Some(Self::Sound);
        }
        foreign::Kind::by_ending(&ending).map(Self::Chords)
    }

    /// The largest file of this kind that can be added, bytes.
    pub(super) fn largest(self) -> u64 {
        match self {
            Self::Sound => LARGEST,
            Self::Chords(_) => foreign::MAX_BYTES,
            Self::Song => store::MAX_BYTES,
        }
    }
}

/// Why a file of this name is not read, in words.
pub(super) fn not_read(name: &str) -> String {
    format!(
        "'{name}' is not added: by its ending it is neither a recording (WAV, FLAC, MP3, M4A, Ogg, AIFF, a video) nor a file of chords or notes (.txt, .musicxml, .mid, .jams, .lab)"
    )
}

/// Every ending that is read, with the largest file of its kind, bytes.
pub(super) fn endings() -> Vec<(&'static str, u64)> {
    let sound = audio::ENDINGS.iter().copied();
    let chords = foreign::ENDINGS.iter().map(|(ending, _)| *ending);
    sound
        .chain(chords)
        .chain([store::ENDING])
        .filter_map(|ending| Some((ending, Kind::of(&format!("a.{ending}"))?.largest())))
        .collect()
}

/// A name as it may stand in the folder, and what such a file is.
///
/// # Errors
/// 400 for a name that is none, 415 for a kind that is not read, in words.
pub(super) fn admitted(name: &str) -> ApiResult<(&str, Kind)> {
    let name = name.trim();
    let is_odd = |c: char| {
        c.is_control() || "/\\\u{fffd}".contains(c) || (cfg!(windows) && "<>:\"|?*".contains(c))
    };
    let fault = if name.is_empty() {
        Some("it has no name")
    } else if name.starts_with('.') {
        Some("its name begins with a dot")
    } else if name.contains(is_odd) {
        Some("its name has a slash or a sign that no file name should have")
    } else if name.len() > LONGEST_NAME {
        Some("its name is too long")
    } else {
        None
    };
    if let Some(fault) = fault {
        return Err(ApiError::bad(format!(
            "the file is not added: {fault}; rename it and add it again"
        )));
    }
    match Kind::of(name) {
        Some(kind) => Ok((name, kind)),
        None => Err(ApiError::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            not_read(name),
        )),
    }
}

/// A file that is not whole yet; dropped, it is gone.
pub(super) struct Incoming {
    folder: PathBuf,
    file: NamedTempFile,
    kind: Kind,
    n_bytes: u64,
}

impl Incoming {
    /// Makes an empty one in a folder, if the disk has room for what is announced.
    ///
    /// # Errors
    /// 507 without room, 500 if the folder cannot be written to.
    pub(super) fn begin(folder: &Path, kind: Kind, announced: u64) -> ApiResult<Self> {
        let side = side_folder(folder).map_err(unwritable)?;
        if free_bytes(&side.join("x")).is_some_and(|free| free < announced) {
            return Err(no_room());
        }
        let mut making = tempfile::Builder::new();
        making.prefix(UNFINISHED.0).suffix(UNFINISHED.1);
        #[cfg(unix)]
        {
            // as any new file: what the system's mask leaves
            use std::os::unix::fs::PermissionsExt;
            making.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let file = making.tempfile_in(&side).map_err(unwritable)?;
        // says to another desk of this folder that it is not forgotten
        let _ = file.as_file().try_lock();
        Ok(Self {
            folder: folder.into(),
            file,
            kind,
            n_bytes: 0,
        })
    }

    /// Bytes so far.
    pub(super) fn n_bytes(&self) -> u64 {
        self.n_bytes
    }

    /// Appends bytes.
    ///
    /// # Errors
    /// 413 over the largest size, 507 or 500 if they cannot be written.
    pub(super) fn push(&mut self, bytes: &[u8]) -> ApiResult<()> {
        self.n_bytes += bytes.len() as u64;
        if self.n_bytes > self.kind.largest() {
            return Err(too_large(self.kind.largest()));
        }
        self.file.write_all(bytes).map_err(unwritable)
    }

    /// Gives the whole file its name, or with a number after it if that is taken.
    ///
    /// # Errors
    /// 409 if the same file is there already, or this one is no song and cannot become one.
    pub(super) fn finish(self, name: &str) -> ApiResult<PathBuf> {
        if self.n_bytes == 0 {
            return Err(refused(format!(
                "'{name}' is empty (0 bytes); nothing was added"
            )));
        }
        self.readable(name)?;
        self.file.as_file().sync_all().map_err(unwritable)?;
        let mut file = self.file;
        for path in names(&self.folder, name) {
            if is_same(file.path(), &path) {
                let there = path.file_name().unwrap_or_default().to_string_lossy();
                return Err(refused(format!(
                    "'{there}' with the same content is in this folder already; nothing was added"
                )));
            }
            match file.persist_noclobber(&path) {
                Ok(_) => {
                    // a name that does not outlast a power cut loses no work
                    if let Ok(folder) = std::fs::File::open(&self.folder) {
                        let _ = folder.sync_all();
                    }
                    return Ok(path);
                }
                Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {
                    file = error.file;
                }
                Err(error) => return Err(unwritable(error.error)),
            }
        }
        Err(refused(format!(
            "every name like '{name}' is used in this folder; rename the file and add it again"
        )))
    }

    /// Whether a small file is what its ending says; a recording is heard first.
    fn readable(&self, name: &str) -> ApiResult<()> {
        let path = self.file.path();
        let reason = match self.kind {
            Kind::Sound => return Ok(()),
            Kind::Chords(kind) => match read_import(path, kind, &Settings::default()) {
                Ok(_) => return Ok(()),
                Err(DraftError::Import { reason, .. }) => reason,
                Err(error) => error.to_string(),
            },
            Kind::Song => match store::load(path) {
                Ok(_) => return Ok(()),
                Err(error) => named(ApiError::from(error).text(), path, name),
            },
        };
        Err(refused(format!("'{name}' is not added: {reason}")))
    }
}

/// Words about a file by its name in the folder instead of where it lies.
pub(super) fn named(words: &str, path: &Path, name: &str) -> String {
    let own = path.file_name().unwrap_or_default().to_string_lossy();
    let words = words.replace(&path.display().to_string(), name);
    words.replace(&*own, name)
}

/// Removes what was not whole when a program before this one ended.
pub(super) fn clear_unfinished(folder: &Path) {
    let Ok(side) = real_side_folder(folder) else {
        return;
    };
    for entry in std::fs::read_dir(side).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let is_ours = name.starts_with(UNFINISHED.0) && name.ends_with(UNFINISHED.1);
        if !is_ours || !entry.file_type().is_ok_and(|kind| kind.is_file()) {
            continue;
        }
        // one that is locked is being written by another desk
        let is_forgotten = std::fs::File::open(entry.path())
            .is_ok_and(|file| !matches!(file.try_lock(), Err(std::fs::TryLockError::WouldBlock)));
        if is_forgotten {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// The folder for what the user need not see, made if need be.
pub(super) fn side_folder(folder: &Path) -> std::io::Result<PathBuf> {
    let side = folder.join(store::SIDE_FOLDER);
    match std::fs::create_dir(&side) {
        Ok(()) => Ok(side),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => real_side_folder(folder),
        Err(error) => Err(error),
    }
}

/// It, if it is there and no link to elsewhere.
pub(super) fn real_side_folder(folder: &Path) -> std::io::Result<PathBuf> {
    let side = folder.join(store::SIDE_FOLDER);
    if std::fs::symlink_metadata(&side)?.is_dir() {
        return Ok(side);
    }
    let why = format!("'{}' in it is no folder", store::SIDE_FOLDER);
    Err(std::io::Error::other(why))
}

/// `name.wav`, `name 2.wav`, `name 3.wav`, … in a folder.
pub(super) fn names(folder: &Path, name: &str) -> impl Iterator<Item = PathBuf> {
    let path = Path::new(name);
    let part = |of: Option<&std::ffi::OsStr>| of.unwrap_or_default().to_string_lossy().into_owned();
    let (stem, ending) = (part(path.file_stem()), part(path.extension()));
    let first = folder.join(name);
    let folder = folder.to_path_buf();
    let numbered = (2..N_NAMES).map(move |n| folder.join(format!("{stem} {n}.{ending}")));
    std::iter::once(first).chain(numbered)
}

/// Whether two files have the same bytes.
fn is_same(a: &Path, b: &Path) -> bool {
    let size = |path: &Path| {
        let facts = std::fs::symlink_metadata(path).ok()?;
        facts.is_file().then_some(facts.len())
    };
    if size(b).is_none() || size(a) != size(b) {
        return false;
    }
    let (Ok(a), Ok(b)) = (std::fs::File::open(a), std::fs::File::open(b)) else {
        return false;
    };
    let (mut a, mut b) = (std::io::BufReader::new(a), std::io::BufReader::new(b));
    loop {
        use std::io::BufRead;
        let n = match (a.fill_buf(), b.fill_buf()) {
            (Ok([]), Ok([])) => return true,
            (Ok(x), Ok(y)) => {
                let n = x.len().min(y.len());
                if n == 0 || x[..n] != y[..n] {
                    return false;
                }
                n
            }
            _ => return false,
        };
        a.consume(n);
        b.consume(n);
    }
}

fn refused(words: String) -> ApiError {
    ApiError::new(StatusCode::CONFLICT, words)
}

/// 413, with the size that can be added.
pub(super) fn too_large(largest: u64) -> ApiError {
    ApiError::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!(
            "the file is not added: it is larger than {} MiB; shorten it, or convert it to FLAC or M4A",
            largest >> 20
        ),
    )
}

fn no_room() -> ApiError {
    ApiError::new(
        StatusCode::INSUFFICIENT_STORAGE,
        "the file is not added: the disk has no room for it",
    )
}

fn unwritable(error: std::io::Error) -> ApiError {
    if error.kind() == std::io::ErrorKind::StorageFull {
        return no_room();
    }
    ApiError::new(
        StatusCode::INTERNAL_SERVER_ERROR,
        format!("the file is not added: this folder cannot be written to: {error}"),
    )
}
