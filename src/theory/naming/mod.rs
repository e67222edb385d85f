//! Names for what sounds: every reading of a set of pitch classes over a bass,
//! ranked, with the reasons.
//!
//! No set is refused: where no common name fits, the most useful honest one is
//! given (root, added or altered tones, "no third") and called a convention.
//! Costs are integers in hundredths; which reading costs less is what common
//! practice prefers (no source): the root in the bass, the third present, no
//! added or missing tones, a plain quality, the key.

mod reasons;
mod score;
#[cfg(test)]
mod tests;

use super::{Chord, Degree, Key, Mode, PitchClass, PitchClassSet, QUALITIES, Quality, Spelled};
pub use reasons::{before, reasons};
use score::Parts;

/// What a name may cost beyond the best and still be listed, hundredths.
const FAR_FETCHED: i32 = 110;

/// So many other ways to write a name are listed.
const MOST_ALSO: usize = 2;

/// What kind of reading a name is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NameKind {
    /// Every tone of the name sounds, and nothing else.
    Whole,
    /// Tones that players leave out are missing (the fifth, inner extensions).
    Shell,
    /// The root does not sound.
    Rootless,
    /// A plain chord over a bass that is none of its tones.
    OverBass,
    /// Two chords, one over the other.
    TwoChords,
    /// No common name fits: root with added, altered or missing tones, by convention.
    Convention,
}

impl NameKind {
    /// In words, for the screen.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Whole => "complete",
            Self::Shell => "tones left out",
            Self::Rootless => "rootless",
            Self::OverBass => "slash chord",
            Self::TwoChords => "two chords",
            Self::Convention => "no common name",
        }
    }
}

/// One reading of a set of pitch classes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Name {
    /// The chord; the upper one of two.
    pub chord: Chord,
    /// The lower chord, where two are named.
    pub lower: Option<Chord>,
    /// What kind of reading it is.
    pub kind: NameKind,
    /// Degrees of the name that do not sound.
    pub missing: Vec<Degree>,
    /// Degrees that sound beyond the name's (the eleventh in a thirteenth chord).
    pub besides: Vec<Degree>,
    /// How far it is from a plain name, hundredths; lower is better.
    pub cost: i32,
    /// Other ways to write the same notes on the same root, nearest first.
    pub also: Vec<Chord>,
    parts: Parts,
}

impl Name {
    /// The symbol with real accidentals, `C♯m7♭5/G`, or `D over C` for two chords.
    pub fn text(&self) -> String {
        match &self.lower {
            Some(lower) => format!("{} over {}", self.chord.symbol(), lower.symbol()),
            None => self.chord.symbol(),
        }
    }

    /// The name spelled like notes that were typed, where it can be: `E♭ A` is
    /// not answered with D♯.
    ///
    /// Takes the notes as typed; the root's spelling counts most.
    #[must_use]
    pub fn spelled_like(mut self, typed: &[Spelled]) -> Self {
        let fitting = |name: &Self, root: Spelled| -> usize {
            typed
                .iter()
                .map(|note| {
                    let own = name.degree_of(note.pitch_class()).note_over(root) == *note;
                    usize::from(own) + 2 * usize::from(*note == root)
                })
                .sum()
        };
        let own = self.chord.root;
        let mut best = (fitting(&self, own), own);
        for by in [-12, 12] {
            let other = Spelled::from_fifths(own.fifths() + by);
            let fits = fitting(&self, other);
            if other.alter().abs() < 2 && fits > best.0 {
                best = (fits, other);
            }
        }
        self.chord.root = best.1;
        let bass = self.chord.bass_pitch_class();
        if self.chord.bass.is_some()
            && let Some(note) = typed.iter().find(|n| n.pitch_class() == bass)
        {
            let degree = Degree::between(self.chord.root, *note);
            if degree != Degree::ROOT {
                self.chord.bass = Some(degree);
            }
        }
        if let Some(lower) = &mut self.lower
            && let Some(note) = typed
                .iter()
                .find(|n| n.pitch_class() == lower.root.pitch_class())
        {
            lower.root = *note;
        }
        self.also_spelled_alike();
        self
    }

    /// The chord, and then the other ways to write it.
    pub fn spellings(&self) -> impl Iterator<Item = &Chord> {
        std::iter::once(&self.chord).chain(&self.also)
    }

    /// Spells the other ways to write it like the name itself.
    fn also_spelled_alike(&mut self) {
        for chord in &mut self.also {
            (chord.root, chord.bass) = (self.chord.root, self.chord.bass);
        }
    }

    /// Which degree of the name a pitch class is; the bass of a slash chord included.
    pub fn degree_of(&self, pc: PitchClass) -> Degree {
        let root = self.chord.root.pitch_class();
        self.chord
            .degrees()
            .into_iter()
            .chain(self.besides.iter().copied())
            .chain(self.chord.bass)
            .find(|d| d.over(root) == pc)
            .unwrap_or_else(|| Degree::plain(pc.above(root)))
    }
}

/// What a name is wanted for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Context {
    /// The lowest pitch class; without it the names are ranked as if any could be.
    pub bass: Option<PitchClass>,
    /// The key, for spelling and rank.
    pub key: Option<Key>,
    /// Only names on this root.
    pub root: Option<PitchClass>,
}

/// Names for a set of pitch classes, best first; at least one unless the set is empty.
///
/// Takes the set (the bass belongs to it), the context, and how many names are
/// wanted. Each has another root, and the other ways to write it beside it; names
/// on one given root follow each other. The result does not depend on the order or octave of the notes
/// above the bass.
///
/// # Example
/// ```
/// use takebook::theory::{PitchClass, naming::{Context, names}};
/// // A C E G over A
/// let set = [9, 0, 4, 7].map(PitchClass::new).into_iter().collect();
/// let found = names(set, Context { bass: Some(PitchClass::new(9)), ..Context::default() }, 2);
/// assert_eq!(found[0].text(), "Am7");
/// assert_eq!(found[1].text(), "C6/A");
/// ```
///
/// # Source
/// Ours: every root and every row of the vocabulary is tried, and the sum of
/// small costs ranks them.
pub fn names(set: PitchClassSet, context: Context, n_names: usize) -> Vec<Name> {
    let set = context.bass.map_or(set, |b| set.with(b));
    if set.is_empty() {
        return Vec::new();
    }
    let best = score::best_readings(set, context, 4 * n_names.max(1) + 8);
    let cheapest = best.first().map_or(0, |reading| reading.parts.total());
    let mut named: Vec<Name> = Vec::with_capacity(n_names + 1);
    for reading in best {
        let on_root = |n: &Name| n.chord.root.pitch_class() == reading.root;
        let known = named
            .iter()
            .position(on_root)
            .filter(|_| context.root.is_none());
        let is_far = reading.parts.total() > cheapest + FAR_FETCHED;
        let may_stand = match known {
            Some(at) => named[at].also.len() < MOST_ALSO && !is_far,
            None => named.len() < n_names.max(1),
        };
        if !may_stand {
            continue;
        }
        let name = build(set, context, reading);
        let same = |chord: &Chord| chord.pitch_classes() == name.chord.pitch_classes();
        let is_told = |n: &Name| on_root(n) && (same(&n.chord) || n.also.iter().any(same));
        if named.iter().any(is_told) || has_own_row(&name.chord) {
            continue;
        }
        match known {
            Some(at) => named[at].also.push(name.chord),
            None => named.push(name),
        }
    }
    if context.root.is_none() {
        named.extend(two_chords(set, context));
    }
    named.sort_by_key(|n| n.cost);
    named.truncate(n_names.max(1));
    // far-fetched names beside a good one only confuse
    let good = named.first().map_or(0, |n| n.cost) + FAR_FETCHED;
    named.retain(|n| n.cost <= good);
    match context.key {
        None => spell_alike(&mut named),
        Some(_) => spell_basses_alike(&mut named),
    }
    for name in &mut named {
        name.also_spelled_alike();
    }
    named
}

/// Spells the basses of later names as the first name spells these notes.
fn spell_basses_alike(named: &mut [Name]) {
    let Some((first, others)) = named.split_first_mut() else {
        return;
    };
    let known = first.chord.notes();
    for name in others {
        let Some(bass) = name.chord.bass.map(|_| name.chord.bass_pitch_class()) else {
            continue;
        };
        let plain = |n: &&Spelled| n.alter().abs() < 2 && !is_odd(**n);
        if let Some(note) = known.iter().filter(plain).find(|n| n.pitch_class() == bass) {
            let degree = Degree::between(name.chord.root, *note);
            if degree != Degree::ROOT {
                name.chord.bass = Some(degree);
            }
        }
    }
}

/// E♯, B♯, C♭ and F♭, which have a simple name.
fn is_odd(note: Spelled) -> bool {
    matches!((note.letter(), note.alter()), (2 | 6, 1) | (0 | 3, -1))
}

/// Spells the roots and basses of later names as the first name spells these notes.
fn spell_alike(named: &mut [Name]) {
    let Some((first, others)) = named.split_first_mut() else {
        return;
    };
    let odd = is_odd;
    let mut known = first.chord.notes();
    known.push(first.chord.bass_note());
    known.retain(|n| n.alter().abs() < 2 && !odd(*n));
    let flats = known.iter().any(|n| n.alter() < 0) || first.chord.root.fifths() < 0;
    let spelled = |note: Spelled| -> Spelled {
        let pc = note.pitch_class();
        if let Some(own) = known.iter().find(|n| n.pitch_class() == pc) {
            return *own;
        }
        let sides = if flats { -6..6 } else { -1..11 };
        let found = sides
            .map(Spelled::from_fifths)
            .find(|n| n.pitch_class() == pc);
        found.filter(|n| !odd(*n)).unwrap_or(Spelled::plain(pc))
    };
    for name in others {
        let bass = name.chord.bass.map(|_| name.chord.bass_note());
        name.chord.root = spelled(name.chord.root);
        if let Some(bass) = bass {
            let degree = Degree::between(name.chord.root, spelled(bass));
            if degree != Degree::ROOT {
                name.chord.bass = Some(degree);
            }
        }
        if let Some(lower) = &mut name.lower {
            lower.root = spelled(lower.root);
        }
    }
}

/// Whether a chord with added tones is a plain row of the vocabulary, which is then the name.
fn has_own_row(chord: &Chord) -> bool {
    if chord.added.is_empty() {
        return false;
    }
    let mask = |degrees: &mut dyn Iterator<Item = Degree>| {
        degrees.fold(0u16, |m, d| m | 1 << d.semitones().rem_euclid(12))
    };
    let own = mask(&mut chord.degrees().into_iter());
    let third = chord.degrees().iter().any(|d| d.number() == 3);
    QUALITIES.iter().any(|q| {
        mask(&mut q.degrees.iter().copied()) == own
            && q.degrees.iter().any(|d| d.number() == 3) == third
    })
}

/// How a root is spelled: by the key, else so that the chord's notes carry the
/// fewest accidentals; ties go to the usual key of that name.
fn spell_root(root: PitchClass, row: &'static Quality, key: Option<Key>) -> Spelled {
    if let Some(key) = key {
        return key.spell_root(root);
    }
    let minor = row.degrees.contains(&Degree::new(3, -1));
    let mode = if minor { Mode::Minor } else { Mode::Major };
    let usual = Key::usual(root, mode).tonic;
    let heavy = |spelled: Spelled| -> i32 {
        let of_root = if is_odd(spelled) { 20 } else { 0 };
        of_root
            + row
                .degrees
                .iter()
                .map(|d| {
                    let note = d.note_over(spelled);
                    let signs = i32::from(note.alter().abs());
                    // E♯, B♯, C♭, F♭ and doubles are harder to read
                    signs * signs + i32::from(is_odd(note))
                })
                .sum::<i32>()
    };
    [-12, 12]
        .into_iter()
        .map(|by| Spelled::from_fifths(usual.fifths() + by))
        .filter(|other| other.alter().abs() < 2)
        .fold(usual, |best, other| {
            if heavy(other) < heavy(best) {
                other
            } else {
                best
            }
        })
}

/// A reading as a chord with words.
fn build(set: PitchClassSet, context: Context, reading: score::Reading) -> Name {
    let row = &QUALITIES[reading.row];
    let root = spell_root(reading.root, row, context.key);
    let pc = reading.root;
    let mut chord = Chord::new(root, row);
    let sounds = |d: &Degree| set.contains(d.over(pc));
    let foreign_bass = reading
        .bass_outside
        .then_some(context.bass)
        .flatten()
        .map(|b| b.above(pc));
    let mut besides = Vec::new();
    for semitones in 0..12 {
        let tone = pc.up(semitones);
        let in_row = row.degrees.iter().any(|d| d.over(pc) == tone);
        if !set.contains(tone) || in_row || foreign_bass == Some(semitones) {
            continue;
        }
        let degree = score::added_degree(semitones, row);
        if score::tolerated(semitones, row) {
            besides.push(degree);
        } else {
            chord.added.push(degree);
        }
    }
    let missing: Vec<Degree> = row.degrees.iter().filter(|d| !sounds(d)).copied().collect();
    // a missing third changes what is heard: the name says so
    chord
        .omitted
        .extend(missing.iter().filter(|d| d.number() == 3));
    // the root is left to a bass: what the hand plays lowest is no bass then
    let left_to_bass = reading.parts.rootless != 0 && reading.parts.bass == 0;
    if let Some(bass) = context.bass.filter(|b| *b != pc && !left_to_bass) {
        let degree = bass_degree(&chord, bass, context.key);
        chord = chord.over(degree);
    }
    let kind = if !set.contains(pc) {
        NameKind::Rootless
    } else if !chord.added.is_empty() || !chord.omitted.is_empty() {
        NameKind::Convention
    } else if reading.bass_outside {
        NameKind::OverBass
    } else if !missing.is_empty() {
        NameKind::Shell
    } else {
        NameKind::Whole
    };
    Name {
        chord,
        lower: None,
        kind,
        missing,
        besides,
        cost: reading.parts.total(),
        also: Vec::new(),
        parts: reading.parts,
    }
}

/// The degree that a bass is written as: its tone of the chord, unless a simpler note is read
/// more easily.
fn bass_degree(chord: &Chord, bass: PitchClass, key: Option<Key>) -> Degree {
    let root = chord.root;
    let mut tones = chord.degrees().into_iter();
    let tone = tones.find(|d| d.over(root.pitch_class()) == bass);
    let degree = tone
        .or_else(|| {
            let plain = Degree::plain(bass.above(root.pitch_class()));
            let note = plain.note_over(root);
            let readable = note.alter().abs() < 2 && !is_odd(note);
            (key.is_none() && readable).then_some(plain)
        })
        .unwrap_or_else(|| {
            let key = key.unwrap_or(Key::usual(bass, Mode::Major));
            Degree::between(root, key.spell(bass))
        });
    let degree = Degree::new((degree.number() - 1) % 7 + 1, degree.alter());
    let note = degree.note_over(root);
    let at_home = key.is_some_and(|key| key.scale().contains(&note));
    let altered = degree.number() == 5 && degree.alter() != 0;
    let odd = is_odd(note) && !at_home && (altered || key.is_some());
    let hard = note.alter().abs() > 1 || degree.alter().abs() > 1 || odd;
    let plain = key.map_or(Spelled::plain(bass), |key| key.spell_root(bass));
    let simple = Degree::between(root, plain);
    match hard && simple != Degree::ROOT {
        true => simple,
        false => degree,
    }
}

/// Two triads that together sound the set, the upper one without the bass.
fn two_chords(set: PitchClassSet, context: Context) -> Option<Name> {
    const TRIADS: [(usize, u16); 2] = [(0, 0b1001_0001), (1, 0b1000_1001)];
    // two triads with a common tone are one chord with tensions
    if set.len() < 6 {
        return None;
    }
    let turned = |mask: u16, root: PitchClass| {
        (u32::from(mask) << root.index() | u32::from(mask) << root.index() >> 12) as u16 & 0xfff
    };
    let all = || {
        TRIADS
            .iter()
            .flat_map(|(row, mask)| PitchClass::all().map(move |r| (*row, r, turned(*mask, r))))
            .filter(|(_, _, t)| t & !set.0 == 0)
    };
    let bass = context.bass?;
    let (lower, upper) = all()
        .filter(|(_, root, _)| *root == bass)
        .flat_map(|low| all().map(move |up| (low, up)))
        .find(|(low, up)| low.2 | up.2 == set.0 && low.1 != up.1)?;
    let chord = |(row, root, _): (usize, PitchClass, u16)| {
        Chord::new(
            spell_root(root, &QUALITIES[row], context.key),
            &QUALITIES[row],
        )
    };
    let parts = Parts {
        added: 75,
        ..Parts::default()
    };
    Some(Name {
        chord: chord(upper),
        lower: Some(chord(lower)),
        kind: NameKind::TwoChords,
        missing: Vec::new(),
        besides: Vec::new(),
        cost: parts.total(),
        also: Vec::new(),
        parts,
    })
}
