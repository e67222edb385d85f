//! A folder's songs as they are now. A log is read again only when its file changed.

use super::facts::{Facts, Recording};
use super::incoming::Kind;
use super::journal::{self, Noted};
use crate::desk::book::Stamp;
use crate::songlog::store;
use rayon::prelude::*;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The logs of one folder.
#[derive(Debug)]
pub(super) struct Listing {
    /// Without links in it.
    folder: PathBuf,
    known: Mutex<Known>,
    /// Recordings that were held against a song.
    checked: Arc<Mutex<BTreeSet<PathBuf>>>,
    /// Held while the folder is looked at.
    looking: Mutex<()>,
}

#[derive(Debug, Default)]
struct Known {
    /// One more with each change.
    revision: u64,
    /// Whether the folder was ever looked at.
    is_looked_at: bool,
    /// By file name.
    songs: BTreeMap<String, Entry>,
    /// Recordings that no song is about.
    without_song: Vec<Loose>,
    /// Folders inside it, which are not looked into.
    folders: Vec<String>,
    /// Why the folder cannot be listed now.
    trouble: Option<String>,
}

/// A recording of the folder.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
struct Loose {
    file: String,
    bytes: u64,
    /// Whether it was held against a song since the program began.
    checked: bool,
    /// Whether the program that recorded it was killed.
    cut_short: bool,
}

/// What is in the folder, before it is read.
#[derive(Debug, Default)]
struct Found {
    /// The logs, by name.
    songs: BTreeMap<String, (PathBuf, File)>,
    recordings: Vec<Loose>,
    folders: Vec<String>,
}

#[derive(Debug)]
struct Entry {
    path: PathBuf,
    file: File,
    /// None until it was read.
    facts: Option<Facts>,
    /// The revision that it changed with.
    since: u64,
}

/// A file as it is found, before it is read.
#[derive(Debug, Clone, PartialEq)]
enum File {
    There(Stamp),
    /// It is not opened, for this reason.
    Refused(String),
}

impl Listing {
    pub(super) fn new(folder: PathBuf, checked: Arc<Mutex<BTreeSet<PathBuf>>>) -> Self {
        Self {
            folder,
            checked,
            known: Mutex::default(),
            looking: Mutex::default(),
        }
    }

    fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Differs whenever the list does.
    pub(super) fn revision(&self) -> u64 {
        self.known().revision
    }

    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Whether a recording that no song is about is listed by this name, and no link.
    pub(super) fn has_recording(&self, name: &str) -> bool {
        let known = self.known();
        known.without_song.iter().any(|r| r.file == name) && size(&self.folder.join(name)).is_some()
    }

    /// The folder's own name.
    pub(super) fn name(&self) -> String {
        let name = self.folder.file_name().unwrap_or(self.folder.as_os_str());
        name.to_string_lossy().into_owned()
    }

    /// The names of all songs that can be read, in order.
    pub(super) fn readable(&self) -> Vec<String> {
        let known = self.known();
        let songs = known.songs.iter();
        let readable = songs.filter(|(_, e)| e.facts.as_ref().is_some_and(|f| !f.has_trouble()));
        readable.map(|(name, _)| name.clone()).collect()
    }

    /// Where a listed song lies, if it may be opened now.
    ///
    /// # Errors
    /// Why it may not, in words; none if no such song is listed.
    pub(super) fn find(&self, name: &str) -> Result<PathBuf, Option<String>> {
        let listed = |known: &Known| known.songs.get(name).map(|entry| entry.path.clone());
        let path = listed(&self.known());
        // it may be new since the last look
        let path = path.or_else(|| {
            self.look();
            listed(&self.known())
        });
        let path = path.ok_or(None)?;
        match leads_out(&self.folder, &path) {
            Some(why) => Err(Some(why)),
            None => Ok(path),
        }
    }

    /// What changed after a revision, and which songs there are.
    pub(super) fn since(&self, revision: u64) -> Value {
        let known = self.known();
        // of a desk before this one
        let after = if revision > known.revision {
            0
        } else {
            revision
        };
        let changed: Vec<Value> = known
            .songs
            .iter()
            .filter(|(_, entry)| entry.since > after)
            .filter_map(|(name, entry)| {
                let mut value = json!(entry.facts.as_ref()?);
                value["file"] = json!(name);
                Some(value)
            })
            .collect();
        let unread = known.songs.values().filter(|e| e.facts.is_none());
        json!({
            "revision": known.revision,
            "folder": self.name(),
            "files": known.songs.keys().collect::<Vec<_>>(),
            "n_unread": known.is_looked_at.then(|| unread.count()),
            "songs": changed,
            "without_song": known.without_song,
            "folders": known.folders,
            "trouble": known.trouble,
        })
    }

    /// Looks at the folder, and reads what is new or changed.
    pub(super) fn look(&self) {
        let _alone = self.looking.lock().unwrap_or_else(PoisonError::into_inner);
        let Found {
            songs,
            recordings,
            folders,
        } = match self.files() {
            Ok(found) => found,
            Err(error) => {
                let why = format!("the folder cannot be listed: {error}");
                self.known().set_trouble(Some(why));
                return;
            }
        };
        let fresh = self.known().take_in(songs);
        fresh.par_iter().for_each(|(name, path, file)| {
            let facts = match file {
                File::There(_) => Facts::read(path),
                File::Refused(why) => Facts::without(path, why.clone()),
            };
            self.known().put(name, file, facts);
        });
        self.look_for_recordings();
        self.known().set_the_rest(&self.folder, recordings, folders);
    }

    /// The logs and recordings in the folder.
    fn files(&self) -> std::io::Result<Found> {
        let mut found = Found::default();
        let noted = journal::noted(&self.folder);
        let checked = self.checked.lock().unwrap_or_else(PoisonError::into_inner);
        let checked = checked.clone();
        for entry in std::fs::read_dir(&self.folder)? {
            let path = entry?.path();
            if path.extension().is_none_or(|e| e != store::ENDING) {
                let loose = loose(&path, &noted, checked.contains(&path));
                found.recordings.extend(loose);
                found.folders.extend(inner_folder(&path));
                continue;
            }
            let name = path.file_name().unwrap_or_default();
            let file = match (leads_out(&self.folder, &path), name.to_str()) {
                (Some(why), _) => File::Refused(why),
                (None, None) => {
                    File::Refused("its name is not Unicode text: rename the file".into())
                }
                (None, Some(_)) => match Stamp::of(&path) {
                    Ok(stamp) => File::There(stamp),
                    Err(error) => File::Refused(format!("it cannot be read: {error}")),
                },
            };
            let name = name.to_string_lossy().into_owned();
            found.songs.insert(name, (path, file));
        }
        found.recordings.sort_by(|a, b| a.file.cmp(&b.file));
        found.folders.sort();
        Ok(found)
    }

    /// Takes moved and returned as they come and go without a change of their logs.
    fn look_for_recordings(&self) {
        let takes: Vec<(String, Option<PathBuf>, Recording)> = {
            let known = self.known();
            let read = known.songs.iter().filter_map(|(name, entry)| {
                let facts = entry.facts.as_ref()?;
                Some((name.clone(), facts.take.clone(), facts.recording))
            });
            read.collect()
        };
        for (name, take, before) in takes {
            let now = Recording::of(take.as_deref());
            if now != before {
                self.known().set_recording(&name, now);
            }
        }
    }
}

/// The name of a folder; no link, and nothing hidden.
fn inner_folder(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_str()?;
    let is_shown = !name.starts_with('.') && std::fs::symlink_metadata(path).ok()?.is_dir();
    is_shown.then(|| name.into())
}

/// A recording by its ending; no link, nothing hidden, and none that is being made now.
fn loose(path: &Path, noted: &[Noted], checked: bool) -> Option<Loose> {
    let file = path.file_name()?.to_str()?;
    let own = noted.iter().find(|n| n.file == file);
    if own.is_some_and(|n| n.runs) {
        return None;
    }
    let is_sound = Kind::of(file) == Some(Kind::Sound) && !file.starts_with('.');
    let bytes = is_sound.then(|| size(path)).flatten()?;
    Some(Loose {
        file: file.into(),
        bytes,
        checked,
        cut_short: own.is_some(),
    })
}

/// Bytes of a file that is no link.
fn size(path: &Path) -> Option<u64> {
    let facts = std::fs::symlink_metadata(path).ok()?;
    facts.is_file().then_some(facts.len())
}

/// Why a file is not opened though it is listed: it is a link that leads out of the folder.
fn leads_out(folder: &Path, path: &Path) -> Option<String> {
    if !path.is_symlink() {
        return None;
    }
    match path.canonicalize() {
        Ok(real) if real.starts_with(folder) => None,
        Ok(_) => Some("it is a link that leads out of this folder, and is not followed".into()),
        Err(_) => Some("it is a link to a file that is not there".into()),
    }
}

impl Known {
    fn set_trouble(&mut self, trouble: Option<String>) {
        if self.trouble != trouble {
            self.trouble = trouble;
            self.revision += 1;
        }
    }

    /// Forgets the files that are gone and gives those that are to be read.
    fn take_in(
        &mut self,
        found: BTreeMap<String, (PathBuf, File)>,
    ) -> Vec<(String, PathBuf, File)> {
        self.set_trouble(None);
        let mut has_changed = !self.is_looked_at;
        self.is_looked_at = true;
        let before = self.songs.len();
        self.songs.retain(|name, _| found.contains_key(name));
        has_changed |= self.songs.len() != before;
        let mut fresh = Vec::new();
        for (name, (path, file)) in found {
            let known = self.songs.get(&name);
            if known.is_some_and(|e| e.facts.is_some() && e.file == file) {
                continue;
            }
            if known.is_none() {
                has_changed = true;
                let entry = Entry {
                    path: path.clone(),
                    file: file.clone(),
                    facts: None,
                    since: 0,
                };
                self.songs.insert(name.clone(), entry);
            }
            fresh.push((name, path, file));
        }
        self.revision += u64::from(has_changed);
        fresh
    }

    /// Notes which recordings no song is about, once all songs were read, and the folders.
    fn set_the_rest(&mut self, folder: &Path, mut recordings: Vec<Loose>, folders: Vec<String>) {
        let songs = self.songs.values().filter_map(|e| e.facts.as_ref());
        let takes: BTreeSet<&Path> = songs
            .filter_map(|facts| facts.take.as_deref()?.strip_prefix(folder).ok())
            .collect();
        recordings.retain(|r| !takes.contains(Path::new(&r.file)));
        if self.without_song != recordings || self.folders != folders {
            self.without_song = recordings;
            self.folders = folders;
            self.revision += 1;
        }
    }

    fn put(&mut self, name: &str, file: &File, facts: Facts) {
        if let Some(entry) = self.songs.get_mut(name) {
            self.revision += 1;
            entry.file = file.clone();
            entry.facts = Some(facts);
            entry.since = self.revision;
        }
    }

    fn set_recording(&mut self, name: &str, recording: Recording) {
        let Some(entry) = self.songs.get_mut(name) else {
            return;
        };
        if let Some(facts) = &mut entry.facts {
            self.revision += 1;
            facts.recording = recording;
            entry.since = self.revision;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn links_out_of_the_folder_and_damaged_files_are_listed_with_the_reason() {
        let folder = || tempfile::tempdir().expect("a folder");
        let (outer, inner) = (folder(), folder());
        let folder = inner.path().canonicalize().expect("a folder");
        std::fs::write(outer.path().join("secret.takebook"), "{}").expect("written");
        std::fs::write(folder.join("damaged.takebook"), "no song").expect("written");
        std::fs::write(folder.join("notes.txt"), "not listed").expect("written");
        let link = |to: PathBuf, name: &str| {
            std::os::unix::fs::symlink(to, folder.join(name)).expect("a link");
        };
        link(outer.path().join("secret.takebook"), "out.takebook");
        link(folder.join("damaged.takebook"), "in.takebook");
        let listing = Listing::new(folder.clone(), Arc::default());
        listing.look();
        let told = listing.since(0);
        let files = ["damaged.takebook", "in.takebook", "out.takebook"];
        assert_eq!(told["files"], json!(files));
        assert_eq!(told["n_unread"], 0);
        let why = |i: usize| {
            told["songs"][i]["trouble"]
                .as_str()
                .expect("a reason")
                .to_owned()
        };
        assert!(why(0).contains("not JSON"), "{}", why(0));
        assert!(why(2).contains("leads out"), "{}", why(2));
        assert_eq!(listing.find("in.takebook"), Ok(folder.join("in.takebook")));
        assert!(matches!(listing.find("out.takebook"), Err(Some(_))));
        for not_listed in ["../secret.takebook", "notes.txt", "", "/etc/passwd"] {
            assert_eq!(listing.find(not_listed), Err(None), "{not_listed}");
        }
        // only what changed is told again
        let revision = told["revision"].as_u64().expect("a number");
        listing.look();
        assert_eq!(listing.since(revision)["songs"], json!([]));
        assert_eq!(listing.revision(), revision);
        std::fs::remove_file(folder.join("in.takebook")).expect("removed");
        listing.look();
        assert_eq!(
            listing.since(revision)["files"],
            json!([files[0], files[2]])
        );
    }
}
