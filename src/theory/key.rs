//! Keys, and spelling by key.

use super::{Chord, Degree, Label, PitchClass, Spelled, TheoryError};

/// Major, minor, or another mode of the major scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mode {
    /// Major.
    Major,
    /// Minor (natural, with the raised seventh of its dominant allowed).
    Minor,
    /// Minor with a raised sixth.
    Dorian,
    /// Minor with a lowered second.
    Phrygian,
    /// Major with a raised fourth.
    Lydian,
    /// Major with a lowered seventh.
    Mixolydian,
    /// Minor with a lowered second and fifth.
    Locrian,
}

impl Mode {
    /// All modes, in the order of the enumeration.
    pub const ALL: [Self; 7] = [
        Self::Major,
        Self::Minor,
        Self::Dorian,
        Self::Phrygian,
        Self::Lydian,
        Self::Mixolydian,
        Self::Locrian,
    ];

    /// Whether its third is minor.
    pub const fn is_minor(self) -> bool {
        matches!(
            self,
            Self::Minor | Self::Dorian | Self::Phrygian | Self::Locrian
        )
    }

    /// Whether it is neither major nor minor.
    pub const fn is_other(self) -> bool {
        !matches!(self, Self::Major | Self::Minor)
    }

    /// `major`, `dorian`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Major => "major",
            Self::Minor => "minor",
            Self::Dorian => "dorian",
            Self::Phrygian => "phrygian",
            Self::Lydian => "lydian",
            Self::Mixolydian => "mixolydian",
            Self::Locrian => "locrian",
        }
    }

    /// For files: `maj`, `min`, other modes by name.
    const fn label(self) -> &'static str {
        match self {
            Self::Major => "maj",
            Self::Minor => "min",
            other => other.name(),
        }
    }

    /// A mode by its name or the start of it, at least three letters: `Dorian`,
    /// `mix`, `aeolian`; nothing means major.
    fn read(text: &str) -> Option<Self> {
        match text {
            "" | "M" => return Some(Self::Major),
            "m" | "-" => return Some(Self::Minor),
            _ => {}
        }
        let lower = text.to_lowercase();
        // kinds of minor have one signature; moll and dur are German
        let kinds = ["natural ", "harmonic ", "melodic "];
        let lower = kinds
            .iter()
            .find_map(|k| lower.strip_prefix(k))
            .unwrap_or(&lower);
        let lower = match lower {
            "moll" => "minor",
            "dur" => "major",
            other => other,
        };
        let names = Self::ALL.map(|mode| (mode.name(), mode));
        let older = [("ionian", Self::Major), ("aeolian", Self::Minor)];
        names
            .into_iter()
            .chain(older)
            .find(|(name, _)| lower.len() >= 3 && name.starts_with(lower))
            .map(|(_, mode)| mode)
    }

    /// How many fifths its tonic lies above the tonic of the major key with the
    /// same notes.
    const fn fifths(self) -> i32 {
        match self {
            Self::Major => 0,
            Self::Minor => 3,
            Self::Dorian => 2,
            Self::Phrygian => 4,
            Self::Lydian => -1,
            Self::Mixolydian => 1,
            Self::Locrian => 5,
        }
    }
}

/// A key: tonic and mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Key {
    /// The tonic as spelled.
    pub tonic: Spelled,
    /// Major, minor or another mode.
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
        let (center, flats) = (mode.fifths(), if mode.is_minor() { 6 } else { 5 });
        let fifths = (-flats..12 - flats)
            .map(|f| f + center)
            .find(|f| Spelled::from_fifths(*f).pitch_class() == tonic)
            .unwrap_or(center);
        Self::new(Spelled::from_fifths(fifths), mode)
    }

    /// Sharps (positive) or flats (negative) in the signature.
    pub const fn signature(self) -> i32 {
        self.tonic.fifths() - self.mode.fifths()
    }

    /// The name that fits the key: scale notes as in the signature, others by
    /// the nearer side of the line of fifths (never A♯ in F major).
    pub fn spell(self, pc: PitchClass) -> Spelled {
        // A window of twelve fifths around the signature: major borrows down to
        // the lowered second and up to the raised fourth; minor needs its raised
        // seventh, so its window lies two fifths higher.
        let first = self.signature()
            - match self.mode {
                Mode::Major | Mode::Lydian | Mode::Mixolydian => 5,
                Mode::Dorian => 4,
                Mode::Minor | Mode::Phrygian | Mode::Locrian => 3,
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

    /// The seven notes of the scale (in minor the natural one), tonic first.
    pub fn scale(self) -> [Spelled; 7] {
        // degrees over the tonic, each with its place on the line of fifths
        const FIFTHS: [(u8, i32); 7] = [(1, 0), (2, 2), (3, 4), (4, -1), (5, 1), (6, 3), (7, 5)];
        let lowest = -1 - self.mode.fifths();
        FIFTHS.map(|(number, fifths)| {
            // seven fifths down is the same letter, flat
            let alter = match fifths - lowest {
                0..=6 => 0,
                7.. => -1,
                _ => 1,
            };
            Degree::new(number, alter).note_over(self.tonic)
        })
    }

    /// For people: `G major`, `F♯ minor`, `D dorian`.
    pub fn text(self) -> String {
        format!("{} {}", self.tonic.text(), self.mode.name())
    }

    /// For files: `G:maj`, `F#:min`, `D:dorian`.
    pub fn label(self) -> String {
        format!("{}:{}", self.tonic.ascii(), self.mode.label())
    }
}

impl std::str::FromStr for Key {
    type Err = TheoryError;

    /// `G`, `Gm`, `G:maj`, `F# minor`, `B♭ major`, `d minor`, `D dorian`. A small
    /// letter alone is none: some mean minor by it.
    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let bad = || TheoryError::Key { text: text.into() };
        let written = super::symbol::as_signs(text.trim());
        let text = written.as_str();
        let (tonic, rest) = Spelled::read(text, true).ok_or_else(bad)?;
        let mode = Mode::read(rest.trim_start_matches([':', ' ']).trim_end())
            .filter(|_| !rest.is_empty() || !text.starts_with(|c: char| c.is_lowercase()))
            .ok_or_else(bad)?;
        if tonic.alter().abs() > 1 {
            return Err(bad());
        }
        Ok(Self::new(tonic, mode))
    }
}
