//! Strums judged as a whole, on the shape that was found for the chord.
//!
//! A string whose partials lie in another's overtones, or that rings already, leaves
//! little trace of being struck in the spectra, and a string that only rings on takes
//! part in what others do. What a hand does says more: a pick strikes strings that lie
//! side by side, on the beat mostly all of the shape and between beats mostly its upper ones
//! (alternate strumming: common practice, no source). So each string of a shape is judged
//! anew by what was heard of it, of its neighbors, of when the strum falls and of what the hand
//! does there in the other bars ([`super::habits`]), with a small net that
//! `docs/training/fit_strums.py` fits (docs/hearing.md: on what, with which figures).

use super::acoustic::{Acoustic, LOWEST_MIDI, N_PITCHES};
use super::cells::Stroke;
use super::fit::OVERTONES;
use super::habits::Habits;
use super::interpret::{Sound, Weights, interpret_telling};
use super::notes::{Possible, nearest};
use super::reading::{Given, HeardSpan};
use super::small_net::{Layers, log_odds, numbers_of, sigmoid};
use super::spectrum::HOP_S;
use crate::fretboard::Instrument;
use std::sync::OnceLock;

/// The strings of a strum are struck within this, s.
const STRUM_S: f64 = 0.12;
/// A note this long before a chord's start begins with it, s.
const EARLY_S: f64 = 0.03;
/// A note this far outside a strum is still of it, s.
const NEAR_S: f64 = 0.04;
/// From so many strings on a shape is strummed.
const LEAST_STRINGS: usize = 4;
/// A stroke this near a strum is its, s.
const STROKE_S: f64 = 0.06;
/// A strum this long before a beat is on it, s.
const BEFORE_BEAT_S: f64 = 0.02;
/// How far from a place in the beat a strum is hardly of it, in beats.
const PLACE: f64 = 0.1;
/// Log odds of a string that left no trace.
const NO_TRACE: f32 = -6.0;

/// How many numbers speak for a string of a strum.
pub(crate) const N_NUMBERS: usize = 17;
/// Hidden units of the net.
const HIDDEN: usize = 48;

static WEIGHTS: &[u8] = include_bytes!("weights/strums.bin");

fn judge() -> &'static Layers<N_NUMBERS, HIDDEN> {
    static JUDGE: OnceLock<Layers<N_NUMBERS, HIDDEN>> = OnceLock::new();
    JUDGE.get_or_init(|| Layers::read(&mut numbers_of(WEIGHTS)))
}

/// One string of a shape in one strum, and what speaks for its being struck.
#[derive(Debug, Clone, PartialEq)]
pub struct StrumString {
    /// First and last string of the strum, s.
    pub strum_s: (f64, f64),
    /// When it may have been struck, s; none where it left no trace.
    pub time_s: Option<f64>,
    /// MIDI note number.
    pub midi: u8,
    /// What speaks for it, in the order of `Strum::numbers`.
    pub numbers: [f32; N_NUMBERS],
}

/// Every string of every strum of a take with what speaks for it: what the net is fitted on.
pub fn strum_strings(sound: &Sound, given: &Given, weights: &Weights) -> Vec<StrumString> {
    let mut all = Vec::new();
    interpret_telling(sound, given, weights, &mut |string| {
        all.push(string.clone());
    });
    all
}

/// What is known when strums are judged.
pub(crate) struct Playing<'a> {
    pub(crate) acoustic: &'a Acoustic,
    pub(crate) strokes: &'a [Stroke],
    /// Beats with their place in the bar.
    pub(crate) beats: &'a [(f64, u8)],
    pub(crate) spans: &'a [HeardSpan],
    pub(crate) instrument: &'a Instrument,
}

/// Judges the strings of all strums, and adds those that left no trace.
///
/// `possible` is in order of time before and after; `least` is the least probability of a
/// note. `tell` is told each string before it is judged.
pub(crate) fn judge_strums(
    possible: &mut Vec<Possible>,
    playing: &Playing<'_>,
    least: f32,
    tell: &mut dyn FnMut(&StrumString),
) {
    let shapes: Vec<Vec<u8>> = playing.spans.iter().map(|s| playing.strummed(s)).collect();
    let strums = strums(possible, playing.spans, &shapes, least);
    let mut habits = Habits::new(playing.beats);
    for strum in &strums {
        let place = strum.place(playing.beats);
        for string in 0..strum.midi.len() {
            habits.add(place, strum.strings_above(string), strum.odds(string));
        }
    }
    let mut added = Vec::new();
    for strum in &strums {
        for string in 0..strum.midi.len() {
            let told = strum.string(string, playing, &habits);
            tell(&told);
            let probability = sigmoid(judge().logit(&told.numbers));
            match strum.heard[string] {
                Some(k) => possible[k].probability = probability,
                None if probability >= least => {
                    let time_s = strum.time_of(string);
                    added.extend(Possible::at(time_s, told.midi, probability));
                }
                None => {}
            }
        }
    }
    possible.extend(added);
    possible.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
}

impl Playing<'_> {
    /// Pitches of the strings that a stretch is strummed on, lowest first, MIDI; none where
    /// it is not.
    fn strummed(&self, span: &HeardSpan) -> Vec<u8> {
        let shape = span.shapes.first().filter(|_| !span.fragment);
        let strings = shape.map(|(shape, _)| self.instrument.sounding(shape));
        let strings: Vec<u8> = strings.into_iter().flatten().flatten().collect();
        match strings.len() >= LEAST_STRINGS {
            true => strings,
            false => Vec::new(),
        }
    }
}

/// The strums of all stretches, by the strings of their shapes.
fn strums<'a>(
    possible: &[Possible],
    spans: &[HeardSpan],
    shapes: &'a [Vec<u8>],
    least: f32,
) -> Vec<Strum<'a>> {
    let mut strums = Vec::new();
    for (span, strings) in spans.iter().zip(shapes).filter(|(_, s)| !s.is_empty()) {
        let mut from = possible.partition_point(|p| p.time_s < span.start_s - EARLY_S);
        let end = possible.partition_point(|p| p.time_s < span.end_s - EARLY_S);
        while from < end {
            if possible[from].probability < least {
                from += 1;
                continue;
            }
            let first_s = possible[from].time_s;
            let past = from + possible[from..].partition_point(|p| p.time_s < first_s + STRUM_S);
            let around = possible.partition_point(|p| p.time_s < first_s - NEAR_S);
            strums.push(Strum::new(possible, (around, from, past), strings, least));
            from = past;
        }
    }
    strums
}

/// One strum across a shape.
struct Strum<'a> {
    /// Pitches of the strings, lowest first, MIDI.
    midi: &'a [u8],
    /// Which of the possible notes each string is; none where it left no trace.
    heard: Vec<Option<usize>>,
    /// When each may have been struck, s, and how likely it was.
    time_s: Vec<Option<f64>>,
    likely: Vec<f32>,
    least: f32,
    first_s: f64,
    last_s: f64,
}

impl<'a> Strum<'a> {
    /// The strum whose notes are `possible[from..past]`; what lies from `around` on is near it.
    fn new(
        possible: &[Possible],
        (around, from, past): (usize, usize, usize),
        midi: &'a [u8],
        least: f32,
    ) -> Self {
        let is_note = |p: &&Possible| p.probability >= least;
        let last = possible[from..past].iter().rfind(is_note);
        let last_s = last.map_or(possible[from].time_s, |p| p.time_s);
        let most = |midi: &u8| {
            let near =
                |k: &usize| possible[*k].midi() == *midi && possible[*k].time_s < last_s + NEAR_S;
            let by_odds = |a: &usize, b: &usize| {
                let (a, b) = (&possible[*a], &possible[*b]);
                a.probability.total_cmp(&b.probability)
            };
            (around..past).filter(near).max_by(by_odds)
        };
        let heard: Vec<Option<usize>> = midi.iter().map(most).collect();
        let at = |k: &Option<usize>| k.map(|k| possible[k].time_s);
        let likely = |k: &Option<usize>| k.map_or(0.0, |k| possible[k].probability);
        Self {
            midi,
            time_s: heard.iter().map(at).collect(),
            likely: heard.iter().map(likely).collect(),
            heard,
            least,
            first_s: possible[from].time_s,
            last_s,
        }
    }

    fn string(&self, string: usize, playing: &Playing<'_>, habits: &Habits) -> StrumString {
        StrumString {
            strum_s: (self.first_s, self.last_s),
            time_s: self.time_s[string],
            midi: self.midi[string],
            numbers: self.numbers(string, playing, habits),
        }
    }

    /// Log odds that a string was struck, by what was heard of it alone.
    fn odds(&self, string: usize) -> f32 {
        self.heard[string].map_or(NO_TRACE, |_| log_odds(self.likely[string], 0.003))
    }

    /// Strings of the shape above this one.
    fn strings_above(&self, string: usize) -> usize {
        self.midi.len() - 1 - string
    }

    /// What speaks for a string.
    fn numbers(&self, string: usize, playing: &Playing<'_>, habits: &Habits) -> [f32; N_NUMBERS] {
        const BEYOND: f32 = 0.5;
        let p = &self.likely;
        let yes = |is: bool| f32::from(u8::from(is));
        let most = |of: &[f32]| of.iter().copied().fold(0.0, f32::max);
        let (below, above) = (&p[..string], &p[string + 1..]);
        let (half, on) = self.places(playing.beats);
        let (from_top, odds) = (self.strings_above(string), self.odds(string));
        let habit = habits.of(self.place(playing.beats), from_top, odds);
        [
            odds,
            yes(self.heard[string].is_none()),
            above.first().copied().unwrap_or(BEYOND),
            below.last().copied().unwrap_or(BEYOND),
            yes(above.is_empty()),
            yes(below.is_empty()),
            most(above.get(1..).unwrap_or(&[])),
            most(&below[..below.len().saturating_sub(1)]),
            self.rang(string, playing.acoustic),
            half,
            on,
            from_top as f32,
            nearest(playing.strokes, self.first_s)
                .filter(|s| (s.time_s - self.first_s).abs() < STROKE_S)
                .map_or(0.0, |s| s.strength),
            yes(self.is_overtone(string)),
            habit.here,
            habit.strums,
            habit.anywhere,
        ]
    }

    /// The beat (its place in the bar, from 0) that the strum falls on or after, and how far
    /// after it, in beats; none where there are no beats around.
    fn beat(&self, beats: &[(f64, u8)]) -> Option<(f64, f64)> {
        let next = beats.partition_point(|b| b.0 <= self.first_s + BEFORE_BEAT_S);
        let (before, number) = beats[next.checked_sub(1)?];
        let (after, _) = beats.get(next)?;
        let part = (self.first_s - before) / (after - before).max(1e-3);
        Some((f64::from(number) - 1.0, part))
    }

    /// Where in the bar the strum falls, in beats.
    fn place(&self, beats: &[(f64, u8)]) -> Option<f64> {
        self.beat(beats).map(|(beat, part)| beat + part)
    }

    /// How nearly the strum falls half way between two beats, and on one.
    fn places(&self, beats: &[(f64, u8)]) -> (f32, f32) {
        let Some((_, part)) = self.beat(beats) else {
            return (0.0, 0.0);
        };
        let near = |off: f64| (-(off / PLACE).powi(2)).exp() as f32;
        (near(part - 0.5), near(part.abs().min((1.0 - part).abs())))
    }

    /// How much a string sounded before the strum.
    fn rang(&self, string: usize, acoustic: &Acoustic) -> f32 {
        let time_s = self.time_s[string].unwrap_or(self.first_s);
        let frame = ((time_s / HOP_S) as usize).checked_sub(2);
        let pitch = usize::from(self.midi[string].saturating_sub(LOWEST_MIDI)).min(N_PITCHES - 1);
        frame
            .filter(|f| *f < acoustic.n_frames())
            .map_or(0.0, |f| acoustic.sounding(f, pitch))
    }

    /// Whether a string's pitch lies in the overtones of another that was struck.
    fn is_overtone(&self, string: usize) -> bool {
        let midi = self.midi[string];
        let struck = self.midi.iter().zip(&self.likely);
        let struck = struck.filter(|(_, p)| **p >= self.least);
        struck
            .map(|(low, _)| usize::from(midi.saturating_sub(*low)))
            .any(|above| OVERTONES.contains(&above))
    }

    /// When a string without a trace was struck, by those beside it.
    fn time_of(&self, string: usize) -> f64 {
        let beside = [string.checked_sub(1), Some(string + 1)];
        let struck = |i: &usize| self.likely.get(*i).is_some_and(|p| *p >= self.least);
        let times: Vec<f64> = beside
            .into_iter()
            .flatten()
            .filter(struck)
            .filter_map(|i| self.time_s[i])
            .collect();
        match times.len() {
            0 => self.first_s,
            n => times.iter().sum::<f64>() / n as f64,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fretboard::Shape;
    use crate::theory::Label;

    /// The open G major shape in standard tuning, lowest string first.
    const G: [u8; 6] = [43, 47, 50, 55, 59, 67];

    /// A strum: how likely each string was struck; none where it leaves no trace.
    type Heard = [Option<f32>; 6];

    /// What is told of the first of some strums on the open G, one every other beat, the first
    /// at 1 s; the bars, of four beats in 2 s, start at `beats_s`.
    fn told(strums: &[Heard], beats_s: f64) -> Vec<(u8, f32)> {
        let mut possible: Vec<Possible> = Vec::new();
        for (nth, heard) in strums.iter().enumerate() {
            for (i, (p, m)) in heard.iter().zip(&G).enumerate() {
                let time_s = 1.0 + nth as f64 + 0.01 * i as f64;
                possible.extend(p.and_then(|p| Possible::at(time_s, *m, p)));
            }
        }
        let beats: Vec<(f64, u8)> = (0..2 * strums.len() + 8)
            .map(|i| (beats_s + 0.5 * i as f64, (i % 4) as u8 + 1))
            .collect();
        let shape: Shape = "320003".parse().unwrap_or_else(|e| panic!("{e}"));
        let span = HeardSpan {
            start_s: 1.0,
            end_s: 1.0 + strums.len() as f64,
            candidates: vec![(Label::Unknown, 1.0, String::new())],
            shapes: vec![(shape, 1.0)],
            bass_midi: None,
            chroma: [0.0; 12],
            fragment: false,
        };
        let playing = Playing {
            acoustic: &Acoustic::default(),
            strokes: &[],
            beats: &beats,
            spans: &[span],
            instrument: &Instrument::default(),
        };
        judge_strums(&mut possible, &playing, 0.45, &mut |_| {});
        let first = possible.iter().filter(|p| p.time_s < 1.5);
        first.map(|p| (p.midi(), p.probability)).collect()
    }

    /// Where the beats start for a strum on one, or between two.
    const ON_S: f64 = 1.0;
    const BETWEEN_S: f64 = 0.75;
    /// The upper strings surely, the lower ones hardly known.
    const FAINT_BELOW: Heard = [
        Some(0.5),
        Some(0.5),
        Some(0.6),
        Some(0.95),
        Some(0.95),
        Some(0.95),
    ];

    #[test]
    fn the_weights_are_of_the_nets_size() {
        assert_eq!(WEIGHTS.len(), 4 * (HIDDEN * (N_NUMBERS + 2) + 1));
    }

    #[test]
    fn a_faint_string_between_two_that_are_struck_is_told() {
        let mut heard = [Some(0.95); 6];
        heard[2] = Some(0.35);
        let notes = told(&[heard; 4], ON_S);
        assert!(notes[2].1 > 0.5, "{notes:?}");
    }

    #[test]
    fn a_faint_low_string_is_told_on_the_beat_rather_than_between_beats() {
        let strums = [FAINT_BELOW; 4];
        let (on, between) = (told(&strums, ON_S), told(&strums, BETWEEN_S));
        assert!(on[0].1 > between[0].1 + 0.15, "{on:?} {between:?}");
    }

    #[test]
    fn a_faint_low_string_is_told_where_the_hand_strikes_it_in_other_bars() {
        let full = [Some(0.95); 6];
        let [low, high] = [Some(0.1), Some(0.95)];
        let upper = [low, low, low, high, high, high];
        // on one all strings, on three the upper ones
        let mut strums = [full, upper].repeat(6);
        strums[0] = FAINT_BELOW;
        let on_one = told(&strums, 1.0);
        let mut strums = [upper, full].repeat(6);
        strums[0] = FAINT_BELOW;
        let on_three = told(&strums, 0.0);
        let lower = |notes: &[(u8, f32)]| notes[..3].iter().map(|n| n.1).sum::<f32>() / 3.0;
        assert!(
            lower(&on_one) > lower(&on_three) + 0.15,
            "{on_one:?} {on_three:?}"
        );
    }

    #[test]
    fn strings_without_a_trace_at_the_edge_are_not_made_up() {
        let upper = [None, None, None, Some(0.9), Some(0.9), Some(0.9)];
        let low = told(&[upper; 4], BETWEEN_S);
        assert_eq!(low.len(), 3, "{low:?}");
        let lower = [Some(0.9), Some(0.9), Some(0.9), None, None, None];
        let high = told(&[lower; 4], ON_S);
        assert_eq!(high.len(), 3, "{high:?}");
    }
}
