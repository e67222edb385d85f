//! The harmony stage: chords from notes, beats and keys.

use crate::hearing::acoustic::frames::frames_in;
use crate::hearing::acoustic::net::{Acoustic, LOWEST_MIDI, N_PITCHES};
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::harmony::chords::{
    ChordWeights, KeyPrior, Segment, States, Stretches, decode, score_states,
};
use crate::hearing::harmony::keys::{
    Keys, favor_fifths, share_of_fifths, triad_of, triad_of_label,
};
use crate::hearing::harmony::labels::candidates;
use crate::hearing::harmony::segments::{Cells, cuts};
use crate::hearing::harmony::starts::start_cost;
use crate::hearing::notes::events::Possible;
use crate::hearing::outputs::{Bar, Given, HeardSpan, Note, Section};
use crate::hearing::rhythm::grid::Grid;
use rayon::prelude::*;

/// A take cut into segments, ready to be searched for chords.
pub(in crate::hearing) struct ChordSearch {
    cells: Cells,
    chords: ChordWeights,
    states: States,
}

impl ChordSearch {
    /// Cuts the take at its strokes and at the notes that are likely at least `least`;
    /// `struck` is in order of time.
    pub(in crate::hearing) fn new(
        sound: &Sound,
        (struck, least): (&[Possible], f32),
        given: &Given,
        chords: ChordWeights,
    ) -> Self {
        let acoustic = &sound.acoustic;
        let sure = struck.iter().filter(|p| p.probability >= least);
        let cuts = cuts(&sound.strokes, sure.map(|p| p.time_s), acoustic);
        let mut cells = Cells::new(acoustic, &cuts, sound.duration_s());
        cells.hear_strings(struck, least);
        let states = States::new(&chords, &given.instrument);
        Self {
            cells,
            chords,
            states,
        }
    }

    /// What every stretch of segments says of every chord, in `keys`, with power chords
    /// favored by their share `fifths`; and the priors by key, and which of them each
    /// segment has.
    fn stretches(&self, keys: &Keys, fifths: f32) -> (Stretches, Vec<KeyPrior>, Vec<usize>) {
        let (mut priors, which) = keys.priors(self.chords.key, &self.cells.bounds_s);
        for prior in &mut priors {
            favor_fifths(prior, fifths * self.chords.fifths);
        }
        let stretches = Stretches::new(&self.cells, &self.states, &self.chords, (&priors, &which));
        (stretches, priors, which)
    }

    /// What every stretch says before anything is known of keys.
    pub(in crate::hearing) fn without_keys(&self) -> Stretches {
        self.stretches(&Keys::default(), 0.0).0
    }

    /// Chords in time, and the keys they are read in: a first search without keys gives the
    /// keys of the second.
    pub(in crate::hearing) fn chords(
        &self,
        without_keys: Stretches,
        grid: &Grid,
        given: &Given,
        temperature: f32,
    ) -> (Vec<HeardSpan>, Keys) {
        let bounds = &self.cells.bounds_s;
        let starts = bounds.iter().map(|t| start_cost(grid, *t, &self.chords));
        let starts: Vec<f32> = starts.collect();
        let first = decode(&without_keys, &self.states, &starts);
        drop(without_keys);
        let keys = given.key.map_or_else(
            || {
                let triads = first
                    .iter()
                    .map(|s| triad_of(s, bounds[s.from], bounds[s.to]));
                let triads: Vec<_> = triads.flatten().collect();
                Keys::along(&triads, &grid.bars, &[])
            },
            Keys::only,
        );
        let lengths = first.iter().map(|s| (*s, bounds[s.to] - bounds[s.from]));
        let lengths: Vec<(Segment, f64)> = lengths.collect();
        let (with_keys, priors, which) = self.stretches(&keys, share_of_fifths(&lengths));
        let segments = decode(&with_keys, &self.states, &starts);
        drop(with_keys);
        let span = |scores: &mut Vec<f32>, segment: &Segment| {
            let Segment { from, to, .. } = *segment;
            let prior = &priors[which[from]];
            score_states(
                &self.cells,
                from,
                to,
                &self.states,
                &self.chords,
                prior,
                scores,
            );
            let key = keys.at(bounds[from]);
            HeardSpan {
                start_s: bounds[from],
                end_s: bounds[to],
                candidates: candidates(&self.states, scores, key, temperature),
                shapes: Vec::new(),
                bass_midi: None,
                chroma: [0.0; 12],
                fragment: false,
            }
        };
        let spans = segments.par_iter().map_init(Vec::new, span).collect();
        (spans, keys)
    }
}

/// Adds to every chord its lowest note and how strongly each pitch class sounds.
pub(in crate::hearing) fn describe(spans: &mut [HeardSpan], acoustic: &Acoustic, notes: &[Note]) {
    for span in spans {
        span.bass_midi = lowest(notes, span.start_s, span.end_s);
        span.chroma = chroma(acoustic, span.start_s, span.end_s);
    }
}

fn lowest(notes: &[Note], start_s: f64, end_s: f64) -> Option<u8> {
    notes
        .iter()
        .filter(|n| n.start_s > start_s - 0.03 && n.start_s < end_s - 0.03)
        .map(|n| n.midi)
        .min()
}

fn chroma(acoustic: &Acoustic, start_s: f64, end_s: f64) -> [f32; 12] {
    let mut sum = [0f32; 12];
    let mut total = 0.0f32;
    for (frame, weight) in frames_in(start_s, end_s, acoustic.n_frames()) {
        total += weight;
        for p in 0..N_PITCHES {
            sum[(p + usize::from(LOWEST_MIDI)) % 12] += weight * acoustic.sounding(frame, p);
        }
    }
    sum.map(|s| (s / total.max(1e-3)).min(1.0))
}

/// The keys that the chords and sections tell together.
pub(in crate::hearing) fn keys_of(spans: &[HeardSpan], bars: &[Bar], sections: &[Section]) -> Keys {
    let triads: Vec<_> = spans
        .iter()
        .filter_map(|s| triad_of_label(&s.candidates[0].0, s.start_s, s.end_s))
        .collect();
    let starts_s: Vec<f64> = sections
        .iter()
        .filter_map(|s| bars.iter().find(|b| b.number == s.first_bar))
        .map(|b| b.start_s)
        .collect();
    Keys::along(&triads, bars, &starts_s)
}

/// Every candidate spelled in the key of its stretch.
pub(in crate::hearing) fn spell(spans: &mut [HeardSpan], keys: &Keys) {
    for span in spans {
        let Some(key) = keys.at(span.start_s) else {
            continue;
        };
        for (label, _, _) in &mut span.candidates {
            *label = key.spell_label(label);
        }
    }
}
