//! The shapes that a teacher shows first: open chords and movable forms of standard
//! tuning, with the fingers they are taught with.
//!
//! # Source
//! Common practice, no source.

use super::fingering::{with_fingers, with_usual_fingers};
use super::{Finger, Hand, Instrument, Limits, Shape, Tuning, Voicing, Wanted, voicings};
use crate::theory::{Chord, Key, Mode, PitchClass};
use std::collections::HashMap;

/// Open chords: symbol, frets, fingers (0 for an open string).
const OPEN: [(&str, &str, &str); 70] = [
    ("C", "x32010", "x32010"),
    ("D", "xx0232", "xx0132"),
    ("E", "022100", "023100"),
    ("F", "133211", "134211"),
    ("F", "xx3211", "xx3211"),
    ("G", "320003", "210003"),
    ("G", "320033", "210034"),
    ("A", "x02220", "x01230"),
    ("Dm", "xx0231", "xx0231"),
    ("Em", "022000", "023000"),
    ("Am", "x02210", "x02310"),
    ("C7", "x32310", "x32410"),
    ("D7", "xx0212", "xx0213"),
    ("E7", "020100", "020100"),
    ("E7", "022130", "023140"),
    ("G7", "320001", "320001"),
    ("A7", "x02020", "x02030"),
    ("B7", "x21202", "x21304"),
    ("Cmaj7", "x32000", "x32000"),
    ("Dmaj7", "xx0222", "xx0111"),
    ("Emaj7", "021100", "031200"),
    ("Fmaj7", "xx3210", "xx3210"),
    ("Fmaj7", "1x2210", "1x3420"),
    ("Fmaj7#11", "xx3200", "xx3200"),
    ("Gmaj7", "320002", "320001"),
    ("Amaj7", "x02120", "x02130"),
    ("Dm7", "xx0211", "xx0211"),
    ("Em7", "022030", "023040"),
    ("Em7", "020000", "020000"),
    ("Am7", "x02010", "x02010"),
    ("Bm7", "x24232", "x13121"),
    ("Bm7", "x20202", "x10203"),
    ("Csus4", "x33011", "x34011"),
    ("Dsus4", "xx0233", "xx0134"),
    ("Esus4", "022200", "023400"),
    ("Gsus4", "330013", "230014"),
    ("Asus4", "x02230", "x01230"),
    ("Dsus2", "xx0230", "xx0130"),
    ("Gsus2", "300233", "200134"),
    ("Asus2", "x02200", "x02300"),
    ("Cadd9", "x32033", "x21034"),
    ("Eadd9", "022102", "023104"),
    ("Fadd9", "xx3213", "xx3214"),
    ("C6", "x32210", "x42310"),
    ("D6", "xx0202", "xx0203"),
    ("E6", "022120", "023140"),
    ("G6", "320000", "210000"),
    ("A6", "x02222", "x01111"),
    ("Dm6", "xx0201", "xx0201"),
    ("Em6", "022020", "012030"),
    ("Am6", "x02212", "x02314"),
    ("E9", "020102", "020103"),
    ("A9", "x02423", "x01423"),
    ("D7sus4", "xx0213", "xx0214"),
    ("E7sus4", "020200", "020300"),
    ("A7sus4", "x02030", "x01030"),
    ("Em(maj7)", "021000", "021000"),
    ("Am(maj7)", "x02110", "x03120"),
    ("E5", "022xxx", "023xxx"),
    ("A5", "x022xx", "x012xx"),
    ("D/F#", "2x0232", "2x0143"),
    ("D/A", "x00232", "x00132"),
    ("G/B", "x20003", "x10003"),
    ("G/B", "x20033", "x10034"),
    ("C/E", "032010", "032010"),
    ("C/G", "332010", "342010"),
    ("Am/G", "3x2210", "3x2410"),
    ("A/C#", "x42220", "x41230"),
    ("E/G#", "422100", "423100"),
    ("F/C", "x33211", "x34211"),
];

/// Movable forms: published label of the quality, string of the root (0 lowest), frets
/// from the root's fret, fingers where no string is open.
const MOVABLE: [(&str, usize, [i8; 6], &str); 41] = {
    const X: i8 = i8::MIN;
    [
        ("maj", 0, [0, 2, 2, 1, 0, 0], "134211"),
        ("maj", 1, [X, 0, 2, 2, 2, 0], "x12341"),
        ("maj", 2, [X, X, 0, 2, 3, 2], "xx1243"),
        ("min", 0, [0, 2, 2, 0, 0, 0], "134111"),
        ("min", 1, [X, 0, 2, 2, 1, 0], "x13421"),
        ("min", 2, [X, X, 0, 2, 3, 1], "xx1342"),
        ("7", 0, [0, 2, 0, 1, 0, 0], "131211"),
        ("7", 1, [X, 0, 2, 0, 2, 0], "x13141"),
        ("7", 2, [X, X, 0, 2, 1, 2], "xx1324"),
        ("min7", 0, [0, 2, 0, 0, 0, 0], "131111"),
        ("min7", 1, [X, 0, 2, 0, 1, 0], "x13121"),
        ("min7", 0, [0, X, 0, 0, 0, X], "2x333x"),
        ("maj7", 0, [0, X, 1, 1, 0, X], "1x342x"),
        ("maj7", 1, [X, 0, 2, 1, 2, 0], "x13241"),
        ("maj7", 2, [X, X, 0, 2, 2, 2], "xx1333"),
        ("sus4", 0, [0, 2, 2, 2, 0, 0], "123411"),
        ("sus4", 1, [X, 0, 2, 2, 3, 0], "x12341"),
        ("sus2", 1, [X, 0, 2, 2, 0, 0], "x13411"),
        ("sus4(b7)", 0, [0, 2, 0, 2, 0, 0], "131411"),
        ("sus4(b7)", 1, [X, 0, 2, 0, 3, 0], "x13141"),
        ("maj6", 0, [0, X, -1, 1, 0, X], "2x143x"),
        ("maj6", 1, [X, 0, 2, 2, 2, 2], "x13333"),
        ("min6", 0, [0, X, -1, 0, 0, X], "2x134x"),
        ("9", 1, [X, 0, -1, 0, 0, 0], "x21333"),
        ("9", 1, [X, 0, -1, 0, 0, X], "x2134x"),
        ("9", 0, [0, 2, 0, 1, 0, 2], "131214"),
        ("13", 0, [0, X, 0, 1, 2, X], "1x234x"),
        ("7(#9)", 1, [X, 0, -1, 0, 1, X], "x2134x"),
        ("7(b9)", 1, [X, 0, -1, 0, -1, X], "x2131x"),
        ("maj9", 1, [X, 0, -1, 1, 0, X], "x2143x"),
        ("min9", 1, [X, 0, -2, 0, 0, X], "x2134x"),
        ("maj6(9)", 1, [X, 0, -1, -1, 0, 0], "x21134"),
        ("hdim7", 1, [X, 0, 1, 0, 1, X], "x1324x"),
        ("hdim7", 0, [0, X, 0, 0, -1, X], "2x341x"),
        ("dim7", 1, [X, 0, 1, -1, 1, X], "x2314x"),
        ("dim7", 0, [0, X, -1, 0, -1, X], "2x131x"),
        ("dim7", 2, [X, X, 0, 1, 0, 1], "xx1324"),
        ("minmaj7", 1, [X, 0, 2, 1, 1, 0], "x14231"),
        ("aug(b7)", 0, [0, X, 0, 1, 1, X], "1x234x"),
        ("5", 0, [0, 2, 2, X, X, X], "134xxx"),
        ("5", 1, [X, 0, 2, 2, X, X], "x134xx"),
    ]
};

/// Highest fret that a movable form is shown at.
const HIGHEST: i8 = 11;

/// The shapes a teacher shows for a chord of standard tuning, most usual first; empty in
/// other tunings. Takes the chord as fingered; frets are counted from the capo.
pub fn taught(instrument: &Instrument, chord: &Chord) -> Vec<Shape> {
    if instrument.tuning != Tuning::standard()
        || !chord.added.is_empty()
        || !chord.omitted.is_empty()
    {
        return Vec::new();
    }
    let mut shapes: Vec<Shape> = open_chords()
        .iter()
        .filter(|(open, _)| {
            open.quality == chord.quality
                && open.root.pitch_class() == chord.root.pitch_class()
                && open.bass_pitch_class() == chord.bass_pitch_class()
        })
        .map(|(_, shape)| shape.clone())
        .collect();
    if chord.bass.is_some() {
        return shapes;
    }
    // the forms on the four highest strings are shown after the barre chords
    const SMALL_LATER: u8 = 6;
    let mut movable: Vec<(u8, Shape)> = Vec::new();
    for (harte, string, form, _) in &MOVABLE {
        if *harte != chord.quality.harte {
            continue;
        }
        let open = PitchClass::new(i32::from(instrument.tuning.open()[*string]));
        let fret = chord.root.pitch_class().above(open) as i8;
        // the lowest place whose frets lie on the neck
        let places = [fret, fret + 12].into_iter();
        let placed = places.filter_map(|at| placed(form, at)).next();
        let later = if *string == 2 { SMALL_LATER } else { 0 };
        movable.extend(placed.map(|(fret, shape)| (fret + later, shape)));
    }
    movable.sort_by_key(|(fret, _)| *fret);
    for (_, shape) in movable {
        if !shapes.contains(&shape) {
            shapes.push(shape);
        }
    }
    shapes
}

/// As [`taught`], of a chord as it sounds over the instrument's capo.
pub fn taught_over_capo(instrument: &Instrument, chord: &Chord) -> Vec<Shape> {
    taught(instrument, &lowered(chord, instrument.capo))
}

/// A form at its root's fret, with its lowest pressed fret.
fn placed(form: &[i8; 6], at: i8) -> Option<(u8, Shape)> {
    let frets: Vec<Option<u8>> = form
        .iter()
        .map(|f| (*f != i8::MIN).then(|| u8::try_from(f + at).ok()))
        .map(|f| match f {
            None => Some(None),
            Some(fret) => fret.map(Some),
        })
        .collect::<Option<_>>()?;
    let mut sounding = frets.iter().flatten();
    if sounding.any(|f| *f > HIGHEST as u8) {
        return None;
    }
    Some((at as u8, Shape::new(frets).ok()?))
}

fn open_chords() -> &'static [(Chord, Shape)] {
    use std::sync::OnceLock;
    static ALL: OnceLock<Vec<(Chord, Shape)>> = OnceLock::new();
    ALL.get_or_init(|| {
        OPEN.iter()
            .filter_map(|(symbol, frets, _)| Some((symbol.parse().ok()?, frets.parse().ok()?)))
            .collect()
    })
}

/// Frets of each string, and the fingers that press them.
type Fingers = HashMap<Vec<Option<u8>>, Vec<Option<Finger>>>;

/// The fingers of the open chords, and of the movable forms by their frets above the lowest.
fn fingers() -> &'static [Fingers; 2] {
    use std::sync::OnceLock;
    static ALL: OnceLock<[Fingers; 2]> = OnceLock::new();
    let read = |signs: &str| -> Vec<Option<Finger>> {
        signs
            .bytes()
            .map(|b| (b'1'..=b'4').contains(&b).then(|| Finger::Number(b - b'0')))
            .collect()
    };
    ALL.get_or_init(|| {
        let (mut open, mut movable) = (Fingers::new(), Fingers::new());
        for ((_, shape), (_, _, signs)) in open_chords().iter().zip(&OPEN) {
            let frets = shape.frets().to_vec();
            open.entry(frets).or_insert_with(|| read(signs));
        }
        for (_, _, form, signs) in &MOVABLE {
            let sounding = form.iter().filter(|f| **f != i8::MIN);
            let lowest = sounding.min().copied().unwrap_or(0);
            let above = |f: &i8| (*f != i8::MIN).then(|| f.abs_diff(lowest));
            let frets = form.iter().map(above).collect();
            movable.entry(frets).or_insert_with(|| read(signs));
        }
        [open, movable]
    })
}

/// The fingers a shape is taught with, if it is one of the open chords or movable forms.
pub(super) fn taught_fingers(frets: &[Option<u8>]) -> Option<Vec<Option<Finger>>> {
    let [open, movable] = fingers();
    if let Some(fingers) = open.get(frets) {
        return Some(fingers.clone());
    }
    if frets.len() != 6 || frets.contains(&Some(0)) {
        return None;
    }
    let lowest = frets.iter().flatten().min()?;
    let above: Vec<Option<u8>> = frets.iter().map(|f| f.map(|f| f - lowest)).collect();
    movable.get(&above).cloned()
}

/// A hand with the fingers that its shape is taught with, by the tables or by rule.
pub(super) fn with_taught_fingers(hand: Hand, frets: &[Option<u8>]) -> Hand {
    let Some(fingers) = taught_fingers(frets) else {
        return with_usual_fingers(hand, frets);
    };
    with_fingers(hand, frets, fingers)
}

/// A chord that sounds over a capo, as it is fingered.
pub(super) fn lowered(chord: &Chord, capo: u8) -> Chord {
    let root = chord.root.pitch_class().up(-i32::from(capo));
    chord.with_root(Key::usual(root, Mode::Major).tonic)
}

/// All playable shapes of a chord as it sounds, the most usual first: the taught
/// ones in the order a teacher shows them, then by ease. Empty if there is none.
///
/// # Example
/// ```
/// use takebook::fretboard::{Instrument, Limits, usual_voicings};
/// let found = usual_voicings(&Instrument::default(), &"Bm".parse().unwrap(), &Limits::default());
/// assert_eq!(found[0].shape.text(), "x24432");
/// ```
pub fn usual_voicings(instrument: &Instrument, chord: &Chord, limits: &Limits) -> Vec<Voicing> {
    most_usual(instrument, chord, limits, usize::MAX)
}

/// The first `n` of [`usual_voicings`].
pub(super) fn most_usual(
    instrument: &Instrument,
    chord: &Chord,
    limits: &Limits,
    n: usize,
) -> Vec<Voicing> {
    let found = voicings(instrument, Wanted::chord(chord), limits);
    // the capo moves what sounds, not how it is fingered
    let mut ordered = taught_first(instrument, &lowered(chord, instrument.capo), found);
    ordered.truncate(n);
    fingered(instrument, ordered)
}

/// Shapes with the taught ones first, in the order a teacher shows them, then by ease,
/// each with the fingers it is taught with.
///
/// Takes the chord as fingered and its shapes, easiest first, as [`voicings`] gives them.
pub fn usual_first(instrument: &Instrument, chord: &Chord, found: Vec<Voicing>) -> Vec<Voicing> {
    let ordered = taught_first(instrument, chord, found);
    fingered(instrument, ordered)
}

fn taught_first(instrument: &Instrument, chord: &Chord, mut found: Vec<Voicing>) -> Vec<Voicing> {
    let shapes = taught(instrument, chord);
    let place = |v: &Voicing| shapes.iter().position(|s| *s == v.shape);
    let taught = |v: &mut Voicing| place(v).is_some();
    let mut first: Vec<Voicing> = found.extract_if(.., taught).collect();
    first.sort_by_key(place);
    first.append(&mut found);
    first
}

fn fingered(instrument: &Instrument, found: Vec<Voicing>) -> Vec<Voicing> {
    let finger = match instrument.tuning == Tuning::standard() {
        true => with_taught_fingers,
        false => with_usual_fingers,
    };
    let each = found.into_iter().map(|v| Voicing {
        hand: finger(v.hand, v.shape.frets()),
        ..v
    });
    each.collect()
}
