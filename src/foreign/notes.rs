//! Chords named from notes: beats are cells, a chord lasts whole cells of one bar.
//!
//! Every run of cells in a bar gets the best name of what sounds in it
//! ([`names`]); the division of the bar whose names cost least wins, a change
//! costing something too. Broken chords thus count as one, for no single beat
//! of them has as plain a name as all of them together.
//!
//! # Source
//! Ours, after the segmentation by dynamic programming of Pardo and
//! Birmingham, "Algorithms for chordal analysis", Computer Music Journal 26(2), 2002.

use super::assemble::ImportedChord;
use crate::songlog::heard::{Bar, Candidate, HeardBeat, HeardNote};
use crate::theory::naming::{Context, Name, NameKind, names, reasons};
use crate::theory::{Key, Label, PitchClass, PitchClassSet};
use std::collections::HashMap;

/// What one change within a bar costs, hundredths of a name's cost for one beat (ours).
const CHANGE: f64 = 110.0;
/// What it costs a beat to leave all that sounds out of the name (ours).
const LEFT_OUT: f64 = 500.0;
/// A pitch class that sounds for less than this part of the longest is passing.
const PASSING: f64 = 0.25;
/// Names that are kept as candidates.
const N_NAMES: usize = 5;
/// Costs this far apart, hundredths, make one name e times as likely as another (ours, not calibrated).
const SOFT: f64 = 50.0;
/// More cells than this in a bar are joined in pairs.
const MAX_CELLS: usize = 16;

/// A beat with what sounds in it.
struct Cell {
    start_s: f64,
    end_s: f64,
    /// Seconds that each pitch class sounds.
    weight: [f64; 12],
    /// Lowest pitch that sounds for a good part of it.
    lowest: Option<u8>,
    struck: Vec<u8>,
}

/// A run of cells with its names.
#[derive(Clone)]
struct Reading {
    names: Vec<Name>,
    cost: f64,
    set: PitchClassSet,
}

/// Names the chords; silence is no chord.
///
/// Takes notes in order of their start, beats in order and the bars they are in.
pub(super) fn chords(
    notes: &[HeardNote],
    beats: &[HeardBeat],
    bars: &[Bar],
    key: Option<Key>,
) -> Vec<ImportedChord> {
    let notes = joined(notes);
    let mut cache = HashMap::new();
    let mut out: Vec<ImportedChord> = Vec::new();
    // notes that may sound in the bar, in order of their start
    let (mut sounding, mut next): (Vec<HeardNote>, usize) = (Vec::new(), 0);
    for bar in bars {
        let beat_from = |time_s: f64| beats.partition_point(|b| b.time_s < time_s - 1e-6);
        let (first, end) = (beat_from(bar.start_s), beat_from(bar.end_s));
        let mut edges: Vec<f64> = beats[first..end.max(first)]
            .iter()
            .map(|b| b.time_s)
            .collect();
        if edges.is_empty() {
            edges.push(bar.start_s);
        }
        while edges.len() > MAX_CELLS {
            let mut i = 0;
            edges.retain(|_| {
                i += 1;
                i % 2 == 1
            });
        }
        edges.push(bar.end_s);
        sounding.retain(|n| n.end_s > bar.start_s);
        let until = notes.partition_point(|n| n.start_s < bar.end_s);
        sounding.extend_from_slice(&notes[next.min(until)..until]);
        next = until;
        let cells: Vec<Cell> = edges
            .windows(2)
            .map(|w| cell(&sounding, w[0], w[1]))
            .collect();
        for (a, b) in divide(&cells, key, &mut cache) {
            let reading = read(&cells[a..b], key, &mut cache);
            add(&mut out, &cells[a..b], reading);
        }
    }
    out
}

/// The notes with those of one pitch that overlap made one: what sounds twice
/// at a time sounds once, and no more than all pitches sound at a time.
fn joined(notes: &[HeardNote]) -> Vec<HeardNote> {
    let mut last = [None; 256];
    let mut out: Vec<HeardNote> = Vec::with_capacity(notes.len());
    for note in notes {
        let before: &mut Option<usize> = &mut last[usize::from(note.midi)];
        match before.and_then(|i| out.get_mut(i)) {
            Some(sounding) if sounding.end_s > note.start_s => {
                sounding.end_s = sounding.end_s.max(note.end_s);
            }
            _ => {
                *before = Some(out.len());
                out.push(*note);
            }
        }
    }
    out
}

fn cell(notes: &[HeardNote], start_s: f64, end_s: f64) -> Cell {
    let mut made = Cell {
        start_s,
        end_s,
        weight: [0.0; 12],
        lowest: None,
        struck: Vec::new(),
    };
    let good = 0.2 * (end_s - start_s);
    for note in notes {
        let common = note.end_s.min(end_s) - note.start_s.max(start_s);
        if common <= 0.0 {
            continue;
        }
        made.weight[usize::from(note.midi % 12)] += common;
        if common >= good {
            made.lowest = Some(made.lowest.map_or(note.midi, |l| l.min(note.midi)));
            if !made.struck.contains(&note.midi) {
                made.struck.push(note.midi);
            }
        }
    }
    made
}

/// The cheapest division of a bar, as runs of cells.
fn divide(
    cells: &[Cell],
    key: Option<Key>,
    cache: &mut HashMap<(u16, Option<PitchClass>), Vec<Name>>,
) -> Vec<(usize, usize)> {
    let n = cells.len();
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for end in 1..=n {
        let cheapest = (0..end)
            .map(|start| {
                let change = if start == 0 { 0.0 } else { CHANGE };
                let cost = read(&cells[start..end], key, cache).cost * (end - start) as f64;
                (best[start].0 + cost + change, start)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((0.0, 0));
        best.push(cheapest);
    }
    let mut runs = Vec::new();
    let mut end = n;
    while end > 0 {
        let start = best[end].1;
        runs.push((start, end));
        end = start;
    }
    runs.reverse();
    runs
}

/// The names of what sounds in some cells, with the cost a beat of the best.
fn read(
    cells: &[Cell],
    key: Option<Key>,
    cache: &mut HashMap<(u16, Option<PitchClass>), Vec<Name>>,
) -> Reading {
    let mut weight = [0.0f64; 12];
    for cell in cells {
        for (sum, w) in weight.iter_mut().zip(cell.weight) {
            *sum += w;
        }
    }
    let longest = weight.iter().copied().fold(0.0, f64::max);
    let kept = |w: f64| w > 0.0 && w >= PASSING * longest;
    let set: PitchClassSet = (0i32..)
        .zip(weight)
        .filter(|(_, w)| kept(*w))
        .map(|(pc, _)| PitchClass::new(pc))
        .collect();
    let total: f64 = weight.iter().sum();
    if total <= 0.0 {
        return Reading {
            names: Vec::new(),
            cost: 0.0,
            set,
        };
    }
    let left_out: f64 = weight.iter().filter(|w| !kept(**w)).sum::<f64>() / total;
    // the bass is what the run begins on
    let bass = cells
        .iter()
        .find_map(|c| c.lowest)
        .map(|m| PitchClass::new(i32::from(m)))
        .filter(|b| set.contains(*b));
    let found = cache
        .entry((set.0, bass))
        .or_insert_with(|| {
            let context = Context {
                bass,
                key,
                root: None,
            };
            let mut found = names(set, context, N_NAMES);
            // two chords at once are no label of a file
            found.retain(|n| n.lower.is_none());
            found
        })
        .clone();
    let silent = cells.iter().filter(|c| c.weight.iter().sum::<f64>() <= 0.0);
    let silent = silent.count() as f64 / cells.len() as f64;
    let cost = found.first().map_or(LEFT_OUT, |n| {
        let few = if set.iter().count() < 3 { 60.0 } else { 0.0 };
        f64::from(n.cost) + few
    });
    Reading {
        // a rest costs nothing to hold a chord over, but nothing is won by it
        cost: cost * (1.0 - 0.5 * silent) + LEFT_OUT * left_out,
        names: found,
        set,
    }
}

/// Adds a run's chord; the same chord goes on over a bar line.
fn add(out: &mut Vec<ImportedChord>, cells: &[Cell], reading: Reading) {
    let (Some(first), Some(last)) = (cells.first(), cells.last()) else {
        return;
    };
    let struck: std::collections::BTreeSet<u8> = cells
        .iter()
        .flat_map(|c| c.struck.iter().copied())
        .collect();
    let mut chord = ImportedChord::named(first.start_s, last.end_s, Label::NoChord, 1.0);
    chord.struck = struck.into_iter().collect();
    chord.fragment = (1..=2).contains(&reading.set.iter().count());
    if !reading.names.is_empty() {
        chord.candidates = candidates(&reading);
    }
    if let Some(before) = out.last_mut()
        && before.candidates[0].label == chord.candidates[0].label
    {
        before.end_s = chord.end_s;
        return;
    }
    out.push(chord);
}

fn candidates(reading: &Reading) -> Vec<Candidate> {
    let best = reading.names.first().map_or(0, |n| n.cost);
    let part = |n: &Name| (-f64::from(n.cost - best) / SOFT).exp();
    let sum: f64 = reading.names.iter().map(part).sum();
    reading
        .names
        .iter()
        .map(|name| {
            let mut reason = reasons(name, reading.set, None).join("; ");
            if name.kind == NameKind::Convention {
                reason.push_str("; few notes or odd ones");
            }
            Candidate {
                label: Label::Chord(name.chord.clone()),
                probability: part(name) / sum.max(1e-12),
                reason,
            }
        })
        .collect()
}
