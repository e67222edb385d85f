//! What makes a shape hard to hold: the numbers behind [`super::Hand`]'s measure.

use serde::Deserialize;
use std::sync::LazyLock;

/// Costs of a grip; lower is easier. Where no unit is named, in the unit of the measure.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct EaseWeights {
    /// Of each finger that presses.
    pub(super) finger: f64,
    /// So many mm from the lowest to the highest pressed fret cost one.
    pub(super) mm_of_span: f64,
    /// So many mm of spreading cost one.
    pub(super) mm_of_stretch: f64,
    /// So many mm of spreading are as bad as one finger out of its natural place.
    pub(super) mm_of_odd_finger: f64,
    /// Of reaching over three frets, and over four or more.
    pub(super) three_frets: f64,
    pub(super) four_frets: f64,
    /// Of each finger laid across beyond the first, where none of them is the index.
    pub(super) second_across: f64,
    /// Of the thumb over the edge of the neck.
    pub(super) thumb: f64,
    /// Of fingers at one fret that cross the hand.
    pub(super) crossed: f64,
    /// Of a barre at the lowest fret over two, three, and more strings.
    pub(super) first_barre: [f64; 3],
    /// Of another over two, and over more.
    pub(super) other_barre: [f64; 2],
    /// Of strings that sound above such another.
    pub(super) sounds_above: f64,
    /// Of a barre at the lowest fret beside other fingers there.
    pub(super) barre_beside: f64,
    /// Of each string muted under a barre.
    pub(super) choked: f64,
    /// Of a string quieted by the finger beside it.
    pub(super) touched: f64,
    /// Of another muted string between sounding ones.
    pub(super) muted: f64,
    /// Of each string left out below, and above.
    pub(super) left_below: f64,
    pub(super) left_above: f64,
    /// Of fewer than four strings.
    pub(super) thin: f64,
    /// Of each fret that the hand lies above the first.
    pub(super) fret: f64,
    /// Of an open string, and of one between pressed ones, by the lowest pressed fret: to 1, to
    /// 3, to 5, and higher.
    pub(super) open: [f64; 4],
    pub(super) open_between: [f64; 4],
    /// Of open strings beside a hand that has left the first frets.
    pub(super) open_beside: f64,
    /// Gain of each sounding string beyond three.
    pub(super) string: f64,
    /// How far fingers lie apart without spreading.
    pub(super) easy_mm: EasyMm,
}

/// How far two fingers lie apart without spreading, mm: about a fret of the first position each,
/// the index finger more (ours, a rule of thumb).
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct EasyMm {
    pub(super) index_to_middle: f64,
    pub(super) index_to_ring: f64,
    pub(super) index_to_little: f64,
    pub(super) middle_to_little: f64,
    pub(super) neighbors: f64,
}

/// The built-in ones; a broken build, which every test of shapes finds, stops here.
pub(super) static EASE: LazyLock<EaseWeights> = LazyLock::new(|| {
    serde_json::from_str(include_str!("weights/ease.json"))
        .unwrap_or_else(|e| panic!("src/fretboard/weights/ease.json: {e}"))
});
