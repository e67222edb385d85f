//! What a student takes home: the page to practise with, and all of a week's files by student
//! and song.
//!
//! [`week()`] makes the files one after the other and hands each on, so that none waits in
//! memory; `names` says what they are called. Not here: where they are put.

mod error;
mod names;

pub use error::HandoutError;
use names::Names;

use crate::audio;
use crate::chart::{ChartError, Format, Options, Sound, practice, write};
use crate::songlog::song::{ChartVersion, Song};
use crate::songlog::{LogError, store};
use std::io::{Seek, Write};
use std::path::{Path, PathBuf};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// The sound of a song for a page to practise with; none if it was typed or imported.
///
/// # Errors
/// * [`HandoutError::Log`], [`HandoutError::Sound`] if it cannot be read.
pub fn sound(log_path: &Path) -> Result<Option<Sound>, HandoutError> {
    let log = store::load(log_path).map_err(HandoutError::Log)?;
    if log.take.rate_hz == 0 {
        return Ok(None);
    }
    let bytes = audio::compress(&store::take_path(log_path, &log));
    Ok(Some(Sound {
        bytes: bytes.map_err(HandoutError::Sound)?,
        media_type: "audio/ogg",
    }))
}

/// The page to practise with.
///
/// # Errors
/// * [`HandoutError::NoRecording`] for a song that was typed or imported.
/// * As [`sound()`], and [`HandoutError::Chart`].
pub fn practice_page(
    log_path: &Path,
    song: &Song,
    options: &Options,
) -> Result<Vec<u8>, HandoutError> {
    let sound = sound(log_path)?.ok_or_else(|| HandoutError::NoRecording {
        log: log_path.into(),
    })?;
    practice(song, options, &sound).map_err(|source| HandoutError::chart(log_path, source))
}

/// What was made.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Week {
    /// Students who get something.
    pub n_students: usize,
    /// Charts, a PDF each.
    pub n_charts: usize,
    /// Pages to practise with.
    pub n_pages: usize,
    /// Songs without a page to practise with, and why.
    pub silent: Vec<(PathBuf, String)>,
    /// Versions that are for nobody by name.
    pub n_for_nobody: usize,
}

/// Makes every student's versions of some songs: a PDF each, and the page to practise with where
/// the song has a recording.
///
/// Takes the songs with their files, how a version is written, whether pages with sound are
/// wanted, and what takes each file: its name, `Robin/Harbor Lamp - Beginner.pdf`, and its bytes.
///
/// # Errors
/// * [`HandoutError::Nobody`] if no version is for a student.
/// * [`HandoutError::Chart`] if one cannot be written, [`HandoutError::Put`] if it cannot be put.
pub fn week(
    songs: &[(PathBuf, Song)],
    options: &dyn Fn(&ChartVersion) -> Options,
    with_sound: bool,
    put: &mut dyn FnMut(&str, &[u8]) -> std::io::Result<()>,
) -> Result<Week, HandoutError> {
    let all = songs.iter().flat_map(|(_, song)| &song.versions);
    let mut names = Names::for_students(all.filter_map(|v| v.student.as_deref()));
    let mut made = Week::default();
    for (path, song) in songs {
        let is_named = |v: &&ChartVersion| v.student.is_some();
        let versions: Vec<&ChartVersion> = song.versions.iter().filter(is_named).collect();
        made.n_for_nobody += song.versions.len() - versions.len();
        let sound = match with_sound && !versions.is_empty() {
            false => None,
            true => match sound(path) {
                Ok(Some(sound)) => Some(sound),
                Ok(None) => {
                    let why = "it was made without a recording".to_owned();
                    made.silent.push((path.clone(), why));
                    None
                }
                Err(error) => {
                    made.silent.push((path.clone(), error.to_string()));
                    None
                }
            },
        };
        for version in versions {
            let student = version.student.as_deref().unwrap_or_default();
            let name = names.of(student, &song.title, &version.name);
            let options = options(version);
            let failed = |source: ChartError| HandoutError::chart(path, source);
            let chart = write(song, Format::Pdf, &options).map_err(failed)?;
            put(&format!("{name}.pdf"), &chart).map_err(HandoutError::Put)?;
            made.n_charts += 1;
            if let Some(sound) = &sound {
                let page = practice(song, &options, sound).map_err(failed)?;
                put(&format!("{name}.html"), &page).map_err(HandoutError::Put)?;
                made.n_pages += 1;
            }
        }
    }
    made.n_students = names.n_students();
    match made.n_charts {
        0 => Err(HandoutError::Nobody),
        _ => Ok(made),
    }
}

/// The same as an archive (ZIP), which is written to `out`; gives that back.
///
/// # Errors
/// As [`week()`].
pub fn week_as_zip<W: Write + Seek>(
    songs: &[(PathBuf, Song)],
    options: &dyn Fn(&ChartVersion) -> Options,
    with_sound: bool,
    out: W,
) -> Result<(Week, W), HandoutError> {
    let mut zip = ZipWriter::new(out);
    // fixed: the same songs give the same bytes
    let about = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .unix_permissions(0o644);
    let made = week(songs, options, with_sound, &mut |name, bytes| {
        zip.start_file(name, about)?;
        zip.write_all(bytes)
    })?;
    let out = zip.finish().map_err(|e| HandoutError::Put(e.into()))?;
    Ok((made, out))
}

impl From<LogError> for HandoutError {
    fn from(source: LogError) -> Self {
        Self::Log(source)
    }
}
