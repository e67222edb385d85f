//! What a shape is for: the full chord, a small one, a shell, a power chord, one without its root.
//!
//! # Source
//! Common practice, no source.

use super::{Instrument, Shape, Voicing, Wanted};
use crate::theory::{Chord, Degree, PitchClass, PitchClassSet};

/// What a shape is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Use {
    /// Strummed: five strings and more, or with open strings.
    Full,
    /// Four strings or fewer, none of them open.
    Small,
    /// Root, third and seventh alone.
    Shell,
    /// Root and fifth alone.
    Power,
    /// The root is left to a bass.
    Rootless,
}

impl Use {
    /// In words: `full`, `small`, `shell`, `power chord`, `rootless`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Small => "small",
            Self::Shell => "shell",
            Self::Power => "power chord",
            Self::Rootless => "rootless",
        }
    }
}

fn set(chord: &Chord, degrees: impl Iterator<Item = Degree>) -> PitchClassSet {
    let root = chord.root.pitch_class();
    degrees.map(|d| d.over(root)).collect()
}

fn shell(chord: &Chord) -> Option<PitchClassSet> {
    let degrees = chord.degrees();
    let has = |n: u8| degrees.iter().any(|d| d.number() == n);
    let inner = |d: &Degree| matches!(d.number(), 1 | 3 | 7);
    (has(3) && has(7)).then(|| set(chord, degrees.iter().copied().filter(inner)))
}

/// What a shape of a chord is for. Takes the chord as it sounds.
pub fn use_of(instrument: &Instrument, chord: &Chord, shape: &Shape) -> Use {
    let sounding: PitchClassSet = instrument
        .sounding(shape)
        .into_iter()
        .flatten()
        .map(|m| PitchClass::new(i32::from(m)))
        .collect();
    let root = chord.root.pitch_class();
    let n_strings = shape.frets().iter().flatten().count();
    if !sounding.contains(root) {
        Use::Rootless
    } else if chord.degrees().len() > 1
        && sounding == PitchClassSet::default().with(root).with(root.up(7))
    {
        Use::Power
    } else if n_strings <= 4 && shell(chord) == Some(sounding) {
        Use::Shell
    } else if n_strings > 4 || shape.frets().contains(&Some(0)) {
        Use::Full
    } else {
        Use::Small
    }
}

/// Whether a shell, a power chord or a chord without its root lies where players hold it, none
/// of its strings open: a shell or power chord with its root on one of the two lowest strings and
/// the rest on the strings above; without the root on three or four neighbors that a bass leaves
/// free, third or seventh lowest. Takes the chord as it sounds.
pub fn is_on_usual_strings(
    instrument: &Instrument,
    chord: &Chord,
    purpose: Use,
    shape: &Shape,
) -> bool {
    let frets = shape.frets();
    let sounding: Vec<usize> = (0..frets.len()).filter(|s| frets[*s].is_some()).collect();
    let usual: &[&[usize]] = match purpose {
        Use::Shell => &[&[0, 2, 3], &[1, 2, 3], &[0, 2, 3, 4]],
        Use::Power => &[&[0, 1], &[1, 2], &[0, 1, 2], &[1, 2, 3]],
        Use::Rootless => &[&[2, 3, 4, 5], &[1, 2, 3, 4], &[2, 3, 4], &[1, 2, 3]],
        _ => return true,
    };
    let lowest = sounding
        .first()
        .and_then(|s| instrument.midi(*s, frets[*s]?));
    let is_guide = |midi: u8| {
        let guides = chord
            .degrees()
            .into_iter()
            .filter(|d| matches!(d.number(), 3 | 6 | 7));
        let root = chord.root.pitch_class();
        guides
            .into_iter()
            .any(|d| d.over(root) == PitchClass::new(i32::from(midi)))
    };
    usual.contains(&sounding.as_slice())
        && !frets.contains(&Some(0))
        && (purpose != Use::Rootless || lowest.is_some_and(is_guide))
}

/// What must sound for a use of a chord; `None` if the chord has no such use.
pub fn wanted_for(chord: &Chord, purpose: Use) -> Option<Wanted> {
    let root = chord.root.pitch_class();
    match purpose {
        Use::Full | Use::Small => Some(Wanted::chord(chord)),
        Use::Shell => Some(Wanted::exactly(shell(chord)?, Some(root))),
        Use::Power => chord.pitch_classes().contains(root.up(7)).then(|| {
            Wanted::exactly(
                PitchClassSet::default().with(root).with(root.up(7)),
                Some(root),
            )
        }),
        Use::Rootless => {
            let whole = Wanted::chord(chord);
            let alone = PitchClassSet::default().with(root);
            (chord.degrees().len() > 3).then(|| Wanted {
                required: whole.required.without(alone),
                optional: whole.optional,
                bass: None,
                bass_written: false,
            })
        }
    }
}

/// The first `n` of a list of shapes that are no mere cut-down of an earlier one of the same use.
pub fn distinct_uses<'a>(
    instrument: &Instrument,
    chord: &Chord,
    list: &'a [Voicing],
    n: usize,
) -> Vec<&'a Voicing> {
    let mut kept: Vec<(Use, &Voicing)> = Vec::with_capacity(n);
    for v in list {
        if kept.len() == n {
            break;
        }
        let own = use_of(instrument, chord, &v.shape);
        let cut = kept.iter().any(|(purpose, whole)| {
            let mut pairs = v.shape.frets().iter().zip(whole.shape.frets());
            *purpose == own && pairs.all(|(a, b)| a.is_none() || a == b)
        });
        if !cut {
            kept.push((own, v));
        }
    }
    kept.into_iter().map(|(_, v)| v).collect()
}
