//! From acoustic evidence to chords in time: a segmental search.
//!
//! Segments run from one possible change to another (see [`crate::hearing::harmony::segments`]).
//! A segment that is called a chord over a bass scores
//!
//! * the net's evidence for the chord, summed over its frames and scaled down,
//!   since neighboring frames tell the same thing;
//! * the net's evidence for the bass, with more weight at the segment's start,
//!   where the bass of a chord is struck;
//! * a prior for quality, inversion and key;
//! * a cost for starting where it does: least on a downbeat, more on a beat,
//!   a half-beat, off the grid.
//!
//! The best row of segments is found by dynamic programming over the last
//! boundary. What a step of the root costs was tried as one more term
//! (no total changed by more than .0002 on 350 takes) and left out.
//!
//! # Source
//! Semi-Markov models: Sarawagi and Cohen, NIPS 2004. Duration-explicit chord
//! models: Chen et al., "Chord recognition using duration-explicit hidden
//! Markov models", ISMIR 2012. The terms and weights are ours; docs/hearing.md
//! says what each constant was fitted on.

use crate::fretboard::Instrument;
use crate::hearing::acoustic::net::{LOWEST_MIDI, N_CLASSES, N_QUALITIES, NO_CHORD};
use crate::hearing::harmony::basses::{RingsOver, RootsUnder};
use crate::hearing::harmony::segments::Cells;
use crate::hearing::learned;
use crate::hearing::small_net::sigmoid;
use crate::hearing::weight_files::CHORDS;
use crate::theory::Quality;
use rayon::prelude::*;

/// Weights of the search.
#[derive(Debug, Clone, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct ChordWeights {
    /// Scale of the summed chord evidence.
    pub chord: f32,
    /// Scale of the summed bass evidence.
    pub bass: f32,
    /// Extra scale of the bass evidence in the first third of a second.
    pub bass_start: f32,
    /// Weight of the lowest string judged to be struck where it begins.
    pub lowest_struck: f32,
    /// Weight of the lowest string that sounds.
    pub lowest_sounding: f32,
    /// How much more an inversion costs where the lowest strings cannot be heard at all.
    pub masked: f32,
    /// Log odds, mean over a stretch, above which a string in the lowest octave is taken to sound.
    pub low_sounds: f32,
    /// How steeply that goes from no to yes, by one of log odds.
    pub low_slope: f32,
    /// The most that a root which sounds under another bass takes from what speaks for that
    /// bass, or that it gains where the other only rings over.
    pub low_most: f32,
    /// Cost of a bass that is not the root: a third or fifth.
    pub inversion: f32,
    /// Extra cost of a bass that is neither root, third nor fifth.
    pub far_bass: f32,
    /// Cost of a segment that starts on a downbeat.
    pub on_bar: f32,
    /// Cost of a segment that starts on another beat.
    pub on_beat: f32,
    /// Cost of a segment that starts on a half-beat.
    pub on_half: f32,
    /// Cost of a segment that starts anywhere else.
    pub off_grid: f32,
    /// Weight of the key prior.
    pub key: f32,
    /// Cost of a quality beyond major and minor.
    pub colour: f32,
    /// Cost of rare qualities beyond that.
    pub rare: f32,
    /// How much likelier bare fifths are in a take of nothing else.
    pub fifths: f32,
    /// Longest segment, s.
    pub longest_s: f64,
}

impl Default for ChordWeights {
    fn default() -> Self {
        learned::read(&CHORDS)
    }
}

impl ChordWeights {
    /// The weights for a recording whose lowest strings stand out so far, dB
    /// ([`crate::hearing::acoustic::low_end`]): the less, the less is read of the bass.
    pub(crate) fn hearing_bass(mut self, standing_out_db: f32) -> Self {
        // rendered takes: clear ones from 36, rough ones from 19 to 35
        let trust = ((standing_out_db - 18.0) / 18.0).clamp(0.05, 1.0);
        for weight in [
            &mut self.bass,
            &mut self.bass_start,
            &mut self.lowest_struck,
            &mut self.lowest_sounding,
        ] {
            *weight *= trust;
        }
        self.inversion += (1.0 - trust) * self.masked;
        self
    }
}

/// One segment: a chord class over a bass (pitch class) between two boundaries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Segment {
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// Quality × 12 + root, or [`NO_CHORD`].
    pub(crate) class: usize,
    /// Pitch class of the bass; the root's for a chord in root position.
    pub(crate) bass: usize,
}

/// Every chord over every bass it may have, with its fixed prior.
pub(crate) struct States {
    /// Class, bass pitch class, prior: twelve roots of each group, then no chord.
    pub(crate) list: Vec<(usize, usize, f32)>,
    groups: Vec<Group>,
    /// The guitar's lowest open string, MIDI.
    lowest_open: u8,
}

/// A quality over a bass so many semitones above its root, on every root.
struct Group {
    quality: usize,
    semitones: usize,
    prior: f32,
}

impl States {
    /// All of them: fewer than 65,536.
    pub(crate) fn new(weights: &ChordWeights, instrument: &Instrument) -> Self {
        let open = (0..instrument.tuning.n_strings()).filter_map(|s| instrument.midi(s, 0));
        let mut groups = Vec::new();
        for quality in 0..N_QUALITIES {
            let row = Quality::of_net_class(quality);
            let mut prior = 0.0;
            if quality > 1 {
                prior -= weights.colour;
            }
            if !row.usual {
                prior -= weights.rare;
            }
            for (i, semitones) in row.over.iter().enumerate() {
                let mut p = prior;
                if i > 0 {
                    p -= weights.inversion;
                }
                if !matches!(semitones, 0 | 3 | 4 | 7) {
                    p -= weights.far_bass;
                }
                groups.push(Group {
                    quality,
                    semitones: *semitones,
                    prior: p,
                });
            }
        }
        let on_roots = |g: &Group| {
            let (quality, semitones, prior) = (g.quality, g.semitones, g.prior);
            (0..12).map(move |root| (quality * 12 + root, (root + semitones) % 12, prior))
        };
        let mut list: Vec<_> = groups.iter().flat_map(on_roots).collect();
        list.push((NO_CHORD, 12, 0.0));
        Self {
            list,
            groups,
            lowest_open: open.min().unwrap_or(LOWEST_MIDI),
        }
    }
}

/// Prior of each chord class in a key, added once a segment.
pub(crate) type KeyPrior = Vec<f32>;

/// Costs of starting a segment at each boundary.
pub(crate) type StartCosts = Vec<f32>;

/// Scores every state over one stretch; `add` adds what is known beyond the net, by class.
pub(crate) fn score_states(
    cells: &Cells,
    from: usize,
    to: usize,
    states: &States,
    weights: &ChordWeights,
    key: &KeyPrior,
    out: &mut Vec<f32>,
) {
    let mut classes = [0f32; N_CLASSES];
    for ((sum, prior), value) in cells.all_chords(from, to).zip(key).zip(&mut classes) {
        *value = weights.chord * sum + prior;
    }
    // the bass counts most where the chord begins
    let start = (from + 1..=to)
        .find(|k| cells.bounds_s[*k] - cells.bounds_s[from] >= 0.33)
        .unwrap_or(to);
    let mut bass = [0f32; 13];
    for (b, value) in bass.iter_mut().enumerate() {
        let first = cells.bass(from, start, b);
        let scale = (7.0 / cells.frames(from, start).max(1.0)).min(1.0);
        *value = weights.bass * cells.bass(from, to, b)
            + weights.bass_start * scale * first
            + weights.lowest_struck * cells.lowest_struck(from, b)
            + weights.lowest_sounding * cells.lowest_sounding(from, to, b);
    }
    let low = cells
        .lowest_pitches(from, to)
        .map(|odds| sigmoid(weights.low_slope * (odds - weights.low_sounds)));
    let under = RootsUnder::new(&low, states.lowest_open);
    let left = RingsOver::new(cells, from, start);
    // by how far the bass lies above the root, then by root
    let over: [[f32; 12]; 12] = std::array::from_fn(|semitones| {
        std::array::from_fn(|root| {
            let more = |b: usize| (bass[b] - bass[root]).clamp(0.0, weights.low_most);
            if semitones == 0 {
                let takes = (0..12).map(|b| more(b) * left.of(root, b));
                return bass[root] + takes.fold(0.0, f32::max);
            }
            let b = (root + semitones) % 12;
            bass[b] - more(b) * under.of(root, b)
        })
    });
    out.clear();
    for group in &states.groups {
        let chords = &classes[group.quality * 12..][..12];
        let over = &over[group.semitones];
        let mut sums = [0f32; 12];
        for ((sum, chord), bass) in sums.iter_mut().zip(chords).zip(over) {
            *sum = chord + bass + group.prior;
        }
        out.extend_from_slice(&sums);
    }
    out.push(classes[NO_CHORD] + bass[12]);
}

/// Boundaries from which on more threads are worth their start: more than live hearing has.
const WORTH_THREADS: usize = 128;

/// The best state of every stretch that one segment may fill.
pub(crate) struct Stretches {
    /// For each boundary, the stretches that end there by where they start, latest first:
    /// their score and state.
    ending: Vec<Box<[(f32, u16)]>>,
}

impl Stretches {
    /// Scores them all. `priors` are those of each key, and which of them holds for a
    /// segment that starts at each boundary.
    pub(crate) fn new(
        cells: &Cells,
        states: &States,
        weights: &ChordWeights,
        priors: (&[KeyPrior], &[usize]),
    ) -> Self {
        let bounds_s = &cells.bounds_s;
        let ending_at = |scores: &mut Vec<f32>, to: usize| {
            (0..to)
                .rev()
                .take_while(|start| {
                    bounds_s[to] - bounds_s[*start] <= weights.longest_s || start + 1 == to
                })
                .map(|start| {
                    let key = &priors.0[priors.1[start]];
                    score_states(cells, start, to, states, weights, key, scores);
                    let mut top = (f32::NEG_INFINITY, 0);
                    for (s, score) in scores.iter().enumerate() {
                        if *score > top.0 {
                            top = (*score, s as u16);
                        }
                    }
                    top
                })
                .collect()
        };
        let n = cells.n_bounds();
        let ending = if n < WORTH_THREADS {
            let mut scores = Vec::new();
            (0..n).map(|to| ending_at(&mut scores, to)).collect()
        } else {
            let ends = (0..n).into_par_iter();
            ends.map_init(Vec::new, ending_at).collect()
        };
        Self { ending }
    }
}

/// The best segments over the whole take.
pub(crate) fn decode(stretches: &Stretches, states: &States, starts: &StartCosts) -> Vec<Segment> {
    let n = stretches.ending.len();
    let mut best = vec![f32::NEG_INFINITY; n];
    let mut from: Vec<(usize, u16)> = vec![(0, 0); n];
    best[0] = 0.0;
    for (to, ending) in stretches.ending.iter().enumerate() {
        for (start, (score, state)) in (0..to).rev().zip(ending) {
            let total = best[start] + score - starts[start];
            if total > best[to] {
                best[to] = total;
                from[to] = (start, *state);
            }
        }
    }
    let mut segments = Vec::new();
    let mut to = n - 1;
    while to > 0 {
        let (start, state) = from[to];
        let (class, bass, _) = states.list[usize::from(state)];
        segments.push(Segment {
            from: start,
            to,
            class,
            bass,
        });
        to = start;
    }
    segments.reverse();
    segments
}
