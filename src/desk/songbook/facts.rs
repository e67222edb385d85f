//! What the list tells of one song.

use crate::deciding::song_json::round;
use crate::desk::error::ApiError;
use crate::songlog::song::{ChartVersion, LessonNote};
use crate::songlog::store::{self, take_path};
use crate::songlog::versions::is_same_name;
use crate::songlog::{Log, resolve};
use serde::Serialize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Whether the recording of a song can be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Recording {
    /// The song was typed or imported.
    #[default]
    None,
    /// Its file is there.
    Present,
    /// Its file is not where the log says.
    Missing,
}

/// One song of the list.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub(super) struct Facts {
    title: String,
    credit: Option<String>,
    /// Its label: `G:maj`.
    key: Option<String>,
    tempo_bpm: Option<f64>,
    meter: Option<String>,
    capo: u8,
    duration_s: f64,
    n_chords: usize,
    n_confirmed: usize,
    /// When it was last analysed or decided on, UTC, RFC 3339.
    touched: Option<String>,
    pub(super) recording: Recording,
    /// Versions of its chart.
    versions: Vec<Version>,
    /// The last lesson of each student.
    lessons: Vec<Lesson>,
    /// Why it cannot be opened, in words.
    trouble: Option<String>,
    #[serde(skip)]
    pub(super) take: Option<PathBuf>,
}

/// A version of a chart, as the list tells of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Version {
    name: String,
    /// Whom it is for.
    student: Option<String>,
}

/// A student's last lesson of a song.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Lesson {
    student: Option<String>,
    /// The day: `2031-05-02`.
    date: String,
    /// The tempo that was reached.
    tempo_bpm: Option<f64>,
    next_goal: String,
}

/// The last lesson of each student, and of those without a name.
fn last_lessons(notes: Vec<LessonNote>) -> Vec<Lesson> {
    let mut last: Vec<Lesson> = Vec::new();
    for note in notes.into_iter().rev() {
        let is_known = last.iter().any(|l| match (&l.student, &note.student) {
            (Some(one), Some(other)) => is_same_name(one, other),
            (one, other) => one == other,
        });
        if !is_known {
            last.push(Lesson {
                student: note.student,
                date: note.date,
                tempo_bpm: note.tempo_bpm.map(round),
                next_goal: note.next_goal,
            });
        }
    }
    last
}

impl Facts {
    /// Those of a log that cannot be read, and why.
    pub(super) fn without(path: &Path, trouble: impl Into<String>) -> Self {
        let name = path.file_stem().unwrap_or_default();
        Self {
            title: name.to_string_lossy().into_owned(),
            trouble: Some(trouble.into()),
            ..Self::default()
        }
    }

    /// Whether it cannot be opened.
    pub(super) fn has_trouble(&self) -> bool {
        self.trouble.is_some()
    }

    /// Reads a log; one that cannot be read says why.
    pub(super) fn read(path: &Path) -> Self {
        // a fault of the program in one song must not hide the others
        let read = catch_unwind(AssertUnwindSafe(|| {
            store::load(path).map(|log| Self::of(path, &log))
        }));
        match read {
            Ok(Ok(facts)) => facts,
            Ok(Err(error)) => Self::without(path, ApiError::from(error).text()),
            Err(_) => Self::without(
                path,
                "a fault of the program stopped the reading of this file",
            ),
        }
    }

    fn of(path: &Path, log: &Log) -> Self {
        let song = resolve(log);
        let (n_chords, n_open) = (song.n_chords(), song.n_open());
        let decided = log.decided.last().map(|d| &d.at);
        let touched = decided.into_iter().chain([&log.drafted]).max();
        let take = (log.take.rate_hz > 0).then(|| take_path(path, log));
        let version = |v: ChartVersion| Version {
            name: v.name,
            student: v.student,
        };
        Self {
            versions: song.versions.into_iter().map(version).collect(),
            lessons: last_lessons(song.lesson_notes),
            title: song.title,
            credit: song.credit,
            key: song.key.map(|k| k.label()),
            tempo_bpm: song.tempo_bpm.map(round),
            meter: song.meter.map(|(beats, value)| format!("{beats}/{value}")),
            capo: song.instrument.capo,
            duration_s: round(song.duration_s),
            n_chords,
            n_confirmed: n_chords - n_open,
            touched: touched.cloned(),
            recording: Recording::of(take.as_deref()),
            trouble: None,
            take,
        }
    }
}

impl Recording {
    /// Of the file that a log names, if it names one.
    pub(super) fn of(take: Option<&Path>) -> Self {
        match take {
            None => Self::None,
            Some(path) if path.is_file() => Self::Present,
            Some(_) => Self::Missing,
        }
    }
}
