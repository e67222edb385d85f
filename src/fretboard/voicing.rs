//! What a shape must sound, what the player will have, and a playable shape.

use super::hand::Hand;
use super::{FretboardError, Instrument, Shape};
use crate::theory::{Chord, PitchClass, PitchClassSet};

/// What a shape must sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Pitch classes that must sound.
    pub required: PitchClassSet,
    /// Pitch classes that may sound too.
    pub optional: PitchClassSet,
    /// Pitch class of the lowest sounding note, if it matters.
    pub bass: Option<PitchClass>,
    /// Whether that bass is another tone than the root, and so is to be heard as a bass.
    pub bass_written: bool,
}

impl Wanted {
    /// Exactly these pitch classes over a bass, all required.
    pub fn exactly(set: PitchClassSet, bass: Option<PitchClass>) -> Self {
        Self {
            required: bass.map_or(set, |b| set.with(b)),
            optional: PitchClassSet::default(),
            bass,
            bass_written: false,
        }
    }

    /// What a chord asks for: every tone but those that players leave out
    /// first (common practice, no source): the perfect fifth of chords of four tones and
    /// more, the ninth of an eleventh or thirteenth chord, the third of a
    /// dominant or major eleventh. The bass is the chord's.
    pub fn chord(chord: &Chord) -> Self {
        let root = chord.root.pitch_class();
        let degrees = chord.degrees();
        let highest = degrees.iter().map(|d| d.number()).max().unwrap_or(1);
        let eleventh = degrees.iter().any(|d| (d.number(), d.alter()) == (11, 0));
        let may_go = |number: u8, alter: i8| match number {
            5 => alter == 0 && degrees.len() > 3,
            9 => alter == 0 && highest >= 11 && degrees.len() > 4,
            11 => alter == 0 && highest == 13,
            // a natural eleventh rubs against the third; a sharp one needs it
            3 => alter == 0 && highest == 11 && degrees.len() > 4 && eleventh,
            _ => false,
        };
        let (optional, required): (Vec<_>, Vec<_>) =
            degrees.iter().partition(|d| may_go(d.number(), d.alter()));
        let set = |list: Vec<&crate::theory::Degree>| -> PitchClassSet {
            list.into_iter().map(|d| d.over(root)).collect()
        };
        let bass = chord.bass_pitch_class();
        let required = set(required).with(bass);
        Self {
            required,
            optional: set(optional).without(required),
            bass: Some(bass),
            bass_written: bass != root,
        }
    }
}

/// What the player will have.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Lowest fret to press, from the capo; open strings are always allowed unless `no_open`.
    pub lowest_fret: u8,
    /// Highest fret to press, from the capo.
    pub highest_fret: u8,
    /// Widest span from lowest to highest pressed fret, mm.
    pub span_mm: f64,
    /// Strings that must not sound, by index.
    pub left_out: Vec<usize>,
    /// Strings that must sound, by index.
    pub used: Vec<usize>,
    /// Strings that must ring open.
    pub ring_open: Vec<usize>,
    /// Pitch class of the highest sounding note.
    pub top: Option<PitchClass>,
    /// MIDI note of the highest sounding note.
    pub top_midi: Option<u8>,
    /// No finger may lie across strings.
    pub no_barre: bool,
    /// No open strings.
    pub no_open: bool,
    /// Most strings muted between sounding ones.
    pub muted_inside: u8,
    /// Fewest sounding strings; never fewer than the required pitch classes.
    pub min_strings: usize,
    /// Most fingers, the thumb counted.
    pub max_fingers: u8,
}

impl Default for Limits {
    /// Frets up to 15, span to 128 mm (five frets from the first), three strings or more.
    fn default() -> Self {
        Self {
            lowest_fret: 1,
            highest_fret: 15,
            span_mm: 128.0,
            left_out: Vec::new(),
            used: Vec::new(),
            ring_open: Vec::new(),
            top: None,
            top_midi: None,
            no_barre: false,
            no_open: false,
            muted_inside: 2,
            min_strings: 3,
            max_fingers: 5,
        }
    }
}

impl Limits {
    /// Whether these limits can hold for an instrument at all.
    ///
    /// # Errors
    /// * [`FretboardError::Limits`] for a string that does not exist, a string
    ///   both used and left out, frets the wrong way round or beyond the neck.
    pub fn check(&self, instrument: &Instrument) -> Result<(), FretboardError> {
        let n = instrument.tuning.n_strings();
        let fail = |reason: String| Err(FretboardError::Limits { reason });
        for s in self
            .left_out
            .iter()
            .chain(&self.used)
            .chain(&self.ring_open)
        {
            if *s >= n {
                return fail(format!(
                    "there is no string {} (the instrument has {n})",
                    s + 1
                ));
            }
        }
        let must = || self.used.iter().chain(&self.ring_open);
        if let Some(s) = must().find(|s| self.left_out.contains(s)) {
            return fail(format!(
                "string {} is both to sound and to be left out",
                super::string_name(instrument, *s)
            ));
        }
        if self.no_open && !self.ring_open.is_empty() {
            return fail("open strings are both wanted and excluded".into());
        }
        if self.lowest_fret > self.highest_fret {
            return fail(format!(
                "the lowest fret {} lies above the highest {}",
                self.lowest_fret, self.highest_fret
            ));
        }
        let neck = instrument.highest_fret.saturating_sub(instrument.capo);
        if self.lowest_fret > neck {
            return Err(FretboardError::FretRange {
                fret: u32::from(self.lowest_fret),
                highest: neck,
            });
        }
        if self.span_mm.is_nan() || self.span_mm < 0.0 {
            return fail(format!("a span of {} mm is none", self.span_mm));
        }
        Ok(())
    }
}

/// A playable shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Voicing {
    /// The frets.
    pub shape: Shape,
    /// How it is held.
    pub hand: Hand,
    /// Optional pitch classes that do not sound.
    pub missing: PitchClassSet,
    /// The measure of ease with what is missing; lower is better.
    pub rank: f64,
}

/// The first `n` of a list of shapes that are no mere cut-down of an earlier
/// one (the same frets with strings left out).
pub fn distinct(list: &[Voicing], n: usize) -> Vec<&Voicing> {
    let mut kept: Vec<&Voicing> = Vec::with_capacity(n);
    for v in list {
        if kept.len() == n {
            break;
        }
        let cut = |whole: &&Voicing| {
            let pairs = v.shape.frets().iter().zip(whole.shape.frets());
            pairs.into_iter().all(|(a, b)| a.is_none() || a == b)
        };
        if !kept.iter().any(cut) {
            kept.push(v);
        }
    }
    kept
}
