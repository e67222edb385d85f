//! The song as it stands: heard plus decisions, resolved.
//!
//! This is what is shown, charted and checked. It is derived, never stored.

use super::heard::Candidate;
pub use super::heard::{Choice, Preset};
pub use super::lessons::LessonNote;
pub use super::parts::Section;
pub use super::versions::ChartVersion;
use crate::fretboard::{Instrument, Shape};
use crate::theory::{Key, KeyChange, Label, key_at};
pub use crate::units::Bar;
use crate::units::LINE_NOTES_A_S;

/// A span that reaches no further into a bar than this is not in it, s.
const EDGE_S: f64 = 0.02;

/// A resolved song. Times in seconds from the take's start.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Song {
    /// Who made it, as the user wrote it.
    pub credit: Option<String>,
    /// Title: the user's, else the take's file name without its ending.
    pub title: String,
    /// Length of the take, s.
    pub duration_s: f64,
    /// Tuning and capo.
    pub instrument: Instrument,
    /// Beats a minute.
    pub tempo_bpm: Option<f64>,
    /// Beats in a bar and note value of a beat.
    pub meter: Option<(u8, u8)>,
    /// The key that it starts in.
    pub key: Option<Key>,
    /// Where the key changes, in order; each another than the one before.
    pub key_changes: Vec<KeyChange>,
    /// Beat times, s.
    pub beats_s: Vec<f64>,
    /// Bars in order; without a beat, one bar a chord.
    pub bars: Vec<Bar>,
    /// Sections in order, covering all bars.
    pub sections: Vec<Section>,
    /// Chords in order, without gap or overlap.
    pub spans: Vec<Span>,
    /// Words that are sung, in order of time.
    pub lyrics: Vec<Lyric>,
    /// Notes of the user that belong to no single place.
    pub notes: Vec<String>,
    /// Versions of the chart for students, in the order in which they were first saved.
    pub versions: Vec<ChartVersion>,
    /// Notes of lessons, in order of their days; the teacher's own.
    pub lesson_notes: Vec<LessonNote>,
    /// What can be heard in another way too, and the user has not decided.
    pub choices: Vec<Choice>,
    /// What was set since the take was analysed and is not heard by yet, in words.
    pub stale: Vec<String>,
    /// Warnings of the draft, and decisions that no longer fit.
    pub warnings: Vec<String>,
}

/// Words that are sung.
#[derive(Debug, Clone, PartialEq)]
pub struct Lyric {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// The words.
    pub text: String,
}

/// Whether the user has decided a span.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Only proposed.
    Open,
    /// The user accepted or wrote it.
    Decided,
}

/// One chord in time.
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// What is shown: the decision, else the first candidate.
    pub label: Label,
    /// Open or decided.
    pub state: State,
    /// How sure the machine is of `label`, 0 to 1; none if the label is the user's own.
    pub certainty: Option<f64>,
    /// The machine's candidates, best first.
    pub candidates: Vec<Candidate>,
    /// Shapes: decided ones first (one, or two for "either/or"), else proposed, best first.
    pub shapes: Vec<Shape>,
    /// How many of `shapes` the user decided: 0, 1, or 2 for "either/or".
    pub n_decided_shapes: usize,
    /// The user's notes to this place.
    pub notes: Vec<String>,
    /// Lowest note heard, MIDI.
    pub bass_midi: Option<u8>,
    /// Whether it was read from a few plucked notes.
    pub fragment: bool,
    /// Notes struck in it: MIDI and time in s.
    pub struck: Vec<(u8, f64)>,
}

/// Fewer notes than this are no line.
const LEAST_LINE: usize = 4;

impl Span {
    /// Whether it is a line of single notes: no chord sounds, and notes are struck all along.
    pub fn is_line(&self) -> bool {
        let length_s = self.end_s - self.start_s;
        self.label.chord().is_none()
            && self.struck.len() >= LEAST_LINE
            && self.struck.len() as f64 >= LINE_NOTES_A_S * length_s
    }
}

impl Song {
    /// Spans that sound in a bar, with the part of it they take, s.
    pub fn spans_in(&self, bar: &Bar) -> impl Iterator<Item = &Span> {
        let (start, end) = (bar.start_s, bar.end_s);
        self.spans
            .iter()
            .filter(move |s| s.start_s < end - EDGE_S && s.end_s > start + EDGE_S)
    }

    /// The key of what starts at a moment, s.
    pub fn key_at(&self, time_s: f64) -> Option<Key> {
        key_at(self.key, &self.key_changes, time_s)
    }

    /// Whether a span is the silence before the first bar or after the last. No
    /// bar shows it, so it counts neither as a chord nor as open.
    pub fn is_outside(&self, span: &Span) -> bool {
        span.label == Label::NoChord && self.is_in_no_bar(span)
    }

    /// Whether a span lies before the first bar or after the last.
    pub fn is_in_no_bar(&self, span: &Span) -> bool {
        self.bars
            .iter()
            .all(|b| span.end_s <= b.start_s + EDGE_S || span.start_s >= b.end_s - EDGE_S)
    }

    /// The chords of the bars, no chord and unknown included.
    pub fn chords(&self) -> impl Iterator<Item = &Span> {
        self.spans.iter().filter(|s| !self.is_outside(s))
    }

    /// How many they are.
    pub fn n_chords(&self) -> usize {
        self.chords().count()
    }

    /// Those that nobody has decided.
    pub fn open(&self) -> impl Iterator<Item = &Span> {
        self.chords().filter(|s| s.state == State::Open)
    }

    /// How many they are.
    pub fn n_open(&self) -> usize {
        self.open().count()
    }
}
