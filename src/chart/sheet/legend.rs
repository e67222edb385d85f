//! The legend: each chord with the shapes to play it.

use super::Printer;
use super::print::played;
use crate::chart::Options;
use crate::fretboard::{Hand, STRETCH_CAUTION, Shape, hold};
use crate::songlog::song::Song;
use crate::theory::{Chord, Label};
use std::collections::HashMap;

/// One chord of the legend.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The chord as printed.
    pub symbol: String,
    /// Letter that marks refer to, where the chord has several entries.
    pub variant: Option<char>,
    /// With a capo, what the symbol does not say: what sounds, or the shape that is played.
    pub held_as: Option<String>,
    /// One shape, or two to pick from.
    pub boxes: Vec<ShapeBox>,
    /// Whether the shapes are proposals.
    pub open: bool,
}

/// A shape with the hand that holds it.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeBox {
    /// Frets.
    pub shape: Shape,
    /// Fingers and barres; none if no hand holds it as far as we know.
    pub hand: Option<Hand>,
    /// Whether it spans wide.
    pub wide: bool,
}

impl Entry {
    /// Symbol with the letter of its shape: `G`, `G (b)`.
    pub fn title(&self) -> String {
        match self.variant {
            Some(v) => format!("{} ({v})", self.symbol),
            None => self.symbol.clone(),
        }
    }
}

/// Which entry each span plays.
pub(super) struct Variants(HashMap<usize, char>);

impl Variants {
    pub(super) fn of_span(&self, span: usize) -> Option<char> {
        self.0.get(&span).copied()
    }
}

/// Spans four frets or more below fret 5 are wide.
fn spans_wide(shape: &Shape, hand: Option<&Hand>) -> bool {
    let pressed = || shape.frets().iter().flatten().filter(|f| **f > 0);
    match (pressed().min(), pressed().max()) {
        (Some(low), Some(high)) => (high - low >= 4 && *low < 5) || hand.is_some_and(Hand::is_wide),
        _ => false,
    }
}

/// Two of the proposed shapes: the first, and the next that is not merely the first
/// with strings left out.
fn to_pick_from(proposed: &[Shape]) -> Vec<Shape> {
    let Some((first, more)) = proposed.split_first() else {
        return Vec::new();
    };
    let cut_down = |shape: &&Shape| {
        let mut pairs = shape.frets().iter().zip(first.frets());
        pairs.all(|(own, of_first)| own.is_none() || own == of_first)
    };
    let second = more.iter().find(|shape| !cut_down(shape));
    std::iter::once(first).chain(second).cloned().collect()
}

/// The legend in order of first appearance, and which spans need a letter.
pub(super) fn legend(song: &Song, options: &Options, print: &Printer) -> (Vec<Entry>, Variants) {
    // decided shapes of each chord first; proposals only where none is decided
    let mut found: Vec<(String, Vec<Shape>, bool, Vec<usize>)> = Vec::new();
    let mut order: Vec<String> = Vec::new();
    let mut chords: HashMap<String, Chord> = HashMap::new();
    for (i, span) in song.spans.iter().enumerate() {
        let Some(chord) = span.label.chord() else {
            continue;
        };
        let symbol = print(span);
        if !order.contains(&symbol) {
            order.push(symbol.clone());
            chords.insert(symbol.clone(), chord.clone());
        }
        let n = span.n_decided_shapes.min(span.shapes.len()).min(2);
        if n == 0 {
            continue;
        }
        let shapes = span.shapes[..n].to_vec();
        match found
            .iter_mut()
            .find(|(s, held, _, _)| *s == symbol && *held == shapes)
        {
            Some((_, _, _, spans)) => spans.push(i),
            None => found.push((symbol, shapes, false, vec![i])),
        }
    }
    for symbol in &order {
        if found.iter().any(|(s, ..)| s == symbol) {
            continue;
        }
        let proposed = song
            .spans
            .iter()
            .find(|s| print(s) == *symbol && !s.shapes.is_empty());
        if let Some(span) = proposed {
            let mut shapes = to_pick_from(&span.shapes);
            if !options.alternatives {
                shapes.truncate(1);
            }
            found.push((symbol.clone(), shapes, true, Vec::new()));
        }
    }
    let mut entries = Vec::new();
    let mut variants = HashMap::new();
    for symbol in order {
        let mine: Vec<_> = found.iter().filter(|(s, ..)| *s == symbol).collect();
        for ((_, shapes, open, spans), letter) in mine.iter().zip('a'..='z') {
            let variant = (mine.len() > 1).then_some(letter);
            if let Some(v) = variant {
                variants.extend(spans.iter().map(|s| (*s, v)));
            }
            entries.push(Entry {
                held_as: held_as(song, options, &chords[&symbol]),
                symbol: symbol.clone(),
                variant,
                boxes: shapes
                    .iter()
                    .map(|shape| {
                        let hand = hold(&song.instrument, shape);
                        ShapeBox {
                            wide: spans_wide(shape, hand.as_ref()),
                            hand,
                            shape: shape.clone(),
                        }
                    })
                    .collect(),
                open: *open,
            });
        }
    }
    (entries, Variants(variants))
}

/// With a capo or a lower tuning, the name that the symbol is not.
fn held_as(song: &Song, options: &Options, chord: &Chord) -> Option<String> {
    let up = song.instrument.above_shapes();
    (up != 0).then(|| match options.concert || options.degrees {
        true => {
            let shape = played(&Label::Chord(chord.clone()), up, song.key);
            format!("play {} shape", shape.symbol())
        }
        false => format!("sounds {}", chord.symbol()),
    })
}

/// What the shapes of the legend ask of a hand.
pub(super) fn cautions(legend: &[Entry]) -> Vec<String> {
    let mut wide: Vec<String> = Vec::new();
    for entry in legend {
        for shape_box in entry.boxes.iter().filter(|b| b.wide) {
            wide.push(format!("{} {}", entry.symbol, shape_box.shape));
        }
    }
    if wide.is_empty() {
        return Vec::new();
    }
    vec![format!("{}: {STRETCH_CAUTION}.", wide.join(", "))]
}
