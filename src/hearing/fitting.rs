//! For programs that fit weights: what is decided of a take, with what speaks for it.
//! Nothing that hears a take for a user comes through here.

use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::notes::events::{NoteSample, notes, possible, samples};
use crate::hearing::outputs::Given;
use crate::hearing::pipeline::{FirstPasses, Struck};
use crate::hearing::rhythm::bars::{counts, ways};
use crate::hearing::rhythm::beat_numbers::{Described, beat_numbers};
use crate::hearing::rhythm::clock::on_strokes;
use crate::hearing::rhythm::count_choice::{CountNumbers, is_trusted, to_choose_from};
use crate::hearing::rhythm::grid::grid;
use crate::hearing::rhythm::pulse::{described, moments};
use crate::hearing::voicing::strums::{OfStrum, strum_samples};
use crate::hearing::weights::Weights;

/// One way to count a take.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Beat times (s) and their places in the bar, from 1.
    pub beats: Vec<(f64, u8)>,
    /// Beats in a bar and the note value of a beat.
    pub meter: (u8, u8),
    /// The numbers that describe it, in the order of [`rank_weights`].
    pub values: Vec<f32>,
}

/// The names of what describes a way to count, with their weights: a way's rank is
/// the sum of its values by weight, and the highest is taken.
pub fn rank_weights() -> Vec<(&'static str, f32)> {
    let names = Described::NAMES.iter().copied();
    names.zip(beat_numbers().rank.values()).collect()
}

impl Sound {
    /// What the models of beats, divisions and downbeats read of each moment, and the
    /// time between two moments (s).
    pub fn beat_moments(&self) -> (Vec<[f32; 13]>, f64) {
        (moments(self).iter().map(described).collect(), FINE_HOP_S)
    }

    /// Every way to count the take that is ranked, likeliest first; none where
    /// nothing is struck.
    pub fn ways_to_count(&self, given: &Given, weights: &Weights) -> Vec<Way> {
        let heard = notes(self, &possible(self, &weights.notes), &weights.notes);
        if heard.is_empty() {
            return Vec::new();
        }
        let all = ways(&moments(self), &heard, given, &weights.beats);
        all.into_iter()
            .filter_map(|(mut count, values)| {
                count.beats_s = on_strokes(&count.beats_s, &self.strokes);
                let grid = grid(Some(&count), given, &heard, self.duration_s());
                Some(Way {
                    beats: grid.beats,
                    meter: grid.meter?,
                    values,
                })
            })
            .collect()
    }
}

/// All that is judged of the strums of a take with what speaks for it: what the nets are
/// fitted on.
pub fn strum_evidence(sound: &Sound, given: &Given, weights: &Weights) -> Vec<OfStrum> {
    let struck = Struck::of(sound, weights);
    FirstPasses::of(sound, struck, given, weights).map_or_else(Vec::new, |first| {
        let playing = first.playing(sound, given);
        strum_samples(&first.struck, &playing, weights.notes.struck)
    })
}

/// All moments where a pitch may have been struck, with what is weighed of each.
pub fn note_samples(sound: &Sound, weights: &Weights) -> Vec<NoteSample> {
    samples(sound, &weights.notes)
}

/// A count to choose from: its beats and what speaks for it.
#[derive(Debug, Clone, PartialEq)]
pub struct CountSample {
    /// Beat times (s) and their places in the bar, from 1.
    pub beats: Vec<(f64, u8)>,
    /// In the order of [`COUNT_NUMBERS`].
    pub numbers: [f32; 12],
}

/// Names of the numbers of a [`CountSample`].
pub const COUNT_NUMBERS: [&str; 12] = CountNumbers::NAMES;

/// Every count that the program chooses from where attacks and chords alone are not trusted;
/// none where they are.
pub fn count_samples(sound: &Sound, given: &Given, weights: &Weights) -> Vec<CountSample> {
    let heard = notes(sound, &possible(sound, &weights.notes), &weights.notes);
    let ranked = counts(&moments(sound), &heard, given, &weights.beats);
    if ranked.is_empty() || is_trusted(&ranked, &sound.songs.pulse) {
        return Vec::new();
    }
    let all = to_choose_from(&ranked, &sound.songs.pulse).into_iter();
    all.map(|(count, numbers)| CountSample {
        beats: count.beats_s.iter().copied().zip(count.places).collect(),
        numbers: numbers.values(),
    })
    .collect()
}
