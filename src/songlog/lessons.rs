//! Notes of lessons: what was practised, the tempo that was reached, and the next goal.
//!
//! They are the teacher's own: nothing that is exported has them unless that is asked for.

use super::Log;
use super::act::Act;
use super::format::Fault;
use super::text::rounded_optional;
use super::validate::{Field, ensure, name, tempo};
use super::versions::is_same_name;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::fmt::Display;

/// The longest text of a note, characters.
const LONGEST: usize = 2000;

/// A note of a lesson.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct LessonNote {
    /// What it is called by, from 1; a number is never used again.
    pub number: u32,
    /// The day of the lesson: `2031-05-02`.
    pub date: String,
    /// Whose lesson it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub student: Option<String>,
    /// What was practised; may be empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub practised: String,
    /// The tempo that was reached, bpm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(serialize_with = "rounded_optional")]
    pub tempo_bpm: Option<f64>,
    /// What comes next; may be empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub next_goal: String,
}

impl LessonNote {
    /// Whether it makes sense; `place` is where it stands.
    pub(super) fn check(&self, place: &dyn Display) -> Result<(), Fault> {
        let field = |name| Field(place, name);
        ensure(self.number > 0, field("number"), || {
            "notes are counted from 1".into()
        })?;
        ensure(read_date(&self.date).is_ok(), field("date"), || {
            format!("'{}' is not a day such as 2031-05-02", self.date)
        })?;
        name(
            self.student.as_deref().unwrap_or_default(),
            field("student"),
        )?;
        paragraph(&self.practised, field("practised"))?;
        paragraph(&self.next_goal, field("next_goal"))?;
        if let Some(bpm) = self.tempo_bpm {
            tempo(bpm, field("tempo_bpm"))?;
        }
        ensure(!self.is_empty(), place, || {
            "it says neither what was practised, nor a tempo, nor a goal".into()
        })
    }

    /// Whether it says nothing but a day and a name.
    pub fn is_empty(&self) -> bool {
        self.practised.is_empty() && self.next_goal.is_empty() && self.tempo_bpm.is_none()
    }

    /// Whether it is of this student, in capitals or not.
    pub fn is_of(&self, student: &str) -> bool {
        let own = self.student.as_deref();
        own.is_some_and(|own| is_same_name(own, student))
    }

    /// The day as people write it: `2 May 2031`.
    pub fn day(&self) -> String {
        match read_date(&self.date) {
            Ok(date) => date.strftime("%-d %B %Y").to_string(),
            Err(_) => self.date.clone(),
        }
    }

    /// What it says, on one line: `practised …; tempo reached 72 bpm; next goal: …`.
    pub fn words(&self) -> String {
        let line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let mut parts = Vec::new();
        if !self.practised.is_empty() {
            parts.push(format!("practised {}", line(&self.practised)));
        }
        parts.extend(self.tempo_bpm.map(|bpm| format!("tempo reached {bpm} bpm")));
        if !self.next_goal.is_empty() {
            parts.push(format!("next goal: {}", line(&self.next_goal)));
        }
        parts.join("; ")
    }

    /// `2 May 2031, Robin`
    pub fn head(&self) -> String {
        match &self.student {
            Some(student) => format!("{}, {student}", self.day()),
            None => self.day(),
        }
    }
}

/// A day as it is typed, `2031-05-02`.
///
/// # Errors
/// In words, for what is none.
pub fn read_date(text: &str) -> Result<Date, String> {
    let text = text.trim();
    let is_plain = text.len() == 10 && text.chars().all(|c| c.is_ascii_digit() || c == '-');
    let date = is_plain.then(|| text.parse::<Date>().ok()).flatten();
    date.ok_or_else(|| format!("'{text}' is not a day: year, month and day, as in 2031-05-02"))
}

/// Today where this computer is, as [`read_date`] reads it.
pub fn today() -> String {
    jiff::Zoned::now().date().to_string()
}

/// The number for the next note of a log: above every one that it ever had, so that a note that
/// is brought back by undo meets no other.
pub fn next_number(log: &Log) -> u32 {
    let acts = log.decided.iter().flat_map(|d| &d.acts);
    let numbers = acts.filter_map(|act| match act {
        Act::LessonNote { note } => Some(note.number),
        _ => None,
    });
    numbers.max().unwrap_or(0).saturating_add(1)
}

/// Writes, changes or removes a note, as an act says; the notes stay in order of their days.
pub(super) fn apply(notes: &mut Vec<LessonNote>, act: &Act) {
    match act {
        Act::LessonNote { note } => {
            notes.retain(|n| n.number != note.number);
            let at = notes.partition_point(|n| (&n.date, n.number) < (&note.date, note.number));
            notes.insert(at, note.clone());
        }
        Act::LessonNoteRemoved { number } => notes.retain(|n| n.number != *number),
        _ => {}
    }
}

/// A text of a few lines.
fn paragraph(text: &str, place: impl Display) -> Result<(), Fault> {
    let is_odd = |c: char| c.is_control() && !c.is_whitespace();
    let fits = text.chars().count() <= LONGEST && !text.chars().any(is_odd);
    ensure(fits, place, || {
        format!("a text of at most {LONGEST} characters is expected")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(number: u32, date: &str) -> LessonNote {
        LessonNote {
            number,
            date: date.into(),
            student: Some("Robin".into()),
            practised: "G to Em,\nslowly".into(),
            tempo_bpm: Some(72.0),
            next_goal: "80 bpm".into(),
        }
    }

    #[test]
    fn notes_stand_in_order_of_their_days_and_are_changed_by_number() {
        let mut notes = Vec::new();
        for (number, date) in [(1, "2031-05-09"), (2, "2031-05-02"), (3, "2031-05-09")] {
            apply(
                &mut notes,
                &Act::LessonNote {
                    note: note(number, date),
                },
            );
        }
        let numbers = |notes: &[LessonNote]| notes.iter().map(|n| n.number).collect::<Vec<_>>();
        assert_eq!(numbers(&notes), [2, 1, 3]);
        apply(
            &mut notes,
            &Act::LessonNote {
                note: note(2, "2031-06-01"),
            },
        );
        apply(&mut notes, &Act::LessonNoteRemoved { number: 1 });
        assert_eq!(numbers(&notes), [3, 2]);
    }

    #[test]
    fn a_note_in_words_is_one_line() {
        let note = note(1, "2031-05-02");
        assert_eq!(note.head(), "2 May 2031, Robin");
        assert_eq!(
            note.words(),
            "practised G to Em, slowly; tempo reached 72 bpm; next goal: 80 bpm"
        );
    }

    #[test]
    fn days_are_read_and_what_is_none_is_refused() {
        assert!(read_date(" 2032-02-29 ").is_ok());
        for odd in [
            "2031-02-29",
            "2.5.2031",
            "",
            "2031-5-2",
            "20310502",
            "+02031-05-2",
            "2031-05-02T10",
        ] {
            assert!(read_date(odd).is_err(), "{odd}");
        }
        assert!(read_date(&today()).is_ok());
    }
}
