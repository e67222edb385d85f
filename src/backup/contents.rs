//! What of a folder goes into its archive, and under which names.

use super::BackupError;
use super::names::of_path;
use crate::audio;
use crate::songlog::store::{ENDING, MAX_BYTES, take_path};
use crate::songlog::{self, Log};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Folder of the archive for recordings that lie outside the songs' folder.
const RECORDINGS: &str = "recordings";

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A song file.
    Song,
    /// A recording.
    Recording,
    /// Anything else that lies in the folder.
    Other,
}

/// A recording that gets a place of its own in the archive; its song names it there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    /// The song's file.
    pub song: String,
    /// Where the recording lies.
    pub from: PathBuf,
    /// Its name in the archive.
    pub to: String,
}

/// Where the bytes of a file come from.
#[derive(Debug)]
pub(super) enum Bytes {
    /// A file, so many bytes of it.
    Of(PathBuf, u64),
    /// A song that names its recording otherwise than its file does.
    Text(String),
}

/// A file of the archive.
#[derive(Debug)]
pub(super) struct Item {
    pub(super) kind: Kind,
    pub(super) bytes: Bytes,
}

/// What goes in, and what does not.
#[derive(Debug, Default)]
pub(super) struct Contents {
    /// By name in the archive.
    pub(super) items: BTreeMap<String, Item>,
    pub(super) moved: Vec<Moved>,
    /// Songs whose recording is not where they say, and what they say.
    pub(super) missing: Vec<(String, PathBuf)>,
    /// What is not put in, and why.
    pub(super) left_out: Vec<(String, &'static str)>,
    /// Recordings that are not put in since no sound was wanted.
    pub(super) n_silent: usize,
}

/// Looks through a folder; `not` is the archive itself.
///
/// # Errors
/// * [`BackupError::Read`] if the folder or a song cannot be read.
/// * [`BackupError::NoSongs`].
pub(super) fn contents(
    folder: &Path,
    with_sound: bool,
    not: &Path,
) -> Result<Contents, BackupError> {
    let failed = |path: &Path| {
        let path = path.to_path_buf();
        move |source| BackupError::Read { path, source }
    };
    let real = folder.canonicalize().map_err(failed(folder))?;
    let mut entries = Vec::new();
    for entry in std::fs::read_dir(&real).map_err(failed(folder))? {
        entries.push(entry.map_err(failed(folder))?.path());
    }
    entries.sort();
    let mut gathering = Gathering {
        folder: real,
        with_sound,
        found: Contents::default(),
        outside: HashMap::new(),
        taken: HashSet::new(),
    };
    let is_song = |path: &PathBuf| path.extension().is_some_and(|e| e == ENDING);
    let (songs, others): (Vec<PathBuf>, Vec<PathBuf>) = entries.into_iter().partition(is_song);
    for path in songs.iter().chain(&others) {
        gathering
            .taken
            .extend(path.file_name().map(|n| n.to_string_lossy().to_lowercase()));
    }
    for path in &songs {
        gathering.song(path)?;
    }
    let not = not.canonicalize().ok();
    for path in others.iter().filter(|path| Some(*path) != not.as_ref()) {
        gathering.loose(path);
    }
    let has_song = gathering.found.items.values().any(|i| i.kind == Kind::Song);
    match has_song {
        true => Ok(gathering.found),
        false => Err(BackupError::NoSongs {
            folder: folder.into(),
        }),
    }
}

struct Gathering {
    folder: PathBuf,
    with_sound: bool,
    found: Contents,
    /// Recordings outside the folder, and what they are called in the archive.
    outside: HashMap<PathBuf, String>,
    /// Names that are used, in small letters.
    taken: HashSet<String>,
}

impl Gathering {
    fn put(&mut self, name: String, kind: Kind, bytes: Bytes) {
        self.found.items.entry(name).or_insert(Item { kind, bytes });
    }

    /// The name and length of a plain file of the folder; else it is left out, with the reason.
    fn plain(&mut self, path: &Path) -> Option<(String, u64)> {
        let shown = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let name = path.file_name().and_then(|n| of_path(Path::new(n)));
        let facts = std::fs::symlink_metadata(path);
        let why = match (&name, &facts) {
            _ if shown.starts_with('.') => return None,
            (_, Err(_)) => "it cannot be read",
            (_, Ok(facts)) if facts.is_dir() => {
                "a folder; only the recordings that songs name in it are"
            }
            (_, Ok(facts)) if facts.is_symlink() => "a link",
            (_, Ok(facts)) if !facts.is_file() => "no plain file",
            (None, _) => "its name cannot stand in an archive",
            (Some(name), Ok(facts)) => return Some((name.clone(), facts.len())),
        };
        self.found.left_out.push((shown, why));
        None
    }

    /// A song, and the recording that it names.
    fn song(&mut self, path: &Path) -> Result<(), BackupError> {
        let Some((name, length)) = self.plain(path) else {
            return Ok(());
        };
        let text = read_text(path).map_err(|source| BackupError::Read {
            path: path.into(),
            source,
        })?;
        let log = text
            .as_deref()
            .and_then(|text| songlog::read(path, text).ok());
        let moved = log.and_then(|log| {
            let to = self.take(&name, path, &log)?;
            let mut log = log;
            log.take.file = to;
            Some(songlog::write(&log))
        });
        let bytes = match moved {
            Some(text) => Bytes::Text(text),
            // one that cannot be read is kept as it is
            None => Bytes::Of(path.into(), length),
        };
        self.put(name, Kind::Song, bytes);
        Ok(())
    }

    /// Puts a song's recording in; gives its name there, if the song does not name it so already.
    fn take(&mut self, song: &str, path: &Path, log: &Log) -> Option<String> {
        // of what was imported or typed the song holds all
        if log.take.rate_hz == 0 || !self.with_sound {
            return None;
        }
        let wanted = take_path(path, log);
        let found = wanted.canonicalize().ok();
        let length = found.as_ref().and_then(|p| {
            let facts = std::fs::metadata(p).ok()?;
            facts.is_file().then_some(facts.len())
        });
        let (Some(real), Some(length)) = (found, length) else {
            self.found.missing.push((song.into(), wanted));
            return None;
        };
        let inside = real.strip_prefix(&self.folder).ok().and_then(of_path);
        if inside.is_none() && audio::open(&real).is_err() {
            // a song may come from anyone: what it names elsewhere goes in only if it is sound
            self.found.missing.push((song.into(), wanted));
            return None;
        }
        let as_named = of_path(Path::new(&log.take.file));
        if let Some(name) = as_named {
            self.put(name, Kind::Recording, Bytes::Of(real, length));
            return None;
        }
        let to = match inside {
            Some(name) => name,
            None => self.name_outside(&real),
        };
        self.put(to.clone(), Kind::Recording, Bytes::Of(real.clone(), length));
        self.found.moved.push(Moved {
            song: song.into(),
            from: real,
            to: to.clone(),
        });
        Some(to)
    }

    /// What a recording outside the folder is called in the archive.
    fn name_outside(&mut self, real: &Path) -> String {
        if let Some(name) = self.outside.get(real) {
            return name.clone();
        }
        let part = |of: Option<&std::ffi::OsStr>| of.and_then(|n| of_path(Path::new(n)));
        let stem = part(real.file_stem()).unwrap_or_else(|| "recording".into());
        let ending = part(real.extension()).unwrap_or_else(|| "wav".into());
        let names = (1..).map(|n| match n {
            1 => format!("{RECORDINGS}/{stem}.{ending}"),
            n => format!("{RECORDINGS}/{stem} {n}.{ending}"),
        });
        let is_free = |name: &String| {
            !self.taken.contains(&name.to_lowercase()) && !self.folder.join(name).exists()
        };
        let name = names.into_iter().find(is_free).unwrap_or_default();
        self.taken.insert(name.to_lowercase());
        self.outside.insert(real.into(), name.clone());
        name
    }

    /// A file of the folder that is no song.
    fn loose(&mut self, path: &Path) {
        let known = path.file_name().and_then(|n| n.to_str());
        if known.is_some_and(|n| self.found.items.contains_key(n)) {
            return;
        }
        let Some((name, length)) = self.plain(path) else {
            return;
        };
        let ending = path
            .extension()
            .and_then(|e| e.to_str())
            .unwrap_or_default();
        let ending = ending.to_ascii_lowercase();
        if ending == "zip" {
            self.found.left_out.push((name, "an archive"));
            return;
        }
        let kind = match audio::ENDINGS.contains(&ending.as_str()) {
            true if !self.with_sound => {
                self.found.n_silent += 1;
                return;
            }
            true => Kind::Recording,
            false => Kind::Other,
        };
        self.put(name, kind, Bytes::Of(path.into(), length));
    }
}

/// A song's text; none if it is none, or too long for a song.
fn read_text(path: &Path) -> std::io::Result<Option<String>> {
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path)?;
    file.take(MAX_BYTES + 1).read_to_end(&mut bytes)?;
    let is_short = bytes.len() as u64 <= MAX_BYTES;
    Ok(is_short.then(|| String::from_utf8(bytes).ok()).flatten())
}
