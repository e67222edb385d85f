//! What a hand on a shape tells of notes that a strum hides.
//!
//! A pick that goes across the strings strikes what lies between those it is
//! heard to strike, and where it leaves the second and third string from the
//! top it rarely spares the top one. A string whose partials lie in another's
//! overtones, or that rings already, may leave no trace of being struck in the
//! spectra: there the shape that was found for the chord speaks, as odds beside
//! those of the judge of notes (Bayes; how much was fitted, docs/hearing.md).

use super::acoustic::{Acoustic, LOWEST_MIDI, N_PITCHES};
use super::fit::OVERTONES;
use super::notes::Possible;
use super::reading::HeardSpan;
use crate::fretboard::Instrument;

/// Weights of what a shape tells.
#[derive(Debug, Clone)]
pub struct StrumWeights {
    /// Log odds that a strum adds to a string between two that it struck.
    pub between: f32,
    /// The same for the top string where it struck the two below.
    pub top: f32,
    /// Probability of a note that left no trace where another's overtones hide it.
    pub hidden: f32,
}

impl Default for StrumWeights {
    fn default() -> Self {
        Self {
            between: 1.2,
            top: 3.0,
            hidden: 0.04,
        }
    }
}

/// The strings of a strum are struck within this, s.
const STRUM_S: f64 = 0.12;
/// A note this long before a chord's start begins with it, s.
const EARLY_S: f64 = 0.03;
/// A note this far outside a strum is still of it, s.
const NEAR_S: f64 = 0.04;
/// From so many strings on a shape is strummed.
const LEAST_STRINGS: usize = 4;

/// Raises what shapes tell of notes in strums, and adds those that left no trace.
/// `possible` is in order of time before and after; `least` is the least probability of a note.
pub(crate) fn tell_hidden(
    possible: &mut Vec<Possible>,
    acoustic: &Acoustic,
    spans: &[HeardSpan],
    instrument: &Instrument,
    least: f32,
    weights: &StrumWeights,
) {
    let mut added = Vec::new();
    for span in spans.iter().filter(|s| !s.fragment) {
        let Some((shape, _)) = span.shapes.first() else {
            continue;
        };
        let strings: Vec<u8> = instrument.sounding(shape).into_iter().flatten().collect();
        if strings.len() < LEAST_STRINGS {
            continue;
        }
        let mut from = possible.partition_point(|p| p.time_s < span.start_s - EARLY_S);
        let end = possible.partition_point(|p| p.time_s < span.end_s - EARLY_S);
        while from < end {
            if possible[from].probability < least {
                from += 1;
                continue;
            }
            let first_s = possible[from].time_s;
            let past = from + possible[from..].partition_point(|p| p.time_s < first_s + STRUM_S);
            let strum = Strum::new(&possible[from..past], &strings, least);
            for (string, bonus) in strum.passed(weights) {
                let midi = strings[string];
                let near = |p: &Possible| {
                    p.midi() == midi
                        && (first_s - NEAR_S..strum.last_s + NEAR_S).contains(&p.time_s)
                };
                let around = possible.partition_point(|p| p.time_s < first_s - NEAR_S);
                if let Some(trace) = possible[around..].iter_mut().take(64).find(|p| near(p)) {
                    trace.probability = raised(trace.probability, bonus);
                } else if strum.hides(midi, acoustic, &strings) {
                    let time_s = strum.time_of(string);
                    added.extend(Possible::at(time_s, midi, raised(weights.hidden, bonus)));
                }
            }
            from = past;
        }
    }
    possible.extend(added);
    possible.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
}

fn raised(probability: f32, log_odds: f32) -> f32 {
    let p = probability.clamp(1e-3, 1.0 - 1e-3);
    let odds = (p / (1.0 - p)).ln() + log_odds;
    1.0 / (1.0 + (-odds).exp())
}

/// One strum across a shape.
struct Strum {
    /// When each string of the shape was struck, lowest string first; none where it was not heard.
    struck_s: Vec<Option<f64>>,
    first_s: f64,
    last_s: f64,
}

impl Strum {
    fn new(notes: &[Possible], strings: &[u8], least: f32) -> Self {
        let likely = || notes.iter().filter(|p| p.probability >= least);
        let struck = |midi: &u8| likely().find(|p| p.midi() == *midi).map(|p| p.time_s);
        Self {
            struck_s: strings.iter().map(struck).collect(),
            first_s: notes.first().map_or(0.0, |p| p.time_s),
            last_s: likely().next_back().map_or(0.0, |p| p.time_s),
        }
    }

    /// The strings that the pick passed without being heard to, with the log odds that they sounded.
    fn passed(&self, weights: &StrumWeights) -> Vec<(usize, f32)> {
        let struck = |i: usize| self.struck_s[i].is_some();
        let top = self.struck_s.len() - 1;
        (1..=top)
            .filter(|i| !struck(*i))
            .filter_map(|i| {
                if i == top {
                    return (struck(i - 1) && struck(i - 2)).then_some((i, weights.top));
                }
                (struck(i - 1) && struck(i + 1)).then_some((i, weights.between))
            })
            .collect()
    }

    /// Whether a note would be hidden: by another's overtones, or as it rings already.
    fn hides(&self, midi: u8, acoustic: &Acoustic, strings: &[u8]) -> bool {
        let heard = strings.iter().zip(&self.struck_s);
        let below = heard
            .filter(|(_, struck)| struck.is_some())
            .map(|(m, _)| usize::from(midi.saturating_sub(*m)));
        let mut below = below.filter(|above| OVERTONES.contains(above));
        let frame = (self.first_s / super::spectrum::HOP_S) as usize;
        let pitch = usize::from(midi.saturating_sub(LOWEST_MIDI)).min(N_PITCHES - 1);
        let before = frame.checked_sub(2).filter(|f| *f < acoustic.n_frames());
        below.next().is_some() || before.is_some_and(|f| acoustic.sounding(f, pitch) > 0.5)
    }

    /// When a string was struck, by those beside it.
    fn time_of(&self, string: usize) -> f64 {
        let beside = [string.checked_sub(1), Some(string + 1)];
        let times: Vec<f64> = beside
            .into_iter()
            .flatten()
            .filter_map(|i| *self.struck_s.get(i)?)
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

    fn strummed(midi: &[u8]) -> Vec<Possible> {
        let string = |(i, m): (usize, &u8)| Possible::at(1.0 + 0.01 * i as f64, *m, 0.9);
        midi.iter().enumerate().filter_map(string).collect()
    }

    fn told(midi: &[u8], shape: &str) -> Vec<(u8, f32)> {
        let Ok(shape) = shape.parse::<Shape>() else {
            panic!("{shape} is no shape");
        };
        let span = HeardSpan {
            start_s: 1.0,
            end_s: 3.0,
            candidates: vec![(Label::Unknown, 1.0, String::new())],
            shapes: vec![(shape, 1.0)],
            bass_midi: None,
            chroma: [0.0; 12],
            fragment: false,
        };
        let mut possible = strummed(midi);
        let (acoustic, instrument) = (Acoustic::default(), Instrument::default());
        let weights = StrumWeights::default();
        tell_hidden(
            &mut possible,
            &acoustic,
            &[span],
            &instrument,
            0.45,
            &weights,
        );
        possible.iter().map(|p| (p.midi(), p.probability)).collect()
    }

    #[test]
    fn the_top_string_of_a_whole_strum_is_told_where_an_octave_hides_it() {
        let notes = told(&G[..5], "320003");
        let top = notes.iter().find(|(midi, _)| *midi == 67);
        assert!(
            top.is_some_and(|(_, p)| (0.45..0.7).contains(p)),
            "{notes:?}"
        );
    }

    #[test]
    fn what_the_pick_did_not_reach_is_not_told() {
        assert_eq!(told(&G[..3], "320003").len(), 3);
        assert_eq!(told(&G[2..], "320003").len(), 4);
    }

    #[test]
    fn a_string_between_two_that_left_no_trace_is_not_made_up() {
        // the second C of C E G C E: an octave hides it, but a place between two struck strings
        // alone makes no note
        let notes = told(&[48, 52, 55, 64], "x32010");
        assert!(
            notes.iter().all(|(midi, p)| *midi != 60 || *p < 0.45),
            "{notes:?}"
        );
        assert!(told(&[48, 52], "x32010").len() == 2);
    }

    #[test]
    fn a_trace_between_struck_strings_is_raised() {
        let p = raised(0.3, 1.2);
        assert!(p > 0.45 && p < 0.7, "{p}");
    }
}
