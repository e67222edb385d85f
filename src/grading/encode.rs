//! A chord label as numbers: root, pitch classes above it, bass.
//!
//! This is what labels are compared by, apart from the `theory` room on
//! purpose: the measures fix how each sign of the published grammar counts,
//! also where a musician would read it otherwise. A ninth written as `9` lies
//! beyond the octave and is not compared; the same note written as `2` is.
//!
//! # Source
//! Syntax: Harte, Sandler, Abdallah and Gómez, ISMIR 2005, with the
//! shorthands `sus2`, `1`, `5`, elevenths and thirteenths that evaluation
//! campaigns added. Ours beyond them: `maj11` counts as `maj7` and `aug7` as
//! `aug(b7)`.

use super::GradingError;
use crate::theory::Chord;

/// A label as the measures see it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChordCode {
    /// Root, 0 to 11 from C; -1 for `N` and `X`.
    pub root: i8,
    /// 1 where that many semitones above the root belong to the chord; all 0 for `N`, all -1 for `X`.
    pub semitones: [i8; 12],
    /// Bass in semitones above the root, 0 to 11; -1 for `N` and `X`.
    pub bass: i8,
}

/// How degrees beyond the octave count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Beyond {
    /// Not at all: for comparing.
    Ignored,
    /// Folded into the octave, shorthands written out: for telling labels apart.
    Folded,
}

/// Shorthand, semitones within the octave, degrees beyond it.
const SHORTHANDS: [(&str, &[usize], &[i32]); 26] = [
    ("maj", &[0, 4, 7], &[]),
    ("min", &[0, 3, 7], &[]),
    ("aug", &[0, 4, 8], &[]),
    ("dim", &[0, 3, 6], &[]),
    ("sus4", &[0, 5, 7], &[]),
    ("sus2", &[0, 2, 7], &[]),
    ("1", &[0], &[]),
    ("5", &[0, 7], &[]),
    ("7", &[0, 4, 7, 10], &[]),
    ("maj7", &[0, 4, 7, 11], &[]),
    ("min7", &[0, 3, 7, 10], &[]),
    ("minmaj7", &[0, 3, 7, 11], &[]),
    ("maj6", &[0, 4, 7, 9], &[]),
    ("min6", &[0, 3, 7, 9], &[]),
    ("dim7", &[0, 3, 6, 9], &[]),
    ("hdim7", &[0, 3, 6, 10], &[]),
    ("aug7", &[0, 4, 8, 10], &[]),
    ("9", &[0, 4, 7, 10], &[2]),
    ("maj9", &[0, 4, 7, 11], &[2]),
    ("min9", &[0, 3, 7, 10], &[2]),
    ("11", &[0, 4, 7, 10], &[2, 5]),
    ("maj11", &[0, 4, 7, 11], &[2, 5]),
    ("min11", &[0, 3, 7, 10], &[2, 5]),
    ("13", &[0, 4, 7, 10], &[2, 5, 9]),
    ("maj13", &[0, 4, 7, 11], &[2, 5, 9]),
    ("min13", &[0, 3, 7, 10], &[2, 5, 9]),
];

/// Semitones of degrees 1 to 13 in the major scale.
const DEGREES: [i32; 13] = [0, 2, 4, 5, 7, 9, 11, 12, 14, 16, 17, 19, 21];

/// No label is longer than this.
const MAX_LABEL_BYTES: usize = 100;

impl ChordCode {
    /// `N`: no chord.
    pub const NO_CHORD: Self = Self {
        root: -1,
        semitones: [0; 12],
        bass: -1,
    };
    /// `X`: a chord that is not to be graded.
    pub const UNKNOWN: Self = Self {
        root: -1,
        semitones: [-1; 12],
        bass: -1,
    };

    /// Reads a label in the published syntax.
    ///
    /// # Errors
    /// * [`GradingError::Label`] (line 0) for anything else.
    ///
    /// # Example
    /// ```
    /// use takebook::grading::ChordCode;
    /// let code = ChordCode::read("D:maj/3").unwrap();
    /// assert_eq!((code.root, code.bass), (2, 4));
    /// ```
    pub fn read(label: &str) -> Result<Self, GradingError> {
        Self::read_as(label, Beyond::Ignored)
    }

    pub(crate) fn read_as(label: &str, beyond: Beyond) -> Result<Self, GradingError> {
        match label {
            "N" => Ok(Self::NO_CHORD),
            "X" => Ok(Self::UNKNOWN),
            _ => chord(label, beyond).ok_or_else(|| GradingError::Label {
                line: 0,
                found: label.chars().take(60).collect(),
                meant: label.parse::<Chord>().ok().map(|c| c.label()),
            }),
        }
    }
}

fn chord(label: &str, beyond: Beyond) -> Option<ChordCode> {
    if label.len() > MAX_LABEL_BYTES {
        return None;
    }
    let (head, bass) = match label.split_once('/') {
        Some((head, bass)) => (head, degree(bass)?),
        None => (label, 0),
    };
    let bass = bass.rem_euclid(12);
    let (root, body) = match head.split_once(':') {
        Some((root, body)) => (root, body),
        None => (head, "maj"),
    };
    let (shorthand, list) = match body.split_once('(') {
        Some((shorthand, list)) => (shorthand, Some(list.strip_suffix(')')?)),
        None => (body, None),
    };
    let mut count = [0i32; 12];
    count[0] = 1; // a bare list of degrees stands on its root
    if !(shorthand.is_empty() && list.is_some()) {
        let (_, inside, outside) = SHORTHANDS.iter().find(|(name, ..)| *name == shorthand)?;
        for s in *inside {
            count[*s] = 1;
        }
        if beyond == Beyond::Folded {
            for s in *outside {
                count[*s as usize] += 1;
            }
        }
    }
    let mut seen: Vec<&str> = Vec::new();
    for part in list.into_iter().flat_map(|l| l.split(',')) {
        let (sign, written) = match part.strip_prefix('*') {
            Some(written) => (-1, written),
            None => (1, part),
        };
        let semitones = degree(written)?;
        if seen.contains(&part) {
            continue; // a degree written twice counts once
        }
        seen.push(part);
        if semitones < 12 || beyond == Beyond::Folded {
            count[semitones.rem_euclid(12) as usize] += sign;
        }
    }
    let mut semitones = count.map(|c| i8::from(c > 0));
    semitones[bass as usize] = 1;
    Some(ChordCode {
        root: pitch_class(root)?,
        semitones,
        bass: bass as i8,
    })
}

/// Accidentals of one kind at the start of `text`, in semitones, and the rest.
fn accidentals(text: &str) -> (i32, &str) {
    let sharps = text.trim_start_matches('#');
    if sharps.len() < text.len() {
        return ((text.len() - sharps.len()) as i32, sharps);
    }
    let flats = text.trim_start_matches('b');
    (-((text.len() - flats.len()) as i32), flats)
}

fn degree(text: &str) -> Option<i32> {
    let (alter, number) = accidentals(text);
    if number.starts_with(['0', '+']) {
        return None;
    }
    let number: usize = number.parse().ok()?;
    Some(DEGREES.get(number.checked_sub(1)?)? + alter)
}

fn pitch_class(text: &str) -> Option<i8> {
    let letter = text.chars().next()?;
    let natural = match letter {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    };
    let (alter, rest) = accidentals(&text[1..]);
    rest.is_empty()
        .then(|| (natural + alter).rem_euclid(12) as i8)
}
