//! Writes the archive of a folder.

use super::contents::{Bytes, Contents, Item, Kind, Moved, contents};
use super::{BLOCK, BackupError, Going};
use crate::audio::free_bytes;
use std::fs::File;
use std::io::{BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// From this length on a file of an archive needs the long form (ZIP64), bytes; a little under
/// what the short one holds.
const LONG: u64 = u32::MAX as u64 - (1 << 20);

/// What was packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    /// Length of the archive, bytes.
    pub bytes: u64,
    /// Songs in it.
    pub n_songs: usize,
    /// Recordings in it.
    pub n_recordings: usize,
    /// Other files in it.
    pub n_others: usize,
    /// Recordings from outside the folder.
    pub moved: Vec<Moved>,
    /// Songs whose recording was not found (or is no sound), and where they say it is.
    pub missing: Vec<(String, PathBuf)>,
    /// What of the folder is not in it, and why.
    pub left_out: Vec<(String, &'static str)>,
    /// Recordings of the folder that are not in it since no sound was wanted.
    pub n_silent: usize,
}

/// Packs a folder.
///
/// Takes the folder, the archive's file, whether the recordings go in, whether a file of that
/// name is replaced, what is called with the number of bytes before the first is written, and
/// `going`. The archive appears under its name when it is whole.
///
/// # Errors
/// * [`BackupError::NoSongs`], [`BackupError::Exists`], [`BackupError::NoRoom`].
/// * [`BackupError::Read`], [`BackupError::Write`], [`BackupError::Stopped`].
pub fn pack(
    folder: &Path,
    archive: &Path,
    (with_sound, replace): (bool, bool),
    begin: &dyn Fn(u64),
    going: Going<'_>,
) -> Result<Packed, BackupError> {
    let exists = || BackupError::Exists {
        path: archive.into(),
    };
    if !replace && archive.symlink_metadata().is_ok() {
        return Err(exists());
    }
    let failed = |source| BackupError::Write {
        path: archive.into(),
        source,
    };
    let found = contents(folder, with_sound, archive)?;
    let needed = found.items.values().map(|i| i.bytes.length()).sum();
    if let Some(free) = free_bytes(archive)
        && free < needed
    {
        return Err(BackupError::NoRoom {
            path: archive.into(),
            needed,
            free,
        });
    }
    let place = match archive.parent() {
        Some(place) if !place.as_os_str().is_empty() => place,
        _ => Path::new("."),
    };
    begin(needed);
    // hidden, and gone if it does not become whole
    let mut making = tempfile::Builder::new();
    let part = making.prefix(".backup-").suffix(".part").tempfile_in(place);
    let part = part.map_err(|e| failed(e.kind().into()))?;
    let part = write(part, &found, archive, going)?;
    part.as_file().sync_all().map_err(failed)?;
    let bytes = part.as_file().metadata().map_err(failed)?.len();
    let kept = match replace {
        true => part.persist(archive),
        false => part.persist_noclobber(archive),
    };
    kept.map_err(|e| match e.error.kind() {
        std::io::ErrorKind::AlreadyExists => exists(),
        _ => failed(e.error),
    })?;
    let n = |kind| found.items.values().filter(|i| i.kind == kind).count();
    Ok(Packed {
        bytes,
        n_songs: n(Kind::Song),
        n_recordings: n(Kind::Recording),
        n_others: n(Kind::Other),
        moved: found.moved,
        missing: found.missing,
        left_out: found.left_out,
        n_silent: found.n_silent,
    })
}

impl Bytes {
    fn length(&self) -> u64 {
        match self {
            Self::Of(_, length) => *length,
            Self::Text(text) => text.len() as u64,
        }
    }
}

fn write(
    part: NamedTempFile,
    found: &Contents,
    archive: &Path,
    going: Going<'_>,
) -> Result<NamedTempFile, BackupError> {
    let failed = |source| BackupError::Write {
        path: archive.into(),
        source,
    };
    let mut zip = ZipWriter::new(BufWriter::with_capacity(BLOCK, part));
    for (name, item) in &found.items {
        zip.start_file(name, options(item))
            .map_err(|e| failed(e.into()))?;
        match &item.bytes {
            Bytes::Text(text) => {
                zip.write_all(text.as_bytes()).map_err(failed)?;
                stop_unless(going(text.len() as u64))?;
            }
            Bytes::Of(path, length) => {
                let read = |source| BackupError::Read {
                    path: path.clone(),
                    source,
                };
                // what is appended meanwhile is of the next backup
                let mut file = File::open(path).map_err(read)?.take(*length);
                let mut block = vec![0; BLOCK];
                loop {
                    let n = file.read(&mut block).map_err(read)?;
                    if n == 0 {
                        break;
                    }
                    zip.write_all(&block[..n]).map_err(failed)?;
                    stop_unless(going(n as u64))?;
                }
            }
        }
    }
    let whole = zip.finish().map_err(|e| failed(e.into()))?;
    whole.into_inner().map_err(|e| failed(e.into_error()))
}

pub(super) fn stop_unless(goes_on: bool) -> Result<(), BackupError> {
    match goes_on {
        true => Ok(()),
        false => Err(BackupError::Stopped),
    }
}

/// Sound is packed as it is: deflating it takes long and gains little.
fn options(item: &Item) -> SimpleFileOptions {
    let method = match item.kind {
        Kind::Recording => CompressionMethod::Stored,
        Kind::Song | Kind::Other => CompressionMethod::Deflated,
    };
    SimpleFileOptions::default()
        .compression_method(method)
        .large_file(item.bytes.length() >= LONG)
        .unix_permissions(0o644)
        .last_modified_time(changed(item))
}

/// When a file was last changed, in the time of this computer; the first moment of the format
/// where that is not known.
fn changed(item: &Item) -> DateTime {
    let Bytes::Of(path, _) = &item.bytes else {
        return DateTime::default();
    };
    let zoned = || {
        let time = std::fs::metadata(path).ok()?.modified().ok()?;
        let at = jiff::Timestamp::try_from(time).ok()?;
        Some(at.to_zoned(jiff::tz::TimeZone::system()))
    };
    let as_dos = |at: jiff::Zoned| {
        let small = |n: i8| u8::try_from(n).unwrap_or(0);
        let year = u16::try_from(at.year()).ok()?;
        let (month, day) = (small(at.month()), small(at.day()));
        let (hour, minute, second) = (small(at.hour()), small(at.minute()), small(at.second()));
        DateTime::from_date_and_time(year, month, day, hour, minute, second).ok()
    };
    zoned().and_then(as_dos).unwrap_or_default()
}
