//! What an act does, in words.

use super::{Act, Clock, How, Times};
use crate::songlog::versions;

impl Act {
    /// In words: "bar 12: Am7 (as proposed)", or with [`Clock`] "0:31.2 to 0:33.0: Am7 (as proposed)".
    pub fn words(&self, times: &impl Times) -> String {
        let at = |at_s: &f64| times.at(*at_s);
        let range = |start_s: &f64, end_s: &f64| times.range(*start_s, *end_s);
        match self {
            Self::Chord {
                start_s,
                end_s,
                label,
                how,
            } => {
                let how = match how {
                    How::Proposed => "as proposed",
                    How::Candidate => "another candidate",
                    How::Own => "entered by you",
                };
                format!("{}: {} ({how})", range(start_s, end_s), label.symbol())
            }
            Self::Shape {
                start_s,
                end_s,
                shape,
                or_shape,
            } => {
                let or = or_shape.as_ref().map(|s| format!(" or {s}"));
                let or = or.unwrap_or_default();
                format!("{}: shape {shape}{or}", range(start_s, end_s))
            }
            Self::Note {
                start_s: Some(start_s),
                end_s: Some(end_s),
                text,
            } => format!("{}: note: {text}", range(start_s, end_s)),
            Self::Note { text, .. } => format!("note: {text}"),
            Self::Move { from_s, to_s } => {
                format!("chord change at {} moved to {}", at(from_s), at(to_s))
            }
            Self::Split { at_s } => format!("the chord changes at {}", at(at_s)),
            Self::Join { start_s, end_s } => format!("{}: one chord", range(start_s, end_s)),
            Self::Unconfirm { start_s, end_s } => {
                format!("{}: unconfirmed again", range(start_s, end_s))
            }
            Self::SectionName {
                start_s,
                end_s,
                name,
            } if name.is_empty() => format!("{}: no section name", range(start_s, end_s)),
            Self::SectionName {
                start_s,
                end_s,
                name,
            } => format!("{}: section '{name}'", range(start_s, end_s)),
            Self::SectionLetter {
                start_s,
                end_s,
                letter,
            } => format!("{}: section {letter}", range(start_s, end_s)),
            Self::Lyric {
                start_s,
                end_s,
                text,
            } if text.is_empty() => format!("{}: no words", range(start_s, end_s)),
            Self::Lyric {
                start_s,
                end_s,
                text,
            } => format!("{}: words '{text}'", range(start_s, end_s)),
            Self::SectionFeel {
                start_s,
                end_s,
                feel,
            } => format!("{}: {}", range(start_s, end_s), feel.words()),
            Self::SectionSplit { at_s } => format!("a section starts at {}", at(at_s)),
            Self::SectionJoin { at_s } => format!("no section starts at {}", at(at_s)),
            other => other.words_for_whole(times),
        }
    }

    /// In words, what is about the whole take or how it is counted.
    fn words_for_whole(&self, times: &impl Times) -> String {
        match self {
            Self::Title { text } => format!("title '{text}'"),
            Self::Credit { text } if text.is_empty() => "no credit".into(),
            Self::Credit { text } => format!("credit '{text}'"),
            Self::Key { key } => format!("key {}", key.text()),
            Self::KeyFrom { at_s, key } => format!("from {} on: {}", times.at(*at_s), key.text()),
            Self::Meter { meter } => format!("meter {}/{}", meter.0, meter.1),
            Self::Tempo { bpm } => format!("tempo {bpm} bpm"),
            Self::Downbeat { at_s } => format!("first downbeat at {}", Clock.at(*at_s)),
            Self::Beats { times_s } => match (times_s.first(), times_s.last()) {
                (Some(first), Some(last)) => {
                    let range = Clock.range(*first, *last);
                    format!("{} beats tapped from {range}", times_s.len())
                }
                _ => "no beats tapped".into(),
            },
            Self::BarBeats { at_s, n_beats } => {
                let plural = if *n_beats == 1 { "" } else { "s" };
                format!("bar {} has {n_beats} beat{plural}", times.at(*at_s))
            }
            Self::Capo { fret: 0 } => "no capo".into(),
            Self::Capo { fret } => format!("capo at fret {fret}"),
            Self::Tuning { tuning } => format!("tuning {}", tuning.text()),
            Self::AsHeard { setting } => format!("{} as heard", setting.words()),
            Self::ChartVersion {
                name,
                student,
                settings,
            } => format!(
                "version {}: {}",
                versions::named(name, student.as_deref()),
                settings.words()
            ),
            Self::ChartVersionRemoved { name } => format!("version '{name}' removed"),
            Self::LessonNote { note } => {
                format!(
                    "lesson note {}, {}: {}",
                    note.number,
                    note.head(),
                    note.words()
                )
            }
            Self::LessonNoteRemoved { number } => format!("lesson note {number} removed"),
            Self::Undo { of } => {
                let ids: Vec<String> = of.iter().map(u32::to_string).collect();
                format!("undoes {}", ids.join(", "))
            }
            // these have their words in `words`
            Self::Chord { .. }
            | Self::Shape { .. }
            | Self::Note { .. }
            | Self::Move { .. }
            | Self::Split { .. }
            | Self::Join { .. }
            | Self::Unconfirm { .. }
            | Self::SectionName { .. }
            | Self::SectionLetter { .. }
            | Self::SectionFeel { .. }
            | Self::SectionSplit { .. }
            | Self::SectionJoin { .. }
            | Self::Lyric { .. } => String::new(),
        }
    }
}
