//! What a reading costs: every root, every row, in hundredths.

use super::Context;
use crate::theory::{Degree, Key, Mode, PitchClass, PitchClassSet, QUALITIES, Quality};
use std::sync::OnceLock;

/// The costs of a reading, by kind, in hundredths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Parts {
    /// How rare the quality is.
    pub(super) quality: i32,
    /// The bass is not the root.
    pub(super) bass: i32,
    /// Tones of the name that do not sound.
    pub(super) missing: i32,
    /// Tones beyond the quality's.
    pub(super) added: i32,
    /// The root does not sound.
    pub(super) rootless: i32,
    /// Tones outside the key.
    pub(super) key: i32,
}

impl Parts {
    pub(super) const fn total(self) -> i32 {
        self.quality + self.bass + self.missing + self.added + self.rootless + self.key
    }
}

/// A root and a row of the vocabulary, with its costs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub(super) root: PitchClass,
    /// Index into the vocabulary.
    pub(super) row: usize,
    /// The bass is none of the chord's tones and is written after the slash.
    pub(super) bass_outside: bool,
    pub(super) parts: Parts,
}

/// A row prepared for counting.
struct Row {
    mask: u16,
    /// Cost of each missing tone, by semitones.
    lacks: [i32; 12],
    quality: i32,
}

fn rows() -> &'static [Row] {
    static ROWS: OnceLock<Vec<Row>> = OnceLock::new();
    ROWS.get_or_init(|| {
        QUALITIES
            .iter()
            .enumerate()
            .map(|(i, q)| {
                let mut lacks = [0; 12];
                let mut mask = 0;
                for d in q.degrees {
                    let tone = (d.semitones() % 12) as usize;
                    mask |= 1 << tone;
                    lacks[tone] = missing_cost(*d, q);
                }
                Row {
                    mask,
                    lacks,
                    quality: quality_cost(q, i),
                }
            })
            .collect()
    })
}

/// What it costs that a tone of the row does not sound.
fn missing_cost(degree: Degree, quality: &Quality) -> i32 {
    let highest = quality
        .degrees
        .iter()
        .map(|d| d.number())
        .max()
        .unwrap_or(1);
    let n = quality.degrees.len();
    match (degree.number(), degree.alter()) {
        // counted apart, as a rootless reading
        (1, _) => 0,
        (5, 0) if matches!(quality.harte, "5" | "min(b6)") => 400,
        // a sixth chord without its fifth is the minor chord on its sixth
        (5, 0) if quality.harte == "maj6" => 60,
        (5, 0) if n > 3 => 14,
        (5, 0) => 60,
        (5, _) => 200,
        (3, _) if n < 4 => 400,
        (9, 0) if highest >= 11 && n > 4 => 12,
        (11, 0) if highest == 13 => 10,
        (3, 0) if highest == 11 && n > 4 && quality.degrees.contains(&Degree::new(11, 0)) => 70,
        (3, _) => 130,
        (7, _) if highest >= 9 && n > 4 => 150,
        _ => 300,
    }
}

/// How rare a row is: the plain ones by hand, the others by their place in the table.
fn quality_cost(quality: &Quality, place: usize) -> i32 {
    quality.name_cost.unwrap_or(18 + place as i32 / 2)
}

const fn from_root(set: u16, root: usize) -> u16 {
    (set >> root | set << (12 - root)) & 0xfff
}

/// The degree that a tone beyond the row is called.
pub(super) fn added_degree(semitones: i32, row: &Quality) -> Degree {
    let has = |number: u8| row.degrees.iter().any(|d| d.number() == number);
    match semitones {
        1 => Degree::new(9, -1),
        2 => Degree::new(9, 0),
        3 if has(3) || has(5) => Degree::new(9, 1),
        4 => Degree::new(3, 0),
        5 => Degree::new(11, 0),
        6 if has(3) => Degree::new(11, 1),
        8 if has(5) => Degree::new(13, -1),
        9 => Degree::new(13, 0),
        other => Degree::plain(other),
    }
}

/// Whether a tone is part of what the row's name implies: the eleventh in a
/// thirteenth chord, the ninth beside an added eleventh's seventh.
pub(super) fn tolerated(semitones: i32, row: &Quality) -> bool {
    let thirteenth = row.degrees.contains(&Degree::new(13, 0)) && row.degrees.len() > 5;
    semitones == 5
        && thirteenth
        && !row
            .degrees
            .iter()
            .any(|d| d.number() == 11 || d.number() == 4)
}

fn added_cost(tones: u16, row: &Quality) -> i32 {
    // a third is never an addition to a row without one, but another row
    let third = row.degrees.iter().any(|d| d.number() == 3);
    let suspended = row.degrees.iter().any(|d| matches!(d.number(), 2 | 4));
    if tones & 0b1_1000 != 0 && !third && !suspended {
        return 400;
    }
    (0..12)
        .filter(|i| tones >> i & 1 == 1)
        .map(|i| match i {
            i if tolerated(i, row) => 25,
            2 | 5 | 9 => 75,
            10 | 11 => 110,
            // a second kind of third, or a note beside the root
            1 | 3 | 6 | 8 => 120,
            _ => 190,
        })
        .sum()
}

fn bass_cost(semitones: i32, in_row: bool) -> i32 {
    match semitones {
        0 => 0,
        _ if !in_row => 95,
        3 | 4 => 45,
        6..=8 => 48,
        10 | 11 => 62,
        _ => 75,
    }
}

fn key_cost(root: PitchClass, chord: u16, key: Key) -> i32 {
    let tonic = key.tonic.pitch_class();
    let own = key.scale().map(|note| note.pitch_class().above(tonic));
    // minor with its raised seventh
    let raised = (key.mode == Mode::Minor).then_some(11);
    let scale = own
        .into_iter()
        .chain(raised)
        .fold(0u16, |set, tone| set | 1 << tone);
    let at = root.above(tonic) as usize;
    let absolute = from_root(chord, (12 - at) % 12);
    let outside = (absolute & !scale).count_ones() as i32;
    let tonic_root = if at == 0 { -4 } else { 0 };
    12 * outside + tonic_root
}

/// Diminished sevenths and augmented triads, which divide the octave evenly.
fn is_symmetric(quality: &Quality) -> bool {
    matches!(quality.harte, "dim7" | "aug")
}

/// What a root costs that the key does not ask for: diminished sevenths stand on the leading
/// tone, of the dominant next; augmented triads on the dominant, then the tonic.
fn symmetric_cost(root: PitchClass, quality: &Quality, key: Key) -> i32 {
    let at = root.above(key.tonic.pitch_class());
    match (quality.harte, at) {
        ("dim7", 11) | ("aug", 7) => 0,
        ("dim7", 6) | ("aug", 0) => 15,
        ("dim7" | "aug", _) => 30,
        _ => 0,
    }
}

/// Whether a set without a root is the key's dominant as players leave its root to a bass:
/// third and minor seventh sound.
fn is_rootless_dominant(root: PitchClass, held: u16, quality: &Quality, key: Key) -> bool {
    const THIRD_AND_SEVENTH: u16 = 1 << 4 | 1 << 10;
    let on_fifth = root.above(key.tonic.pitch_class()) == 7;
    let row = quality.degrees;
    on_fifth
        && held & THIRD_AND_SEVENTH == THIRD_AND_SEVENTH
        && row.contains(&Degree::new(3, 0))
        && row.contains(&Degree::new(7, -1))
        && row.iter().all(|d| d.number() != 5 || d.alter() == 0)
}

/// The best readings of a set, cheapest first.
pub(super) fn best_readings(set: PitchClassSet, context: Context, n: usize) -> Vec<Reading> {
    let mut best: Vec<Reading> = Vec::with_capacity(n + 1);
    // from the bass upwards, so that ties fall the same way in every key
    let from = context.bass.unwrap_or(PitchClass::new(0));
    for root in (0..12).map(|above| from.up(above)) {
        if context.root.is_some_and(|r| r != root) {
            continue;
        }
        for at in 0..rows().len() {
            let Some(reading) = reading(set, context, root, at) else {
                continue;
            };
            let total = reading.parts.total();
            if best.len() == n && best[n - 1].parts.total() <= total {
                continue;
            }
            let place = best.partition_point(|r| r.parts.total() <= total);
            best.insert(place, reading);
            best.truncate(n);
        }
    }
    best
}

/// Of a reading what is there and what is not: bits are semitones above its root.
struct Tones {
    held: u16,
    mask: u16,
    /// Semitones of the bass above the root.
    bass: Option<i32>,
    bass_outside: bool,
    /// Cost of what is missing.
    missing: i32,
}

impl Tones {
    fn extra(&self) -> u16 {
        self.held & !self.mask
    }

    fn added(&self) -> u16 {
        self.extra() & !self.bass.map_or(0, |b| 1u16 << b)
    }

    fn rooted(&self) -> bool {
        self.held & 1 == 1
    }
}

/// The set read as the quality of a row on a root; none where that names nothing.
fn reading(set: PitchClassSet, context: Context, root: PitchClass, at: usize) -> Option<Reading> {
    let (row, quality) = (&rows()[at], &QUALITIES[at]);
    let held = from_root(set.0, root.index());
    // one tone in common names nothing, unless there is only one
    if (held & row.mask).count_ones() < 2 && set.len() > 1 && quality.harte != "1" {
        return None;
    }
    let lacks = row.mask & !held;
    let missing: i32 = (0..12)
        .filter(|i| lacks >> i & 1 == 1)
        .map(|i| row.lacks[i])
        .sum();
    if missing >= 300 {
        return None;
    }
    let bass = context.bass.map(|b| b.above(root));
    let bass_outside = bass.is_some_and(|b| (held & !row.mask) >> b & 1 == 1);
    // a bass that is no chord tone is written under a whole plain chord only
    if bass_outside && (missing > 20 || quality.harte == "1") {
        return None;
    }
    let tones = Tones {
        held,
        mask: row.mask,
        bass,
        bass_outside,
        missing,
    };
    let parts = parts(&tones, row.quality, quality, (set.len(), context, root));
    Some(Reading {
        root,
        row: at,
        bass_outside,
        parts,
    })
}

/// What a reading costs, part by part.
fn parts(
    tones: &Tones,
    usual: i32,
    quality: &Quality,
    (size, context, root): (usize, Context, PitchClass),
) -> Parts {
    let Tones { held, mask, .. } = *tones;
    let dominant = !tones.rooted() && tones.added() == 0 && !tones.bass_outside;
    if let Some(key) = context.key
        && dominant
        && is_rootless_dominant(root, held, quality, key)
    {
        return Parts {
            quality: usual / 2,
            // with the flat nine it is a whole diminished seventh chord
            rootless: if held >> 1 & 1 == 1 { 15 } else { 5 },
            ..Parts::default()
        };
    }
    let common = (held & mask).count_ones();
    let alone = match quality.harte {
        "1" if size > 1 => 170,
        _ => 0,
    };
    Parts {
        quality: usual,
        bass: cost_of_bass(tones, quality, context.key.is_some()),
        missing: tones.missing,
        added: added_cost(tones.added(), quality) + alone,
        // without its root, a chord needs its third and more to be heard as one
        rootless: if tones.rooted() {
            0
        } else {
            130 + 40 * (4 - common.min(4) as i32) + if mask.count_ones() < 4 { 60 } else { 0 }
        },
        key: context.key.map_or(0, |k| {
            key_cost(root, mask & held | mask & 0b1_1001, k) + symmetric_cost(root, quality, k)
        }),
    }
}

/// What the bass costs under a chord.
fn cost_of_bass(tones: &Tones, quality: &Quality, in_key: bool) -> i32 {
    let whole = tones.bass_outside && tones.missing == 0;
    match tones.bass {
        // a major triad over the note a step above its root, the
        // trade's short way to write a ninth with suspended fourth
        Some(2) if whole && quality.harte == "maj" => 40,
        // a triad over the seventh or fourth below it: a line in the bass
        Some(10) if whole && tones.mask.count_ones() == 3 => 50,
        Some(5) if whole && quality.harte == "maj" => 70,
        // alike from every tone: the key says which is the root
        Some(_) if in_key && is_symmetric(quality) && tones.extra() == 0 => 0,
        Some(b) => bass_cost(b, !tones.bass_outside),
        None => 0,
    }
}
