//! Lines a take up with the chart: which stretch of it plays which slot.
//!
//! A segmental search over the take's stretches and the chart's slots. A slot
//! lasts about as long as in the chart, scaled by the tempo; the sound of a
//! slot should be the written chord, but a wrong chord costs only so much, so
//! that one wrong chord does not move its neighbors. From the end of a bar the
//! take may jump to the start of any other bar, and before, after and between
//! it may play or say anything for a small cost a second.
//!
//! # Source
//! Segmental dynamic programming: Sarawagi and Cohen, NIPS 2004. Jumps for
//! repeats and skips: Müller, *Fundamentals of Music Processing*, 2015,
//! section 4.3 treats the idea; the terms and weights here are ours.

use super::evidence::{Evidence, Reading};
use super::slots::Slot;
use serde::Deserialize;
use std::rc::Rc;
use std::sync::LazyLock;

/// What a path through the chart costs; all costs are natural logarithms.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AlignWeights {
    /// Most that a wrong chord costs.
    wrong: f32,
    /// A jump to another bar.
    pub(super) jump: f32,
    /// More for a jump back to the bar just played: a chord that rings on sounds like it.
    same_bar: f32,
    /// A take that starts with a section that is not the first, or ends with one
    /// that is not the last.
    at_section: f32,
    /// More than a jump for going on after a pause, wherever that is.
    after_pause: f32,
    /// More for a jump or a start that is at no start of a section: among ways
    /// that sound alike the one that a player would take.
    within_section: f32,
    /// More for a jump to where nothing is struck clearly.
    unclear: f32,
    /// A slot that starts where nothing is struck.
    no_strum: f32,
    /// A frame that plays nothing of the chart, beyond what the take's frames
    /// cost anyway where they are read freely: less than a wrong chord costs.
    aside: f32,
    /// Share of that cost where nothing is struck.
    ringing: f32,
    /// How far the length of a slot strays, as a share of it.
    stray_share: f64,
    /// The same, in s.
    stray_s: f64,
    /// Shortest a slot may get, as a share of what is expected.
    shortest: f64,
    /// Longest a slot may get, as a share of what is expected.
    longest: f64,
    /// Tempi tried: this many steps of an eighth of an octave on each side.
    tempo_steps: i32,
    /// The tempo at a place is the median over so many slots on each side.
    tempo_around: usize,
    /// Orders of the bars that the chart's own is held against.
    pub(super) n_orders: u64,
    /// The order is telling if it may gain so many jumps.
    pub(super) least_order_jumps: f32,
}

pub(super) static WEIGHTS: LazyLock<AlignWeights> = LazyLock::new(|| {
    // a broken build, which every check of a take finds
    serde_json::from_str(include_str!("weights/align.json"))
        .unwrap_or_else(|e| panic!("src/checking/weights/align.json: {e}"))
});

/// Longest stretch that is read as one chord, s.
const LONGEST_STRETCH_S: f64 = 24.0;

/// One slot as played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Played {
    pub(crate) slot_idx: usize,
    /// Bounds of the evidence.
    pub(crate) from: usize,
    pub(crate) to: usize,
}

/// The take lined up with the chart.
#[derive(Debug, Clone)]
pub(crate) struct Alignment {
    /// Slots in the order played.
    pub(crate) played: Vec<Played>,
    /// How much of what the order of the bars could gain it does gain, 1 for
    /// all of it; none where the chart's bars are too much alike to tell.
    pub(crate) order: Option<f32>,
    pub(super) score: f32,
}

/// Where the best path into a cell came from.
#[derive(Debug, Clone, Copy)]
enum Before {
    /// Nothing of the chart was played yet.
    Start,
    /// A pause, or the end.
    Aside,
    Slot(usize),
}

/// How well each stretch plays each different chord of the chart.
struct Sounds {
    /// By chord, start bound and number of stretches less one.
    of: Vec<Vec<Vec<f32>>>,
    /// Cost of a frame that plays nothing of the chart.
    aside: f32,
}

/// A chart's slots and what is searched with them.
pub(super) struct Search<'a> {
    evidence: &'a Evidence,
    pub(super) slots: Vec<Slot>,
    /// Which of the chart's different chords each slot has.
    pub(super) chords: Vec<usize>,
    sounds: Rc<Sounds>,
}

/// Best scores while a path is searched, by bound and slot.
struct Cells {
    best: Vec<f32>,
    back: Vec<(usize, Before)>,
    enter: Vec<(f32, Before)>,
    start: Vec<f32>,
    aside: Vec<(f32, Option<usize>)>,
}

fn best_scores(evidence: &Evidence, longest_s: f64) -> Vec<Vec<f32>> {
    let bounds = evidence.bounds_s();
    (0..bounds.len())
        .map(|from| {
            (from + 1..bounds.len())
                .take_while(|to| bounds[*to] - bounds[from] <= longest_s || *to == from + 1)
                .map(|to| {
                    let scores = evidence.scores(from, to);
                    let all = evidence.everything().iter();
                    all.map(|(what, prior)| scores.of(*what) + prior)
                        .fold(f32::MIN, f32::max)
                })
                .collect()
        })
        .collect()
}

/// What a frame costs, the median over stretches of this length read freely.
fn usual_cost(evidence: &Evidence, best_of: &[Vec<f32>], length_s: f64) -> f32 {
    let bounds = evidence.bounds_s();
    let mut costs: Vec<f32> = (0..bounds.len())
        .filter_map(|from| {
            let to = (from + 1..bounds.len()).find(|to| bounds[*to] - bounds[from] >= length_s)?;
            let best = best_of[from].get(to - from - 1)?;
            let frames = evidence.n_frames(from, to).max(1.0);
            Some((evidence.base(from, to) - best) / frames)
        })
        .collect();
    costs.sort_by(f32::total_cmp);
    costs.get(costs.len() / 2).copied().unwrap_or(0.0).max(0.0)
}

impl Sounds {
    fn new(evidence: &Evidence, slots: &[Slot], chords: &[&[Reading]]) -> Self {
        let mut lengths: Vec<f64> = slots.iter().map(|s| s.length_s).collect();
        lengths.sort_by(f64::total_cmp);
        let longest_s = lengths.last().map_or(0.0, |s| s * 2.0 * WEIGHTS.longest);
        let best_of = best_scores(evidence, longest_s.min(LONGEST_STRETCH_S));
        let aside = WEIGHTS.aside + usual_cost(evidence, &best_of, lengths[lengths.len() / 2]);
        let of = chords
            .iter()
            .map(|readings| {
                let from_each = best_of.iter().enumerate();
                from_each
                    .map(|(from, best)| {
                        let to_each = best.iter().enumerate();
                        to_each
                            .map(|(k, best)| sound(evidence, readings, from, from + k + 1, *best))
                            .collect()
                    })
                    .collect()
            })
            .collect();
        Self { of, aside }
    }
}

/// How well a stretch plays a chord, 0 at most or little more.
fn sound(evidence: &Evidence, readings: &[Reading], from: usize, to: usize, best: f32) -> f32 {
    let heard = if readings.is_empty() {
        best
    } else {
        evidence
            .best_of(from, to, readings)
            .max(best - WEIGHTS.wrong)
    };
    let strum = if evidence.struck(from) {
        0.0
    } else {
        WEIGHTS.no_strum
    };
    heard - strum - evidence.base(from, to)
}

impl<'a> Search<'a> {
    /// `readings`: what counts as written, for each slot; empty: anything.
    pub(super) fn new(evidence: &'a Evidence, slots: &[Slot], readings: &[Vec<Reading>]) -> Self {
        let mut different: Vec<&[Reading]> = Vec::new();
        let chords = readings
            .iter()
            .map(|own| {
                let known = different.iter().position(|d| *d == own.as_slice());
                known.unwrap_or_else(|| {
                    different.push(own);
                    different.len() - 1
                })
            })
            .collect();
        Self {
            evidence,
            slots: slots.to_vec(),
            chords,
            sounds: Rc::new(Sounds::new(evidence, slots, &different)),
        }
    }

    /// The best path of all tempi, and the tempo at each bound as a multiple of
    /// the chart's lengths; none if the take plays nothing of the chart.
    pub(super) fn best(&self) -> Option<(Alignment, Vec<f64>)> {
        let n = self.evidence.bounds_s().len();
        let mut best: Option<Alignment> = None;
        for step in -WEIGHTS.tempo_steps..=WEIGHTS.tempo_steps {
            let rate = f64::from(step).exp2().powf(0.125);
            let found = self.run(&vec![rate; n]);
            if let Some(found) = found
                && best.as_ref().is_none_or(|b| found.score > b.score)
            {
                best = Some(found);
            }
        }
        // again with the tempo of the surroundings
        let first = best?;
        let rates = self.rates(&first);
        Some((self.run(&rates).unwrap_or(first), rates))
    }

    /// The same take against other slots of the same chords.
    pub(super) fn with(&self, slots: Vec<Slot>, chords: Vec<usize>) -> Self {
        Self {
            evidence: self.evidence,
            slots,
            chords,
            sounds: Rc::clone(&self.sounds),
        }
    }

    fn sound(&self, slot_idx: usize, from: usize, to: usize) -> f32 {
        let of = &self.sounds.of[self.chords[slot_idx]][from];
        of.get(to - from - 1).copied().unwrap_or(f32::NEG_INFINITY)
    }

    fn is_first_of_bar(&self, i: usize) -> bool {
        i == 0 || self.slots[i].bar_idx != self.slots[i - 1].bar_idx
    }

    fn is_last_of_bar(&self, i: usize) -> bool {
        i + 1 == self.slots.len() || self.slots[i].bar_idx != self.slots[i + 1].bar_idx
    }

    /// The best path, with the tempo at each bound as a multiple of the chart's lengths.
    pub(super) fn run(&self, rates: &[f64]) -> Option<Alignment> {
        let (n, n_slots) = (self.evidence.bounds_s().len(), self.slots.len());
        let mut cells = Cells {
            best: vec![f32::NEG_INFINITY; n * n_slots],
            back: vec![(0, Before::Start); n * n_slots],
            enter: vec![(f32::NEG_INFINITY, Before::Start); n * n_slots],
            start: vec![0.0; n],
            aside: vec![(f32::NEG_INFINITY, None); n],
        };
        for (b, rate) in rates.iter().enumerate().take(n) {
            for i in 0..n_slots {
                self.end_slot(&mut cells, b, i, *rate);
            }
            self.begin_slots(&mut cells, b);
        }
        self.path(&cells)
    }

    /// The best way to have played slot `i` when bound `b` is reached.
    fn end_slot(&self, cells: &mut Cells, b: usize, i: usize, rate: f64) {
        let (bounds, n_slots) = (self.evidence.bounds_s(), self.slots.len());
        let expected_s = self.slots[i].length_s * rate;
        let stray = WEIGHTS.stray_share.powi(2) + (WEIGHTS.stray_s / expected_s).powi(2);
        for a in (0..b).rev() {
            let length_s = bounds[b] - bounds[a];
            if length_s > WEIGHTS.longest * expected_s {
                break;
            }
            let (before, from) = cells.enter[a * n_slots + i];
            if length_s < WEIGHTS.shortest * expected_s || before == f32::NEG_INFINITY {
                continue;
            }
            let off = (length_s / expected_s).ln().powi(2) / (2.0 * stray);
            let score = before - off as f32 + self.sound(i, a, b);
            if score > cells.best[b * n_slots + i] {
                cells.best[b * n_slots + i] = score;
                cells.back[b * n_slots + i] = (a, from);
            }
        }
    }

    /// The best ways to begin each slot at bound `b`, or none of them.
    fn begin_slots(&self, cells: &mut Cells, b: usize) {
        let n_slots = self.slots.len();
        let bar = |i: usize| self.slots[i].bar_idx;
        let row = &cells.best[b * n_slots..(b + 1) * n_slots];
        let ended = |usable: &dyn Fn(usize) -> bool, cost: &dyn Fn(usize) -> f32| {
            (0..n_slots)
                .filter(|i| self.is_last_of_bar(*i) && usable(*i))
                .map(|i| (row[i] - cost(i), i))
                .max_by(|x, y| x.0.total_cmp(&y.0))
                .unwrap_or((f32::NEG_INFINITY, 0))
        };
        if b > 0 {
            let on = self.beside(b - 1);
            cells.start[b] = cells.start[b - 1] + on;
            cells.aside[b] = (cells.aside[b - 1].0 + on, None);
        }
        let at_end = |i: usize| match self.slots.get(i + 1) {
            None => 0.0,
            Some(next) if next.starts_section => WEIGHTS.at_section,
            Some(_) => WEIGHTS.jump,
        };
        let stopped = ended(&|_| true, &at_end);
        if stopped.0 > cells.aside[b].0 {
            cells.aside[b] = (stopped.0, Some(stopped.1));
        }
        // a last chord that rings on sounds like its bar again
        let jump = match self.evidence.struck_clearly(b) {
            true => WEIGHTS.jump,
            false => WEIGHTS.jump + WEIGHTS.unclear,
        };
        let jumped = ended(&|_| true, &|_| jump);
        let elsewhere = ended(&|i| bar(i) != bar(jumped.1), &|_| jump);
        for i in 0..n_slots {
            let cell = &mut cells.enter[b * n_slots + i];
            let mut offer = |score: f32, from: Before| {
                if score > cell.0 {
                    *cell = (score, from);
                }
            };
            if i > 0 {
                offer(row[i - 1], Before::Slot(i - 1));
            }
            if !self.is_first_of_bar(i) {
                continue;
            }
            let within = match self.slots[i].starts_section {
                true => 0.0,
                false => WEIGHTS.within_section,
            };
            let late = match i {
                0 => 0.0,
                _ if self.slots[i].starts_section => WEIGHTS.at_section,
                _ => WEIGHTS.jump + within,
            };
            let paused = WEIGHTS.jump + WEIGHTS.after_pause + within;
            offer(cells.start[b] - late, Before::Start);
            offer(cells.aside[b].0 - paused, Before::Aside);
            if bar(jumped.1) == bar(i) {
                offer(jumped.0 - WEIGHTS.same_bar, Before::Slot(jumped.1));
                offer(elsewhere.0 - within, Before::Slot(elsewhere.1));
            } else {
                offer(jumped.0 - within, Before::Slot(jumped.1));
            }
        }
    }

    /// Back from the end, where anything may follow the chart.
    fn path(&self, cells: &Cells) -> Option<Alignment> {
        let (n, n_slots) = (self.evidence.bounds_s().len(), self.slots.len());
        let score = cells.aside[n - 1].0;
        if cells.start[n - 1] > score {
            return None;
        }
        let mut played = Vec::new();
        let mut at = (n - 1, Before::Aside);
        loop {
            match at {
                (_, Before::Start) => break,
                (b, Before::Aside) => match cells.aside[b].1 {
                    Some(i) => at = (b, Before::Slot(i)),
                    None => at = (b - 1, Before::Aside),
                },
                (b, Before::Slot(i)) => {
                    let (a, from) = cells.back[b * n_slots + i];
                    played.push(Played {
                        slot_idx: i,
                        from: a,
                        to: b,
                    });
                    at = (a, from);
                }
            }
        }
        played.reverse();
        (!played.is_empty()).then_some(Alignment {
            played,
            order: None,
            score,
        })
    }

    /// Score of a take that plays nothing of the chart.
    pub(super) fn nothing(&self) -> f32 {
        let n = self.evidence.bounds_s().len();
        (0..n - 1).map(|b| self.beside(b)).sum()
    }

    /// What the stretch after a bound costs if it plays nothing of the chart.
    fn beside(&self, from: usize) -> f32 {
        // a last chord that rings on is nobody's bar
        let share = if self.evidence.struck(from) {
            1.0
        } else {
            WEIGHTS.ringing
        };
        self.evidence
            .rest(from)
            .max(-share * self.sounds.aside * self.evidence.n_frames(from, from + 1))
    }

    /// The tempo at each bound: the median over the slots around it.
    fn rates(&self, alignment: &Alignment) -> Vec<f64> {
        let around = WEIGHTS.tempo_around;
        let bounds = self.evidence.bounds_s();
        let own: Vec<f64> = alignment
            .played
            .iter()
            .map(|p| (bounds[p.to] - bounds[p.from]) / self.slots[p.slot_idx].length_s)
            .collect();
        let local: Vec<f64> = (0..own.len())
            .map(|k| {
                let mut near =
                    own[k.saturating_sub(around)..(k + around + 1).min(own.len())].to_vec();
                near.sort_by(f64::total_cmp);
                near[near.len() / 2]
            })
            .collect();
        (0..bounds.len())
            .map(|b| {
                let k = alignment.played.partition_point(|p| p.to < b);
                local[k.min(local.len() - 1)]
            })
            .collect()
    }
}
