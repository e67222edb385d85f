//! Keys, and spelling by key.

use super::{Chord, Degree, Label, PitchClass, Spelled, TheoryError};

/// Major or minor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mode {
    /// Major.
    Major,
    /// Minor (natural, with the raised seventh of its dominant allowed).
    Minor,
}

/// A key: tonic and mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Key {
    /// The tonic as spelled.
    pub tonic: Spelled,
    /// Major or minor.
    pub mode: Mode,
}

impl Key {
    /// A key by tonic and mode.
    pub const fn new(tonic: Spelled, mode: Mode) -> Self {
        Self { tonic, mode }
    }

    /// The usual key on a pitch class: the spelling with the fewest accidentals
    /// in the signature (at most six; six flats over six sharps in minor).
    pub fn usual(tonic: PitchClass, mode: Mode) -> Self {
        // the mode's signature-free tonic on the line of fifths, and the most flats
        let (center, flats) = match mode {
            Mode::Major => (0, 5),
            Mode::Minor => (3, 6),
        };
        let fifths = (-flats..12 - flats)
            .map(|f| f + center)
            .find(|f| Spelled::from_fifths(*f).pitch_class() == tonic)
            .unwrap_or(center);
        Self::new(Spelled::from_fifths(fifths), mode)
    }

    /// Sharps (positive) or flats (negative) in the signature.
    pub const fn signature(self) -> i32 {
        self.tonic.fifths()
            - match self.mode {
                Mode::Major => 0,
                Mode::Minor => 3,
            }
    }

    /// The name that fits the key: scale notes as in the signature, others by
    /// the nearer side of the line of fifths (never A♯ in F major).
    pub fn spell(self, pc: PitchClass) -> Spelled {
        // A window of twelve fifths around the signature: major borrows down to
        // the lowered second and up to the raised fourth; minor needs its raised
        // seventh, so its window lies two fifths higher.
        let first = self.signature()
            - match self.mode {
                Mode::Major => 5,
                Mode::Minor => 3,
            };
        (first..first + 12)
            .map(Spelled::from_fifths)
            .find(|n| n.pitch_class() == pc)
            .unwrap_or(Spelled::new(0, 0))
    }

    /// The name of a chord's root: as [`Key::spell`], but nobody reads a chart by B♭♭ or F♯♯, nor
    /// by a C♭, F♭, E♯ or B♯ that the key does not have (common practice, no source).
    pub fn spell_root(self, pc: PitchClass) -> Spelled {
        let exact = self.spell(pc);
        let plain = (0..7).map(|letter| Spelled::new(letter, 0));
        let hard = exact.alter().abs() > 1 || !self.scale().contains(&exact);
        match plain.into_iter().find(|n| n.pitch_class() == pc) {
            Some(easy) if hard => easy,
            _ => exact,
        }
    }

    /// The chord with its root spelled in this key.
    pub fn spell_chord(self, chord: &Chord) -> Chord {
        chord.with_root(self.spell_root(chord.root.pitch_class()))
    }

    /// The label with its root spelled in this key.
    pub fn spell_label(self, label: &Label) -> Label {
        match label {
            Label::Chord(c) => Label::Chord(self.spell_chord(c)),
            other => other.clone(),
        }
    }

    /// The seven notes of the major or natural minor scale, tonic first.
    pub fn scale(self) -> [Spelled; 7] {
        let third_sixth_seventh = match self.mode {
            Mode::Major => 0,
            Mode::Minor => -1,
        };
        [1u8, 2, 3, 4, 5, 6, 7].map(|n| {
            let alter = if matches!(n, 3 | 6 | 7) {
                third_sixth_seventh
            } else {
                0
            };
            Degree::new(n, alter).note_over(self.tonic)
        })
    }

    /// For people: `G major`, `F♯ minor`.
    pub fn text(self) -> String {
        format!(
            "{} {}",
            self.tonic.text(),
            match self.mode {
                Mode::Major => "major",
                Mode::Minor => "minor",
            }
        )
    }

    /// For files: `G:maj`, `F#:min`.
    pub fn label(self) -> String {
        format!(
            "{}:{}",
            self.tonic.ascii(),
            match self.mode {
                Mode::Major => "maj",
                Mode::Minor => "min",
            }
        )
    }
}

impl std::str::FromStr for Key {
    type Err = TheoryError;

    /// `G`, `Gm`, `G:maj`, `F# minor`, `B♭ major`.
    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let bad = || TheoryError::Key { text: text.into() };
        let (tonic, rest) = Spelled::read(text.trim(), false).ok_or_else(bad)?;
        let mode = match rest.trim_start_matches([':', ' ']).trim_end() {
            "" | "maj" | "major" | "M" => Mode::Major,
            "m" | "min" | "minor" | "-" => Mode::Minor,
            _ => return Err(bad()),
        };
        if tonic.alter().abs() > 1 {
            return Err(bad());
        }
        Ok(Self::new(tonic, mode))
    }
}
