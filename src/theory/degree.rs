//! Scale degrees as chord labels write them: `3`, `b7`, `#9`.
//!
//! A degree counts from the major scale of the chord's root, so `7` is eleven
//! semitones and `b7` ten.
//!
//! # Source
//! Harte, Sandler, Abdallah and Gómez, "Symbolic representation of musical
//! chords", ISMIR 2005, section 3.

use super::pitch::MOST_SIGNS;
use super::{PitchClass, Spelled, TheoryError};

/// A degree of the major scale with its alteration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Degree {
    /// 1 to 13.
    number: u8,
    /// Semitones, sharps positive.
    alter: i8,
}

const MAJOR: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];

impl Degree {
    /// The root itself.
    pub const ROOT: Self = Self::new(1, 0);

    /// A degree by number (1 to 13) and alteration in semitones.
    pub const fn new(number: u8, alter: i8) -> Self {
        Self { number, alter }
    }

    /// 1 to 13.
    pub const fn number(self) -> u8 {
        self.number
    }

    /// Alteration in semitones, sharps positive.
    pub const fn alter(self) -> i8 {
        self.alter
    }

    /// Semitones above the root; ninths and up lie above the octave.
    pub const fn semitones(self) -> i32 {
        let step = self.number as i32 - 1;
        MAJOR[(step % 7) as usize] + 12 * (step / 7) + self.alter as i32
    }

    /// Which pitch class it is over a root.
    pub const fn over(self, root: PitchClass) -> PitchClass {
        root.up(self.semitones())
    }

    /// The note it is over a spelled root: `b3` over D♯ is F♯.
    ///
    /// Where its letter takes more accidentals than are read again, the note is
    /// spelled plainly: `bb3` over G♭♭ is G.
    pub const fn note_over(self, root: Spelled) -> Spelled {
        let letter = (root.letter() + (self.number - 1) % 7) % 7;
        let pc = self.over(root.pitch_class());
        let by_letter = Spelled::on_letter(letter, pc);
        if by_letter.alter().unsigned_abs() > MOST_SIGNS {
            return Spelled::plain(pc);
        }
        by_letter
    }

    /// The degree that `note` is over `root` by its letter, 1 to 7: G over C♯ is `b5`.
    ///
    /// Where the letter takes more signs than are read again, it is the
    /// [`plain`](Self::plain) one: F♯♯♯ over C♭♭♭ is `7`.
    pub const fn between(root: Spelled, note: Spelled) -> Self {
        let number = (note.letter() + 7 - root.letter()) % 7;
        let natural = MAJOR[number as usize];
        let mut alter = note.pitch_class().above(root.pitch_class()) - natural;
        if alter > 6 {
            alter -= 12;
        }
        if alter < -6 {
            alter += 12;
        }
        if alter.unsigned_abs() > MOST_SIGNS as u32 {
            return Self::plain(natural + alter);
        }
        Self::new(number + 1, alter as i8)
    }

    /// The usual name of so many semitones above a root, 1 to 7 with flats
    /// before sharps: 6 is `b5`, 10 is `b7`.
    pub const fn plain(semitones: i32) -> Self {
        const PLAIN: [(u8, i8); 12] = [
            (1, 0),
            (2, -1),
            (2, 0),
            (3, -1),
            (3, 0),
            (4, 0),
            (5, -1),
            (5, 0),
            (6, -1),
            (6, 0),
            (7, -1),
            (7, 0),
        ];
        let (number, alter) = PLAIN[semitones.rem_euclid(12) as usize];
        Self::new(number, alter)
    }

    /// For files and for typing: `b7`.
    pub fn ascii(self) -> String {
        self.write('#', 'b')
    }

    /// For people: `♭7`.
    pub fn text(self) -> String {
        self.write('♯', '♭')
    }

    fn write(self, sharp: char, flat: char) -> String {
        let sign = if self.alter < 0 { flat } else { sharp };
        let mut s: String =
            std::iter::repeat_n(sign, usize::from(self.alter.unsigned_abs())).collect();
        s.push_str(&self.number.to_string());
        s
    }
}

impl std::str::FromStr for Degree {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let bad = || TheoryError::Degree { text: text.into() };
        let digits = text.trim_start_matches(['b', '#', '♭', '♯']);
        let signs = &text[..text.len() - digits.len()];
        let up = signs.chars().filter(|c| matches!(c, '#' | '♯')).count();
        let down = signs.chars().count() - up;
        if up + down > usize::from(MOST_SIGNS) || digits.len() > 2 || digits.starts_with(['0', '+'])
        {
            return Err(bad());
        }
        let number: u8 = digits.parse().map_err(|_| bad())?;
        if !(1..=13).contains(&number) {
            return Err(bad());
        }
        Ok(Self::new(number, up as i8 - down as i8))
    }
}
