//! Cells: the take cut at every moment where a chord could change.
//!
//! A chord changes when strings are struck, or when the sound stops. Cells run
//! from one such moment to the next; the decoder joins cells to chords, so a
//! boundary lies on a real attack and not on a frame. A string struck softly
//! under a chord that rings is no attack of its own, but is heard as a note; so
//! notes cut as well.

use crate::hearing::acoustic::frames::frames_in;
use crate::hearing::acoustic::net::{
    Acoustic, LOWEST_MIDI, N_BASSES, N_CLASSES, N_PITCHES, NO_CHORD,
};
use crate::hearing::acoustic::spectrum::HOP_S;
use crate::hearing::acoustic::strokes::Stroke;
use crate::hearing::learned;
use crate::hearing::notes::events::Possible;
use crate::hearing::small_net::log_odds;
use crate::hearing::strum_window::strum_window;
use crate::hearing::weight_files::SEGMENTS;
use std::sync::LazyLock;

/// Strokes, and among them the moments where a note is struck without one, and where the
/// sound stops: where silence begins that lasts. `struck` in order of time.
pub(crate) fn cuts(
    strokes: &[Stroke],
    struck: impl Iterator<Item = f64>,
    acoustic: &Acoustic,
) -> Vec<Stroke> {
    let (near_s, lasts) = (WEIGHTS.near_s, WEIGHTS.silence_frames);
    let apart = |time_s: f64| {
        let after = strokes.partition_point(|s| s.time_s < time_s - near_s);
        strokes
            .get(after)
            .is_none_or(|s| s.time_s > time_s + near_s)
    };
    let without = |time_s| Stroke {
        time_s,
        strength: 0.0,
    };
    let mut chords = acoustic.chords();
    let silent: Vec<bool> = (0..acoustic.n_frames())
        .map(|t| chords.one(t, NO_CHORD) > WEIGHTS.silent.ln())
        .collect();
    let mut all = strokes.to_vec();
    let mut start = 0;
    for run in silent.chunk_by(|a, b| a == b) {
        // a frame's span begins half a frame before its center
        let time_s = (start as f64 - 0.5) * HOP_S;
        if run[0] && start > 0 && run.len() >= lasts && apart(time_s) {
            all.push(without(time_s));
        }
        start += run.len();
    }
    let mut last_s = f64::NEG_INFINITY;
    for time_s in struck.filter(|time_s| apart(*time_s)) {
        if time_s > last_s + near_s {
            all.push(without(time_s));
            last_s = time_s;
        }
    }
    all.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    all
}

/// Cells and the acoustic evidence summed over each.
#[derive(Debug, Clone)]
pub(crate) struct Cells {
    /// Boundaries, s: one more than cells; first 0, last the end of the take.
    pub(crate) bounds_s: Vec<f64>,
    /// Strength of the stroke at each boundary; 0 where there is none.
    pub(crate) strength: Vec<f32>,
    /// Sums of ln p over the cells before a boundary: `n_bounds × N_CLASSES`.
    chords: Vec<f32>,
    /// The same for the bass: `n_bounds × N_BASSES`.
    basses: Vec<f32>,
    /// Frames before a boundary.
    frames: Vec<f32>,
    /// Of each pitch class ln p, against chance, that the lowest string struck at a boundary
    /// has it: `n_bounds × 12`; empty where no strings were judged.
    lowest_struck: Vec<f32>,
    /// How likely a low string of each pitch class is struck at a boundary; empty where no
    /// strings were judged.
    low_struck: Vec<[f32; 12]>,
    /// Of each pitch class the sum over the cells before a boundary of ln p, against chance,
    /// that the lowest string that sounds has it: `n_bounds × 12`.
    lowest_sounding: Vec<f32>,
    /// Of each of the lowest pitches the sum over the cells before a boundary of the log odds
    /// that it sounds: `n_bounds × N_LOWEST`.
    lowest_pitches: Vec<f32>,
}

/// The lowest pitches: up to B2, MIDI 47.
pub(crate) const N_LOWEST: usize = 48 - LOWEST_MIDI as usize;
/// Pitches that can be a bass: up to B3, MIDI 59.
const N_LOW: usize = 60 - LOWEST_MIDI as usize;
/// Where the take is cut, and what a low string before a full hand counts.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SegmentWeights {
    /// A note or a stop so near a stroke is that stroke's, s.
    near_s: f64,
    /// Frames that silence lasts.
    silence_frames: usize,
    /// From this probability of no chord on a frame is silent.
    silent: f32,
    /// Cells are not shorter, s.
    shortest_s: f64,
    /// A full hand has so many strings.
    full: usize,
    /// A full hand this long after a low string belongs to it, s.
    soon_s: f64,
    /// So much of the evidence for chords counts where a low string alone comes before a full
    /// hand: it tells the bass of what comes, while the chord before may still ring.
    introduces: f32,
    /// How often, by guess, the lowest string is not what was heard.
    doubt: f32,
}

static WEIGHTS: LazyLock<SegmentWeights> = LazyLock::new(|| learned::read(&SEGMENTS));

impl Cells {
    /// Cuts the take at `cuts` (in order of time) and sums the evidence.
    pub(crate) fn new(acoustic: &Acoustic, cuts: &[Stroke], duration_s: f64) -> Self {
        let mut bounds_s = vec![0.0];
        let mut strength = vec![0.0];
        for cut in cuts {
            let last = bounds_s[bounds_s.len() - 1];
            if cut.time_s - last > WEIGHTS.shortest_s
                && cut.time_s < duration_s - WEIGHTS.shortest_s
            {
                bounds_s.push(cut.time_s);
                strength.push(cut.strength);
            }
        }
        bounds_s.push(duration_s);
        strength.push(0.0);
        let n = bounds_s.len();
        let mut cells = Self {
            chords: vec![0.0; n * N_CLASSES],
            basses: vec![0.0; n * N_BASSES],
            frames: vec![0.0; n],
            lowest_struck: Vec::new(),
            low_struck: Vec::new(),
            lowest_sounding: vec![0.0; n * 12],
            lowest_pitches: vec![0.0; n * N_LOWEST],
            bounds_s,
            strength,
        };
        let mut said = acoustic.chords();
        for k in 1..n {
            let (before, now) = cells.chords.split_at_mut(k * N_CLASSES);
            now[..N_CLASSES].copy_from_slice(&before[(k - 1) * N_CLASSES..]);
            let (before, now) = cells.basses.split_at_mut(k * N_BASSES);
            now[..N_BASSES].copy_from_slice(&before[(k - 1) * N_BASSES..]);
            let (before, now) = cells.lowest_sounding.split_at_mut(k * 12);
            now[..12].copy_from_slice(&before[(k - 1) * 12..]);
            let (before, low) = cells.lowest_pitches.split_at_mut(k * N_LOWEST);
            low[..N_LOWEST].copy_from_slice(&before[(k - 1) * N_LOWEST..]);
            cells.frames[k] = cells.frames[k - 1];
            for (frame, weight) in frames_in(
                cells.bounds_s[k - 1],
                cells.bounds_s[k],
                acoustic.n_frames(),
            ) {
                cells.frames[k] += weight;
                let chords = &mut cells.chords[k * N_CLASSES..(k + 1) * N_CLASSES];
                for (sum, ln) in chords.iter_mut().zip(said.all(frame)) {
                    *sum += weight * ln;
                }
                let basses = &mut cells.basses[k * N_BASSES..(k + 1) * N_BASSES];
                for (sum, ln) in basses.iter_mut().zip(acoustic.ln_basses(frame)) {
                    *sum += weight * ln;
                }
                let told = lowest(|pitch| acoustic.sounding(frame, pitch));
                for (sum, told) in now[..12].iter_mut().zip(told) {
                    *sum += weight * told;
                }
                for (pitch, sum) in low[..N_LOWEST].iter_mut().enumerate() {
                    *sum += weight * log_odds(acoustic.sounding(frame, pitch), 1e-3);
                }
            }
        }
        cells
    }

    /// Hears the strings struck at each boundary: which of them is the lowest, and where a low
    /// one alone comes before a full hand; `struck` in order of time, `least` the least
    /// probability of a note.
    pub(crate) fn hear_strings(&mut self, struck: &[Possible], least: f32) {
        let hands: Vec<[f32; N_PITCHES]> = self.bounds_s.iter().map(|t| hand(struck, *t)).collect();
        self.low_struck = hands.iter().map(low_classes).collect();
        self.lowest_struck = hands.iter().flat_map(|h| lowest(|p| h[p])).collect();
        let strings: Vec<(usize, bool)> = hands
            .iter()
            .map(|h| {
                let (low, high) = h.split_at(N_LOW);
                let n = |of: &[f32]| of.iter().filter(|p| **p >= least).count();
                (n(h), n(low) == 1 && n(high) == 0)
            })
            .collect();
        self.discount(&introducing(&self.bounds_s, &strings));
    }

    /// Takes less of the evidence for chords from these cells.
    fn discount(&mut self, cells: &[bool]) {
        let mut less = [0f32; N_CLASSES];
        for k in 1..self.n_bounds() {
            let (before, now) = self.chords.split_at_mut(k * N_CLASSES);
            let before = &before[(k - 1) * N_CLASSES..];
            for ((less, before), now) in less.iter_mut().zip(before).zip(now) {
                // what lies before is discounted already, what is now is not
                let own = *now - *less - before;
                if cells[k - 1] {
                    *less += (1.0 - WEIGHTS.introduces) * own;
                }
                *now -= *less;
            }
        }
    }

    /// Mean log odds between two boundaries that each of the lowest pitches sounds.
    pub(crate) fn lowest_pitches(&self, from: usize, to: usize) -> [f32; N_LOWEST] {
        let frames = self.frames(from, to).max(1e-3);
        let sum = |bound: usize, p: usize| self.lowest_pitches[bound * N_LOWEST + p];
        std::array::from_fn(|p| (sum(to, p) - sum(from, p)) / frames)
    }

    /// ln p, against chance, that the lowest string struck at a boundary has a pitch
    /// class; 0 where nothing is known.
    pub(crate) fn lowest_struck(&self, bound: usize, class: usize) -> f32 {
        match class {
            0..12 => self.lowest_struck.get(bound * 12 + class),
            _ => None,
        }
        .copied()
        .unwrap_or(0.0)
    }

    /// How likely a low string of each pitch class is struck at any of the boundaries from one
    /// to before another; 0 where nothing is known.
    pub(crate) fn low_struck(&self, from: usize, to: usize) -> [f32; 12] {
        let at = self.low_struck.get(from..to).unwrap_or_default();
        std::array::from_fn(|class| at.iter().map(|of| of[class]).fold(0.0, f32::max))
    }

    /// Sum between two boundaries of ln p, against chance, that the lowest string that sounds has
    /// a pitch class.
    pub(crate) fn lowest_sounding(&self, from: usize, to: usize, class: usize) -> f32 {
        match class {
            0..12 => {
                self.lowest_sounding[to * 12 + class] - self.lowest_sounding[from * 12 + class]
            }
            _ => 0.0,
        }
    }

    /// Number of boundaries.
    pub(crate) fn n_bounds(&self) -> usize {
        self.bounds_s.len()
    }

    /// Sum of ln p of a chord class between two boundaries.
    pub(crate) fn chord(&self, from: usize, to: usize, class: usize) -> f32 {
        self.chords[to * N_CLASSES + class] - self.chords[from * N_CLASSES + class]
    }

    /// Sums of ln p of all chord classes between two boundaries.
    pub(crate) fn all_chords(&self, from: usize, to: usize) -> impl Iterator<Item = f32> + '_ {
        self.chords[to * N_CLASSES..(to + 1) * N_CLASSES]
            .iter()
            .zip(&self.chords[from * N_CLASSES..(from + 1) * N_CLASSES])
            .map(|(b, a)| b - a)
    }

    /// Sum of ln p of a bass pitch class between two boundaries.
    pub(crate) fn bass(&self, from: usize, to: usize, bass: usize) -> f32 {
        self.basses[to * N_BASSES + bass] - self.basses[from * N_BASSES + bass]
    }

    /// Frames between two boundaries.
    pub(crate) fn frames(&self, from: usize, to: usize) -> f32 {
        self.frames[to] - self.frames[from]
    }
}

/// How likely each pitch is struck at a boundary.
fn hand(struck: &[Possible], bound_s: f64) -> [f32; N_PITCHES] {
    let window = strum_window();
    let first = struck.partition_point(|p| p.time_s < bound_s - window.early_s);
    let mut most = [0f32; N_PITCHES];
    for p in struck[first..]
        .iter()
        .take_while(|p| p.time_s <= bound_s + window.late_s)
    {
        most[p.pitch] = most[p.pitch].max(p.probability);
    }
    most
}

/// How likely a low string of each pitch class is among these.
fn low_classes(hand: &[f32; N_PITCHES]) -> [f32; 12] {
    let mut classes = [0f32; 12];
    for (midi, p) in (usize::from(LOWEST_MIDI)..).zip(&hand[..N_LOW]) {
        classes[midi % 12] = classes[midi % 12].max(*p);
    }
    classes
}

/// Which cells a low string alone begins that comes before a full hand; `strings` are the
/// strings struck at each boundary, and whether they are one low string alone.
fn introducing(bounds_s: &[f64], strings: &[(usize, bool)]) -> Vec<bool> {
    let mut cells = vec![false; bounds_s.len()];
    let played: Vec<usize> = (0..strings.len()).filter(|k| strings[*k].0 > 0).collect();
    for pair in played.windows(2) {
        let (alone, full) = (pair[0], pair[1]);
        let soon = bounds_s[full] - bounds_s[alone] < WEIGHTS.soon_s;
        if strings[alone].1 && strings[full].0 >= WEIGHTS.full && soon {
            cells[alone..full].fill(true);
        }
    }
    cells
}

/// Of each pitch class ln p, against chance, that the lowest of the pitches has it, by how likely
/// each pitch (0 = MIDI 28) is there.
fn lowest(likely: impl Fn(usize) -> f32) -> [f32; 12] {
    let (mut share, mut rest) = ([0f32; 12], 1.0);
    for pitch in 0..N_LOW {
        let p = likely(pitch);
        share[(pitch + usize::from(LOWEST_MIDI)) % 12] += rest * p;
        rest *= 1.0 - p;
    }
    // what is left lies anywhere
    let doubt = WEIGHTS.doubt;
    share.map(|s| (12.0 * (1.0 - doubt) * (s + rest / 12.0) + doubt).ln())
}

#[cfg(test)]
mod tests {
    use super::{Cells, Stroke, WEIGHTS, cuts, introducing, lowest};
    use crate::hearing::acoustic::net::{Acoustic, N_CLASSES};
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_note_cuts_where_there_is_no_stroke() {
        let stroke = |time_s| Stroke {
            time_s,
            strength: 1.0,
        };
        // one of the stroke at 1 s, two strings under what rings, one of the stroke at 2 s
        let notes = [1.05, 1.5, 1.52, 1.95].into_iter();
        let all = cuts(&[stroke(1.0), stroke(2.0)], notes, &Acoustic::default());
        let times: Vec<f64> = all.iter().map(|s| s.time_s).collect();
        assert_eq!(times, [1.0, 1.5, 2.0]);
    }

    #[test]
    fn the_lowest_that_is_there_tells_and_what_lies_above_it_does_not() {
        // A2 for certain, E3 too, F2 hardly: 0 is E1, MIDI 28
        let told = lowest(|pitch| match pitch {
            17 | 24 => 0.95,
            13 => 0.05,
            _ => 0.0,
        });
        let (f, a, e) = (told[5], told[9], told[4]);
        assert!(a > 1.5, "{told:?}");
        assert!(f < 0.0 && e < 0.0 && told[0] < -1.0, "{told:?}");
        // nothing heard: nothing told
        assert!(lowest(|_| 0.0).iter().all(|t| t.abs() < 1e-5));
    }

    #[test]
    fn less_of_the_evidence_is_taken_from_the_cells_asked_for_only() {
        let stroke = |time_s| Stroke {
            time_s,
            strength: 1.0,
        };
        let strokes = [1.0, 2.0, 3.0].map(stroke);
        let mut cells = Cells::new(&Acoustic::default(), &strokes, 4.0);
        // each cell says -10, -20, -30, -40 of every chord
        cells.chords = [0.0, -10.0, -30.0, -60.0, -100.0]
            .iter()
            .flat_map(|sum| [*sum; N_CLASSES])
            .collect();
        cells.discount(&[false, true, true, false, false]);
        let told = [0, 1, 2, 3].map(|k| cells.chord(k, k + 1, 7));
        let expected = [
            -10.0,
            -20.0 * WEIGHTS.introduces,
            -30.0 * WEIGHTS.introduces,
            -40.0,
        ];
        for (told, expected) in told.iter().zip(expected) {
            assert_abs_diff_eq!(*told, expected, epsilon = 1e-4);
        }
    }

    #[test]
    fn a_bass_alone_belongs_to_the_full_hand_that_follows_soon() {
        let bounds_s = [0.0, 0.5, 0.6, 1.0, 1.5, 2.0, 4.0];
        // a bass, a cut without strings, a full hand, a bass, another bass, a full hand too late
        let strings = [
            (1, true),
            (0, false),
            (4, false),
            (1, true),
            (1, true),
            (1, true),
            (5, false),
        ];
        let told = introducing(&bounds_s, &strings);
        assert_eq!(told, [true, true, false, false, false, false, false]);
        // one high string alone introduces nothing
        assert_eq!(
            introducing(&[0.0, 0.5], &[(1, false), (4, false)]),
            [false; 2]
        );
    }
}
