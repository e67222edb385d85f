//! How likely each candidate is a note: two looks by small fitted nets.
//!
//! The first look judges every candidate by its own evidence. The second adds
//! what the first said of the others: of the pitches whose overtone the
//! candidate could be, of the same pitch at other strokes, of how many notes a
//! stroke has here (strummed or plucked one by one). So the notes of a stroke
//! are judged together, and a string that was plucked clearly before speaks for
//! itself when it is plucked under others.
//!
//! Both nets have one hidden layer; `docs/training/fit_notes.py` fits them by
//! cross-entropy, sets their temperature on takes apart, and writes them
//! (docs/hearing.md: on what, with which figures).

use crate::hearing::acoustic::net::{Acoustic, N_PITCHES};
use crate::hearing::acoustic::rows::SparseRows;
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::notes::evidence::{
    Candidate, HISTORY, N_EVIDENCE, Reader, STRUCK_BESIDE, candidates,
};
use crate::hearing::small_net::{Layers, numbers_of, sigmoid};
use crate::hearing::weight_files::NOTE_CLASSIFIER;
use rayon::prelude::*;
use std::ops::Range;
use std::sync::OnceLock;

/// Hidden units of each net.
const HIDDEN: usize = 32;
/// Numbers that only the second look has.
pub(crate) const N_JOINT: usize = 1 + STRUCK_BESIDE.len() + 3 + HISTORY.len() + 3;
/// Frames on each side that tell the texture: 3 s.
const WINDOW: i32 = 64;
/// Notes that a stroke needs, in sum: 0.4, in 255ths.
const STROKE: u32 = 102;

/// Every candidate of a take with its probability, by pitch, then time.
pub(crate) fn judged(sound: &Sound) -> Vec<(Candidate, f32)> {
    let found = candidates(&sound.acoustic);
    if found.is_empty() {
        return Vec::new();
    }
    let reader = Reader::new(sound);
    let judge = Judge::built_in();
    // evidence is read twice rather than kept: of three hours it would be 200 MB
    let first = by_moment(&reader, &found, |_, evidence| judge.first.logit(evidence));
    let grid = Grid::new(&sound.acoustic, &found, &first);
    let second = by_moment(&reader, &found, |k, evidence| {
        let mut numbers = [0.0; N_EVIDENCE + N_JOINT];
        numbers[..N_EVIDENCE].copy_from_slice(evidence);
        numbers[N_EVIDENCE..].copy_from_slice(&grid.joint(&found[k], first[k]));
        sigmoid(judge.second.logit(&numbers))
    });
    found.into_iter().zip(second).collect()
}

/// A number for each candidate from its index and evidence, read moment by moment.
fn by_moment(
    reader: &Reader<'_>,
    found: &[Candidate],
    look: impl Fn(usize, &[f32; N_EVIDENCE]) -> f32 + Sync,
) -> Vec<f32> {
    let mut order: Vec<usize> = (0..found.len()).collect();
    order.sort_by_key(|k| found[*k].frame);
    let moments: Vec<&[usize]> = order
        .chunk_by(|a, b| found[*a].frame == found[*b].frame)
        .collect();
    let look = &look;
    let looked: Vec<f32> = moments
        .par_iter()
        .flat_map_iter(|of_frame| {
            let moment = reader.moment(found[of_frame[0]].frame);
            of_frame.iter().map(move |k| {
                let evidence = reader.evidence(&moment, found[*k].pitch);
                look(*k, &evidence)
            })
        })
        .collect();
    let mut numbers = vec![0.0; found.len()];
    for (k, number) in order.iter().zip(&looked) {
        numbers[*k] = *number;
    }
    numbers
}

/// What the first look said.
pub(crate) struct Grid {
    /// Of each frame, and two more, in 255ths of each of the [`N_PITCHES`].
    said: SparseRows,
    n: i32,
    /// Notes struck in the frame and both beside it, in sum, in 255ths.
    stroke: Vec<u32>,
    /// Sum (255ths) and number of the strokes before each frame.
    before: Vec<(u32, u32)>,
}

impl Grid {
    pub(crate) fn new(acoustic: &Acoustic, found: &[Candidate], logits: &[f32]) -> Self {
        let n = acoustic.n_frames() + 2;
        let mut order: Vec<usize> = (0..found.len()).collect();
        order.sort_by_key(|k| found[*k].frame);
        let mut order = order.into_iter().peekable();
        let mut said = SparseRows::default();
        for t in 0..n {
            let mut row = [0; N_PITCHES];
            while let Some(k) = order.next_if(|k| found[*k].frame == t) {
                row[found[k].pitch] = (255.0 * sigmoid(logits[k])).round() as u8;
            }
            said.push(row);
        }
        let in_sum = |t| said.filled(t).map(|(_, v)| u32::from(v)).sum();
        let notes: Vec<u32> = (0..n).map(in_sum).collect();
        let at = |values: &[u32], t: usize| values.get(t).copied().unwrap_or(0);
        let stroke: Vec<u32> = (0..n)
            .map(|t| at(&notes, t.wrapping_sub(1)) + notes[t] + at(&notes, t + 1))
            .collect();
        let mut before = vec![(0, 0)];
        for t in 0..n {
            let (mut sum, mut count) = before[t];
            let here = stroke[t];
            let is_peak = here > STROKE
                && here >= at(&stroke, t.wrapping_sub(1))
                && here > at(&stroke, t + 1);
            if is_peak {
                (sum, count) = (sum + here, count + 1);
            }
            before.push((sum, count));
        }
        Self {
            said,
            n: n as i32,
            stroke,
            before,
        }
    }

    fn frames(&self, from: i32, to: i32) -> Range<usize> {
        from.clamp(0, self.n) as usize..to.clamp(0, self.n) as usize
    }

    fn at(&self, t: usize, pitch: usize) -> f32 {
        f32::from(self.said.at(t, pitch)) / 255.0
    }

    /// The most that was said of a pitch within some frames.
    fn most(&self, frames: Range<usize>, pitch: usize) -> f32 {
        frames.map(|t| self.at(t, pitch)).fold(0.0, f32::max)
    }

    /// The numbers that only the second look has, in the order of `note_evidence.py`.
    pub(crate) fn joint(&self, candidate: &Candidate, logit: f32) -> [f32; N_JOINT] {
        let (p, t) = (candidate.pitch, candidate.frame as i32);
        let mut near = [0.0; N_PITCHES];
        for (q, value) in near.iter_mut().enumerate() {
            *value = self.most(self.frames(t - 1, t + 2), q);
        }
        let mut all = [0.0; N_JOINT];
        let mut slots = all.iter_mut();
        let mut add = |value: f32| {
            if let Some(slot) = slots.next() {
                *slot = value;
            }
        };
        add(logit.clamp(-9.21, 9.21) / 4.0);
        for r in STRUCK_BESIDE {
            let beside = usize::try_from(p as i32 + r).ok();
            add(beside.and_then(|q| near.get(q)).copied().unwrap_or(0.0));
        }
        add((near.iter().sum::<f32>() - near[p]) / 3.0);
        add(near.iter().filter(|v| **v > 0.5).count() as f32 / 4.0);
        add(near[..p].iter().sum::<f32>() / 3.0);
        for (first, last) in HISTORY {
            add(self.most(self.frames(t + first, t + last + 1), p));
        }
        let window = self.frames(t - WINDOW, t + WINDOW + 1);
        let (from, to) = (self.before[window.start], self.before[window.end]);
        let strokes = (to.1 - from.1).max(1) as f32;
        let mean = (to.0 - from.0) as f32 / 255.0 / strokes;
        add(mean / 3.0);
        add(strokes / 12.0);
        add((self.stroke[candidate.frame] as f32 / 255.0 - mean).abs() / 3.0);
        all
    }
}

/// The fitted nets.
struct Judge {
    first: Layers<N_EVIDENCE, HIDDEN>,
    second: Layers<{ N_EVIDENCE + N_JOINT }, HIDDEN>,
}

impl Judge {
    fn built_in() -> &'static Self {
        static JUDGE: OnceLock<Judge> = OnceLock::new();
        JUDGE.get_or_init(|| {
            let mut numbers = numbers_of(NOTE_CLASSIFIER.bytes());
            Judge {
                first: Layers::read(&mut numbers),
                second: Layers::read(&mut numbers),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_are_of_the_nets_size() {
        let first = HIDDEN * (N_EVIDENCE + 2) + 1;
        let second = HIDDEN * (N_EVIDENCE + N_JOINT + 2) + 1;
        assert_eq!(NOTE_CLASSIFIER.bytes().len(), 4 * (first + second));
    }
}
