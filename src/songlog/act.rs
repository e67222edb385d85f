//! Every kind of decision, each in one place: its fields and their JSON, what
//! makes sense, the version of the log that it needs, and its words.
//!
//! A new kind is a variant of [`Act`] with a line in [`Act::check`],
//! [`Act::words`] and [`Act::version`]; the compiler asks for each. What it
//! does to the song stands in `resolve`; how a person asks for it, on the
//! command line and on the page, is a field of `deciding::DecisionRequest`.

mod words;

use super::format::Fault;
use super::lessons::LessonNote;
pub use super::setting::Setting;
use super::text::{self, rounded, rounded_list, rounded_optional};
pub use super::times::{Clock, Times};
use super::validate::{Field, ensure, name, range, tempo, time};
use super::versions::ChartSettings;
use crate::fretboard::{HIGHEST_CAPO, Shape, Tuning};
use crate::theory::{Key, Label};
use serde::{Deserialize, Serialize};
use std::fmt::Display;

/// The latest version of the log format; this program reads 1 to this and
/// writes the lowest that can hold what a log has (`Act::version`).
pub const VERSION: u64 = 4;

/// How a chord came to be decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// The first candidate was accepted.
    Proposed,
    /// Another candidate was accepted.
    Candidate,
    /// The user entered it.
    Own,
}

/// How the eighths of a section are played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Feel {
    /// Even eighths.
    Straight,
    /// Long and short eighths, as a triplet's first two thirds and its last.
    Swung,
}

impl Feel {
    /// As it stands over a section: "swung eighths".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Straight => "straight eighths",
            Self::Swung => "swung eighths",
        }
    }
}

/// One act of a decision. Times in seconds from the take's start.
///
/// Acts are anchored in time, not in bars, since a new draft may count bars
/// otherwise. Serialized as in the log's JSON: the field `act` names the kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(tag = "act", rename_all = "snake_case", deny_unknown_fields)]
pub enum Act {
    /// This chord sounds from here to there.
    Chord {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
        /// The chord, as in Harte et al., ISMIR 2005.
        #[serde(with = "text")]
        #[cfg_attr(test, schemars(with = "String"))]
        label: Label,
        /// Accepted or entered.
        how: How,
    },
    /// It is played so.
    Shape {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
        /// The fingering, low string first: `x02210`.
        #[serde(rename = "frets", with = "text")]
        #[cfg_attr(test, schemars(with = "String"))]
        shape: Shape,
        /// A second one to pick from.
        #[serde(
            rename = "or_frets",
            default,
            skip_serializing_if = "Option::is_none",
            with = "text::optional"
        )]
        #[cfg_attr(test, schemars(with = "Option<String>"))]
        or_shape: Option<Shape>,
    },
    /// A note to a place, or to the whole take if both times are left out.
    Note {
        /// From, s.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[serde(serialize_with = "rounded_optional")]
        start_s: Option<f64>,
        /// To, s.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[serde(serialize_with = "rounded_optional")]
        end_s: Option<f64>,
        /// The note.
        text: String,
    },
    /// The change of chord at one time is at another.
    Move {
        /// Where it was, s.
        #[serde(serialize_with = "rounded")]
        from_s: f64,
        /// Where it is, s.
        #[serde(serialize_with = "rounded")]
        to_s: f64,
    },
    /// The chord changes here.
    Split {
        /// Where, s.
        #[serde(serialize_with = "rounded")]
        at_s: f64,
    },
    /// From here to there is one chord.
    Join {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
    },
    /// The sections here have this name.
    SectionName {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
        /// The name; empty takes the name away.
        name: String,
    },
    /// The section here has this letter (the letter of the music it repeats).
    SectionLetter {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
        /// The letter.
        letter: String,
    },
    /// The sections here have this feel.
    SectionFeel {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
        /// Straight or swung.
        feel: Feel,
    },
    /// The chords from here to there are unconfirmed again, as proposed.
    Unconfirm {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
    },
    /// What was set for the whole take is heard again.
    AsHeard {
        /// What.
        setting: Setting,
    },
    /// These words are sung from here to there.
    Lyric {
        /// From, s.
        #[serde(serialize_with = "rounded")]
        start_s: f64,
        /// To, s.
        #[serde(serialize_with = "rounded")]
        end_s: f64,
        /// The words; empty takes those that stand there away.
        text: String,
    },
    /// Who made the song: words, music, arrangement.
    Credit {
        /// As it is printed; empty takes it away.
        text: String,
    },
    /// A new section starts here.
    SectionSplit {
        /// Where, s.
        #[serde(serialize_with = "rounded")]
        at_s: f64,
    },
    /// No section starts here.
    SectionJoin {
        /// Where, s.
        #[serde(serialize_with = "rounded")]
        at_s: f64,
    },
    /// The title.
    Title {
        /// The title.
        text: String,
    },
    /// The key of the whole.
    Key {
        /// The key: `G:maj`.
        #[serde(with = "text")]
        #[cfg_attr(test, schemars(with = "String"))]
        key: Key,
    },
    /// From here on, up to the next change, another key holds.
    KeyFrom {
        /// From when, s.
        #[serde(serialize_with = "rounded")]
        at_s: f64,
        /// The key: `G:maj`.
        #[serde(with = "text")]
        #[cfg_attr(test, schemars(with = "String"))]
        key: Key,
    },
    /// Beats in a bar and note value of a beat.
    Meter {
        /// Both: `4/4`.
        #[serde(with = "text::meter")]
        #[cfg_attr(test, schemars(with = "String"))]
        meter: (u8, u8),
    },
    /// The tempo.
    Tempo {
        /// In bpm.
        #[serde(serialize_with = "rounded")]
        bpm: f64,
    },
    /// The first downbeat.
    Downbeat {
        /// When, s.
        #[serde(serialize_with = "rounded")]
        at_s: f64,
    },
    /// Every beat as tapped.
    Beats {
        /// Their times, s, ascending.
        #[serde(serialize_with = "rounded_list")]
        times_s: Vec<f64>,
    },
    /// The bar that starts about here has so many beats.
    BarBeats {
        /// Its start, s.
        #[serde(serialize_with = "rounded")]
        at_s: f64,
        /// How many beats, 1 to 16.
        n_beats: u8,
    },
    /// The capo.
    Capo {
        /// Its fret, 0 for none.
        fret: u8,
    },
    /// The tuning.
    Tuning {
        /// MIDI notes of the open strings, low string first.
        #[serde(rename = "open_midi", with = "text::open_midi")]
        #[cfg_attr(test, schemars(with = "Vec<u8>"))]
        tuning: Tuning,
    },
    /// A version of the chart, in place of one of the same name.
    ChartVersion {
        /// Its name.
        name: String,
        /// Whom it is for.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        student: Option<String>,
        /// How the chart is written.
        settings: ChartSettings,
    },
    /// There is no version of this name.
    ChartVersionRemoved {
        /// The name.
        name: String,
    },
    /// A note of a lesson, in place of the one that has its number.
    LessonNote {
        /// The note.
        note: LessonNote,
    },
    /// There is no note of a lesson with this number.
    LessonNoteRemoved {
        /// The number.
        number: u32,
    },
    /// Undoes decisions, also such as undid others.
    Undo {
        /// Their ids.
        of: Vec<u32>,
    },
}

impl Act {
    /// The first version of the log format that has this kind.
    pub(super) const fn version(&self) -> u64 {
        match self {
            Self::SectionFeel { .. }
            | Self::Lyric { .. }
            | Self::Credit { .. }
            | Self::Unconfirm { .. }
            | Self::ChartVersion { .. }
            | Self::ChartVersionRemoved { .. }
            | Self::LessonNote { .. }
            | Self::LessonNoteRemoved { .. }
            | Self::AsHeard { .. } => 4,
            Self::Key { key } | Self::KeyFrom { key, .. } if key.mode.is_other() => 4,
            Self::KeyFrom { .. } => 3,
            Self::Beats { .. } | Self::BarBeats { .. } => 2,
            Self::Chord { .. }
            | Self::Shape { .. }
            | Self::Note { .. }
            | Self::Move { .. }
            | Self::Split { .. }
            | Self::Join { .. }
            | Self::SectionName { .. }
            | Self::SectionLetter { .. }
            | Self::SectionSplit { .. }
            | Self::SectionJoin { .. }
            | Self::Title { .. }
            | Self::Key { .. }
            | Self::Meter { .. }
            | Self::Tempo { .. }
            | Self::Downbeat { .. }
            | Self::Capo { .. }
            | Self::Tuning { .. }
            | Self::Undo { .. } => 1,
        }
    }

    /// Whether the words that it gives to a stretch make sense.
    fn check_words(&self, place: &dyn Display) -> Result<(), Fault> {
        let (start_s, end_s, text) = match self {
            Self::Lyric {
                start_s,
                end_s,
                text,
            } => (start_s, end_s, text),
            Self::SectionName {
                start_s,
                end_s,
                name,
            } => (start_s, end_s, name),
            Self::SectionLetter {
                start_s,
                end_s,
                letter,
            } => (start_s, end_s, letter),
            _ => return Ok(()),
        };
        range(*start_s, *end_s, place)?;
        name(text, place)
    }

    /// Whether it makes sense in a decision with this id; `place` is where it stands.
    pub(super) fn check(&self, id: u32, place: &dyn Display) -> Result<(), Fault> {
        let field = |name| Field(place, name);
        match self {
            Self::Chord { start_s, end_s, .. }
            | Self::Shape { start_s, end_s, .. }
            | Self::SectionFeel { start_s, end_s, .. }
            | Self::Unconfirm { start_s, end_s }
            | Self::Join { start_s, end_s } => range(*start_s, *end_s, place),
            Self::Lyric { .. } | Self::SectionName { .. } | Self::SectionLetter { .. } => {
                self.check_words(place)
            }
            Self::Move { from_s, to_s } => {
                time(*from_s, field("from_s"))?;
                time(*to_s, field("to_s"))
            }
            Self::Split { at_s }
            | Self::SectionSplit { at_s }
            | Self::SectionJoin { at_s }
            | Self::KeyFrom { at_s, .. }
            | Self::Downbeat { at_s } => time(*at_s, field("at_s")),
            Self::BarBeats { at_s, n_beats } => {
                time(*at_s, field("at_s"))?;
                ensure((1..=16).contains(n_beats), field("n_beats"), || {
                    format!("a bar of {n_beats} beats (1 to 16)")
                })
            }
            Self::Beats { times_s } => {
                for (i, at_s) in times_s.iter().enumerate() {
                    time(*at_s, format_args!("{place}.times_s[{i}]"))?;
                }
                let ascend = times_s.windows(2).all(|w| w[0] < w[1]);
                ensure(ascend, field("times_s"), || {
                    "beats must follow each other in time".into()
                })
            }
            Self::Tempo { bpm } => tempo(*bpm, field("bpm")),
            Self::Title { text } | Self::Credit { text } => name(text, field("text")),
            Self::ChartVersion {
                name: own,
                student,
                settings,
            } => {
                name(own, field("name"))?;
                name(student.as_deref().unwrap_or_default(), field("student"))?;
                settings.check(&field("settings"))
            }
            Self::ChartVersionRemoved { name: own } => name(own, field("name")),
            Self::LessonNote { note } => note.check(&field("note")),
            Self::Capo { fret } => ensure(*fret <= HIGHEST_CAPO, field("fret"), || {
                format!("a capo at fret {fret} (0 to {HIGHEST_CAPO})")
            }),
            Self::Undo { of } => ensure(of.iter().all(|o| *o < id), field("of"), || {
                format!("decision {id} cannot undo itself or a later one")
            }),
            Self::Note {
                text,
                start_s,
                end_s,
            } => note(text, *start_s, *end_s, place),
            Self::Key { .. }
            | Self::Meter { .. }
            | Self::Tuning { .. }
            | Self::LessonNoteRemoved { .. }
            | Self::AsHeard { .. } => Ok(()),
        }
    }
}

/// Whether a note makes sense: a text, at a place or at none.
fn note(
    text: &str,
    start_s: Option<f64>,
    end_s: Option<f64>,
    place: &dyn Display,
) -> Result<(), Fault> {
    match (start_s, end_s) {
        (Some(start_s), Some(end_s)) => range(start_s, end_s, place)?,
        (None, None) => {}
        _ => ensure(false, place, || {
            "a note needs both start_s and end_s, or neither".into()
        })?,
    }
    let is_text = !text.chars().any(|c| c.is_control() && !c.is_whitespace());
    ensure(is_text, Field(place, "text"), || {
        "it has characters that are not text".into()
    })
}
