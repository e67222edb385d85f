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
mod strum;

use crate::hearing::notes::events::Possible;
use crate::hearing::outputs::HeardSpan;
use crate::hearing::small_net::{Layers, numbers_of, sigmoid};
use crate::hearing::strum_window::strum_window;
use crate::hearing::voicing::habits::Habits;
use crate::hearing::weight_files::STRUM_CLASSIFIER;
use std::sync::OnceLock;
pub use strays::Stray;
use strays::Strays;
pub(in crate::hearing) use strum::Playing;
pub use strum::StrumString;
use strum::{N_NUMBERS, Strum};

/// From so many on what is beside them is. Two strings say little of what else a hand may strike.
const LEAST_BESIDE: usize = 3;

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
        let mut numbers = numbers_of(STRUM_CLASSIFIER.bytes());
        Judge {
            strings: Layers::read(&mut numbers),
            strays: Layers::read(&mut numbers),
        }
    })
}

/// What is judged of a strum.
#[derive(Debug, Clone, PartialEq)]
pub enum OfStrum {
    /// A string of the shape.
    String(StrumString),
    /// A note that the shape has no string for.
    Stray(Stray),
}

/// Something that a net judges, and what it is of the possible notes.
enum Place {
    /// This one.
    Possible(usize),
    /// A string that left no trace: when it was struck if it was, s.
    NoTrace(f64),
}

/// Judges the strings of all strums and what is beside them, and adds strings that left no
/// trace.
///
/// `possible` is in order of time before and after; `least` is the least probability of a
/// note.
pub(crate) fn judge_strums(possible: &mut Vec<Possible>, playing: &Playing<'_>, least: f32) {
    let (mut judged, mut added) = (Vec::new(), Vec::new());
    each_of_strums(possible, playing, least, |place, sample| {
        let (midi, logit) = match &sample {
            OfStrum::String(s) => (s.midi, judge().strings.logit(&s.numbers)),
            OfStrum::Stray(s) => (s.midi, judge().strays.logit(&s.numbers)),
        };
        let probability = sigmoid(logit);
        match place {
            Place::Possible(k) => judged.push((k, probability)),
            Place::NoTrace(time_s) if probability >= least => {
                added.extend(Possible::at(time_s, midi, probability));
            }
            Place::NoTrace(_) => {}
        }
    });
    // what is beside one strum may be a string of the next: that says the last word
    for (k, probability) in judged {
        possible[k].probability = probability;
    }
    possible.extend(added);
    possible.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
}

/// All that is judged of strums, with what speaks for it: what the nets are fitted on.
pub(in crate::hearing) fn strum_samples(
    possible: &[Possible],
    playing: &Playing<'_>,
    least: f32,
) -> Vec<OfStrum> {
    let mut all = Vec::new();
    each_of_strums(possible, playing, least, |_, sample| all.push(sample));
    all
}

/// Each string and each stray of all strums, in order.
fn each_of_strums(
    possible: &[Possible],
    playing: &Playing<'_>,
    least: f32,
    mut each: impl FnMut(Place, OfStrum),
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
    for (nth, strum) in strums.iter().enumerate() {
        let strings = if strum.is_full() { strum.midi.len() } else { 0 };
        for string in 0..strings {
            let place = match strum.heard[string] {
                Some(k) => Place::Possible(k),
                None => Place::NoTrace(strum.time_of(string)),
            };
            let sample = strum.string(string, playing, &habits);
            each(place, OfStrum::String(sample));
        }
        for k in strays.of(nth) {
            let sample = strays.told(strum, &possible[*k], playing);
            each(Place::Possible(*k), OfStrum::Stray(sample));
        }
    }
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
        let window = strum_window();
        let mut from = possible.partition_point(|p| p.time_s < span.start_s - window.early_s);
        let end = possible.partition_point(|p| p.time_s < span.end_s - window.early_s);
        while from < end {
            if possible[from].probability < least {
                from += 1;
                continue;
            }
            let first_s = possible[from].time_s;
            let past =
                from + possible[from..].partition_point(|p| p.time_s < first_s + window.strings_s);
            let around = possible.partition_point(|p| p.time_s < first_s - window.beside_s);
            let notes = (around, from..past);
            strums.push(Strum::new(possible, notes, (nth, strings), least));
            from = past;
        }
    }
    strums
}

#[cfg(test)]
mod tests;
