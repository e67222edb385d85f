//! Movable forms: the open chords whose shape is carried up the neck.

use super::{Instrument, Tuning};
use crate::theory::{Chord, Degree, PitchClass};

/// An open chord of standard tuning, by the chord's name and its frets.
/// Common practice, no source.
const FORMS: [(&str, &str, [Option<u8>; 6]); 8] = [
    (
        "E",
        "maj",
        [Some(0), Some(2), Some(2), Some(1), Some(0), Some(0)],
    ),
    (
        "Em",
        "min",
        [Some(0), Some(2), Some(2), Some(0), Some(0), Some(0)],
    ),
    (
        "A",
        "maj",
        [None, Some(0), Some(2), Some(2), Some(2), Some(0)],
    ),
    (
        "Am",
        "min",
        [None, Some(0), Some(2), Some(2), Some(1), Some(0)],
    ),
    ("D", "maj", [None, None, Some(0), Some(2), Some(3), Some(2)]),
    (
        "Dm",
        "min",
        [None, None, Some(0), Some(2), Some(3), Some(1)],
    ),
    (
        "C",
        "maj",
        [None, Some(3), Some(2), Some(0), Some(1), Some(0)],
    ),
    (
        "G",
        "maj",
        [Some(3), Some(2), Some(0), Some(0), Some(0), Some(3)],
    ),
];

/// Where a fragment comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The open chord whose form it is: `Am`.
    pub form: &'static str,
    /// The fret the form is moved to; 0 for the open chord.
    pub fret: u8,
    /// Which degree each of the fragment's strings sounds.
    pub degrees: Vec<Degree>,
}

impl Origin {
    /// `fifth and minor third of the Am-shaped chord at fret 7`.
    pub fn words(&self) -> String {
        let tones: Vec<String> = self
            .degrees
            .iter()
            .map(|d| match (d.number(), d.alter()) {
                (1, _) => "root".into(),
                (3, 0) => "major third".into(),
                (3, _) => "minor third".into(),
                (5, _) => "fifth".into(),
                _ => d.text(),
            })
            .collect();
        let tones = match &tones[..] {
            [one] => one.clone(),
            [first @ .., last] => format!("{} and {last}", first.join(", ")),
            [] => String::new(),
        };
        match self.fret {
            0 => format!("{tones} of the open {} chord", self.form),
            f => format!("{tones} of the {}-shaped chord at fret {f}", self.form),
        }
    }
}

/// The movable forms that a few strings of a chord belong to: the
/// E and A forms first, then those that lie nearest.
///
/// Takes the fragment as strings with frets from the capo, and the chord it is
/// read as (only its root and third matter). Empty in other tunings than
/// standard, for other chords, and where no form holds all the notes.
pub fn origins(instrument: &Instrument, fragment: &[(usize, u8)], chord: &Chord) -> Vec<Origin> {
    if instrument.tuning != Tuning::standard() || fragment.is_empty() {
        return Vec::new();
    }
    let third = match chord.degrees().iter().find(|d| d.number() == 3) {
        Some(d) if d.alter() == 0 => "maj",
        Some(_) => "min",
        None => return Vec::new(),
    };
    let root = chord.root.pitch_class();
    let lowest_fretted = fragment.iter().map(|(_, f)| *f).min().unwrap_or(0);
    let mut found: Vec<Origin> = FORMS
        .iter()
        .filter(|(_, mode, _)| *mode == third)
        .flat_map(|(form, _, frets)| {
            (0..=15u8).filter_map(move |fret| {
                let holds = fragment
                    .iter()
                    .all(|(s, f)| frets.get(*s).copied().flatten().map(|x| x + fret) == Some(*f));
                let lowest = frets.iter().position(Option::is_some)?;
                let bass = instrument.midi(lowest, frets[lowest]? + fret)?;
                if !holds || PitchClass::new(i32::from(bass)) != root {
                    return None;
                }
                let degrees = fragment
                    .iter()
                    .map(|(s, f)| {
                        let midi = instrument.midi(*s, *f)?;
                        let above = PitchClass::new(i32::from(midi)).above(root);
                        Some(match above {
                            0 => Degree::ROOT,
                            3 => Degree::new(3, -1),
                            4 => Degree::new(3, 0),
                            _ => Degree::new(5, 0),
                        })
                    })
                    .collect::<Option<Vec<_>>>()?;
                Some(Origin {
                    form,
                    fret,
                    degrees,
                })
            })
        })
        .collect();
    // players think of the E and A forms first
    let rare = |form: &str| match form {
        "E" | "Em" | "A" | "Am" => 0,
        "D" | "Dm" => 1,
        _ => 2,
    };
    found.sort_by_key(|o| (rare(o.form), o.fret.abs_diff(lowest_fretted)));
    found
}
