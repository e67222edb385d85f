//! Options of the command line over those of a version, and versions saved from options.

use super::{Chart, Degrees, Paper};
use crate::chart::{LessonNotes, Options, Page, prepare};
use crate::cli::confirm::write_made;
use crate::cli::{CliError, Outcome};
use crate::deciding::{self, DecisionRequest, VersionRequest};
use crate::songlog::song::{ChartVersion, Song};
use crate::songlog::versions::version_for;
use std::io::Write;
use std::path::{Path, PathBuf};

/// What a version has on and is not wanted this time; each undoes the option of its name.
#[derive(clap::Args)]
pub(super) struct Off {
    #[arg(long, hide = true, overrides_with = "easy")]
    no_easy: bool,
    #[arg(long, hide = true, overrides_with = "save_ink")]
    no_save_ink: bool,
    #[arg(long, hide = true, overrides_with = "left_handed")]
    no_left_handed: bool,
    #[arg(long, hide = true, overrides_with = "large")]
    no_large: bool,
    #[arg(long, hide = true, overrides_with = "compact")]
    no_compact: bool,
    #[arg(long, hide = true, overrides_with = "landscape")]
    no_landscape: bool,
    #[arg(long, hide = true, overrides_with = "alternatives")]
    no_alternatives: bool,
    #[arg(long, hide = true, overrides_with = "concert")]
    no_concert: bool,
    #[arg(long, hide = true, overrides_with = "degrees")]
    no_degrees: bool,
    #[arg(long, hide = true, overrides_with = "written_out")]
    no_written_out: bool,
    #[arg(long, hide = true, overrides_with = "short")]
    no_short: bool,
    #[arg(long, hide = true, overrides_with = "steady")]
    no_steady: bool,
}

impl Chart {
    /// How one song is to be delivered: as its version says, and what was given beside that.
    pub(super) fn options_for(&self, log: &Path, song: &Song) -> Result<Options, CliError> {
        let Some(wanted) = &self.version else {
            return Ok(self.over(self.base(None)));
        };
        let version = version_for(&song.versions, wanted)
            .map_err(|why| CliError::new(format!("{}: {why}", log.display())))?;
        Ok(self.over(self.base(Some(version))))
    }

    /// What a version says, and the notes of lessons that were asked for: its student's, unless
    /// another is named.
    pub(super) fn base(&self, version: Option<&ChartVersion>) -> Options {
        let student = version.and_then(|v| v.student.as_deref());
        let notes = self.with_lesson_notes.as_deref().map(|named| match named {
            "" => LessonNotes::of(student),
            named => LessonNotes::of(Some(named)),
        });
        Options {
            lesson_notes: notes,
            ..version.map_or_else(Options::default, |v| Options::from(&v.settings))
        }
    }

    /// The options that were given, over others; one replaces what it excludes.
    pub(super) fn over(&self, base: Options) -> Options {
        let is_on = |given: bool, base: bool, off: bool| given || (base && !off);
        let off = &self.off;
        let degrees = match self.degrees {
            Some(degrees) => (degrees == Degrees::Instead, degrees == Degrees::Under),
            None if off.no_degrees => (false, false),
            None => (base.degrees, base.degrees_under),
        };
        Options {
            page: self.page.map_or(base.page, Page::from),
            key: self.key.or(base.key),
            capo: self.capo.or(base.capo),
            tuning: self.tuning.clone().or(base.tuning),
            degrees: degrees.0,
            degrees_under: degrees.1,
            easy: is_on(self.easy, base.easy, off.no_easy),
            save_ink: is_on(self.save_ink, base.save_ink, off.no_save_ink),
            left_handed: is_on(self.left_handed, base.left_handed, off.no_left_handed),
            large: is_on(self.large, base.large, self.compact || off.no_large),
            compact: is_on(self.compact, base.compact, self.large || off.no_compact),
            landscape: is_on(self.landscape, base.landscape, off.no_landscape),
            two_sided: self.two_sided,
            alternatives: is_on(self.alternatives, base.alternatives, off.no_alternatives),
            concert: is_on(self.concert, base.concert, off.no_concert),
            written_out: is_on(
                self.written_out,
                base.written_out,
                self.short || off.no_written_out,
            ),
            short: is_on(self.short, base.short, self.written_out || off.no_short),
            steady: is_on(self.steady, base.steady, off.no_steady),
            offset_s: self.offset.unwrap_or(base.offset_s),
            lesson_notes: base.lesson_notes,
            only_page: self.only_page.map(|page| page as usize),
            dpi: self.dpi,
        }
    }

    /// Saves the options that were given as a version of one song's chart.
    pub(super) fn save_version(
        &self,
        log: Option<&PathBuf>,
        out: &mut dyn Write,
    ) -> Result<Outcome, CliError> {
        let Some(log) = log else {
            return Err(CliError::new(
                "--save-version saves a version of one song: name one log",
            ));
        };
        self.check_kept()?;
        let song = self.load(log)?;
        let options = self.options_for(log, &song)?;
        // a version that this song cannot be written as is not kept
        prepare(&song, &options)
            .map_err(|e| CliError::new(format!("{}: {e}; no version was saved", log.display())))?;
        let request = DecisionRequest {
            chart_version: Some(VersionRequest {
                name: self.save_version.clone().unwrap_or_default(),
                student: self.student.clone(),
                settings: options.settings(),
                replace: self.overwrite,
            }),
            ..DecisionRequest::default()
        };
        let requests = std::slice::from_ref(&request);
        let made = deciding::decide(log, requests, None, |_| Ok::<_, CliError>(()))?;
        write_made(&made, self.json, out)?;
        Ok(Outcome::Done)
    }

    /// Refuses what a version does not keep.
    fn check_kept(&self) -> Result<(), CliError> {
        let not_kept = [
            ("--only-page", self.only_page.is_some()),
            ("--dpi", self.dpi.is_some()),
            ("--title", self.title.is_some()),
            ("--two-sided", self.two_sided),
            ("--with-sound", self.with_sound),
            ("--with-lesson-notes", self.with_lesson_notes.is_some()),
            ("--detail", self.detail),
            ("--require-confirmed", self.require_confirmed),
        ];
        match not_kept.iter().find(|(_, given)| *given) {
            Some((option, _)) => Err(CliError::new(format!(
                "{option} is no setting of a version; leave it out here and give it beside --for"
            ))),
            None => Ok(()),
        }
    }
}

impl From<Paper> for Page {
    fn from(paper: Paper) -> Self {
        match paper {
            Paper::A4 => Self::A4,
            Paper::Letter => Self::Letter,
            Paper::A5 => Self::A5,
        }
    }
}
