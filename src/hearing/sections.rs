//! Sections: which bars repeat which, and how a repeat differs.
//!
//! Each bar is described by its chord on every half of a beat. A row of
//! sections is found by dynamic programming: a section is either new music, at
//! a cost a bar, or a repeat of an earlier stretch of the same length, at a
//! cost for every bar that differs (less in its last quarter: a changed
//! ending). Lengths of eight, sixteen and four bars are preferred, as phrases
//! are built (common practice, no source). Afterwards the edges of a repeat
//! are carried over to what it repeats, until nothing moves, and sections that
//! repeat each other share a letter.
//!
//! # Source
//! Segmentation as the shortest description of a piece by its repeats: in the
//! spirit of Peeters, "Sequence representation of music structure using
//! higher-order similarity matrix and maximum-likelihood approach", ISMIR
//! 2007. The costs are ours.

use super::reading::{Bar, HeardSpan, Section};
use crate::theory::Label;

/// Weights of the search, in bars of new music.
#[derive(Debug, Clone)]
pub struct SectionWeights {
    /// Cost of a section of new music beyond its bars.
    pub new: f64,
    /// Cost of a repeat.
    pub repeat: f64,
    /// Cost of a bar of a repeat that differs wholly.
    pub differs: f64,
    /// The same in the last quarter of a repeat.
    pub ending: f64,
    /// Shortest and longest section, bars.
    pub bars: (usize, usize),
}

impl Default for SectionWeights {
    fn default() -> Self {
        Self {
            new: 2.0,
            repeat: 2.2,
            differs: 2.2,
            ending: 1.2,
            bars: (4, 24),
        }
    }
}

/// Slots a bar is described by.
const SLOTS: usize = 8;

/// What is played in a bar: the chord in each of its slots.
fn describe(bar: &Bar, spans: &[HeardSpan]) -> [String; SLOTS] {
    std::array::from_fn(|k| {
        let at = bar.start_s + (k as f64 + 0.5) / SLOTS as f64 * (bar.end_s - bar.start_s);
        spans
            .iter()
            .find(|s| s.start_s <= at && at < s.end_s)
            .and_then(|s| s.candidates.first())
            .map_or_else(String::new, |c| plain(&c.0))
    })
}

/// A label without its bass: inversions come and go between repeats.
fn plain(label: &Label) -> String {
    let text = label.label();
    text.split('/').next().unwrap_or_default().to_owned()
}

/// The share of slots in which two bars agree.
fn agree(a: &[String; SLOTS], b: &[String; SLOTS]) -> f64 {
    a.iter().zip(b).filter(|(x, y)| x == y).count() as f64 / SLOTS as f64
}

fn length_cost(n: usize) -> f64 {
    match n {
        8 => 0.0,
        16 => 0.5,
        12 => 1.0,
        4 => 1.2,
        _ if n.is_multiple_of(4) => 1.4,
        _ if n.is_multiple_of(2) => 3.0,
        _ => 4.5,
    }
}

/// The sections of a take.
pub(crate) fn sections(
    bars: &[Bar],
    spans: &[HeardSpan],
    weights: &SectionWeights,
) -> Vec<Section> {
    let Some(first_whole) = bars.iter().position(|b| b.number > 0) else {
        return Vec::new();
    };
    let whole = &bars[first_whole..];
    let described: Vec<[String; SLOTS]> = whole.iter().map(|b| describe(b, spans)).collect();
    let mut pieces = search(&described, weights);
    carry_edges(&mut pieces, described.len());
    let letters = letters(&pieces);
    let first_of = |i: usize| (0..=i).find(|k| letters[*k] == letters[i]).unwrap_or(i);
    pieces
        .iter()
        .enumerate()
        .map(|(i, piece)| {
            let number = |k: usize| whole[k].number;
            let model = &pieces[first_of(i)];
            Section {
                letter: letter_name(letters[i]),
                // a pickup belongs to the first section
                first_bar: if i == 0 {
                    bars[0].number
                } else {
                    number(piece.start)
                },
                last_bar: number(piece.end - 1),
                differs: if first_of(i) == i {
                    String::new()
                } else {
                    difference(piece, model, whole, &described, spans)
                },
            }
        })
        .collect()
}

fn letter_name(n: usize) -> String {
    let mut name = String::from((b'A' + (n % 26) as u8) as char);
    if n >= 26 {
        name.push_str(&(n / 26 + 1).to_string());
    }
    name
}

/// A stretch of bars, and where the stretch that it repeats begins.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    start: usize,
    end: usize,
    of: Option<usize>,
}

fn search(bars: &[[String; SLOTS]], weights: &SectionWeights) -> Vec<Piece> {
    let n = bars.len();
    let mut same = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..i {
            same[i * n + j] = agree(&bars[i], &bars[j]);
        }
    }
    let mut best = vec![f64::INFINITY; n + 1];
    let mut piece: Vec<Option<Piece>> = vec![None; n + 1];
    best[0] = 0.0;
    for end in 1..=n {
        let shortest = weights.bars.0.min(n);
        for length in 1..=weights.bars.1.min(end) {
            let start = end - length;
            // only the last section may be shorter than a section
            if length < shortest && end < n || !best[start].is_finite() {
                continue;
            }
            let mut offer = |cost: f64, of: Option<usize>| {
                let total = best[start] + cost + length_cost(length);
                if total < best[end] {
                    best[end] = total;
                    piece[end] = Some(Piece { start, end, of });
                }
            };
            offer(weights.new + length as f64, None);
            for of in 0..(start + 1).saturating_sub(length) {
                let mut cost = weights.repeat;
                let mut alike = 0.0;
                for k in 0..length {
                    let agreement = same[(start + k) * n + of + k];
                    alike += if agreement >= 0.7 { 1.0 } else { 0.0 };
                    let weight = if 4 * k >= 3 * length {
                        weights.ending
                    } else {
                        weights.differs
                    };
                    cost += weight * (1.0 - agreement);
                }
                if alike >= 0.6 * length as f64 {
                    offer(cost, Some(of));
                }
            }
        }
    }
    let mut pieces = Vec::new();
    let mut end = n;
    while end > 0 {
        let Some(p) = piece[end] else { break };
        pieces.push(p);
        end = p.start;
    }
    pieces.reverse();
    pieces
}

/// Carries the edges of each repeat over to what it repeats, and back, until nothing moves.
fn carry_edges(pieces: &mut Vec<Piece>, n: usize) {
    for _ in 0..n {
        let mut edges: Vec<usize> = pieces.iter().map(|p| p.start).collect();
        edges.push(n);
        let mut wanted = edges.clone();
        // an edge within three bars of another is the same edge, misplaced
        let mut want = |edge: usize| {
            if wanted.iter().all(|e| e.abs_diff(edge) > 3) {
                wanted.push(edge);
            }
        };
        for p in pieces.iter() {
            if let Some(of) = p.of {
                want(of);
                want(of + p.end - p.start);
                for e in edges
                    .iter()
                    .filter(|e| **e > of && **e < of + p.end - p.start)
                {
                    want(p.start + e - of);
                }
            }
        }
        wanted.sort_unstable();
        wanted.dedup();
        if wanted.len() == edges.len() {
            return;
        }
        let mut cut = Vec::new();
        for p in pieces.iter() {
            let mut start = p.start;
            for edge in wanted.iter().filter(|e| **e > p.start && **e <= p.end) {
                cut.push(Piece {
                    start,
                    end: *edge,
                    of: p.of.map(|of| of + start - p.start),
                });
                start = *edge;
            }
        }
        *pieces = cut;
    }
}

/// A number for each piece; pieces that repeat each other share it.
fn letters(pieces: &[Piece]) -> Vec<usize> {
    let mut all: Vec<usize> = Vec::new();
    let mut next = 0;
    for p in pieces {
        // the piece that most of what it repeats lies in
        let model = p.of.and_then(|of| {
            let length = p.end - p.start;
            let common = |q: &Piece| q.end.min(of + length).saturating_sub(q.start.max(of));
            let best = (0..all.len()).max_by_key(|i| common(&pieces[*i]))?;
            let longer = length.max(pieces[best].end - pieces[best].start);
            (10 * common(&pieces[best]) >= 6 * longer).then_some(best)
        });
        let letter = match model {
            Some(i) => all[i],
            None => {
                next += 1;
                next - 1
            }
        };
        all.push(letter);
    }
    all
}

/// How a repeat differs from its model, in words with bar numbers; empty if it does not.
fn difference(
    piece: &Piece,
    model: &Piece,
    bars: &[Bar],
    described: &[[String; SLOTS]],
    spans: &[HeardSpan],
) -> String {
    let n = (piece.end - piece.start).min(model.end - model.start);
    let differs: Vec<usize> = (0..n)
        .filter(|k| agree(&described[piece.start + k], &described[model.start + k]) < 0.7)
        .collect();
    let mut parts = Vec::new();
    let mut i = 0;
    while i < differs.len() {
        let from = differs[i];
        let mut to = from;
        while i + 1 < differs.len() && differs[i + 1] == to + 1 {
            i += 1;
            to += 1;
        }
        i += 1;
        let row = |start: usize| -> String {
            (start + from..=start + to)
                .map(|b| symbols(&bars[b], spans))
                .collect::<Vec<_>>()
                .join(" | ")
        };
        let which = if from == to {
            format!("bar {} is", from + 1)
        } else {
            format!("bars {} to {} are", from + 1, to + 1)
        };
        parts.push(format!(
            "{which} {} instead of {}",
            row(piece.start),
            row(model.start)
        ));
    }
    parts.join("; ")
}

/// The chords of a bar as symbols, one after another.
fn symbols(bar: &Bar, spans: &[HeardSpan]) -> String {
    let least = 0.15 * (bar.end_s - bar.start_s);
    let names: Vec<String> = spans
        .iter()
        .filter(|s| s.end_s.min(bar.end_s) - s.start_s.max(bar.start_s) > least)
        .filter_map(|s| s.candidates.first())
        .map(|c| c.0.symbol())
        .collect();
    names.join(" ")
}
