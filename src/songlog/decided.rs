//! What the user decided: an append-only list.
//!
//! One decision is one thing the user did, at one time; it may have several
//! acts. Acts are anchored in seconds of the take, not in bars, since a new
//! draft may count bars otherwise. Taking back is one more decision.

use crate::fretboard::{Shape, Tuning};
use crate::theory::{Key, Label};

/// One decision of the user.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// From 1, ascending in the list.
    pub id: u32,
    /// When, UTC, RFC 3339.
    pub at: String,
    /// What was decided, in order.
    pub acts: Vec<Act>,
}

/// How a chord came to be decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// The first proposal was taken.
    Proposed,
    /// Another candidate was taken.
    Candidate,
    /// The user wrote it.
    Own,
}

/// One act. Times in seconds from the take's start.
#[derive(Debug, Clone, PartialEq)]
pub enum Act {
    /// This chord sounds from here to there.
    Chord {
        /// From, s.
        start_s: f64,
        /// To, s.
        end_s: f64,
        /// The chord.
        label: Label,
        /// Taken or written.
        how: How,
    },
    /// It is played so.
    Shape {
        /// From, s.
        start_s: f64,
        /// To, s.
        end_s: f64,
        /// The fingering.
        shape: Shape,
        /// A second one to pick from.
        or_shape: Option<Shape>,
    },
    /// A note to a place, or to the whole.
    Note {
        /// From and to, s; none for the whole.
        place_s: Option<(f64, f64)>,
        /// The note.
        text: String,
    },
    /// The change of chord at one time is at another.
    Move {
        /// Where it was, s.
        from_s: f64,
        /// Where it is, s.
        to_s: f64,
    },
    /// The chord changes here.
    Split {
        /// Where, s.
        at_s: f64,
    },
    /// From here to there is one chord.
    Join {
        /// From, s.
        start_s: f64,
        /// To, s.
        end_s: f64,
    },
    /// The sections here have this name.
    SectionName {
        /// From, s.
        start_s: f64,
        /// To, s.
        end_s: f64,
        /// The name; empty takes the name away.
        name: String,
    },
    /// The section here has this letter (the letter of the music it repeats).
    SectionLetter {
        /// From, s.
        start_s: f64,
        /// To, s.
        end_s: f64,
        /// The letter.
        letter: String,
    },
    /// A new section starts here.
    SectionSplit {
        /// Where, s.
        at_s: f64,
    },
    /// No section starts here.
    SectionJoin {
        /// Where, s.
        at_s: f64,
    },
    /// The title.
    Title(String),
    /// The key of the whole.
    Key(Key),
    /// From here on, up to the next change, another key holds.
    KeyFrom {
        /// From when, s.
        at_s: f64,
        /// The key.
        key: Key,
    },
    /// Beats in a bar and note value of a beat.
    Meter(u8, u8),
    /// Beats a minute.
    Tempo(f64),
    /// The first downbeat, s.
    Downbeat(f64),
    /// Every beat as tapped, s, ascending.
    Beats(Vec<f64>),
    /// The bar that starts about here has so many beats.
    BarBeats {
        /// Its start, s.
        at_s: f64,
        /// How many beats.
        n_beats: u8,
    },
    /// Fret of the capo, 0 for none.
    Capo(u8),
    /// The tuning.
    Tuning(Tuning),
    /// Takes decisions back, also such as took others back.
    Undo(Vec<u32>),
}

impl Decision {
    /// Ids this decision takes back.
    pub fn takes_back(&self) -> impl Iterator<Item = u32> {
        self.acts
            .iter()
            .filter_map(|act| match act {
                Act::Undo(ids) => Some(ids.iter().copied()),
                _ => None,
            })
            .flatten()
    }

    /// In words, for a history.
    pub fn text(&self) -> String {
        let acts: Vec<String> = self.acts.iter().map(Act::text).collect();
        acts.join("; ")
    }
}

/// Which decisions hold: those that no later decision that holds takes back.
///
/// Gives one value for each decision, in order.
pub fn holding(decisions: &[Decision]) -> Vec<bool> {
    let mut holds = vec![true; decisions.len()];
    for i in (0..decisions.len()).rev() {
        if !holds[i] {
            continue;
        }
        for id in decisions[i].takes_back() {
            if let Some(j) = decisions[..i].iter().position(|d| d.id == id) {
                holds[j] = false;
            }
        }
    }
    holds
}

/// `1:05.3`, or `65.25 s` where a machine-like number helps nobody: minutes and seconds.
pub fn clock(time_s: f64) -> String {
    let tenths = (time_s.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

impl Act {
    /// In words: "Am7 from 0:02.0 to 0:04.0 (own)".
    pub fn text(&self) -> String {
        let range = |a: &f64, b: &f64| format!("from {} to {}", clock(*a), clock(*b));
        match self {
            Self::Chord {
                start_s,
                end_s,
                label,
                how,
            } => format!(
                "{} {} ({})",
                label.symbol(),
                range(start_s, end_s),
                match how {
                    How::Proposed => "as proposed",
                    How::Candidate => "another candidate",
                    How::Own => "own",
                }
            ),
            Self::Shape {
                start_s,
                end_s,
                shape,
                or_shape,
            } => match or_shape {
                Some(or) => format!("shape {shape} or {or} {}", range(start_s, end_s)),
                None => format!("shape {shape} {}", range(start_s, end_s)),
            },
            Self::Note { place_s, text } => match place_s {
                Some((a, b)) => format!("note {}: {text}", range(a, b)),
                None => format!("note: {text}"),
            },
            Self::Move { from_s, to_s } => {
                format!("change at {} moved to {}", clock(*from_s), clock(*to_s))
            }
            Self::Split { at_s } => format!("chord split at {}", clock(*at_s)),
            Self::Join { start_s, end_s } => format!("one chord {}", range(start_s, end_s)),
            Self::SectionName {
                start_s,
                end_s,
                name,
            } => format!("section '{name}' {}", range(start_s, end_s)),
            Self::SectionLetter {
                start_s,
                end_s,
                letter,
            } => format!("section letter {letter} {}", range(start_s, end_s)),
            Self::SectionSplit { at_s } => format!("section starts at {}", clock(*at_s)),
            Self::SectionJoin { at_s } => format!("no section starts at {}", clock(*at_s)),
            Self::Title(title) => format!("title '{title}'"),
            Self::Key(key) => format!("key {}", key.text()),
            Self::KeyFrom { at_s, key } => format!("key {} from {}", key.text(), clock(*at_s)),
            Self::Meter(beats, value) => format!("meter {beats}/{value}"),
            Self::Tempo(bpm) => format!("tempo {bpm} bpm"),
            Self::Downbeat(at_s) => format!("first downbeat at {}", clock(*at_s)),
            Self::Beats(times_s) => match (times_s.first(), times_s.last()) {
                (Some(first), Some(last)) => format!(
                    "{} beats tapped from {} to {}",
                    times_s.len(),
                    clock(*first),
                    clock(*last)
                ),
                _ => "no beats tapped".into(),
            },
            Self::BarBeats { at_s, n_beats } => {
                format!("the bar at {} has {n_beats} beats", clock(*at_s))
            }
            Self::Capo(0) => "no capo".into(),
            Self::Capo(fret) => format!("capo at fret {fret}"),
            Self::Tuning(tuning) => format!("tuning {}", tuning.text()),
            Self::Undo(ids) => {
                let ids: Vec<String> = ids.iter().map(u32::to_string).collect();
                format!("takes back {}", ids.join(", "))
            }
        }
    }
}
