//! One strum across a shape, and what speaks for each of its strings.

use crate::fretboard::Instrument;
use crate::hearing::acoustic::net::{Acoustic, LOWEST_MIDI, N_PITCHES};
use crate::hearing::acoustic::spectrum::HOP_S;
use crate::hearing::acoustic::strokes::Stroke;
use crate::hearing::notes::events::{Possible, nearest};
use crate::hearing::outputs::HeardSpan;
use crate::hearing::small_net::log_odds;
use crate::hearing::strum_window::strum_window;
use crate::hearing::voicing::fit::OVERTONES;
use crate::hearing::voicing::habits::Habits;
use std::ops::Range;

/// From so many strings on the strings of a shape are judged.
const LEAST_STRINGS: usize = 4;
/// A strum this long before a beat is on it, s.
const BEFORE_BEAT_S: f64 = 0.02;
/// How far from a place in the beat a strum is hardly of it, in beats.
const PLACE: f64 = 0.1;
/// Log odds of a string that left no trace.
const NO_TRACE: f32 = -6.0;
/// Probabilities are kept this far from 0 and 1.
pub(in crate::hearing) const MARGIN: f32 = 0.003;
/// How many numbers speak for a string of a strum.
pub(in crate::hearing) const N_NUMBERS: usize = 19;

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

/// What is known when strums are judged.
pub(crate) struct Playing<'a> {
    pub(crate) acoustic: &'a Acoustic,
    pub(crate) strokes: &'a [Stroke],
    /// Beats with their place in the bar.
    pub(crate) beats: &'a [(f64, u8)],
    pub(crate) spans: &'a [HeardSpan],
    pub(crate) instrument: &'a Instrument,
}

/// One strum across a shape.
pub(in crate::hearing) struct Strum<'a> {
    /// Which stretch it is in.
    pub(in crate::hearing) span: usize,
    /// Which of the possible notes are its.
    pub(in crate::hearing) notes: Range<usize>,
    /// Pitches of the strings, lowest first, MIDI.
    pub(in crate::hearing) midi: &'a [u8],
    /// Which of the possible notes each string is; none where it left no trace.
    pub(in crate::hearing) heard: Vec<Option<usize>>,
    /// When each may have been struck, s, and how likely it was.
    pub(in crate::hearing) time_s: Vec<Option<f64>>,
    pub(in crate::hearing) likely: Vec<f32>,
    pub(in crate::hearing) least: f32,
    pub(in crate::hearing) first_s: f64,
    pub(in crate::hearing) last_s: f64,
}

impl<'a> Strum<'a> {
    /// The strum that has these of the possible notes, in a stretch and across the strings of
    /// its shape; what lies from `around` on is near it.
    pub(in crate::hearing) fn new(
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
            let near = |k: &usize| {
                possible[*k].midi() == *midi
                    && possible[*k].time_s < last_s + strum_window().beside_s
            };
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
    pub(in crate::hearing) fn is_full(&self) -> bool {
        self.midi.len() >= LEAST_STRINGS
    }

    pub(in crate::hearing) fn string(
        &self,
        string: usize,
        playing: &Playing<'_>,
        habits: &Habits,
    ) -> StrumString {
        StrumString {
            strum_s: (self.first_s, self.last_s),
            time_s: self.time_s[string],
            midi: self.midi[string],
            numbers: self.numbers(string, playing, habits),
        }
    }

    /// Log odds that a string was struck, by what was heard of it alone.
    pub(in crate::hearing) fn odds(&self, string: usize) -> f32 {
        self.heard[string].map_or(NO_TRACE, |_| log_odds(self.likely[string], MARGIN))
    }

    /// Strings of the shape above this one.
    pub(in crate::hearing) fn strings_above(&self, string: usize) -> usize {
        self.midi.len() - 1 - string
    }

    /// The string counted from the top, and its pitch, MIDI.
    pub(in crate::hearing) fn string_and_pitch(&self, string: usize) -> (usize, u8) {
        (self.strings_above(string), self.midi[string])
    }

    /// What speaks for a string.
    pub(in crate::hearing) fn numbers(
        &self,
        string: usize,
        playing: &Playing<'_>,
        habits: &Habits,
    ) -> [f32; N_NUMBERS] {
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
    pub(in crate::hearing) fn beat(&self, beats: &[(f64, u8)]) -> Option<(f64, f64)> {
        let next = beats.partition_point(|b| b.0 <= self.first_s + BEFORE_BEAT_S);
        let (before, number) = beats[next.checked_sub(1)?];
        let (after, _) = beats.get(next)?;
        let part = (self.first_s - before) / (after - before).max(1e-3);
        Some((f64::from(number) - 1.0, part))
    }

    /// Where in the bar the strum falls, in beats.
    pub(in crate::hearing) fn place(&self, beats: &[(f64, u8)]) -> Option<f64> {
        self.beat(beats).map(|(beat, part)| beat + part)
    }

    /// How nearly the strum falls half way between two beats, and on one.
    pub(in crate::hearing) fn places(&self, beats: &[(f64, u8)]) -> (f32, f32) {
        let Some((_, part)) = self.beat(beats) else {
            return (0.0, 0.0);
        };
        let near = |off: f64| (-(off / PLACE).powi(2)).exp() as f32;
        (near(part - 0.5), near(part.abs().min((1.0 - part).abs())))
    }

    /// How much a pitch (MIDI) sounded before it may have been struck.
    pub(in crate::hearing) fn rang_at(&self, midi: u8, time_s: f64, acoustic: &Acoustic) -> f32 {
        let frame = ((time_s / HOP_S) as usize).checked_sub(2);
        let pitch = usize::from(midi.saturating_sub(LOWEST_MIDI)).min(N_PITCHES - 1);
        frame
            .filter(|f| *f < acoustic.n_frames())
            .map_or(0.0, |f| acoustic.sounding(f, pitch))
    }

    /// How strong its stroke is.
    pub(in crate::hearing) fn strength(&self, strokes: &[Stroke]) -> f32 {
        nearest(strokes, self.first_s)
            .filter(|s| (s.time_s - self.first_s).abs() < strum_window().attack_of_strings_s)
            .map_or(0.0, |s| s.strength)
    }

    /// Whether a string's pitch lies in the overtones of another that was struck.
    pub(in crate::hearing) fn is_overtone(&self, string: usize) -> bool {
        let midi = self.midi[string];
        let struck = self.midi.iter().zip(&self.likely);
        let struck = struck.filter(|(_, p)| **p >= self.least);
        struck
            .map(|(low, _)| usize::from(midi.saturating_sub(*low)))
            .any(|above| OVERTONES.contains(&above))
    }

    /// When a string without a trace was struck, by those beside it.
    pub(in crate::hearing) fn time_of(&self, string: usize) -> f64 {
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
