//! Weighs one stretch of a take: the chord as written, or another?
//!
//! A departure is told only where the evidence for the best other reading
//! exceeds the evidence for the written one by a margin, which depends on how
//! easily the two are confused. Margins are fitted on rendered takes
//! (docs/checking.md).

use super::evidence::{Evidence, Heardable, Level, Reading, agree};
use super::slots::Slot;
use crate::fretboard::Instrument;
use crate::theory::{Chord, Degree, Key, Label, Mode, PitchClass, PitchClassSet};
use serde::Deserialize;
use std::sync::LazyLock;

/// How far another reading must be ahead of the written one, ln.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Margins {
    other_chord: f32,
    other_bass: f32,
    other_notes: f32,
    silence: f32,
    timing: f32,
    /// More for each note by which the nearest class differs from the chord.
    each_note_off: f32,
    /// More for each frame at song level: what is ahead by little all along is
    /// how the hand plays the chord.
    each_frame: f32,
    /// More at song level for another bass.
    brushed: f32,
    /// With fewer notes at once, on average, a stretch is double stops or a line:
    /// its lowest note is no bass, and what it leaves out was not meant to sound.
    few_notes: f32,
    /// Such a stretch plays the chord if this share of the notes heard belongs to it, 0 to 1.
    few_notes_share: f32,
    /// How far a change may be off its place, in beats, at song level.
    pub(super) off_beats_song: f64,
    /// The same where every detail counts.
    pub(super) off_beats_detail: f64,
    /// The changes around it lie so near to a steady tempo, in beats; else nothing is reported.
    pub(super) steady_beats: f64,
    /// How many ln double the odds, about: the evidence of a stretch is not
    /// independent from frame to frame.
    doubling: f32,
}

pub(super) static MARGINS: LazyLock<Margins> = LazyLock::new(|| {
    // a broken build, which every check of a take finds
    serde_json::from_str(include_str!("weights/margins.json"))
        .unwrap_or_else(|e| panic!("src/checking/weights/margins.json: {e}"))
});

/// How a stretch departs from the chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Departure {
    /// Another chord: another root or another third.
    OtherChord,
    /// The written chord over another bass.
    OtherBass,
    /// The same root and third, other notes beyond.
    OtherNotes,
    /// Nothing sounds where a chord is written.
    Silent,
    /// A chord sounds where none is written.
    NotSilent,
    /// The change comes before its place.
    Early,
    /// The change comes after its place.
    Late,
}

impl Departure {
    /// The name in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::OtherChord => "other chord",
            Self::OtherBass => "other bass",
            Self::OtherNotes => "other notes",
            Self::Silent => "silent",
            Self::NotSilent => "not silent",
            Self::Early => "early",
            Self::Late => "late",
        }
    }

    /// How far the other reading must be ahead, ln.
    pub(crate) fn margin(self) -> f32 {
        match self {
            Self::OtherChord => MARGINS.other_chord,
            Self::OtherBass => MARGINS.other_bass,
            Self::OtherNotes => MARGINS.other_notes,
            Self::Silent | Self::NotSilent => MARGINS.silence,
            Self::Early | Self::Late => MARGINS.timing,
        }
    }
}

/// One departure.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// What kind.
    pub departure: Departure,
    /// Beat of the bar, from 1.
    pub beat: f64,
    /// As written.
    pub written: Label,
    /// What sounds instead, if that is the point.
    pub heard: Option<Label>,
    /// How sure, 0 to 1.
    pub certainty: f64,
    /// In words.
    pub words: String,
}

pub(crate) fn certainty(ahead: f32) -> f64 {
    let odds = f64::from(ahead / MARGINS.doubling);
    1.0 / (1.0 + (-odds).exp2())
}

/// What a slot is weighed against.
pub(crate) struct Weighing<'a> {
    pub(crate) evidence: &'a Evidence,
    pub(crate) key: Option<Key>,
    /// Every reading of the chart's own chords: at home in this song.
    pub(crate) at_home: &'a std::collections::HashSet<Heardable>,
    pub(crate) level: Level,
}

impl Weighing<'_> {
    /// The departure of one stretch from its slot, if any. `readings` and
    /// `off`: what counts as written, and how many notes that is off.
    pub(crate) fn departure(
        &self,
        slot: &Slot,
        readings: &[Reading],
        off: u32,
        from: usize,
        to: usize,
    ) -> Option<Finding> {
        if readings.is_empty() {
            return None;
        }
        let scores = self.evidence.scores(from, to);
        let (written, best) = readings
            .iter()
            .map(|r| (r.what, scores.of(r.what) + r.prior))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let is_partial = self.is_partial(slot, from, to);
        let mut worst: Option<(f32, f32, Heardable, Departure)> = None;
        for (what, prior) in self.evidence.everything() {
            if readings.iter().any(|r| r.what == *what) {
                continue;
            }
            let prior = if self.at_home.contains(what) {
                0.0
            } else {
                *prior
            };
            let ahead = scores.of(*what) + prior - best;
            if ahead <= 0.0 {
                continue;
            }
            let Some(kind) = self.kind(slot, written, *what) else {
                continue;
            };
            // a chord the evidence has no class for is known less well
            let mut margin = kind.margin() + MARGINS.each_note_off * off as f32;
            if self.level == Level::Song {
                let is_chord = matches!(kind, Departure::OtherChord | Departure::OtherBass);
                if is_partial && is_chord {
                    continue;
                }
                margin += MARGINS.each_frame * self.evidence.n_frames(from, to);
                if kind == Departure::OtherBass {
                    margin += MARGINS.brushed;
                }
            }
            if ahead > margin && worst.is_none_or(|w| ahead - margin > w.0) {
                worst = Some((ahead - margin, ahead, *what, kind));
            }
        }
        let (_, ahead, what, departure) = worst?;
        let heard = self.label(slot, what);
        Some(Finding {
            words: self.words(slot, &heard, departure),
            departure,
            beat: slot.beat,
            written: slot.label.clone(),
            heard: Some(heard),
            certainty: certainty(ahead),
        })
    }

    /// Whether a stretch is double stops or a line out of the written chord.
    fn is_partial(&self, slot: &Slot, from: usize, to: usize) -> bool {
        slot.label.chord().is_some_and(|chord| {
            let share = self.evidence.share_in(from, to, chord.pitch_classes());
            self.evidence.n_at_once(from, to) < MARGINS.few_notes
                && share >= MARGINS.few_notes_share
        })
    }

    fn kind(&self, slot: &Slot, written: Heardable, what: Heardable) -> Option<Departure> {
        let Some((root, _, set)) = self.evidence.chord(what) else {
            return Some(Departure::Silent);
        };
        let Label::Chord(chord) = &slot.label else {
            return Some(Departure::NotSilent);
        };
        let own = chord.pitch_classes();
        let own_root = chord.root.pitch_class();
        let (_, _, nearest) = self.evidence.chord(written)?;
        let same_notes = set == nearest || set == own;
        if same_notes && what.bass == written.bass {
            return None;
        }
        if same_notes {
            return Some(Departure::OtherBass);
        }
        let third = |set: PitchClassSet, root: PitchClass| [3, 4].map(|s| set.contains(root.up(s)));
        let same_root = root == own_root
            && match self.level {
                Level::Song => agree(root, set, own),
                Level::Detail => third(set, root) == third(own, root),
            };
        // more or fewer notes of the same chord, as C6 for Am
        let contained = set.without(own).is_empty() || own.without(set).is_empty();
        Some(if (same_root || contained) && what.bass == written.bass {
            if self.level == Level::Song {
                return None;
            }
            Departure::OtherNotes
        } else if same_root {
            // other notes and another bass: the bass is the point
            Departure::OtherBass
        } else {
            Departure::OtherChord
        })
    }

    fn key(&self) -> Key {
        self.key
            .unwrap_or(Key::usual(PitchClass::new(0), Mode::Major))
    }

    /// A reading's label, its root spelled as in the chart where it is the same.
    fn label(&self, slot: &Slot, what: Heardable) -> Label {
        let Some((root, quality, _)) = self.evidence.chord(what) else {
            return Label::NoChord;
        };
        let own = slot.label.chord().map(|c| c.root);
        let root = own
            .filter(|own| own.pitch_class() == root)
            .unwrap_or_else(|| self.key().spell_root(root));
        let chord = Chord::new(root, quality);
        if what.bass == root.pitch_class().index() || what.bass == 12 {
            return Label::Chord(chord);
        }
        let bass = PitchClass::new(what.bass as i32);
        let own = chord.notes().into_iter().find(|n| n.pitch_class() == bass);
        Label::Chord(chord.over(Degree::between(
            root,
            own.unwrap_or_else(|| self.key().spell(bass)),
        )))
    }

    fn words(&self, slot: &Slot, heard: &Label, departure: Departure) -> String {
        let written = slot.label.symbol();
        match (departure, slot.label.chord(), heard.chord()) {
            (Departure::OtherBass, _, Some(chord)) => {
                format!("the bass is {}: {}", chord.bass_note(), chord.symbol())
            }
            (Departure::OtherNotes, Some(own), Some(chord)) => {
                let names = |a: &Chord, b: &Chord| -> Vec<String> {
                    a.notes()
                        .into_iter()
                        .filter(|n| !b.pitch_classes().contains(n.pitch_class()))
                        .map(|n| match Degree::between(own.root, n) {
                            d if a == own => format!("the {} ({n})", degree_words(d)),
                            d => format!("{n}, the {}", degree_words(d)),
                        })
                        .collect()
                };
                let (missing, extra) = (names(own, chord), names(chord, own));
                let mut parts = Vec::new();
                if !missing.is_empty() {
                    let verb = if missing.len() == 1 { "is" } else { "are" };
                    parts.push(format!("{} {verb} not sounding", missing.join(" and ")));
                }
                if !extra.is_empty() {
                    let verb = if extra.len() == 1 { "sounds" } else { "sound" };
                    parts.push(format!("{} {verb} as well", extra.join(" and ")));
                }
                if parts.is_empty() {
                    format!("{} instead of {written}", chord.symbol())
                } else {
                    format!("{}: {}", parts.join("; "), chord.symbol())
                }
            }
            (Departure::Silent, ..) => format!("nothing sounds where {written} is written"),
            (Departure::NotSilent, ..) => {
                format!("{} sounds where no chord is written", heard.symbol())
            }
            _ => format!("{} instead of {written}", heard.symbol()),
        }
    }
}

/// A degree in words: "flattened fifth".
fn degree_words(degree: Degree) -> String {
    const NUMBERS: [&str; 13] = [
        "root",
        "second",
        "third",
        "fourth",
        "fifth",
        "sixth",
        "seventh",
        "octave",
        "ninth",
        "tenth",
        "eleventh",
        "twelfth",
        "thirteenth",
    ];
    let number = NUMBERS
        .get(usize::from(degree.number()).saturating_sub(1))
        .copied()
        .unwrap_or("note");
    match (degree.number(), degree.alter()) {
        (3, -1) => "minor third".into(),
        (3, 0) => "major third".into(),
        (7, -1) => "minor seventh".into(),
        (7, 0) => "major seventh".into(),
        (7, -2) => "diminished seventh".into(),
        (_, a) if a < 0 => format!("flattened {number}"),
        (_, a) if a > 0 => format!("raised {number}"),
        _ => number.into(),
    }
}

/// Whether what sounds is another shape of the written chord: at least two of
/// its notes lie elsewhere. Gives the words.
pub(crate) fn other_shape(
    slot: &Slot,
    instrument: &Instrument,
    sounding: &[(u8, f32)],
) -> Option<String> {
    /// A note counts as sounding above, as silent below.
    const SURE: (f32, f32) = (0.7, 0.3);
    let mut nearest: Option<(usize, &crate::fretboard::Shape)> = None;
    for shape in &slot.shapes {
        let own: Vec<u8> = instrument.sounding(shape).into_iter().flatten().collect();
        let p = |midi: u8| sounding.iter().find(|s| s.0 == midi).map_or(0.0, |s| s.1);
        let missing = own.iter().filter(|m| p(**m) < SURE.1).count();
        let strange = sounding
            .iter()
            .filter(|(m, p)| *p > SURE.0 && !own.contains(m))
            .count();
        let apart = missing.min(strange);
        if nearest.is_none_or(|n| apart < n.0) {
            nearest = Some((apart, shape));
        }
    }
    let (apart, shape) = nearest?;
    (apart >= 2).then(|| format!("another shape than {shape}"))
}
