//! Every student's versions as files of their own: a folder of them, or an archive.

use super::Chart;
use crate::cli::layout::plural;
use crate::cli::plain::{one_line, shown};
use crate::cli::{CliError, Outcome, interrupt};
use crate::handout::{self, Week};
use crate::songlog::song::{ChartVersion, Song};
use std::io::Write;
use std::path::{Path, PathBuf};

impl Chart {
    /// Writes all of the week: whole or not at all, and over nothing that is there.
    pub(super) fn week(&self, output: &Path, out: &mut dyn Write) -> Result<Outcome, CliError> {
        let songs = self.songs()?;
        let options = |version: &ChartVersion| self.over(self.base(Some(version)));
        let is_zip = output
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
        let made = match is_zip {
            true => self.week_as_zip(&songs, output)?,
            false => {
                let (stage, place) = stage(output)?;
                let made = handout::week(&songs, &options, self.with_sound, &mut |name, bytes| {
                    let path = stage.path().join(name);
                    std::fs::create_dir_all(path.parent().unwrap_or(stage.path()))?;
                    std::fs::write(path, bytes)
                })?;
                put_in_place(stage, &place)?;
                made
            }
        };
        self.tell_week(output, &made, out)?;
        Ok(Outcome::Done)
    }

    fn week_as_zip(&self, songs: &[(PathBuf, Song)], output: &Path) -> Result<Week, CliError> {
        if !self.overwrite && output.symlink_metadata().is_ok() {
            return Err(CliError::new(format!(
                "'{}' already exists; not overwritten (give another name, or --overwrite)",
                output.display()
            )));
        }
        let options = |version: &ChartVersion| self.over(self.base(Some(version)));
        let file = tempfile::tempfile()?;
        let (made, mut file) = handout::week_as_zip(songs, &options, self.with_sound, file)?;
        super::save_with(output, self.overwrite, |to| {
            std::io::Seek::rewind(&mut file)?;
            std::io::copy(&mut file, to).map(drop)
        })?;
        Ok(made)
    }

    fn tell_week(&self, output: &Path, made: &Week, out: &mut dyn Write) -> Result<(), CliError> {
        let mut stderr = std::io::stderr().lock();
        for (song, why) in &made.silent {
            let (song, why) = (shown(song), one_line(why));
            writeln!(
                stderr,
                "takebook: no page to practise with for {song}: {why}"
            )?;
        }
        if made.n_for_nobody > 0 {
            writeln!(
                stderr,
                "takebook: {} versions are for no student by name and were left out",
                made.n_for_nobody
            )?;
        }
        if self.json {
            let said = serde_json::json!({
                "version": 1,
                "file": output.display().to_string(),
                "n_students": made.n_students,
                "n_charts": made.n_charts,
                "n_pages": made.n_pages,
                "silent": made.silent.iter().map(|(song, why)| serde_json::json!({
                    "song": song.display().to_string(),
                    "why": why,
                })).collect::<Vec<_>>(),
            });
            writeln!(out, "{said}")?;
            return Ok(());
        }
        writeln!(
            out,
            "wrote {}: {}, {}, {} to practise with",
            shown(output),
            plural(made.n_students, "student"),
            plural(made.n_charts, "chart"),
            plural(made.n_pages, "page")
        )?;
        Ok(())
    }
}

/// A hidden folder beside the one that is asked for, which must be new or empty, and that one.
fn stage(output: &Path) -> Result<(tempfile::TempDir, PathBuf), CliError> {
    let fail =
        |e: std::io::Error| CliError::new(format!("cannot write '{}': {e}", output.display()));
    let place: PathBuf = output.components().collect();
    let is_used = match std::fs::read_dir(&place) {
        Ok(mut entries) => entries.next().is_some(),
        Err(_) => place.symlink_metadata().is_ok(),
    };
    if is_used {
        return Err(CliError::new(format!(
            "'{}' already exists and is not an empty folder; nothing was written (name a new folder)",
            output.display()
        )));
    }
    let beside = match place.parent() {
        Some(beside) if !beside.as_os_str().is_empty() => beside,
        _ => Path::new("."),
    };
    let mut making = tempfile::Builder::new();
    let stage = making.prefix(".week-").suffix(".part").tempdir_in(beside);
    Ok((stage.map_err(|e| fail(e.kind().into()))?, place))
}

/// Gives the folder its name.
fn put_in_place(stage: tempfile::TempDir, place: &Path) -> Result<(), CliError> {
    let _under_way = interrupt::writing();
    let fail =
        |e: std::io::Error| CliError::new(format!("cannot write '{}': {e}", place.display()));
    #[cfg(unix)]
    {
        // as any new folder
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(stage.path(), mode).map_err(fail)?;
    }
    if place.is_dir() {
        std::fs::remove_dir(place).map_err(fail)?;
    }
    std::fs::rename(stage.path(), place).map_err(fail)
}
