//! Notes of lessons on a chart: only those that were asked for, among its other notes.

use super::{ChartError, Format};
use crate::songlog::song::Song;

/// Whose notes of lessons are printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LessonNotes {
    /// All of the song's, each with its student's name.
    All,
    /// Those of one student alone, without the name.
    Of(String),
}

impl LessonNotes {
    /// Of the student that is named; without a name, all.
    pub fn of(student: Option<&str>) -> Self {
        match student.map(str::trim).filter(|s| !s.is_empty()) {
            Some(student) => Self::Of(student.to_owned()),
            None => Self::All,
        }
    }

    /// The notes as they are printed, in order of their days.
    pub fn words(&self, song: &Song) -> Vec<String> {
        let notes = song.lesson_notes.iter();
        match self {
            Self::All => notes
                .map(|n| format!("Lesson of {}: {}", n.head(), n.words()))
                .collect(),
            Self::Of(student) => notes
                .filter(|n| n.is_of(student))
                .map(|n| format!("Lesson of {}: {}", n.day(), n.words()))
                .collect(),
        }
    }

    /// Whether a song has such notes, and a format a place for them.
    ///
    /// # Errors
    /// * [`ChartError::NoPlaceForNotes`], [`ChartError::NoLessonNotes`].
    pub fn check(&self, song: &Song, format: Format) -> Result<(), ChartError> {
        let has_none = [Format::Midi, Format::Vtt, Format::Lab, Format::Jams].contains(&format);
        if has_none {
            return Err(ChartError::NoPlaceForNotes);
        }
        match self.words(song).is_empty() {
            true => Err(ChartError::NoLessonNotes {
                student: match self {
                    Self::All => None,
                    Self::Of(student) => Some(student.clone()),
                },
            }),
            false => Ok(()),
        }
    }
}
