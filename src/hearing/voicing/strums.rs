//! Strums judged as a whole, on the shape that was found for the chord.
//!
//! A string whose partials lie in another's overtones, or that rings already, leaves
//! little trace of being struck in the spectra, and a string that only rings on takes
//! part in what others do. What a hand does says more: a pick strikes strings that lie
//! side by side, on the beat mostly all of the shape and between beats mostly its upper ones
//! (alternate strumming: common practice, no source). So each string of a shape is judged
//! anew by what was heard of it, of its neighbors, of when the strum falls and of what the hand
//! does there in the other bars ([`crate::hearing::voicing::habits`]), with a small net that
//! `docs/training/fit_strums.py` fits (docs/hearing.md: on what, with which figures). What was
//! heard beside the shape's strings is judged by itself ([`strays`]).

mod strays;

use crate::fretboard::Instrument;
use crate::hearing::acoustic::net::{Acoustic, LOWEST_MIDI, N_PITCHES};
use crate::hearing::acoustic::spectrum::HOP_S;
use crate::hearing::harmony::segments::Stroke;
use crate::hearing::notes::events::{Possible, nearest};
use crate::hearing::pipeline::{Sound, Weights, interpret_telling};
use crate::hearing::reading::{Given, HeardSpan};
use crate::hearing::small_net::{Layers, log_odds, numbers_of, sigmoid};
use crate::hearing::voicing::fit::OVERTONES;
use crate::hearing::voicing::habits::Habits;
use crate::hearing::weight_files::STRUMS;
use std::ops::Range;
use std::sync::OnceLock;
pub use strays::Stray;
use strays::Strays;

/// The strings of a strum are struck within this, s.
const STRUM_S: f64 = 0.12;
/// A note this long before a chord's start begins with it, s.
const EARLY_S: f64 = 0.03;
/// A note this far outside a strum is still of it, s.
const NEAR_S: f64 = 0.04;
/// From so many strings on the strings of a shape are judged.
const LEAST_STRINGS: usize = 4;
/// From so many on what is beside them is. Two strings say little of what else a hand may strike.
const LEAST_BESIDE: usize = 3;
/// A stroke this near a strum is its, s.
const STROKE_S: f64 = 0.06;
/// A strum this long before a beat is on it, s.
const BEFORE_BEAT_S: f64 = 0.02;
/// How far from a place in the beat a strum is hardly of it, in beats.
const PLACE: f64 = 0.1;
/// Log odds of a string that left no trace.
const NO_TRACE: f32 = -6.0;
/// Probabilities are kept this far from 0 and 1.
const MARGIN: f32 = 0.003;

/// How many numbers speak for a string of a strum.
pub(crate) const N_NUMBERS: usize = 19;
/// Hidden units of the net.
const HIDDEN: usize = 96;

/// The nets that judge strings and strays.
struct Judge {
    strings: Layers<N_NUMBERS, HIDDEN>,
    strays: Layers<{ strays::N_NUMBERS }, { strays::HIDDEN }>,
}

fn judge() -> &'static Judge {
    static JUDGE: OnceLock<Judge> = OnceLock::new();
    JUDGE.get_or_init(|| {
        let mut numbers = numbers_of(STRUMS.bytes());
        Judge {
            strings: Layers::read(&mut numbers),
            strays: Layers::read(&mut numbers),
        }
    })
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

/// What is judged of a strum.
#[derive(Debug, Clone, PartialEq)]
pub enum OfStrum {
    /// A string of the shape.
    String(StrumString),
    /// A note that the shape has no string for.
    Stray(Stray),
}

/// All that is judged of the strums of a take with what speaks for it: what the nets are
/// fitted on.
pub fn strum_evidence(sound: &Sound, given: &Given, weights: &Weights) -> Vec<OfStrum> {
    let mut all = Vec::new();
    interpret_telling(sound, given, weights, &mut |told| {
        all.push(told.clone());
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

/// Judges the strings of all strums and what is beside them, and adds strings that left no
/// trace.
///
/// `possible` is in order of time before and after; `least` is the least probability of a
/// note. `tell` is told each string and stray before it is judged.
pub(crate) fn judge_strums(
    possible: &mut Vec<Possible>,
    playing: &Playing<'_>,
    least: f32,
    tell: &mut dyn FnMut(&OfStrum),
) {
    let shapes: Vec<Vec<u8>> = playing.spans.iter().map(|s| playing.strings(s)).collect();
    let strums = strums(possible, &shapes, playing.spans, least);
    let mut habits = Habits::new(playing.beats);
    for strum in strums.iter().filter(|s| s.is_full()) {
        let place = strum.place(playing.beats);
        for string in 0..strum.midi.len() {
            habits.add(place, strum.string_and_pitch(string), strum.odds(string));
        }
    }
    let strays = Strays::new(&strums, possible);
    let (mut judged, mut added) = (Vec::new(), Vec::new());
    for (nth, strum) in strums.iter().enumerate() {
        let strings = if strum.is_full() { strum.midi.len() } else { 0 };
        for string in 0..strings {
            let told = strum.string(string, playing, &habits);
            let (midi, probability) = (told.midi, sigmoid(judge().strings.logit(&told.numbers)));
            tell(&OfStrum::String(told));
            match strum.heard[string] {
                Some(k) => judged.push((k, probability)),
                None if probability >= least => {
                    added.extend(Possible::at(strum.time_of(string), midi, probability));
                }
                None => {}
            }
        }
        for k in strays.of(nth) {
            let told = strays.told(strum, &possible[*k], playing);
            judged.push((*k, sigmoid(judge().strays.logit(&told.numbers))));
            tell(&OfStrum::Stray(told));
        }
    }
    // what is beside one strum may be a string of the next: that says the last word
    for (k, probability) in judged {
        possible[k].probability = probability;
    }
    possible.extend(added);
    possible.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
}

impl Playing<'_> {
    /// Pitches of the strings of a stretch's shape, lowest first, MIDI; none of too few.
    fn strings(&self, span: &HeardSpan) -> Vec<u8> {
        let shape = span.shapes.first().filter(|_| !span.fragment);
        let strings = shape.map(|(shape, _)| self.instrument.sounding(shape));
        let strings: Vec<u8> = strings.into_iter().flatten().flatten().collect();
        match strings.len() >= LEAST_BESIDE {
            true => strings,
            false => Vec::new(),
        }
    }
}

/// The strums of all stretches, by the strings of their shapes.
fn strums<'a>(
    possible: &[Possible],
    shapes: &'a [Vec<u8>],
    spans: &[HeardSpan],
    least: f32,
) -> Vec<Strum<'a>> {
    let mut strums = Vec::new();
    let stretches = spans.iter().zip(shapes).enumerate();
    for (nth, (span, strings)) in stretches.filter(|(_, (_, s))| !s.is_empty()) {
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
            let notes = (around, from..past);
            strums.push(Strum::new(possible, notes, (nth, strings), least));
            from = past;
        }
    }
    strums
}

/// One strum across a shape.
struct Strum<'a> {
    /// Which stretch it is in.
    span: usize,
    /// Which of the possible notes are its.
    notes: Range<usize>,
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
    /// The strum that has these of the possible notes, in a stretch and across the strings of
    /// its shape; what lies from `around` on is near it.
    fn new(
        possible: &[Possible],
        (around, notes): (usize, Range<usize>),
        (span, midi): (usize, &'a [u8]),
        least: f32,
    ) -> Self {
        let is_note = |p: &&Possible| p.probability >= least;
        let first_s = possible[notes.start].time_s;
        let last = possible[notes.clone()].iter().rfind(is_note);
        let last_s = last.map_or(first_s, |p| p.time_s);
        let most = |midi: &u8| {
            let near =
                |k: &usize| possible[*k].midi() == *midi && possible[*k].time_s < last_s + NEAR_S;
            let by_odds = |a: &usize, b: &usize| {
                let (a, b) = (&possible[*a], &possible[*b]);
                a.probability.total_cmp(&b.probability)
            };
            (around..notes.end).filter(near).max_by(by_odds)
        };
        let heard: Vec<Option<usize>> = midi.iter().map(most).collect();
        let at = |k: &Option<usize>| k.map(|k| possible[k].time_s);
        let likely = |k: &Option<usize>| k.map_or(0.0, |k| possible[k].probability);
        Self {
            span,
            notes,
            midi,
            time_s: heard.iter().map(at).collect(),
            likely: heard.iter().map(likely).collect(),
            heard,
            least,
            first_s,
            last_s,
        }
    }

    /// Whether its strings are judged.
    fn is_full(&self) -> bool {
        self.midi.len() >= LEAST_STRINGS
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
        self.heard[string].map_or(NO_TRACE, |_| log_odds(self.likely[string], MARGIN))
    }

    /// Strings of the shape above this one.
    fn strings_above(&self, string: usize) -> usize {
        self.midi.len() - 1 - string
    }

    /// The string counted from the top, and its pitch, MIDI.
    fn string_and_pitch(&self, string: usize) -> (usize, u8) {
        (self.strings_above(string), self.midi[string])
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
        let place = self.place(playing.beats);
        let habit = habits.of(place, self.string_and_pitch(string), odds);
        [
            odds,
            yes(self.heard[string].is_none()),
            above.first().copied().unwrap_or(BEYOND),
            below.last().copied().unwrap_or(BEYOND),
            yes(above.is_empty()),
            yes(below.is_empty()),
            most(above.get(1..).unwrap_or(&[])),
            most(&below[..below.len().saturating_sub(1)]),
            self.rang_at(
                self.midi[string],
                self.time_s[string].unwrap_or(self.first_s),
                playing.acoustic,
            ),
            half,
            on,
            from_top as f32,
            self.strength(playing.strokes),
            yes(self.is_overtone(string)),
            habit.here,
            habit.strums,
            habit.anywhere,
            habit.pitch,
            habit.pitch_strums,
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

    /// How much a pitch (MIDI) sounded before it may have been struck.
    fn rang_at(&self, midi: u8, time_s: f64, acoustic: &Acoustic) -> f32 {
        let frame = ((time_s / HOP_S) as usize).checked_sub(2);
        let pitch = usize::from(midi.saturating_sub(LOWEST_MIDI)).min(N_PITCHES - 1);
        frame
            .filter(|f| *f < acoustic.n_frames())
            .map_or(0.0, |f| acoustic.sounding(f, pitch))
    }

    /// How strong its stroke is.
    fn strength(&self, strokes: &[Stroke]) -> f32 {
        nearest(strokes, self.first_s)
            .filter(|s| (s.time_s - self.first_s).abs() < STROKE_S)
            .map_or(0.0, |s| s.strength)
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
mod tests;
