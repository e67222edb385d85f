//! What is wanted, as plain values.

use super::place::Place;
use crate::fretboard::{Shape, Tuning};
use crate::theory::{Key, Label};

/// What a person wants decided, at some places or for the whole take.
///
/// Everything left out stays as it is. Times in seconds from the take's start.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Request {
    /// Where; empty only for what concerns the whole take.
    pub places: Vec<Place>,
    /// The same in every repeat of the section.
    pub repeats: bool,

    /// Takes the first proposal for each open chord there that is at least so sure (0 to 1).
    pub take_first: Option<f64>,
    /// Takes the candidate with this number, from 1.
    pub candidate: Option<usize>,
    /// The user's own chord.
    pub chord: Option<Label>,
    /// How it is played.
    pub shape: Option<Shape>,
    /// A second shape to pick from; needs `shape`.
    pub or_shape: Option<Shape>,
    /// A note for the places, or for the whole take if there are none.
    pub note: Option<String>,

    /// Moves the change of chord nearest to the place to this moment, s.
    pub move_to_s: Option<f64>,
    /// The chord changes at the start of each place.
    pub split: bool,
    /// Each place is one chord.
    pub join: bool,

    /// Names the sections there; empty takes the name away.
    pub section_name: Option<String>,
    /// Letters the sections there, after the music they repeat.
    pub section_letter: Option<String>,
    /// A section starts at each place.
    pub section_starts: bool,
    /// No section starts at each place.
    pub section_joins: bool,

    /// Title of the song.
    pub title: Option<String>,
    /// Key of the whole, or from the places on up to the next change.
    pub key: Option<Key>,
    /// Beats in a bar and note value of a beat.
    pub meter: Option<(u8, u8)>,
    /// Beats a minute.
    pub tempo_bpm: Option<f64>,
    /// The first downbeat, s.
    pub downbeat_s: Option<f64>,
    /// Every beat as tapped, s, ascending.
    pub beats_s: Option<Vec<f64>>,
    /// Bars with other beats than the rest: number and beats.
    pub bar_beats: Vec<(u32, u8)>,
    /// Fret of the capo, 0 for none.
    pub capo: Option<u8>,
    /// Tuning.
    pub tuning: Option<Tuning>,
}

impl Request {
    /// Whether something is wanted that needs a place.
    pub fn is_local(&self) -> bool {
        self.take_first.is_some()
            || self.candidate.is_some()
            || self.chord.is_some()
            || self.shape.is_some()
            || self.move_to_s.is_some()
            || self.split
            || self.join
            || self.section_name.is_some()
            || self.section_letter.is_some()
            || self.section_starts
            || self.section_joins
            || (self.key.is_some() && !self.places.is_empty())
    }

    /// Whether something is wanted for the whole take.
    pub fn is_for_whole(&self) -> bool {
        self.title.is_some()
            || (self.key.is_some() && self.places.is_empty())
            || self.meter.is_some()
            || self.tempo_bpm.is_some()
            || self.downbeat_s.is_some()
            || self.beats_s.is_some()
            || !self.bar_beats.is_empty()
            || self.capo.is_some()
            || self.tuning.is_some()
    }
}
