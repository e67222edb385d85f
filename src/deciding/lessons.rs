//! Notes of lessons, as they are asked for.

use super::DecideError;
use crate::songlog::Log;
use crate::songlog::decided::Act;
use crate::songlog::lessons::{LessonNote, next_number, read_date, today};
use crate::songlog::song::Song;

/// A note of a lesson to be written, or to take the place of one.
#[derive(Debug, Clone, PartialEq, Default, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct LessonNoteRequest {
    /// Which note it takes the place of; a new one if left out.
    pub number: Option<u32>,
    /// The day of the lesson, `2031-05-02`; today if left out.
    pub date: Option<String>,
    /// Whose lesson it was.
    pub student: Option<String>,
    /// What was practised.
    pub practised: String,
    /// The tempo that was reached, bpm.
    pub tempo_bpm: Option<f64>,
    /// What comes next.
    pub next_goal: String,
}

/// The acts that remove a note and write one.
///
/// Takes what is to be written, the number of what is to be removed, the log and its song.
///
/// # Errors
/// * [`DecideError::Asked`] for a note that says nothing, a day that is none, or a number that
///   no note has.
pub(super) fn acts(
    wanted: Option<&LessonNoteRequest>,
    removed: Option<u32>,
    log: &Log,
    song: &Song,
) -> Result<Vec<Act>, DecideError> {
    let mut acts = Vec::new();
    if let Some(number) = removed {
        known(number, song)?;
        acts.push(Act::LessonNoteRemoved { number });
    }
    if let Some(wanted) = wanted {
        let number = match wanted.number {
            Some(number) => known(number, song)?,
            None => next_number(log),
        };
        let date = match wanted.date.as_deref().map(str::trim) {
            None | Some("") => today(),
            Some(date) => read_date(date).map_err(DecideError::asked)?.to_string(),
        };
        let student = wanted.student.as_deref().map(str::trim);
        let note = LessonNote {
            number,
            date,
            student: student.filter(|s| !s.is_empty()).map(str::to_owned),
            practised: wanted.practised.trim().to_owned(),
            tempo_bpm: wanted.tempo_bpm,
            next_goal: wanted.next_goal.trim().to_owned(),
        };
        if note.is_empty() {
            return Err(DecideError::asked(
                "a note of a lesson needs what was practised, the tempo that was reached, or the next goal",
            ));
        }
        acts.push(Act::LessonNote { note });
    }
    Ok(acts)
}

/// The number, if a note has it.
fn known(number: u32, song: &Song) -> Result<u32, DecideError> {
    if song.lesson_notes.iter().any(|n| n.number == number) {
        return Ok(number);
    }
    let there: Vec<String> = song
        .lesson_notes
        .iter()
        .map(|n| format!("{} ({})", n.number, n.head()))
        .collect();
    Err(DecideError::asked(match there.is_empty() {
        true => format!("there is no lesson note {number}: the song has none"),
        false => format!(
            "there is no lesson note {number}: there is {}",
            there.join("; ")
        ),
    }))
}
