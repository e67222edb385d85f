//! What the stages hand on and what the room gives; below all stages.

use crate::fretboard::{Instrument, Shape, Tuning};
use crate::theory::{Key, KeyChange, Label};
pub(in crate::hearing) use crate::units::Bar;

/// What the user already knows; it wins over what is heard.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// Tuning and capo.
    pub instrument: Instrument,
    /// Whether the user said how the guitar is set up: nothing else is suggested then.
    pub is_set_up: bool,
    /// The key.
    pub key: Option<Key>,
    /// Beats a minute.
    pub tempo_bpm: Option<f64>,
    /// Beats in a bar and the note value of a beat.
    pub meter: Option<(u8, u8)>,
    /// The time of bar 1's first beat, s.
    pub first_downbeat_s: Option<f64>,
    /// Every beat, s, as tapped by the user; empty for none.
    pub beats_s: Vec<f64>,
    /// Bars of which the user said how many beats they have, in order.
    pub bar_beats: Vec<(WhichBar, u8)>,
}

/// A bar that the user means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WhichBar {
    /// The one with this number, by the count so far.
    Number(u32),
    /// The one that starts about here, s.
    At(f64),
}

/// Everything heard in a take. Times in seconds from its start.
#[derive(Debug, Clone)]
pub struct Hearing {
    /// Length of the take, s.
    pub duration_s: f64,
    /// Offset from A4 = 440 Hz, cents.
    pub tuning_cents: f64,
    /// Beats a minute, the median.
    pub tempo_bpm: Option<f64>,
    /// Beats in a bar and the note value of a beat.
    pub meter: Option<(u8, u8)>,
    /// The key that the take starts in.
    pub key: Option<Key>,
    /// Where it changes, in order.
    pub key_changes: Vec<KeyChange>,
    /// Beat times and their place in the bar (from 1; 0 unknown).
    pub beats: Vec<(f64, u8)>,
    /// Bars in order, without gaps.
    pub bars: Vec<Bar>,
    /// Sections in order, covering all bars.
    pub sections: Vec<Section>,
    /// Chords in order, without gap or overlap, at song level: what a lead sheet says.
    pub chords: Vec<HeardSpan>,
    /// The same time in detail: every harmony that sounds. Empty where it is the song level's.
    pub detail: Vec<HeardSpan>,
    /// Strums in order of time.
    pub strums: Vec<Strum>,
    /// Notes in order of time.
    pub notes: Vec<Note>,
    /// The capo or tuning that what was played suggests, where none was given.
    pub suggested: Option<Instrument>,
    /// What can be heard in another way too.
    pub choices: Vec<Choice>,
    /// Doubts, in words.
    pub warnings: Vec<String>,
}

/// Something that can be heard in two ways: what hearing chose, and the other one.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// What is in doubt, in words.
    pub words: String,
    /// The other way in a few words: "3/4 at 132 bpm".
    pub instead: String,
    /// What to give for the other way.
    pub set: Preset,
    /// What to give to keep what hearing chose.
    pub keep: Preset,
    /// How far the other way lies behind, in nats; none where it is not measured in them.
    pub margin_nats: Option<f64>,
}

/// What can be given beforehand about a whole take; what is left out is heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Preset {
    /// Beats in a bar and the note value of a beat.
    pub meter: Option<(u8, u8)>,
    /// Beats a minute.
    pub tempo_bpm: Option<f64>,
    /// The first downbeat, s.
    pub first_downbeat_s: Option<f64>,
    /// Fret of the capo, 0 for none.
    pub capo: Option<u8>,
    /// The tuning.
    pub tuning: Option<Tuning>,
}

/// A strum: several strings by one move of the hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strum {
    /// When it is heard, s: with its first string, of a slow sweep later.
    pub time_s: f64,
    /// Whether it goes down, from the lowest string.
    pub down: bool,
    /// That it is one.
    pub probability: f64,
    /// Of its direction, 0.5 to 1.
    pub direction_probability: f64,
}

/// One chord in time with its candidates.
#[derive(Debug, Clone)]
pub struct HeardSpan {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// Best first, never empty: label, probability, reason.
    pub candidates: Vec<(Label, f64, String)>,
    /// Fingerings of the first candidate that fit what sounded, best first, with their fit (0 to 1).
    pub shapes: Vec<(Shape, f64)>,
    /// Lowest note heard, MIDI.
    pub bass_midi: Option<u8>,
    /// How strongly each pitch class sounds, C first, 0 to 1.
    pub chroma: [f32; 12],
    /// Whether it was read from a few plucked notes.
    pub fragment: bool,
}

/// One section: a run of bars.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// The same letter for the same music.
    pub letter: String,
    /// Number of the first bar.
    pub first_bar: u32,
    /// Number of the last bar, inclusive.
    pub last_bar: u32,
}

/// One note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Note {
    /// When it was struck, s.
    pub start_s: f64,
    /// When it stopped sounding, s.
    pub end_s: f64,
    /// MIDI note number.
    pub midi: u8,
    /// How likely it was struck here, 0 to 1.
    pub probability: f32,
}
