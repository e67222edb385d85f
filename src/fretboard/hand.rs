//! Which fingers a shape takes, how far they reach, and how easy that is.
//!
//! Fingers are 1 (index) to 4 (little finger) and T (thumb, on the lowest
//! strings). The measure of ease is ours: a sum of small costs, lower is
//! easier. Their weights were fitted: they make what an open data set of guitar
//! fingerings files for a chord likely among all its shapes (npm package
//! @tombatossals/chords-db 0.5.1; every second of its suffixes in order of the
//! alphabet, the others check, `tests/it/chords_db.rs`), and put what every
//! beginner's book shows first in first place (common practice, no source).

mod cost;
mod grip;
mod press;

use self::cost::string_cost;
use self::grip::easiest;
use self::press::span_of;
use super::fingering::with_usual_fingers;
use super::taught::with_taught_fingers;
use super::{Instrument, Shape, Tuning};

/// A span from here on is a wide stretch, mm: four frets at the first fret.
pub const WIDE_SPAN_MM: f64 = 98.0;

/// What takebook says beside a wide stretch.
pub const STRETCH_CAUTION: &str = "wide stretch: warm up first, try it higher on the neck, stop if it hurts; \
ask a teacher, and a physician about pain that stays";

/// A finger of the fretting hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Finger {
    /// The thumb, over the edge of the neck.
    Thumb,
    /// Index (1) to little finger (4).
    Number(u8),
}

impl Finger {
    /// `T`, `1` … `4`.
    pub fn text(self) -> String {
        match self {
            Self::Thumb => "T".into(),
            Self::Number(n) => n.to_string(),
        }
    }
}

/// One finger laid across neighboring strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Barre {
    /// Fret, from the capo.
    pub fret: u8,
    /// First string it presses, 0 = lowest.
    pub from: usize,
    /// Last string it presses.
    pub to: usize,
    /// The finger.
    pub finger: u8,
}

/// How a hand holds a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Hand {
    /// Finger of each string; `None` for open and muted strings.
    pub fingers: Vec<Option<Finger>>,
    /// Barres, lowest fret first.
    pub barres: Vec<Barre>,
    /// How many fingers press, the thumb counted.
    pub n_fingers: u8,
    /// From the lowest to the highest pressed fret, mm, on a 650 mm scale.
    pub span_mm: f64,
    /// How far the fingers must spread beyond what falls in place, mm.
    pub stretch_mm: f64,
    /// Muted strings between sounding ones.
    pub muted_inside: u8,
    /// Open strings.
    pub n_open: u8,
    /// The measure of ease; lower is easier.
    pub effort: f64,
}

impl Hand {
    /// Whether the caution about stretches belongs beside it.
    pub fn is_wide(&self) -> bool {
        self.span_mm >= WIDE_SPAN_MM
    }

    /// The measure in words: `3 fingers, span 67 mm, 1 string muted inside`.
    pub fn words(&self) -> String {
        let mut parts = vec![match self.n_fingers {
            1 => "1 finger".to_owned(),
            n => format!("{n} fingers"),
        }];
        if self.n_fingers > 0 {
            parts.push(format!("span {:.0} mm", self.span_mm));
        }
        for barre in &self.barres {
            parts.push(format!(
                "barre of {} strings at fret {}",
                barre.to - barre.from + 1,
                barre.fret
            ));
        }
        match self.muted_inside {
            0 => {}
            1 => parts.push("1 string muted inside".into()),
            n => parts.push(format!("{n} strings muted inside")),
        }
        match self.n_open {
            0 => {}
            1 => parts.push("1 open string".into()),
            n => parts.push(format!("{n} open strings")),
        }
        parts.join(", ")
    }
}

/// How a hand holds a shape best; `None` if no four fingers and thumb can.
///
/// Takes an instrument (its capo shortens the spans) and one of its shapes.
pub fn hold(instrument: &Instrument, shape: &Shape) -> Option<Hand> {
    let hand = hold_frets(instrument, shape.frets())?;
    if instrument.tuning != Tuning::standard() {
        return Some(with_usual_fingers(hand, shape.frets()));
    }
    Some(with_taught_fingers(hand, shape.frets()))
}

/// As [`hold`], from bare frets (at most twelve strings).
pub(crate) fn hold_frets(instrument: &Instrument, frets: &[Option<u8>]) -> Option<Hand> {
    let grip = easiest(instrument.capo, frets)?;
    let presses = grip.presses();
    let lowest = frets.iter().flatten().copied().filter(|f| *f > 0).min();
    let muted_inside = muted_inside(frets);
    let mut hand = Hand {
        fingers: vec![None; frets.len()],
        barres: Vec::new(),
        n_fingers: presses.len() as u8,
        span_mm: span_of(instrument.capo, presses),
        stretch_mm: grip.stretch_mm,
        muted_inside,
        n_open: frets.iter().filter(|f| **f == Some(0)).count() as u8,
        effort: grip.cost + string_cost(frets, muted_inside, lowest.unwrap_or(0)),
    };
    for (press, number) in presses.iter().zip(grip.fingers) {
        let finger = if press.thumb {
            Finger::Thumb
        } else {
            Finger::Number(number)
        };
        for s in press.from..=press.to {
            if frets[usize::from(s)] == Some(press.fret) {
                hand.fingers[usize::from(s)] = Some(finger);
            }
        }
        if press.to > press.from {
            hand.barres.push(Barre {
                fret: press.fret,
                from: usize::from(press.from),
                to: usize::from(press.to),
                finger: number,
            });
        }
    }
    Some(hand)
}

/// Muted strings between sounding ones.
pub(crate) fn muted_inside(frets: &[Option<u8>]) -> u8 {
    let first = frets.iter().position(Option::is_some).unwrap_or(0);
    let last = frets
        .iter()
        .rposition(Option::is_some)
        .map_or(0, |last| last + 1);
    frets
        .get(first..last)
        .unwrap_or_default()
        .iter()
        .filter(|f| f.is_none())
        .count() as u8
}
