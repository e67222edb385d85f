//! `takebook chart`: delivers a song.

mod binder;
mod practice;
mod versions;
mod week;

pub(super) use binder::logs;

use super::plain::{one_line, shell_word, shown};
use super::{CliError, Outcome};
use crate::chart::{FORMATS, Format, prepare, write};
use crate::fretboard::{Tuning, read_capo};
use crate::songlog::song::{Song, State};
use crate::theory::{Key, Label};
use clap::{Args, ValueEnum};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Writes the chart of a log: a page to play from, or a file for another program
///
/// The format follows the file's ending: .txt .html .pdf .svg .png are pages;
/// .musicxml .mxl .mid .vtt .lab .jams .json are for other programs. Chords that
/// are not confirmed yet are gray, in text marked with a question mark, and counted.
/// A chart of someone's song is for your own study; sharing or selling copies
/// needs the owner's permission, and local law decides.
#[derive(Args)]
#[command(
    after_help = "Examples:\n  takebook chart lesson.takebook -o lesson.pdf --page letter\n  takebook chart songs/ -o binder.pdf\n  takebook chart opener.takebook slow.takebook -o set.pdf --title \"Friday\"\n  takebook chart lesson.takebook -o lesson.html --with-sound\n  takebook chart lesson.takebook --capo 2 --easy --large --save-version Beginner --student Robin\n  takebook chart lesson.takebook --for Beginner -o lesson.pdf\n  takebook chart songs/ --for Robin -o robin.pdf\n  takebook chart songs/ --for-everyone --with-sound -o week/"
)]
pub(crate) struct Chart {
    /// Log to chart; several logs in the order given, or a folder, make a binder with contents (.pdf)
    #[arg(required = true, value_name = "LOG")]
    logs: Vec<PathBuf>,
    /// File to write, or `-` for standard output (needs --format)
    #[arg(
        short,
        long,
        value_name = "FILE",
        required_unless_present = "save_version"
    )]
    output: Option<PathBuf>,
    /// Overwrite the file, or the version, if it exists
    #[arg(long, alias = "force")]
    overwrite: bool,
    /// Every harmony that sounds, not only the song's chords
    #[arg(long)]
    detail: bool,
    /// Exit code 1 if a chord is not confirmed yet; for scripts
    #[arg(long)]
    require_confirmed: bool,
    #[arg(long, value_name = "NAME", help = format_help())]
    format: Option<String>,
    /// With the settings of a version: its name, or the student's; options beside it come first,
    /// and --no-easy, --no-large, --no-degrees and so on switch off what the version has on
    #[arg(long = "for", value_name = "NAME")]
    version: Option<String>,
    /// Every student's versions, each a PDF of its own (with --with-sound the page to practise with
    /// too): a new folder, or a .zip, by student and song
    #[arg(long, conflicts_with_all = ["version", "save_version", "format", "title", "two_sided", "only_page"])]
    for_everyone: bool,
    /// Save the settings given here as a version of the chart, under this name
    #[arg(long, value_name = "NAME", conflicts_with_all = ["output", "format"])]
    save_version: Option<String>,
    /// With --save-version: whom it is for; kept in the song's file, never on a chart
    #[arg(long, value_name = "NAME", conflicts_with = "output")]
    student: Option<String>,
    /// Paper; A4 if not given
    #[arg(long, value_enum)]
    page: Option<Paper>,
    /// Move the song to another key of the same mode, such as A or F#m
    #[arg(long, value_name = "KEY")]
    key: Option<Key>,
    /// Count frets from a capo at this fret; what sounds stays
    #[arg(long, value_name = "FRET", value_parser = read_capo)]
    capo: Option<u8>,
    /// Degrees of the key instead of chord symbols, or under them (--degrees=under), on pages
    #[arg(
        long,
        value_name = "WHERE",
        value_enum,
        num_args = 0..=1,
        require_equals = true,
        default_missing_value = "instead"
    )]
    degrees: Option<Degrees>,
    /// Simplify to open shapes; the page says each simplification
    #[arg(long)]
    easy: bool,
    /// Find the shapes anew for this tuning: a name (drop D, open G), letters or notes low to high
    #[arg(long)]
    tuning: Option<Tuning>,
    /// Mirror the chord boxes for a left-handed player
    #[arg(long)]
    left_handed: bool,
    /// A quarter larger, for two pages open side by side
    #[arg(long, conflicts_with = "compact")]
    large: bool,
    /// A fifth smaller, for a binder
    #[arg(long)]
    compact: bool,
    /// Title of a binder; the folder's or the file's name if not given
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// With a binder: for print on both sides, blank pages so that a song of several pages begins on the left
    #[arg(long)]
    two_sided: bool,
    /// The paper's long side across
    #[arg(long)]
    landscape: bool,
    /// A second shape to pick from where there is one, on pages
    #[arg(long)]
    alternatives: bool,
    /// With a capo or a lower tuning: chord names in concert pitch instead of the shapes played, on pages
    #[arg(long)]
    concert: bool,
    /// Outlines instead of black discs and bars
    #[arg(long)]
    save_ink: bool,
    /// One page alone, from 1; with .pdf, .svg and .png
    #[arg(long, value_name = "PAGE", value_parser = clap::value_parser!(u32).range(1..))]
    only_page: Option<u32>,
    /// With .png: dots an inch; 200 if not given
    #[arg(long, value_name = "DPI", value_parser = clap::value_parser!(u16).range(50..=600))]
    dpi: Option<u16>,
    /// Write every repeat out
    #[arg(long, conflicts_with = "short")]
    written_out: bool,
    /// Each section once, with the order in which they come
    #[arg(long)]
    short: bool,
    /// With .mid: one tempo throughout, instead of the take's own
    #[arg(long)]
    steady: bool,
    /// With .html or --for-everyone: a page to practise with, which holds the take's sound and follows it
    #[arg(long)]
    with_sound: bool,
    /// Print your notes of lessons too, which stay out of charts otherwise: those of the version's
    /// student, or of the one named (--with-lesson-notes=Robin), else all
    #[arg(long, value_name = "STUDENT", num_args = 0..=1, require_equals = true, default_missing_value = "")]
    with_lesson_notes: Option<String>,
    /// Add to every time of captions, s (below 0 for earlier)
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true)]
    offset: Option<f64>,
    /// Say what was written as JSON
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    off: versions::Off,
}

#[derive(Clone, Copy, ValueEnum)]
enum Paper {
    /// 210 by 297 mm
    A4,
    /// 8.5 by 11 inches
    Letter,
    /// 148 by 210 mm
    A5,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
enum Degrees {
    /// In place of the symbols
    Instead,
    /// Under the symbols
    Under,
}

/// A number in few digits, however large.
fn short(number: f64) -> String {
    match number.abs() < 1e9 {
        true => number.to_string(),
        false => format!("{number:e}"),
    }
}

/// Most that captions are moved, s: a week, as the times of a log.
const MOST_OFFSET_S: f64 = 604_800.0;

/// What `--format` says.
fn format_help() -> String {
    let endings = FORMATS.map(|(ending, _)| ending).join(", ");
    format!("Format, if the file's ending does not say it: {endings}")
}

impl Chart {
    pub(crate) fn run(self, out: &mut dyn Write) -> Result<Outcome, CliError> {
        self.check_offset()?;
        let one = match &self.logs[..] {
            [log] if !log.is_dir() => Some(log),
            _ => None,
        };
        let Some(output) = &self.output else {
            return self.save_version(one, out);
        };
        let to_stdout = output.as_os_str() == "-";
        if self.for_everyone {
            return self.week(output, out);
        }
        let format = self.format(output, to_stdout)?;
        if !to_stdout && !self.overwrite && output.symlink_metadata().is_ok() {
            return Err(CliError::new(format!(
                "'{}' already exists; not overwritten (give another name, or --overwrite)",
                output.display()
            )));
        }
        if self.with_sound {
            practice::check(one, format)?;
        }
        let Some(log) = one else {
            return self.binder(format, output, out);
        };
        if self.title.is_some() || self.two_sided {
            return Err(CliError::new(format!(
                "--title and --two-sided are for a binder of several logs or a folder (the title of a song: takebook confirm {} --title TEXT)",
                shell_word(log)
            )));
        }
        let song = self.load(log)?;
        let options = self.options_for(log, &song)?;
        if let Some(notes) = &options.lesson_notes {
            let check = notes.check(&song, format);
            check.map_err(|e| CliError::new(format!("{}: {e}", log.display())))?;
        }
        let name = |e: crate::chart::ChartError| CliError::new(format!("{}: {e}", log.display()));
        let bytes = match self.with_sound {
            true => practice::write(log, &song, &options)?,
            false => write(&song, format, &options).map_err(name)?,
        };
        let moved = prepare(&song, &options).map_err(name)?;
        if to_stdout {
            out.write_all(&bytes)?;
        } else {
            save(output, &bytes, self.overwrite)?;
        }
        self.report((log, &song, &moved), bytes.len(), output, out)
    }

    fn check_offset(&self) -> Result<(), CliError> {
        match self.offset {
            Some(s) if !s.is_finite() || s.abs() > MOST_OFFSET_S => Err(CliError::new(format!(
                "--offset must be a number of seconds from -{MOST_OFFSET_S} to {MOST_OFFSET_S} (a week), not {}",
                short(s)
            ))),
            _ => Ok(()),
        }
    }

    fn load(&self, path: &Path) -> Result<Song, CliError> {
        let log = crate::songlog::store::load(path)?;
        Ok(match self.detail {
            true => crate::songlog::resolve(&log.in_detail()),
            false => crate::songlog::resolve(&log),
        })
    }

    fn format(&self, output: &Path, to_stdout: bool) -> Result<Format, CliError> {
        if let Some(name) = &self.format {
            return Ok(Format::by_ending(name)?);
        }
        match output.extension().and_then(|e| e.to_str()) {
            Some(ending) if !to_stdout => Ok(Format::by_ending(ending)?),
            _ => Err(CliError::new(format!(
                "'{}' has no ending to tell the format by (give one, as in song.pdf, or --format)",
                output.display()
            ))),
        }
    }

    /// What was written to stdout, what is open to stderr.
    fn report(
        &self,
        (log, song, moved): (&Path, &Song, &Song),
        n_bytes: usize,
        output: &Path,
        out: &mut dyn Write,
    ) -> Result<Outcome, CliError> {
        let to_stdout = output.as_os_str() == "-";
        let n_open = moved.n_open();
        let fresh = &moved.warnings[song.warnings.len().min(moved.warnings.len())..];
        let mut stderr = std::io::stderr().lock();
        if n_open > 0 {
            writeln!(
                stderr,
                "takebook: {n_open} of {} chords are not confirmed yet and marked as such (see them with: takebook show {})",
                moved.n_chords(),
                shell_word(log)
            )?;
        }
        let unnamed = moved
            .spans
            .iter()
            .filter(|s| s.state == State::Decided && s.label == Label::Unknown)
            .count();
        if unnamed > 0 {
            writeln!(stderr, "takebook: {unnamed} chords have no name")?;
        }
        for warning in fresh {
            writeln!(stderr, "takebook: {}", one_line(warning))?;
        }
        if !to_stdout && self.json {
            let said = serde_json::json!({
                "version": 1,
                "file": output.display().to_string(),
                "bytes": n_bytes,
                "n_chords": moved.n_chords(),
                "n_open": n_open,
                "warnings": fresh,
            });
            writeln!(out, "{said}")?;
        } else if !to_stdout {
            writeln!(out, "wrote {}", shown(output))?;
        }
        Ok(super::confirmed(self.require_confirmed, n_open))
    }
}

/// A line to stderr.
fn say(words: &str) -> Result<(), CliError> {
    Ok(writeln!(std::io::stderr().lock(), "takebook: {words}")?)
}

/// Writes whole or not at all: into a file beside it, then renamed.
pub(super) fn save(path: &Path, bytes: &[u8], replace: bool) -> Result<(), CliError> {
    save_with(path, replace, |file| file.write_all(bytes))
}

/// As [`save`]; what is written comes from `write`.
fn save_with(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&mut tempfile::NamedTempFile) -> std::io::Result<()>,
) -> Result<(), CliError> {
    let fail = |e: std::io::Error| CliError::new(format!("cannot write '{}': {e}", path.display()));
    // a link is followed, so that its file is replaced and not the link
    let followed = if path.is_symlink() {
        std::fs::canonicalize(path).map_err(|_| {
            let gone = "it is a link to a file that is not there; remove the link or name the file";
            fail(std::io::Error::other(gone))
        })?
    } else {
        path.to_path_buf()
    };
    let path = followed.as_path();
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    if !folder.is_dir() {
        let missing = format!("there is no folder '{}'", folder.display());
        return Err(fail(std::io::Error::other(missing)));
    }
    let _under_way = super::interrupt::writing();
    let mut file = tempfile::NamedTempFile::new_in(folder)
        // its own error would name a file that nobody asked for
        .map_err(|e| fail(e.kind().into()))?;
    write(&mut file).map_err(fail)?;
    file.as_file().sync_all().map_err(fail)?;
    readable(&file).map_err(fail)?;
    if replace {
        file.persist(path).map_err(|e| fail(e.error))?;
    } else {
        file.persist_noclobber(path).map_err(|e| fail(e.error))?;
    }
    Ok(())
}

/// A temporary file is private; a chart is to be read by others as other files are.
#[cfg(unix)]
fn readable(file: &tempfile::NamedTempFile) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.as_file()
        .set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable(_: &tempfile::NamedTempFile) -> std::io::Result<()> {
    Ok(())
}
