//! Several logs in one PDF: a set list in the order given, a folder by title.

use super::{Chart, save};
use crate::chart::{Format, Options, binder_of_versions};
use crate::cli::plain::shown;
use crate::cli::{CliError, Outcome};
use crate::songlog::song::Song;
use crate::songlog::store;
use crate::songlog::versions::versions_for;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::Write;
use std::path::{Path, PathBuf};

/// A song's file, and the song with the options that it is bound with.
type Bound = (PathBuf, (Song, Options));

impl Chart {
    /// Binds the logs in the order given, those of a folder by title.
    pub(super) fn binder(
        &self,
        format: Format,
        output: &Path,
        out: &mut dyn Write,
    ) -> Result<Outcome, CliError> {
        let to_stdout = output.as_os_str() == "-";
        if format != Format::Pdf {
            return Err(CliError::new(
                "a folder or several logs make a binder, which is a .pdf (name one log for another format)",
            ));
        }
        let bound = self.with_options(self.songs()?)?;
        let (files, songs): (Vec<PathBuf>, Vec<(Song, Options)>) = bound.into_iter().unzip();
        let common = match self.version {
            Some(_) => Options::common(songs.iter().map(|(_, options)| options)),
            None => Options::default(),
        };
        let options = self.over(common);
        let has_notes = |(song, own): &(Song, Options)| {
            let notes = own.lesson_notes.as_ref();
            notes.is_some_and(|n| !n.words(song).is_empty())
        };
        if self.with_lesson_notes.is_some() && !songs.iter().any(has_notes) {
            return Err(CliError::new(
                "none of these songs has such notes of lessons; no binder was written (takebook lesson FOLDER shows all)",
            ));
        }
        // shown on a terminal only
        let bar = ProgressBar::new(songs.len() as u64).with_style(
            ProgressStyle::with_template("binding {bar:30} {pos} of {len} songs")
                .unwrap_or_else(|_| ProgressStyle::default_bar()),
        );
        let bytes =
            binder_of_versions(&self.binder_title(output), &songs, &options, &|| bar.inc(1));
        bar.finish_and_clear();
        let bytes = bytes.map_err(|(i, error)| {
            CliError::new(format!(
                "{}: {error}; no binder was written",
                files[i].display()
            ))
        })?;
        if to_stdout {
            out.write_all(&bytes)?;
        } else {
            save(output, &bytes, self.overwrite)?;
        }
        let n_open: usize = songs.iter().map(|(s, _)| s.n_open()).sum();
        let n_chords: usize = songs.iter().map(|(s, _)| s.n_chords()).sum();
        if n_open > 0 {
            writeln!(
                std::io::stderr().lock(),
                "takebook: {n_open} of {n_chords} chords are not confirmed yet and marked as such"
            )?;
        }
        if !to_stdout && self.json {
            let said = serde_json::json!({
                "version": 1,
                "file": output.display().to_string(),
                "bytes": bytes.len(),
                "n_songs": songs.len(),
                "n_chords": n_chords,
                "n_open": n_open,
            });
            writeln!(out, "{said}")?;
        } else if !to_stdout {
            let n = match songs.len() {
                1 => "1 song".to_owned(),
                n => format!("{n} songs"),
            };
            writeln!(out, "wrote {}: {n}", shown(output))?;
        }
        Ok(crate::cli::confirmed(self.require_confirmed, n_open))
    }
}

impl Chart {
    /// The songs in the order given; those of a folder by title.
    pub(super) fn songs(&self) -> Result<Vec<(PathBuf, Song)>, CliError> {
        let mut songs: Vec<(PathBuf, Song)> = Vec::new();
        let mut failed = Vec::new();
        for named in &self.logs {
            let first = songs.len();
            let files = match named.is_dir() {
                true => logs(named)?,
                false => vec![named.clone()],
            };
            for file in files {
                match self.load(&file) {
                    Ok(song) => songs.push((file, song)),
                    Err(error) => failed.push(error.to_string()),
                }
            }
            if named.is_dir() {
                songs[first..]
                    .sort_by_cached_key(|(file, song)| (song.title.to_lowercase(), file.clone()));
            }
        }
        if !failed.is_empty() {
            let n = failed.len();
            let head = format!("{n} of the logs cannot be read, so nothing was written:");
            return Err(CliError::list(&head, &failed));
        }
        Ok(songs)
    }

    /// Each song with its options; with `--for`, once for each version that is meant, and
    /// without the songs that have none.
    fn with_options(&self, songs: Vec<(PathBuf, Song)>) -> Result<Vec<Bound>, CliError> {
        let Some(wanted) = &self.version else {
            let options = self.over(self.base(None));
            let with = |(file, song)| (file, (song, options.clone()));
            return Ok(songs.into_iter().map(with).collect());
        };
        let mut bound = Vec::new();
        for (file, song) in songs {
            for version in versions_for(&song.versions, wanted) {
                let options = self.over(self.base(Some(version)));
                bound.push((file.clone(), (song.clone(), options)));
            }
        }
        match bound.is_empty() {
            true => Err(CliError::new(format!(
                "none of these songs has a version '{wanted}' or one for a student of that name; no binder was written (takebook show LOG names the versions of a song)"
            ))),
            false => Ok(bound),
        }
    }

    /// As given, else the folder's own name, else the file's.
    fn binder_title(&self, output: &Path) -> String {
        let name = |path: &Path| path.file_stem().map(|n| n.to_string_lossy().into_owned());
        let of_folder = match &self.logs[..] {
            [folder] => std::fs::canonicalize(folder).ok(),
            _ => None,
        };
        let given = self.title.clone();
        given
            .or_else(|| Some(of_folder?.file_name()?.to_string_lossy().into_owned()))
            .or_else(|| name(output))
            .unwrap_or_else(|| "Binder".into())
    }
}

/// The logs that lie in a folder, by name.
pub(in crate::cli) fn logs(folder: &Path) -> Result<Vec<PathBuf>, CliError> {
    let failed =
        |e: std::io::Error| CliError::new(format!("cannot list '{}': {e}", folder.display()));
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        if path.is_file() && path.extension().is_some_and(|e| e == store::ENDING) {
            found.push(path);
        }
    }
    if found.is_empty() {
        return Err(CliError::new(format!(
            "there is no log in the folder '{0}' (make logs with: takebook draft {0})",
            folder.display()
        )));
    }
    found.sort();
    Ok(found)
}
