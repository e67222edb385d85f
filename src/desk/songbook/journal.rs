//! What is known of a recording while it is made, in a small file beside the songs: its name and
//! its marks, a line each. While the recording runs, the file is locked. One that is not was left
//! by a program that was killed: it says which recording ends before its end.

use super::incoming::{real_side_folder, side_folder};
use crate::audio;
use crate::desk::error::{ApiError, ApiResult};
use axum::http::StatusCode;
use std::fs::{File, TryLockError};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// The name of such a file begins and ends so.
const NAMED: (&str, &str) = ("recording-", ".lines");
/// A larger one is not ours, bytes.
const LARGEST: u64 = 1 << 20;

/// That of a recording that runs.
#[cfg_attr(not(feature = "mic"), allow(dead_code, reason = "nothing can record"))]
pub(super) struct Journal {
    path: PathBuf,
    /// Locked until it is closed.
    file: File,
}

#[cfg_attr(not(feature = "mic"), allow(dead_code, reason = "nothing can record"))]
impl Journal {
    /// Begins for a recording of this name in a folder.
    ///
    /// # Errors
    /// 500 or 507 if it cannot be written.
    pub(super) fn begin(folder: &Path, name: &str) -> ApiResult<Self> {
        let begun = |side: &Path| {
            let file = tempfile::Builder::new()
                .prefix(NAMED.0)
                .suffix(NAMED.1)
                .tempfile_in(side)?;
            // locked before its name lasts: nobody sees it without
            file.as_file().lock()?;
            writeln!(file.as_file(), "{name}")?;
            file.as_file().sync_all()?;
            let (file, path) = file.keep().map_err(|e| e.error)?;
            Ok(Self { path, file })
        };
        side_folder(folder)
            .and_then(|side| begun(&side))
            .map_err(unwritable)
    }

    /// Notes a mark, s. What cannot be noted is still in the recording in the end.
    pub(super) fn mark(&mut self, at_s: f64) {
        let _ = writeln!(self.file, "{at_s:.3}").and_then(|()| self.file.sync_data());
    }

    /// The recording is whole, or gone.
    pub(super) fn end(self) {
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Why nothing can be recorded into the folder.
pub(super) fn unwritable(error: std::io::Error) -> ApiError {
    if error.kind() == ErrorKind::StorageFull {
        return no_room();
    }
    ApiError::new(
        StatusCode::INTERNAL_SERVER_ERROR,
        format!("nothing is recorded: this folder cannot be written to: {error}"),
    )
}

/// 507.
pub(super) fn no_room() -> ApiError {
    ApiError::new(
        StatusCode::INSUFFICIENT_STORAGE,
        "nothing is recorded: the disk has no room for it",
    )
}

/// A recording that has a journal.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Noted {
    path: PathBuf,
    /// Its name in the folder.
    pub(super) file: String,
    marks_s: Vec<f64>,
    /// Whether it is being made now, by this program or another.
    pub(super) runs: bool,
}

/// All recordings of a folder that have a journal.
pub(super) fn noted(folder: &Path) -> Vec<Noted> {
    let Ok(side) = real_side_folder(folder) else {
        return Vec::new();
    };
    let entries = std::fs::read_dir(side).into_iter().flatten().flatten();
    let ours = entries.filter(|entry| {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        name.starts_with(NAMED.0) && name.ends_with(NAMED.1)
    });
    ours.filter_map(|entry| read(&entry.path())).collect()
}

fn read(path: &Path) -> Option<Noted> {
    let facts = std::fs::symlink_metadata(path).ok()?;
    if !facts.is_file() || facts.len() > LARGEST {
        return None;
    }
    let file = File::open(path).ok()?;
    let runs = matches!(file.try_lock(), Err(TryLockError::WouldBlock));
    let text = std::fs::read_to_string(path).ok()?;
    let mut lines = text.lines();
    let name = lines.next().filter(|name| is_a_name(name))?;
    Some(Noted {
        path: path.into(),
        file: name.into(),
        marks_s: lines.map_while(|line| line.parse().ok()).collect(),
        runs,
    })
}

/// Whether a line names a file of the folder itself.
fn is_a_name(line: &str) -> bool {
    let path = Path::new(line);
    !line.starts_with('.') && path.file_name() == Some(path.as_os_str())
}

/// Mends what a program before this one was killed over: its recordings are made whole, with
/// their marks; one in which there is no sound is removed.
pub(super) fn mend(folder: &Path) {
    for noted in noted(folder).into_iter().filter(|n| !n.runs) {
        let path = folder.join(&noted.file);
        let is_file = std::fs::symlink_metadata(&path).is_ok_and(|facts| facts.is_file());
        match is_file.then(|| audio::mend(&path, &noted.marks_s)) {
            None => forget(&noted),
            Some(Ok(0.0)) => {
                let _ = std::fs::remove_file(&path);
                forget(&noted);
            }
            // the list says that it is not whole
            Some(_) => {}
        }
    }
}

/// Nobody need be told any more that this recording is not whole.
pub(super) fn forget_file(folder: &Path, file: &str) {
    let own = noted(folder).into_iter().filter(|n| !n.runs);
    own.filter(|n| n.file == file).for_each(|n| forget(&n));
}

fn forget(noted: &Noted) {
    let _ = std::fs::remove_file(&noted.path);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wav(path: &Path, n_frames: usize) {
        let mut recording =
            audio::Recording::create(path, 1, 1000, audio::SampleForm::Int24, false)
                .expect("begun");
        recording.push(&vec![0.25; n_frames]).expect("written");
        recording.finish().expect("whole");
    }

    #[test]
    fn a_recording_runs_until_its_program_is_gone_and_is_mended_then() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path();
        wav(&folder.join("a.wav"), 3000);
        wav(&folder.join("empty.wav"), 0);
        let mut own = Journal::begin(folder, "a.wav").expect("begun");
        own.mark(1.25);
        own.mark(2.0);
        let empty = Journal::begin(folder, "empty.wav").expect("begun");
        let gone = Journal::begin(folder, "gone.wav").expect("begun");
        assert!(noted(folder).iter().all(|n| n.runs));
        mend(folder);
        assert_eq!(noted(folder).len(), 3, "what runs is left alone");
        // as if the program was killed
        drop((own, empty, gone));
        mend(folder);
        assert!(!folder.join("empty.wav").exists());
        let [left] = &noted(folder)[..] else {
            panic!("{:?}", noted(folder));
        };
        assert_eq!((&left.file[..], left.runs), ("a.wav", false));
        assert_eq!(audio::marks(&folder.join("a.wav")), [1.25, 2.0]);
        forget_file(folder, "a.wav");
        assert_eq!(noted(folder), []);
        assert!(folder.join("a.wav").exists());
    }

    #[test]
    fn a_journal_names_no_file_of_another_folder() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path().join("songs");
        std::fs::create_dir(&folder).expect("a folder");
        wav(&dir.path().join("outer.wav"), 0);
        side_folder(&folder).expect("a folder");
        for (i, name) in ["../outer.wav", "", "/etc/hosts", ".takebook", "a/b.wav"]
            .iter()
            .enumerate()
        {
            let path = folder.join(format!(".takebook/recording-{i}.lines"));
            std::fs::write(path, format!("{name}\n1.0\n")).expect("written");
        }
        mend(&folder);
        assert_eq!(noted(&folder), []);
        assert!(dir.path().join("outer.wav").exists());
    }
}
