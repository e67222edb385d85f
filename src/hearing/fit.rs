//! Shapes from sound: which fingerings of a chord fit the notes that sounded.
//!
//! Each playable shape is scored by the notes heard while its chord sounded:
//! for every pitch of the shape the logarithm of how surely it was heard, for
//! every pitch heard that the shape lacks the logarithm of how surely it was
//! not. Spans with the same chord are scored together, so that a chord keeps
//! its shape from bar to bar; ease decides between shapes that fit alike.
//!
//! A hand holds more than a picking pattern plucks: where notes come one by
//! one, a pitch of the shape that was not heard says little against it. Bare
//! fifths are played on two or three neighboring strings (common practice, no
//! source), and a distorted amplifier makes octaves of them that nobody
//! fingers: there the usual forms count for more than ease. A string an octave
//! above another may leave no trace in a strum; nobody leaves a string out that
//! lies under the hand for nothing.

use super::acoustic::{Acoustic, LOWEST_MIDI, N_PITCHES};
use super::cells::frames_in;
use super::notes::Possible;
use super::spectrum::HOP_S;
use crate::fretboard::{Instrument, Limits, Shape, Voicing, Wanted, voicings};
use crate::theory::{Chord, Label};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};

/// Weights of the fit.
#[derive(Debug, Clone)]
pub struct FitWeights {
    /// Weight of the measure of ease against the logarithm of the fit.
    pub ease: f64,
    /// Probabilities are kept this far from 0 and 1.
    pub margin: f64,
    /// How many shapes are kept.
    pub n_shapes: usize,
    /// How much of its weight a pitch that was not heard keeps where strings
    /// are plucked one by one.
    pub unplucked: f64,
    /// Cost of a string that a shape leaves out of one about as easy.
    pub left_out: f64,
    /// Efforts so near are about as easy.
    pub about: f64,
    /// How much of its weight a pitch that was not heard loses where one whose overtone it is
    /// was surely heard: it would be hidden in that.
    pub hidden: f64,
    /// Share of the notes struck at once: at or below the first they are
    /// plucked one by one, at or above the second strummed.
    pub together: (f64, f64),
    /// Weight of the usual forms of bare fifths.
    pub power: f64,
    /// How far a pitch was struck is taken from the judge of notes (1) or from
    /// the acoustic stage (0).
    pub judged: f64,
}

impl Default for FitWeights {
    fn default() -> Self {
        Self {
            ease: 0.45,
            margin: 0.04,
            n_shapes: 4,
            unplucked: 0.15,
            left_out: 0.5,
            about: 2.0,
            hidden: 0.5,
            together: (0.45, 0.8),
            power: 1.5,
            judged: 0.5,
        }
    }
}

/// A shape that is so much harder than one that sounds the same is not proposed.
const MUCH_HARDER: f64 = 6.0;
/// So many of the best shapes are held against those that leave out less.
const AMONG: usize = 24;
/// Frames in which the strings of one strum are struck: 0.19 s.
const STRUM: usize = 4;

/// Semitones from a string to its overtones that another string's first partial may hide in.
pub(super) const OVERTONES: [usize; 3] = [12, 19, 24];

/// What was heard of a chord's notes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pitches {
    /// How surely each pitch (0 = MIDI 28) was heard: the strongest of its
    /// struck probabilities and of its sounding share.
    pub(crate) heard: [f32; N_PITCHES],
    /// How much of that its sounding alone says.
    pub(crate) ringing: [f32; N_PITCHES],
    /// The largest part of them that was struck at once, 0 to 1.
    pub(crate) together: f32,
}

/// What was heard between two times, by the acoustic stage alone.
pub(crate) fn heard_pitches(acoustic: &Acoustic, start_s: f64, end_s: f64) -> Pitches {
    let mut struck = [0f32; N_PITCHES];
    let mut most_at_once = 0f32;
    let mut last: [[f32; N_PITCHES]; STRUM] = [[0.0; N_PITCHES]; STRUM];
    for (i, (frame, weight)) in frames_in(start_s, end_s, acoustic.n_frames()).enumerate() {
        for p in 0..N_PITCHES {
            let now = acoustic.struck(frame, p) * weight.min(1.0);
            last[i % STRUM][p] = now;
            struck[p] = struck[p].max(now);
        }
        let at_once: f32 = (0..N_PITCHES)
            .map(|p| last.iter().map(|f| f[p]).fold(0.0, f32::max))
            .sum();
        most_at_once = most_at_once.max(at_once);
    }
    Pitches::new(&struck, sounding(acoustic, start_s, end_s), most_at_once)
}

/// The same with what the judge of notes said was struck (in order of time).
pub(crate) fn heard_notes(
    acoustic: &Acoustic,
    possible: &[Possible],
    (start_s, end_s): (f64, f64),
    weights: &FitWeights,
) -> Pitches {
    // a stroke begins a span: its notes lie a little around it
    const EARLY_S: f64 = 0.03;
    let alone = heard_pitches(acoustic, start_s, end_s);
    let before = |time_s: f64| possible.partition_point(|p| p.time_s < time_s - EARLY_S);
    let inside = &possible[before(start_s)..before(end_s).max(before(start_s))];
    let most = |notes: &[Possible]| {
        let mut most = [0f32; N_PITCHES];
        for note in notes {
            most[note.pitch] = most[note.pitch].max(note.probability);
        }
        most
    };
    let mut most_at_once = 0f32;
    for (i, note) in inside.iter().enumerate() {
        let strum_s = STRUM as f64 * HOP_S;
        let n = inside[i..].partition_point(|p| p.time_s < note.time_s + strum_s);
        most_at_once = most_at_once.max(most(&inside[i..i + n]).iter().sum());
    }
    let judged = Pitches::new(
        &most(inside),
        sounding(acoustic, start_s, end_s),
        most_at_once,
    );
    let share = weights.judged as f32;
    let mix = |judged: f32, alone: f32| share * judged + (1.0 - share) * alone;
    Pitches {
        heard: std::array::from_fn(|p| mix(judged.heard[p], alone.heard[p])),
        ringing: std::array::from_fn(|p| mix(judged.ringing[p], alone.ringing[p])),
        together: mix(judged.together, alone.together),
    }
}

/// How many frames each pitch sounds between two times, and how many there are.
fn sounding(acoustic: &Acoustic, start_s: f64, end_s: f64) -> ([f32; N_PITCHES], f32) {
    let mut sounding = [0f32; N_PITCHES];
    let mut frames = 0.0f32;
    for (frame, weight) in frames_in(start_s, end_s, acoustic.n_frames()) {
        frames += weight;
        for (p, sum) in sounding.iter_mut().enumerate() {
            *sum += weight * acoustic.sounding(frame, p);
        }
    }
    (sounding, frames)
}

impl Pitches {
    /// From how surely each pitch was struck, in how many frames it sounds of how
    /// many, and how many notes at most were struck at once.
    fn new(
        struck: &[f32; N_PITCHES],
        (sounding, frames): ([f32; N_PITCHES], f32),
        most_at_once: f32,
    ) -> Self {
        let all: f32 = struck.iter().sum();
        let heard: [f32; N_PITCHES] = std::array::from_fn(|p| {
            let share = sounding[p] / frames.max(1e-3);
            (0.5 * (struck[p] + share)).max(0.9 * struck[p] * sounding[p].min(1.0))
        });
        Self {
            ringing: std::array::from_fn(|p| {
                heard[p] - (0.5 * struck[p]).max(0.9 * struck[p] * sounding[p].min(1.0))
            }),
            heard,
            together: most_at_once / all.max(1e-3),
        }
    }
}

/// A span to fit: its label and what was heard in it.
pub(crate) struct Heard<'a> {
    pub(crate) label: &'a Label,
    pub(crate) pitches: Pitches,
    pub(crate) seconds: f64,
}

/// For each span the shapes of its chord that fit best, best first, with their fit (0 to 1).
pub(crate) fn fit_shapes(
    instrument: &Instrument,
    spans: &[Heard<'_>],
    weights: &FitWeights,
) -> Vec<Vec<(Shape, f64)>> {
    // spans of one chord are fitted together
    let mut groups: BTreeMap<String, (&Chord, Vec<usize>)> = BTreeMap::new();
    for (i, span) in spans.iter().enumerate() {
        if let Label::Chord(chord) = span.label {
            groups
                .entry(chord.label())
                .or_insert_with(|| (chord, Vec::new()))
                .1
                .push(i);
        }
    }
    let groups: Vec<(&Chord, Vec<usize>)> = groups.into_values().collect();
    let fit_group = |(chord, members): &(&Chord, Vec<usize>)| {
        let (mut pitches, mut ringing) = ([0f64; N_PITCHES], [0f64; N_PITCHES]);
        let (mut seconds, mut together) = (0.0, 0.0);
        for i in members {
            let w = spans[*i].seconds.min(4.0);
            seconds += w;
            together += w * f64::from(spans[*i].pitches.together);
            for (sum, p) in pitches.iter_mut().zip(&spans[*i].pitches.heard) {
                *sum += w * f64::from(*p);
            }
            for (sum, p) in ringing.iter_mut().zip(&spans[*i].pitches.ringing) {
                *sum += w * f64::from(*p);
            }
        }
        together /= f64::max(seconds, 1e-6);
        pitches
            .iter_mut()
            .for_each(|p| *p /= f64::max(seconds, 1e-6));
        ringing
            .iter_mut()
            .for_each(|p| *p /= f64::max(seconds, 1e-6));
        fit_one(instrument, chord, (&pitches, &ringing), together, weights)
    };
    let fitted: Vec<_> = groups.par_iter().map(fit_group).collect();
    let mut out = vec![Vec::new(); spans.len()];
    for ((_, members), shapes) in groups.iter().zip(fitted) {
        for i in members {
            out[*i].clone_from(&shapes);
        }
    }
    out
}

fn fit_one(
    instrument: &Instrument,
    chord: &Chord,
    (heard, ringing): (&[f64; N_PITCHES], &[f64; N_PITCHES]),
    together: f64,
    weights: &FitWeights,
) -> Vec<(Shape, f64)> {
    let limits = Limits {
        min_strings: 2,
        ..Limits::default()
    };
    // What a pitch adds if it is in the shape, and what all add if none is.
    let clamp = |p: f64| p.clamp(weights.margin, 1.0 - weights.margin);
    let (one_by_one, strummed) = weights.together;
    let strum = ((together - one_by_one) / (strummed - one_by_one)).clamp(0.0, 1.0);
    let unheard = weights.unplucked + (1.0 - weights.unplucked) * strum;
    let gain: Vec<f64> = (0..N_PITCHES)
        .map(|p| {
            let below = OVERTONES.iter().filter_map(|above| p.checked_sub(*above));
            let hidden = below.map(|low| heard[low]).fold(0.0, f64::max);
            // plucked one by one, what only rings in another's overtones was not fingered
            let own = clamp(heard[p] - (1.0 - strum) * hidden * ringing[p]);
            let gain = (own / (1.0 - own)).ln();
            match gain < 0.0 {
                true => unheard * (1.0 - weights.hidden * hidden) * gain,
                false => gain,
            }
        })
        .collect();
    let is_power = chord.quality.degrees.len() == 2;
    let shapes = voicings(instrument, Wanted::chord(chord), &limits);
    // the easiest of the shapes that sound the same comes first
    let mut easiest: HashMap<u64, f64> = HashMap::new();
    let mut scored: Vec<(f64, f64, &Voicing)> = shapes
        .iter()
        .map(|v| (pitch_set(instrument, &v.shape), v))
        .filter(|(set, v)| v.rank <= *easiest.entry(*set).or_insert(v.rank) + MUCH_HARDER)
        .map(|(set, v)| {
            let fit: f64 = (0..N_PITCHES)
                .filter(|p| set >> p & 1 == 1)
                .map(|p| gain[p])
                .sum();
            let cost = if is_power {
                weights.power * unusual_fifths(v.shape.frets())
            } else {
                weights.ease * v.rank
            };
            (fit - cost, fit, v)
        })
        .collect();
    let best_first = |scored: &mut Vec<(f64, f64, &Voicing)>| {
        scored.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.2.shape.cmp(&b.2.shape)));
    };
    best_first(&mut scored);
    if !is_power {
        // each is held against all shapes: only those that may come first
        scored.truncate(AMONG);
        let outlines: Vec<Outline> = shapes.iter().map(Outline::of).collect();
        for (score, _, v) in &mut scored {
            *score -= weights.left_out * Outline::of(v).left_out(&outlines, weights.about);
        }
        best_first(&mut scored);
    }
    scored.truncate(weights.n_shapes);
    // a shape that sounds exactly what was heard fits fully
    let perfect: f64 = gain.iter().filter(|g| **g > 0.0).sum();
    scored
        .into_iter()
        .map(|(_, fit, v)| (v.shape.clone(), (fit / perfect.max(1.0)).clamp(0.0, 1.0)))
        .collect()
}

/// The pitches that a shape sounds, as bits from [`LOWEST_MIDI`].
fn pitch_set(instrument: &Instrument, shape: &Shape) -> u64 {
    let sounding = instrument.sounding(shape).into_iter().flatten();
    sounding
        .filter_map(|midi| midi.checked_sub(LOWEST_MIDI))
        .filter(|p| usize::from(*p) < N_PITCHES)
        .fold(0, |set, p| set | 1 << p)
}

/// A shape as it is held against thousands of others.
struct Outline {
    /// A byte for each string: its fret, 255 where it is silent.
    frets: u64,
    /// 255 for each string that sounds.
    sounding: u64,
    effort: f64,
}

impl Outline {
    fn of(voicing: &Voicing) -> Self {
        let bytes = |of: fn(&Option<u8>) -> u8| {
            let mut bytes = [0; 8];
            for (byte, fret) in bytes.iter_mut().zip(voicing.shape.frets()) {
                *byte = of(fret);
            }
            u64::from_le_bytes(bytes)
        };
        Self {
            frets: bytes(|fret| fret.unwrap_or(u8::MAX)),
            sounding: bytes(|fret| if fret.is_some() { u8::MAX } else { 0 }),
            effort: voicing.hand.effort,
        }
    }

    fn n_strings(&self) -> u32 {
        self.sounding.count_ones() / u8::BITS
    }

    /// How many strings it leaves out of a shape that is about as easy and otherwise the same.
    fn left_out(&self, all: &[Self], about: f64) -> f64 {
        let whole = |other: &&Self| {
            (other.frets ^ self.frets) & self.sounding == 0 && other.effort <= self.effort + about
        };
        let most = all.iter().filter(whole).map(Self::n_strings).max();
        most.unwrap_or(0).saturating_sub(self.n_strings()).into()
    }
}

/// How far a shape of bare fifths is from its usual forms: two or three
/// neighboring strings, the lowest of them open or none.
fn unusual_fifths(frets: &[Option<u8>]) -> f64 {
    let sounding: Vec<usize> = (0..frets.len()).filter(|s| frets[*s].is_some()).collect();
    let (Some(first), Some(last)) = (sounding.first(), sounding.last()) else {
        return 0.0;
    };
    let gaps = last + 1 - first - sounding.len();
    let open_above = sounding[1..].iter().filter(|s| frets[**s] == Some(0));
    let many = sounding.len().saturating_sub(3);
    let place = f64::from(frets[*first].unwrap_or(0));
    2.0 * gaps as f64 + open_above.count() as f64 + 1.5 * many as f64 + 0.1 * place
}
