//! Notes heard in a strum that the chord's shape has no string for.
//!
//! Where a whole hand strikes, an overtone that several strings share, or what their knock
//! excites, may look like a note of its own. A note without a string is mostly none, above
//! all among the overtones of strings that were struck; but a tune may go on beside the
//! chord, and the shape may be another than was found: then the note comes again in the
//! chord's other strums. A small net weighs that (fitted by `docs/training/fit_strums.py`).

use super::strum::{MARGIN, Playing, Strum};
use crate::hearing::notes::events::Possible;
use crate::hearing::partials::PARTIALS;
use crate::hearing::small_net::log_odds;
use std::collections::BTreeMap;

/// How many numbers speak for a stray.
pub(crate) const N_NUMBERS: usize = 13;
/// Hidden units of the net.
pub(super) const HIDDEN: usize = 36;
/// What is less likely than this is no note, whatever the strum.
const FAINT: f32 = 0.1;
/// Semitones from a string to its third, fourth, fifth and sixth partial, and the eighth.
const OVERTONES: [u8; 5] = [
    PARTIALS[2] as u8,
    PARTIALS[3] as u8,
    PARTIALS[4] as u8,
    PARTIALS[5] as u8,
    PARTIALS[7] as u8,
];
/// A note so many semitones from the next string is as far as any.
const FAR: u8 = 5;

/// A note without a string in one strum, and what speaks for its being struck.
#[derive(Debug, Clone, PartialEq)]
pub struct Stray {
    /// When it may have been struck, s.
    pub time_s: f64,
    /// MIDI note number.
    pub midi: u8,
    /// What speaks for it, in the order of `Strays::numbers`.
    pub numbers: [f32; N_NUMBERS],
}

/// The notes without a string of all strums of a take.
pub(super) struct Strays {
    /// Of each strum, which of the possible notes are such.
    of_strums: Vec<Vec<usize>>,
    /// Sum of the log odds of a pitch over the strums of a stretch.
    sums: BTreeMap<(usize, u8), f32>,
    /// Strums of each stretch.
    n_strums: BTreeMap<usize, f32>,
}

impl Strays {
    pub(super) fn new(strums: &[Strum<'_>], possible: &[Possible]) -> Self {
        let mut strays = Self {
            of_strums: Vec::with_capacity(strums.len()),
            sums: BTreeMap::new(),
            n_strums: BTreeMap::new(),
        };
        for strum in strums {
            *strays.n_strums.entry(strum.span).or_default() += 1.0;
            let is_stray = |k: &usize| {
                possible[*k].probability >= FAINT && !strum.midi.contains(&possible[*k].midi())
            };
            let found: Vec<usize> = strum.notes.clone().filter(is_stray).collect();
            for k in &found {
                let note = &possible[*k];
                let sum = strays.sums.entry((strum.span, note.midi())).or_default();
                *sum += odds(note) - odds_of_none();
            }
            strays.of_strums.push(found);
        }
        strays
    }

    /// Those of one strum, as places among the possible notes.
    pub(super) fn of(&self, strum: usize) -> &[usize] {
        &self.of_strums[strum]
    }

    /// A stray with what speaks for it.
    pub(super) fn told(&self, strum: &Strum<'_>, note: &Possible, playing: &Playing<'_>) -> Stray {
        Stray {
            time_s: note.time_s,
            midi: note.midi(),
            numbers: self.numbers(strum, note, playing),
        }
    }

    fn numbers(
        &self,
        strum: &Strum<'_>,
        note: &Possible,
        playing: &Playing<'_>,
    ) -> [f32; N_NUMBERS] {
        let midi = note.midi();
        let yes = |is: bool| f32::from(u8::from(is));
        let strings = || strum.midi.iter().copied().zip(&strum.likely);
        // how surely a string was struck that has it among these partials
        let over = |apart: &[u8]| {
            strings()
                .filter(|(string, _)| {
                    midi.checked_sub(*string)
                        .is_some_and(|a| apart.contains(&a))
                })
                .map(|(_, likely)| *likely)
                .fold(0.0, f32::max)
        };
        let nearest = strum.midi.iter().map(|s| s.abs_diff(midi)).min();
        let others = self.n_strums.get(&strum.span).map_or(0.0, |n| n - 1.0);
        let sum = self.sums.get(&(strum.span, midi)).copied();
        // over the other strums of the stretch, those without a trace of it too
        let elsewhere = sum.unwrap_or_default() - (odds(note) - odds_of_none());
        [
            odds(note),
            over(&[PARTIALS[1] as u8]),
            over(&OVERTONES),
            strum.likely.iter().sum(),
            strum.midi.len() as f32,
            yes(strum.midi.iter().any(|s| s % 12 == midi % 12)),
            strum.rang_at(midi, note.time_s, playing.acoustic),
            strum.strength(playing.strokes),
            yes(strum.midi.iter().all(|s| *s > midi)),
            yes(strum.midi.iter().all(|s| *s < midi)),
            f32::from(nearest.unwrap_or(FAR).min(FAR)),
            (odds_of_none() * others + elsewhere) / (others + 1.0),
            others.min(12.0),
        ]
    }
}

fn odds(note: &Possible) -> f32 {
    log_odds(note.probability, MARGIN)
}

/// Log odds of a pitch that left no trace.
fn odds_of_none() -> f32 {
    log_odds(0.0, MARGIN)
}
