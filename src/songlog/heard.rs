//! What was heard: the machine's proposal with its evidence.
//!
//! Plain values. `cli` fills them from the `hearing` room; a new draft
//! replaces them as a whole and never touches a decision.

use super::text::{self, rounded_optional};
use crate::fretboard::{Instrument, Shape, Tuning};
use crate::theory::{Key, KeyChange, Label};
pub use crate::units::Bar;
use serde::{Deserialize, Serialize};

/// Everything one draft heard in a take. Times in seconds from the take's start.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// Program version that heard it.
    pub by_version: String,
    /// Settings that differ from the defaults, as `name=value`.
    pub settings: Vec<String>,
    /// Length of the take, s.
    pub duration_s: f64,
    /// Offset from A4 = 440 Hz, cents, -50 to 50.
    pub tuning_cents: f64,
    /// Tuning and capo: given by the user, else standard without capo.
    pub instrument: Instrument,
    /// Beats a minute, the median; none where no beat was found.
    pub tempo_bpm: Option<f64>,
    /// Beats in a bar and the note value of a beat, (4, 4), (3, 4), (6, 8).
    pub meter: Option<(u8, u8)>,
    /// The key that the take starts in.
    pub key: Option<Key>,
    /// Where it changes, in order.
    pub key_changes: Vec<KeyChange>,
    /// Beats in order.
    pub beats: Vec<HeardBeat>,
    /// Bars in order, without gaps from the first downbeat on.
    pub bars: Vec<Bar>,
    /// Sections in order.
    pub sections: Vec<HeardSection>,
    /// Chord proposals in order, without overlap; gaps are not allowed (no chord is a proposal).
    pub chords: Vec<HeardChord>,
    /// The same time in detail: every harmony that sounds, where that is more than the song's
    /// chords; empty where it is not.
    pub detail: Vec<HeardChord>,
    /// Strums in order of time.
    pub strums: Vec<HeardStrum>,
    /// Notes in order of their onset.
    pub notes: Vec<HeardNote>,
    /// What can be heard in another way too.
    pub choices: Vec<Choice>,
    /// What it could not hear, or doubts, in words.
    pub warnings: Vec<String>,
}

/// Something that can be heard in two ways: what was chosen, and the other one. In JSON as in
/// the log and in `show --json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Choice {
    /// What is in doubt: "meter is unclear: 4/4 at 110 bpm or 3/4 at 132".
    pub words: String,
    /// The other way in a few words: "3/4 at 132 bpm".
    pub instead: String,
    /// What to give for the other way.
    pub set: Preset,
    /// What to give to keep what was chosen.
    pub keep: Preset,
    /// How far the other way lies behind, in nats; left out where it is not measured in them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(serialize_with = "rounded_optional")]
    pub margin_nats: Option<f64>,
}

/// What can be given about a whole take; its fields are named as in a decision request.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Preset {
    /// Beats in a bar and note value of a beat: `3/4`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(
        serialize_with = "text::meter::serialize_optional",
        deserialize_with = "text::meter::optional"
    )]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub meter: Option<(u8, u8)>,
    /// Beats a minute.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tempo_bpm: Option<f64>,
    /// The first downbeat, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_downbeat: Option<f64>,
    /// Fret of the capo, 0 for none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub capo: Option<u8>,
    /// The tuning: `drop D`, `standard`.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "text::optional"
    )]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub tuning: Option<Tuning>,
}

/// A strum: several strings by one move of the hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardStrum {
    /// Its first string, s.
    pub time_s: f64,
    /// Whether it goes down, from the lowest string.
    pub down: bool,
    /// How likely it is one, 0 to 1.
    pub probability: f64,
}

/// One beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardBeat {
    /// When, s.
    pub time_s: f64,
    /// Place in the bar, from 1; 0 where unknown.
    pub place: u8,
}

/// One section: a run of bars.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardSection {
    /// The same letter for the same music: `A`, `B`.
    pub letter: String,
    /// First bar, inclusive.
    pub first_bar: u32,
    /// Last bar, inclusive.
    pub last_bar: u32,
    /// How it differs from the first with its letter, in words; empty if it does not.
    pub differs: String,
}

/// One proposed chord.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardChord {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// Best first; never empty.
    pub candidates: Vec<Candidate>,
    /// Fingerings of the first candidate that fit what sounded, best first.
    pub shapes: Vec<FittedShape>,
    /// Lowest note heard, MIDI.
    pub bass_midi: Option<u8>,
    /// How strongly each pitch class sounds, C first, 0 to 1.
    pub chroma: [f32; 12],
    /// Whether it was read from one to three plucked notes rather than a whole chord.
    pub fragment: bool,
}

/// One reading of a span.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The chord, or no chord.
    pub label: Label,
    /// 0 to 1; a candidate said to be 0.8 sure is right in about 80 of 100 cases.
    pub probability: f64,
    /// Why, in a few words: "third and root heard, bass D".
    pub reason: String,
}

/// A shape with how well it fits.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedShape {
    /// The fingering.
    pub shape: Shape,
    /// How well its strings fit the notes heard, 0 to 1.
    pub fit: f64,
}

/// One heard note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardNote {
    /// When it was struck, s.
    pub start_s: f64,
    /// When it stopped or could no longer be heard, s.
    pub end_s: f64,
    /// Which pitch, MIDI.
    pub midi: u8,
    /// 0 to 1.
    pub probability: f64,
}
