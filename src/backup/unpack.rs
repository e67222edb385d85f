//! Puts an archive into a folder.

use super::contents::Kind;
use super::names::{Name, admitted};
use super::pack::stop_unless;
use super::{BLOCK, BackupError, Going};
use crate::audio::{self, free_bytes};
use crate::songlog::store::{self, ENDING, MAX_BYTES, SIDE_FOLDER, take_path};
use std::collections::HashSet;
use std::fs::File;
use std::io::{BufReader, Read, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;
use zip::{CompressionMethod, ZipArchive};

/// More files than this are not unpacked.
const MOST_FILES: usize = 100_000;
/// An archive unpacks to at most so many times its own length, and [`SLACK`]: songs make about a
/// tenth, sound is packed as it is. Ours.
const MOST_TIMES: u64 = 200;
/// Bytes.
const SLACK: u64 = 1 << 20;
/// What marks the kind of a file in its mode under Unix (POSIX.1-2017, sys/stat.h, as Linux
/// numbers it), and a plain file.
const KIND_OF_FILE: u32 = 0o170_000;
const PLAIN_FILE: u32 = 0o100_000;

/// What was unpacked.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Unpacked {
    /// Songs that are new in the folder.
    pub n_songs: usize,
    /// Recordings.
    pub n_recordings: usize,
    /// Other files.
    pub n_others: usize,
    /// Files that were there already with the same content.
    pub n_there: usize,
    /// Hidden files of the archive, which are left out.
    pub n_hidden: usize,
    /// Songs whose recording is not beside them.
    pub missing: Vec<String>,
    /// Songs that cannot be read, and why.
    pub unreadable: Vec<(String, String)>,
}

/// A file of the archive.
struct Entry {
    index: usize,
    name: String,
    to: PathBuf,
    kind: Kind,
    length: u64,
}

type Archive = ZipArchive<BufReader<File>>;

/// Unpacks an archive into a folder, which is made if it is not there. No file that is there is
/// replaced; everything is read and checked before the first file gets its name.
///
/// `begin` is called with the number of bytes before the first is written.
///
/// # Errors
/// * [`BackupError::NotAnArchive`], [`BackupError::Refused`], [`BackupError::Differs`],
///   [`BackupError::NoRoom`].
/// * [`BackupError::Read`], [`BackupError::Write`], [`BackupError::Stopped`].
pub fn unpack(
    archive: &Path,
    folder: &Path,
    begin: &dyn Fn(u64),
    going: Going<'_>,
) -> Result<Unpacked, BackupError> {
    let length = std::fs::metadata(archive).and_then(|facts| match facts.is_file() {
        true => Ok(facts.len()),
        false => Err(std::io::Error::other("it is no plain file")),
    });
    let unreadable = |source| BackupError::Read {
        path: archive.into(),
        source,
    };
    let length = length.map_err(unreadable)?;
    let file = File::open(archive).map_err(unreadable)?;
    let not_one = |e: zip::result::ZipError| BackupError::NotAnArchive {
        path: archive.into(),
        reason: e.to_string(),
    };
    let mut zip = ZipArchive::new(BufReader::with_capacity(BLOCK, file)).map_err(not_one)?;
    let mut told = Unpacked::default();
    let refused = |entry: &str, reason: String| BackupError::Refused {
        path: archive.into(),
        entry: entry.into(),
        reason,
    };
    let entries = plan(&mut zip, length, &mut told).map_err(|(e, why)| refused(&e, why))?;
    let fresh = new_ones(&mut zip, entries, folder, &mut told)?;
    let needed: u64 = fresh.iter().map(|e| e.length).sum();
    // of a folder that is not made yet, what holds it is asked
    let place = if folder.exists() {
        folder.join("x")
    } else {
        folder.into()
    };
    if let Some(free) = free_bytes(&place)
        && free < needed
    {
        return Err(BackupError::NoRoom {
            path: folder.into(),
            needed,
            free,
        });
    }
    begin(needed);
    let stage = Stage::make(folder)?;
    for (i, entry) in fresh.iter().enumerate() {
        let to = stage.file(i);
        copy(&mut zip, entry, &to, going).map_err(|fault| match fault {
            Fault::Archive(why) => refused(&entry.name, why),
            Fault::Disk(source) => BackupError::Write { path: to, source },
            Fault::Stopped => BackupError::Stopped,
        })?;
    }
    place_all(&fresh, &stage, folder)?;
    report(&fresh, folder, &mut told);
    Ok(told)
}

/// Every file of the archive, once all of them may be unpacked.
fn plan(
    zip: &mut Archive,
    length: u64,
    told: &mut Unpacked,
) -> Result<Vec<Entry>, (String, String)> {
    let whole = |why: String| (String::new(), why);
    if zip.len() > MOST_FILES {
        return Err(whole(format!(
            "it has {} files ({MOST_FILES} at most)",
            zip.len()
        )));
    }
    if zip.has_duplicate_names() {
        return Err(whole("it has two files of one name".into()));
    }
    let overlaps = zip.has_overlapping_entries();
    if overlaps.map_err(|e| whole(e.to_string()))? {
        return Err(whole("files in it lie over each other".into()));
    }
    let mut entries = Vec::new();
    let mut folders: HashSet<PathBuf> = HashSet::new();
    let mut total: u64 = 0;
    for index in 0..zip.len() {
        if let Some(entry) = entry(zip, index, told)? {
            folders.extend(entry.to.ancestors().skip(1).map(Path::to_path_buf));
            total = total.saturating_add(entry.length);
            entries.push(entry);
        }
    }
    if let Some(both) = entries.iter().find(|e| folders.contains(&e.to)) {
        return Err((both.name.clone(), "is a file and a folder".into()));
    }
    let most = length.saturating_mul(MOST_TIMES).saturating_add(SLACK);
    if total > most {
        return Err(whole(format!(
            "it would unpack to {}, more than {MOST_TIMES} times its own length",
            super::error::size(total)
        )));
    }
    Ok(entries)
}

/// One file; none for a folder, and what is hidden.
fn entry(
    zip: &Archive,
    index: usize,
    told: &mut Unpacked,
) -> Result<Option<Entry>, (String, String)> {
    let unnamed = |e: zip::result::ZipError| (format!("file {}", index + 1), e.to_string());
    let found = zip.by_index_data(index).map_err(unnamed)?;
    let name = found.name().map_err(unnamed)?.into_owned();
    let no = |why: &str| Err((name.clone(), why.to_owned()));
    let to = match admitted(&name) {
        Err(why) => return no(why),
        Ok(Name::Hidden) => {
            told.n_hidden += usize::from(!found.is_dir());
            return Ok(None);
        }
        Ok(Name::Below(to)) => to,
    };
    if found.is_dir() {
        return Ok(None);
    }
    let kind_of_file = found.unix_mode().unwrap_or(0) & KIND_OF_FILE;
    if found.is_symlink() || ![0, PLAIN_FILE].contains(&kind_of_file) {
        return no("is a link or a device, no plain file");
    }
    if found.encrypted() {
        return no("is encrypted");
    }
    let method = found.compression();
    if ![CompressionMethod::Stored, CompressionMethod::Deflated].contains(&method) {
        return no("is packed in a way that is not read (only stored and deflated are)");
    }
    let ending = to.extension().and_then(|e| e.to_str()).unwrap_or_default();
    let kind = match ending.to_ascii_lowercase() {
        ending if ending == ENDING => Kind::Song,
        ending if audio::ENDINGS.contains(&ending.as_str()) => Kind::Recording,
        _ => Kind::Other,
    };
    if kind == Kind::Song && found.size() > MAX_BYTES {
        return no("is larger than a song can be");
    }
    Ok(Some(Entry {
        index,
        length: found.size(),
        name,
        to,
        kind,
    }))
}

/// Those that are not in the folder yet.
///
/// # Errors
/// * [`BackupError::Differs`] if one is there with another content, or its place is taken.
fn new_ones(
    zip: &mut Archive,
    entries: Vec<Entry>,
    folder: &Path,
    told: &mut Unpacked,
) -> Result<Vec<Entry>, BackupError> {
    let (mut fresh, mut differing) = (Vec::new(), Vec::new());
    for entry in entries {
        let path = folder.join(&entry.to);
        let between = entry
            .to
            .ancestors()
            .skip(1)
            .filter(|p| !p.as_os_str().is_empty());
        let is_taken = |p: &Path| {
            let facts = std::fs::symlink_metadata(folder.join(p));
            facts.is_ok_and(|facts| !facts.is_dir())
        };
        match std::fs::symlink_metadata(&path) {
            // a link is no folder to unpack into
            _ if between.into_iter().any(is_taken) => differing.push(entry.name),
            Err(_) => fresh.push(entry),
            Ok(facts)
                if facts.is_file()
                    && facts.len() == entry.length
                    && is_same(zip, &entry, &path) =>
            {
                told.n_there += 1;
            }
            Ok(_) => differing.push(entry.name),
        }
    }
    match differing.is_empty() {
        true => Ok(fresh),
        false => Err(BackupError::Differs {
            folder: folder.into(),
            names: differing,
        }),
    }
}

/// Whether a file has the content of one of the archive; both are of one length.
fn is_same(zip: &mut Archive, entry: &Entry, path: &Path) -> bool {
    let (Ok(packed), Ok(file)) = (zip.by_index(entry.index), File::open(path)) else {
        return false;
    };
    let mut packed = packed.take(entry.length + 1);
    let mut file = BufReader::with_capacity(BLOCK, file);
    let (mut a, mut b) = (vec![0; BLOCK], vec![0; BLOCK]);
    loop {
        let Ok(n) = packed.read(&mut a) else {
            return false;
        };
        if n == 0 {
            return true;
        }
        if file.read_exact(&mut b[..n]).is_err() || a[..n] != b[..n] {
            return false;
        }
    }
}

/// Where files lie until all are whole. Dropped, it is gone, and so is what was made for it.
struct Stage {
    made: Vec<PathBuf>,
    files: Option<tempfile::TempDir>,
}

impl Stage {
    fn make(folder: &Path) -> Result<Self, BackupError> {
        let mut stage = Self {
            made: Vec::new(),
            files: None,
        };
        let failed = |path: &Path| {
            let path = path.to_path_buf();
            move |source| BackupError::Write { path, source }
        };
        let side = folder.join(SIDE_FOLDER);
        if folder.exists() && !folder.is_dir() {
            let why = std::io::Error::other("it is no folder");
            return Err(failed(folder)(why));
        }
        for place in [folder, &side] {
            match std::fs::create_dir(place) {
                Ok(()) => stage.made.push(place.into()),
                Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(failed(place)(e)),
            }
        }
        if !std::fs::symlink_metadata(&side).is_ok_and(|facts| facts.is_dir()) {
            let why = std::io::Error::other("it is no folder");
            return Err(failed(&side)(why));
        }
        let mut making = tempfile::Builder::new();
        let files = making
            .prefix("unpacking-")
            .suffix(".part")
            .tempdir_in(&side);
        stage.files = Some(files.map_err(|e| failed(&side)(e.kind().into()))?);
        Ok(stage)
    }

    fn file(&self, i: usize) -> PathBuf {
        let folder = self.files.as_ref().map(tempfile::TempDir::path);
        folder.unwrap_or(Path::new(".")).join(i.to_string())
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        self.files.take();
        for folder in self.made.iter().rev() {
            // what is in use is not empty, and stays
            let _ = std::fs::remove_dir(folder);
        }
    }
}

enum Fault {
    Archive(String),
    Disk(std::io::Error),
    Stopped,
}

/// Writes one file to its place on the stage; its length and checksum must be as announced.
fn copy(zip: &mut Archive, entry: &Entry, to: &Path, going: Going<'_>) -> Result<(), Fault> {
    let damaged = |e: &dyn std::fmt::Display| Fault::Archive(format!("is damaged: {e}"));
    let mut packed = zip.by_index(entry.index).map_err(|e| damaged(&e))?;
    let mut file = File::create_new(to).map_err(Fault::Disk)?;
    let mut block = vec![0; BLOCK];
    let mut n_bytes: u64 = 0;
    loop {
        let n = packed.read(&mut block).map_err(|e| damaged(&e))?;
        if n == 0 {
            break;
        }
        n_bytes += n as u64;
        if n_bytes > entry.length {
            return Err(damaged(&"it is longer than it says"));
        }
        file.write_all(&block[..n]).map_err(Fault::Disk)?;
        stop_unless(going(n as u64)).map_err(|_| Fault::Stopped)?;
    }
    if n_bytes < entry.length {
        return Err(damaged(&"it is shorter than it says"));
    }
    file.sync_all().map_err(Fault::Disk)
}

/// Gives every file its name; none that is there meanwhile is replaced.
fn place_all(entries: &[Entry], stage: &Stage, folder: &Path) -> Result<(), BackupError> {
    for (i, entry) in entries.iter().enumerate() {
        let path = folder.join(&entry.to);
        let failed = |source| BackupError::Write {
            path: path.clone(),
            source,
        };
        let parent = path.parent().unwrap_or(folder);
        std::fs::create_dir_all(parent).map_err(failed)?;
        let part = TempPath::try_from_path(stage.file(i)).map_err(failed)?;
        part.persist_noclobber(&path).map_err(|e| failed(e.error))?;
    }
    // a name that does not outlast a power cut is unpacked again
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// What is new in the folder, and which songs lack something.
fn report(entries: &[Entry], folder: &Path, told: &mut Unpacked) {
    for entry in entries {
        match entry.kind {
            Kind::Song => told.n_songs += 1,
            Kind::Recording => told.n_recordings += 1,
            Kind::Other => told.n_others += 1,
        }
        if entry.kind != Kind::Song {
            continue;
        }
        let path = folder.join(&entry.to);
        match store::load(&path) {
            Ok(log) if log.take.rate_hz > 0 && !take_path(&path, &log).is_file() => {
                told.missing.push(entry.name.clone());
            }
            Ok(_) => {}
            Err(error) => told
                .unreadable
                .push((entry.name.clone(), error.to_string())),
        }
    }
}
