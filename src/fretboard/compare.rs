//! Are two fingerings the same chord?

use super::Played;
use crate::theory::naming::{Context, Name, names};
use crate::theory::{Key, PitchClass};

/// How much two fingerings have in common, most first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Sameness {
    /// The same pitches.
    SameNotes,
    /// The same pitch classes over the same bass.
    SamePitchClasses,
    /// The same pitch classes over another bass.
    OtherBass,
    /// The same name (root and quality), one of them with tones left out.
    SameName,
    /// Another chord.
    Different,
}

/// A comparison of two fingerings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// The verdict.
    pub sameness: Sameness,
    /// The first name of each.
    pub names: [Name; 2],
    /// Pitch classes that only the first sounds.
    pub only_first: Vec<PitchClass>,
    /// Pitch classes that only the second sounds.
    pub only_second: Vec<PitchClass>,
}

/// Compares two fingerings or sets of notes; `None` if one of them is silent.
///
/// # Example
/// ```
/// use takebook::fretboard::{Instrument, Sameness, Typed, compare, read_played};
/// let guitar = Instrument::default();
/// let read = |t| read_played(t, &guitar, Typed::Strings).unwrap();
/// let seen = compare(&read("A4 B2 e3"), &read("A4 D6 B8"), None).unwrap();
/// assert_eq!(seen.sameness, Sameness::Different);
/// ```
pub fn compare(first: &Played, second: &Played, key: Option<Key>) -> Option<Comparison> {
    let name = |p: &Played| {
        let context = Context {
            bass: p.bass(),
            key,
            root: None,
        };
        let name = names(p.pitch_classes(), context, 1).into_iter().next()?;
        Some(match key {
            Some(_) => name,
            None => name.spelled_like(&p.spellings()),
        })
    };
    let pair = [name(first)?, name(second)?];
    let pitches = |p: &Played| {
        let mut midi: Vec<Option<u8>> = p.tones.iter().map(|t| t.midi).collect();
        midi.sort_unstable();
        midi.dedup();
        midi
    };
    let (a, b) = (first.pitch_classes(), second.pitch_classes());
    let known = first
        .tones
        .iter()
        .chain(&second.tones)
        .all(|t| t.midi.is_some());
    let same_chord = |x: &Name, y: &Name| {
        x.lower.is_none()
            && y.lower.is_none()
            && x.chord.root.pitch_class() == y.chord.root.pitch_class()
            && x.chord.quality == y.chord.quality
            && x.chord.added == y.chord.added
            && x.chord.omitted == y.chord.omitted
    };
    let sameness = if a == b && first.bass() == second.bass() {
        if known && pitches(first) == pitches(second) {
            Sameness::SameNotes
        } else {
            Sameness::SamePitchClasses
        }
    } else if a == b {
        Sameness::OtherBass
    } else if same_chord(&pair[0], &pair[1]) {
        Sameness::SameName
    } else {
        Sameness::Different
    };
    Some(Comparison {
        sameness,
        names: pair,
        only_first: a.without(b).iter().collect(),
        only_second: b.without(a).iter().collect(),
    })
}

/// A note that moves on one string while the others hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MovingNote {
    /// The string that moves.
    pub string: usize,
    /// The name of each shape, all on one root.
    pub names: Vec<Name>,
}

/// Whether a row of fingerings holds all strings but one, and what the moving
/// note makes of the held chord (A, Asus4, Asus2).
///
/// All names share the root that fits the row best. `None` for fewer than two
/// fingerings, or if another number of strings than one changes.
pub fn moving_note(row: &[Played], key: Option<Key>) -> Option<MovingNote> {
    let shapes: Vec<&super::Shape> = row
        .iter()
        .map(|p| p.shape.as_ref())
        .collect::<Option<_>>()?;
    let first = shapes.first()?.frets();
    let changing: Vec<usize> = (0..first.len())
        .filter(|s| shapes.iter().any(|shape| shape.frets()[*s] != first[*s]))
        .collect();
    let [string] = changing[..] else {
        return None;
    };
    let names_on = |root: PitchClass| -> Option<Vec<Name>> {
        row.iter()
            .map(|p| {
                let context = Context {
                    bass: p.bass(),
                    key,
                    root: Some(root),
                };
                names(p.pitch_classes(), context, 1).into_iter().next()
            })
            .collect()
    };
    // the root of the held strings: cheapest over the whole row
    let (_, names) = PitchClass::all()
        .filter_map(|root| {
            let names = names_on(root)?;
            Some((names.iter().map(|n| n.cost).sum::<i32>(), names))
        })
        .min_by_key(|(cost, _)| *cost)?;
    Some(MovingNote { string, names })
}
