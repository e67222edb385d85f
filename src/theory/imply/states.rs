//! The chords that a row may imply, and how well notes fit each.

use super::weights::weights;
use super::{Fragment, Place};
use crate::theory::{Degree, PitchClass, QUALITIES, Quality};
use std::sync::OnceLock;

/// A chord a row may imply: a root and a quality.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct State {
    /// The root.
    pub root: PitchClass,
    /// The row of the vocabulary.
    pub quality: &'static Quality,
}

/// Qualities a row may imply. Rarer ones would only add readings that two notes cannot support.
fn implied() -> impl Iterator<Item = &'static Quality> {
    QUALITIES.iter().filter(|q| q.implied.is_some())
}

/// All chords a row may imply, in the order that [`Fragment::evidence`] uses:
/// the twelve roots from C of the first quality, then of the next.
pub fn states() -> &'static [State] {
    static ALL: OnceLock<Vec<State>> = OnceLock::new();
    ALL.get_or_init(|| {
        implied()
            .flat_map(|quality| PitchClass::all().map(move |root| State { root, quality }))
            .collect()
    })
}

/// How many [`states`] there are; evidence may have one entry more, for "no chord".
pub fn n_states() -> usize {
    states().len()
}

/// The place of a chord in [`states`]; `None` if a row never implies its quality.
pub fn state_index(root: PitchClass, quality: &Quality) -> Option<usize> {
    implied()
        .position(|of| of.harte == quality.harte)
        .map(|q| 12 * q + root.index())
}

/// A quality's pattern and what each missing tone of it costs.
pub(super) struct Pattern {
    /// Bit `i` for the tone `i` semitones above the root.
    pub(super) mask: u16,
    /// Cost of what a set of tones above the root lacks, by the set's bits.
    missing: Vec<f64>,
}

/// The patterns of the qualities, in the order of the states.
pub(super) fn patterns() -> &'static [Pattern] {
    static ALL: OnceLock<Vec<Pattern>> = OnceLock::new();
    ALL.get_or_init(|| {
        implied()
            .map(|quality| {
                let tones: Vec<(i32, f64)> = quality
                    .degrees
                    .iter()
                    .map(|d| (d.semitones() % 12, missing_tone(*d, quality.harte)))
                    .collect();
                let mask = tones.iter().fold(0u16, |m, (t, _)| m | 1 << t);
                let missing = (0..4096u16)
                    .map(|held| {
                        let lacks: f64 = tones
                            .iter()
                            .filter(|(t, _)| held >> t & 1 == 0)
                            .map(|(_, cost)| cost)
                            .sum();
                        // the more sounds, the less believable a silent root
                        let rootless = if held & 1 == 0 {
                            weights().missing_root_more
                                * f64::from(held.count_ones().saturating_sub(2))
                        } else {
                            0.0
                        };
                        lacks + rootless
                    })
                    .collect();
                Pattern { mask, missing }
            })
            .collect()
    })
}

/// What a silent degree of a quality costs.
fn missing_tone(degree: Degree, quality: &str) -> f64 {
    let w = &weights().missing;
    match (degree.number(), degree.alter()) {
        (1, _) => w.root,
        (3, _) => w.third,
        (5, 0) if quality == "5" => w.fifth_of_bare_fifth,
        (5, 0) => w.fifth,
        (5, _) => w.altered_fifth,
        _ => w.other,
    }
}

/// The set seen from `root`: bit 0 is the root.
pub(super) const fn from_root(set: u16, root: usize) -> u16 {
    (set >> root | set << (12 - root)) & 0xfff
}

/// How many tones a state's chord has.
pub(super) fn n_tones(state: usize) -> u32 {
    patterns()[state / 12].mask.count_ones()
}

/// Whether `held` (absolute pitch classes) has the major third and the minor
/// seventh of a state's chord: the tritone by which a dominant is known.
pub(super) fn holds_tritone(state: usize, held: u16) -> bool {
    const THIRD_AND_SEVENTH: u16 = 1 << 4 | 1 << 10;
    let mask = patterns()[state / 12].mask;
    mask & from_root(held, state % 12) & THIRD_AND_SEVENTH == THIRD_AND_SEVENTH
}

/// Whether two notes are the third and, above it, the minor seventh of a state's chord.
pub(super) fn third_below_seventh(state: usize, fragment: &Fragment) -> bool {
    match fragment.midi[..] {
        [a, b] if state < n_states() => {
            let third = (usize::from(a.min(b)) + 12 - state % 12) % 12 == 4;
            third && holds_tritone(state, fragment.pitch_classes().0)
        }
        _ => false,
    }
}

/// Cost of what the tones `held` (absolute pitch classes) lack of a quality, by its root.
pub(super) fn missing(quality: usize, held: u16) -> [f64; 12] {
    let costs = &patterns()[quality].missing;
    std::array::from_fn(|root| costs[usize::from(from_root(held, root))])
}

/// Cost of the tones of one fragment that a state does not hold.
pub(super) fn outside(state: usize, held: u16, fragment: &Fragment) -> f64 {
    let strange = from_root(held, state % 12) & !patterns()[state / 12].mask;
    let weight = match fragment.place {
        Place::BarStart | Place::Strong => 1.0,
        Place::Weak => fragment.beats.clamp(0.5, 1.0),
    };
    weights().outside * weight * f64::from(strange.count_ones())
}

/// A low wide pair: an interval over an octave whose lower note lies on the two
/// lowest strings (or, where strings are unknown, no higher than G3).
pub(super) fn is_low_wide(fragment: &Fragment) -> bool {
    let (Some(low), Some(high)) = (fragment.midi.iter().min(), fragment.midi.iter().max()) else {
        return false;
    };
    if high - low <= 12 || fragment.midi.len() > 3 {
        return false;
    }
    let known = fragment.strings.len() == fragment.midi.len();
    if !known {
        return *low <= 55;
    }
    let lowest_string = fragment
        .midi
        .iter()
        .zip(&fragment.strings)
        .min_by_key(|(m, _)| **m)
        .map(|(_, s)| *s);
    lowest_string.is_some_and(|s| s <= 1)
}

/// The tones of a fragment as scale numbers of a state (root 1, any third 3 …),
/// lowest note first, four bits each; `None` if a tone is not in the chord.
pub(super) fn roles(state: usize, fragment: &Fragment) -> Option<u32> {
    const NUMBER: [u32; 12] = [1, 2, 2, 3, 3, 4, 5, 5, 5, 6, 7, 7];
    let mask = patterns().get(state / 12)?.mask;
    let mut midi = fragment.midi.clone();
    midi.sort_unstable();
    let mut code = 0;
    for m in midi {
        let tone = (usize::from(m) + 12 - state % 12) % 12;
        if mask >> tone & 1 == 0 {
            return None;
        }
        code = code << 4 | NUMBER[tone];
    }
    Some(code)
}
