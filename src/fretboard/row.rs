//! Shapes for a progression: the row that moves least, or keeps a top line.

use super::neck::fret_mm;
use super::taught::{lowered, most_usual};
use super::{Finger, Instrument, Limits, Voicing, Wanted, taught, voicings};
use crate::theory::{Chord, PitchClass};

/// How many of each chord's easiest shapes are tried.
const N_TRIED: usize = 60;
/// What one millimeter of finger travel weighs against the measure of ease.
const PER_MM: f64 = 1.0 / 45.0;
/// What a fret of change in the top note weighs, where no line is asked for.
const PER_TOP_SEMITONE: f64 = 0.04;

/// What it costs to leave the most usual shape for the next one, and for one that is not taught:
/// more than movement ever saves, so that such a shape stands only where a limit or a top line
/// leaves none that is taught.
const NEXT_TAUGHT: f64 = 1.2;
const UNTAUGHT: f64 = 12.0;

/// What a chord asks for, its top note, its shapes and where each puts the hand.
type Known = (Wanted, Option<PitchClass>, Vec<Voicing>, Vec<Held>);

/// One row of shapes.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// A shape for each chord.
    pub shapes: Vec<Voicing>,
    /// How far the fingers travel in all, mm.
    pub travel_mm: f64,
}

/// The row of shapes, one a chord, with the least effort and movement together.
///
/// Takes the chords in order, limits for all of them, and a top line: for each
/// chord the pitch class its highest string must sound, or nothing. `None` if
/// a chord has no shape under these limits; [`first_without_shape`] tells which.
///
/// # Source
/// A shortest path through the shapes of each chord (Viterbi 1967); weights ours.
pub fn smoothest(
    instrument: &Instrument,
    chords: &[Chord],
    limits: &Limits,
    top_line: &[Option<PitchClass>],
) -> Option<Row> {
    let mut known: Vec<Known> = Vec::new();
    let mut choices: Vec<usize> = Vec::with_capacity(chords.len());
    for (i, chord) in chords.iter().enumerate() {
        let top = top_line.get(i).copied().flatten().or(limits.top);
        let wanted = Wanted::chord(chord);
        let at = known
            .iter()
            .position(|(w, t, ..)| *w == wanted && *t == top);
        choices.push(match at {
            Some(at) => at,
            None => {
                let list = tried(instrument, chord, limits, top);
                if list.is_empty() {
                    return None;
                }
                let held = list.iter().map(|v| Held::of(instrument, v)).collect();
                known.push((wanted, top, list, held));
                known.len() - 1
            }
        });
    }
    let list = |i: usize| &known[choices[i]].2;
    let held = |i: usize| &known[choices[i]].3;
    let first = chords.first().map(|_| list(0))?;
    let mut cost: Vec<f64> = first.iter().map(|v| v.rank).collect();
    let mut back: Vec<Vec<usize>> = Vec::new();
    for i in 1..chords.len() {
        let (before, here) = (held(i - 1), held(i));
        let (next, from): (Vec<f64>, Vec<usize>) = list(i)
            .iter()
            .zip(here)
            .map(|(v, to)| {
                let (at, best) = before
                    .iter()
                    .zip(&cost)
                    .map(|(from, c)| c + from.travel(to) * PER_MM + from.top_step(to))
                    .enumerate()
                    .min_by(|a, b| a.1.total_cmp(&b.1))
                    .unwrap_or((0, 0.0));
                (best + v.rank, at)
            })
            .unzip();
        cost = next;
        back.push(from);
    }
    let mut at = (0..cost.len()).min_by(|a, b| cost[*a].total_cmp(&cost[*b]))?;
    let mut path = vec![at];
    for from in back.iter().rev() {
        at = from[at];
        path.push(at);
    }
    path.reverse();
    let shapes: Vec<Voicing> = path
        .iter()
        .enumerate()
        .map(|(i, at)| list(i)[*at].clone())
        .collect();
    let travel_mm = shapes
        .windows(2)
        .map(|w| travel(instrument, &w[0], &w[1]))
        .sum();
    Some(Row { shapes, travel_mm })
}

/// The shapes tried for a chord under a top note, with ranks that favor those a teacher shows.
fn tried(
    instrument: &Instrument,
    chord: &Chord,
    limits: &Limits,
    top: Option<PitchClass>,
) -> Vec<Voicing> {
    let own = Limits {
        top,
        ..limits.clone()
    };
    let usual = taught(instrument, &lowered(chord, instrument.capo));
    let mut list = most_usual(instrument, chord, &own, N_TRIED);
    for v in &mut list {
        v.rank += match usual.iter().position(|s| *s == v.shape) {
            Some(0) => 0.0,
            Some(at) => NEXT_TAUGHT * at as f64,
            None if usual.is_empty() => 0.0,
            None => UNTAUGHT,
        };
    }
    list
}

/// The first chord that has no shape under the limits and the top line.
pub fn first_without_shape(
    instrument: &Instrument,
    chords: &[Chord],
    limits: &Limits,
    top_line: &[Option<PitchClass>],
) -> Option<usize> {
    chords.iter().enumerate().position(|(i, chord)| {
        let own = Limits {
            top: top_line.get(i).copied().flatten().or(limits.top),
            ..limits.clone()
        };
        voicings(instrument, Wanted::chord(chord), &own).is_empty()
    })
}

/// How far fingers travel from one shape to the next, mm: along the neck, and
/// about 10 mm for each string crossed; a finger that is new or lifted moves 15 mm.
pub fn travel(instrument: &Instrument, from: &Voicing, to: &Voicing) -> f64 {
    Held::of(instrument, from).travel(&Held::of(instrument, to))
}

/// Where a shape puts the hand.
struct Held {
    /// String and place along the neck, mm, of the thumb and the four fingers.
    fingers: [Option<(usize, f64)>; 5],
    /// The highest MIDI note.
    top: Option<u8>,
}

impl Held {
    fn of(instrument: &Instrument, v: &Voicing) -> Self {
        let place = |finger: Finger| {
            let fingers = v.hand.fingers.iter().enumerate();
            fingers
                .filter(|(_, f)| **f == Some(finger))
                .find_map(|(s, _)| {
                    let fret = v.shape.frets().get(s).copied().flatten()?;
                    Some((s, fret_mm(fret + instrument.capo)))
                })
        };
        Self {
            fingers: std::array::from_fn(|n| match n {
                0 => place(Finger::Thumb),
                n => place(Finger::Number(n as u8)),
            }),
            top: instrument.sounding(&v.shape).into_iter().flatten().max(),
        }
    }

    fn travel(&self, to: &Self) -> f64 {
        const STRING_MM: f64 = 10.0;
        const LIFT_MM: f64 = 15.0;
        let fingers = self.fingers.iter().zip(&to.fingers);
        fingers
            .map(|pair| match pair {
                (None, None) => 0.0,
                (Some((s, from)), Some((t, to))) => {
                    (from - to).abs() + STRING_MM * s.abs_diff(*t) as f64
                }
                _ => LIFT_MM,
            })
            .sum()
    }

    fn top_step(&self, to: &Self) -> f64 {
        match (self.top, to.top) {
            (Some(a), Some(b)) => PER_TOP_SEMITONE * f64::from(a.abs_diff(b)),
            _ => 0.0,
        }
    }
}
