//! Pitch classes, spelled notes and note names.
//!
//! Pitch class 0 is C. MIDI note 60 is C4 (middle C), so E2, the low string of
//! a guitar, is 40. Names accept `#`, `b`, `♯`, `♭` and print with real
//! accidentals for people ([`Spelled::text`]) and ASCII for files
//! ([`Spelled::ascii`]).

use super::TheoryError;

/// One of the twelve pitch classes, 0 = C.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchClass(u8);

impl PitchClass {
    /// The pitch class of any number of semitones above C.
    pub const fn new(semitones_above_c: i32) -> Self {
        Self(semitones_above_c.rem_euclid(12) as u8)
    }

    /// 0 to 11.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// The pitch class so many semitones higher (or lower, if negative).
    pub const fn up(self, semitones: i32) -> Self {
        Self::new(self.0 as i32 + semitones)
    }

    /// Semitones upwards from `other` to `self`, 0 to 11.
    pub const fn above(self, other: Self) -> i32 {
        (self.0 as i32 - other.0 as i32).rem_euclid(12)
    }

    /// All twelve, from C.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..12).map(Self)
    }
}

/// A set of pitch classes, bit `i` for pitch class `i`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct PitchClassSet(pub u16);

impl PitchClassSet {
    /// Whether the set holds `pc`.
    pub const fn contains(self, pc: PitchClass) -> bool {
        self.0 >> pc.0 & 1 == 1
    }

    /// The set with `pc` added.
    #[must_use]
    pub const fn with(self, pc: PitchClass) -> Self {
        Self(self.0 | 1 << pc.0)
    }

    /// How many pitch classes it holds.
    pub const fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether it holds none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Its members, from C upwards.
    pub fn iter(self) -> impl Iterator<Item = PitchClass> {
        PitchClass::all().filter(move |p| self.contains(*p))
    }

    /// Members of `self` that `other` lacks.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }
}

impl FromIterator<PitchClass> for PitchClassSet {
    fn from_iter<I: IntoIterator<Item = PitchClass>>(iter: I) -> Self {
        iter.into_iter().fold(Self::default(), Self::with)
    }
}

/// Most accidentals of a note name or signs of a degree that are read.
pub(super) const MOST_SIGNS: u8 = 3;

/// A note name without octave: letter and accidentals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Spelled {
    /// 0 = C, 1 = D … 6 = B.
    letter: u8,
    /// Semitones of the accidental: -1 is a flat, +2 a double sharp.
    alter: i8,
}

/// Semitones above C of the natural letters C D E F G A B.
const NATURALS: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
const LETTERS: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];

impl Spelled {
    /// A letter (0 = C … 6 = B) with an accidental in semitones.
    pub const fn new(letter: u8, alter: i8) -> Self {
        Self {
            letter: letter % 7,
            alter,
        }
    }

    /// 0 = C … 6 = B.
    pub const fn letter(self) -> u8 {
        self.letter
    }

    /// Semitones of the accidental, sharps positive.
    pub const fn alter(self) -> i8 {
        self.alter
    }

    /// The letter as written, `'C'` to `'B'`.
    pub const fn letter_char(self) -> char {
        LETTERS[self.letter as usize]
    }

    /// Which of the twelve it sounds.
    pub const fn pitch_class(self) -> PitchClass {
        PitchClass::new(NATURALS[self.letter as usize] + self.alter as i32)
    }

    /// The spelling of `pc` on a given letter, with as many accidentals as it takes (at most six).
    pub const fn on_letter(letter: u8, pc: PitchClass) -> Self {
        let mut alter = pc.0 as i32 - NATURALS[(letter % 7) as usize];
        if alter > 6 {
            alter -= 12;
        }
        if alter < -6 {
            alter += 12;
        }
        Self {
            letter: letter % 7,
            alter: alter as i8,
        }
    }

    /// The spelling nearest to C on the line of fifths, D♭ to F♯.
    pub const fn plain(pc: PitchClass) -> Self {
        // seven semitones a fifth: twelve of them are every pitch class once
        Self::from_fifths((pc.0 as i32 * 7 + 5).rem_euclid(12) - 5)
    }

    /// Position on the line of fifths, C = 0, G = 1, F = -1.
    pub const fn fifths(self) -> i32 {
        const LETTER_FIFTHS: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];
        LETTER_FIFTHS[self.letter as usize] + 7 * self.alter as i32
    }

    /// The spelling at a position on the line of fifths.
    pub const fn from_fifths(fifths: i32) -> Self {
        // F C G D A E B is -1..=5
        const ORDER: [u8; 7] = [3, 0, 4, 1, 5, 2, 6];
        let at = fifths + 1;
        Self {
            letter: ORDER[at.rem_euclid(7) as usize],
            alter: at.div_euclid(7) as i8,
        }
    }

    /// For people: `C♯`, `B♭`, `F𝄪` as two sharps `F♯♯`.
    pub fn text(self) -> String {
        self.write('♯', '♭')
    }

    /// For files: `C#`, `Bb`.
    pub fn ascii(self) -> String {
        self.write('#', 'b')
    }

    fn write(self, sharp: char, flat: char) -> String {
        let mut s = String::from(self.letter_char());
        let (sign, n) = if self.alter < 0 {
            (flat, -self.alter)
        } else {
            (sharp, self.alter)
        };
        s.extend(std::iter::repeat_n(sign, n as usize));
        s
    }

    /// Reads a note name at the start of `text`; gives it and what follows.
    ///
    /// At most three accidentals are read. The letter must be upper case
    /// unless `any_case` is set.
    pub(crate) fn read(text: &str, any_case: bool) -> Option<(Self, &str)> {
        let mut chars = text.chars();
        let first = chars.next()?;
        let upper = if any_case {
            first.to_ascii_uppercase()
        } else {
            first
        };
        let letter = LETTERS.iter().position(|l| *l == upper)? as u8;
        let mut rest = chars.as_str();
        let mut alter = 0i8;
        let mut signs = 0;
        while let Some(c) = rest.chars().next() {
            let step = match c {
                '#' | '♯' => 1,
                'b' | '♭' => -1,
                _ => break,
            };
            if signs == MOST_SIGNS || alter * step < 0 {
                break;
            }
            signs += 1;
            alter += step;
            rest = &rest[c.len_utf8()..];
        }
        Some((Self { letter, alter }, rest))
    }
}

impl std::str::FromStr for Spelled {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        match Self::read(text.trim(), true) {
            Some((note, "")) => Ok(note),
            _ => Err(TheoryError::NoteName { text: text.into() }),
        }
    }
}

impl std::fmt::Display for Spelled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text())
    }
}

/// The name of a MIDI note number with its octave, sharps for the black keys: 61 is `C♯4`.
pub fn midi_name(midi: u8) -> String {
    const SHARPS: [(u8, i8); 12] = [
        (0, 0),
        (0, 1),
        (1, 0),
        (1, 1),
        (2, 0),
        (3, 0),
        (3, 1),
        (4, 0),
        (4, 1),
        (5, 0),
        (5, 1),
        (6, 0),
    ];
    let (letter, alter) = SHARPS[usize::from(midi % 12)];
    format!(
        "{}{}",
        Spelled::new(letter, alter),
        i32::from(midi) / 12 - 1
    )
}

/// Reads a note with octave, `E2` or `b♭3`, as a MIDI note number.
///
/// # Errors
/// * [`TheoryError::NoteName`] if it is not a letter, accidentals and an
///   octave, or falls outside 0..=127.
pub fn parse_midi_name(text: &str) -> Result<u8, TheoryError> {
    let bad = || TheoryError::NoteName { text: text.into() };
    let (note, octave) = Spelled::read(text.trim(), true).ok_or_else(bad)?;
    let octave: i32 = octave.parse().map_err(|_| bad())?;
    if !(-2..=10).contains(&octave) {
        return Err(bad());
    }
    let semitones = 12 * (octave + 1) + NATURALS[usize::from(note.letter)] + i32::from(note.alter);
    u8::try_from(semitones)
        .ok()
        .filter(|m| *m < 128)
        .ok_or_else(bad)
}
