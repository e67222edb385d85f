//! The musical stage: from what sounds to what it means.

use crate::hearing::acoustic::front::Front;
use crate::hearing::acoustic::low_end::standing_out_db;
use crate::hearing::acoustic::net::{Acoustic, LOWEST_MIDI, N_PITCHES};
use crate::hearing::doubts::{doubts, gaps};
use crate::hearing::form::search::SectionWeights;
use crate::hearing::form::sections::{Form, Played};
use crate::hearing::harmony::chords::{
    ChordWeights, Segment, States, Stretches, decode, score_states,
};
use crate::hearing::harmony::keys::{
    Keys, favor_fifths, share_of_fifths, triad_of, triad_of_label,
};
use crate::hearing::harmony::labels::candidates;
use crate::hearing::harmony::plucks::PluckWeights;
use crate::hearing::harmony::reasons::give_reasons;
use crate::hearing::harmony::segments::{Cells, Stroke, cuts, frames_in};
use crate::hearing::harmony::sparse::{silence, with_plucks};
use crate::hearing::notes::events::{Note, NoteWeights, notes, possible};
use crate::hearing::reading::{Bar, Given, HeardSpan, Hearing, Section, WhichBar};
use crate::hearing::rhythm::bars::{Count, count, recount};
use crate::hearing::rhythm::beats::BeatWeights;
use crate::hearing::rhythm::clock::on_strokes;
use crate::hearing::rhythm::grid::Grid;
use crate::hearing::rhythm::pulse::moments;
use crate::hearing::voicing::fit::{FitWeights, Heard, fit_shapes, heard_notes};
use crate::hearing::voicing::strums::{OfStrum, Playing, judge_strums};
use crate::theory::Label;
use rayon::prelude::*;

/// All weights of the musical stage; docs/hearing.md says what each was fitted on.
#[derive(Debug, Clone)]
pub struct Weights {
    /// Of the search for beats.
    pub beats: BeatWeights,
    /// Of the search for chords.
    pub chords: ChordWeights,
    /// Of the reading of notes.
    pub notes: NoteWeights,
    /// Of the reading of plucks.
    pub plucks: PluckWeights,
    /// Of the fit of shapes.
    pub fit: FitWeights,
    /// Of the search for sections.
    pub sections: SectionWeights,
    /// Of candidates: how far scores are flattened into probabilities.
    pub temperature: f32,
}

impl Default for Weights {
    fn default() -> Self {
        Self {
            beats: BeatWeights::default(),
            chords: ChordWeights::default(),
            notes: NoteWeights::default(),
            plucks: PluckWeights::default(),
            fit: FitWeights::default(),
            sections: SectionWeights::default(),
            temperature: 4.5,
        }
    }
}

/// What one pass over a take left: the acoustic stage's result and the attacks.
pub struct Sound {
    pub(crate) front: Front,
    pub(crate) acoustic: Acoustic,
    pub(crate) strokes: Vec<Stroke>,
}

impl Sound {
    /// Length of the take, s.
    pub fn duration_s(&self) -> f64 {
        self.front.n_samples as f64 / f64::from(crate::hearing::acoustic::spectrum::RATE)
    }
}

/// Reads a take's sound.
pub fn interpret(sound: &Sound, given: &Given, weights: &Weights) -> Hearing {
    interpret_telling(sound, given, weights, &mut |_| {})
}

/// The same; `tell` is told what is judged of each strum.
pub(crate) fn interpret_telling(
    sound: &Sound,
    given: &Given,
    weights: &Weights,
    tell: &mut dyn FnMut(&OfStrum),
) -> Hearing {
    let duration_s = sound.duration_s();
    let acoustic = &sound.acoustic;
    let mut struck = possible(sound, &weights.notes);
    let heard = notes(sound, &struck, &weights.notes);
    struck.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    if heard.is_empty() {
        return nothing(sound);
    }
    let least = weights.notes.struck;
    let sure = struck.iter().filter(|p| p.probability >= least);
    let cuts = cuts(&sound.strokes, sure.map(|p| p.time_s), acoustic);
    let mut cells = Cells::new(acoustic, &cuts, duration_s);
    cells.hear_strings(&struck, least);
    let chords = weights
        .chords
        .clone()
        .hearing_bass(standing_out_db(&sound.front.spectra));
    let states = States::new(&chords, &given.instrument);
    let stretches = |keys: &Keys, fifths: f32| {
        let (mut priors, which) = keys.priors(chords.key, &cells.bounds_s);
        for prior in &mut priors {
            favor_fifths(prior, fifths * chords.fifths);
        }
        let stretches = Stretches::new(&cells, &states, &chords, (&priors, &which));
        (stretches, priors, which)
    };
    // before anything is known of keys, chords wait for the bars only in the end
    let ((counted, mut grid), (without_keys, ..)) = rayon::join(
        || beats_and_bars(sound, given, weights, &heard),
        || stretches(&Keys::default(), 0.0),
    );
    // before downbeats are moved to strokes
    let kept = grid.kept(&heard);
    let starts: Vec<f32> = cells
        .bounds_s
        .iter()
        .map(|t| grid.start_cost(*t, &chords))
        .collect();
    let lengths = |segments: &[Segment]| -> Vec<(Segment, f64)> {
        segments
            .iter()
            .map(|s| (*s, cells.bounds_s[s.to] - cells.bounds_s[s.from]))
            .collect()
    };
    let first = decode(&without_keys, &states, &starts);
    drop(without_keys);
    let mut keys = given.key.map_or_else(
        || {
            let (bounds, of) = (&cells.bounds_s, triad_of);
            let triads = first.iter().map(|s| of(s, bounds[s.from], bounds[s.to]));
            let triads: Vec<_> = triads.flatten().collect();
            Keys::along(&triads, &grid.bars, &[])
        },
        Keys::only,
    );
    let (with_keys, priors, which) = stretches(&keys, share_of_fifths(&lengths(&first)));
    let segments = decode(&with_keys, &states, &starts);
    drop(with_keys);

    let span = |scores: &mut Vec<f32>, segment: &Segment| {
        let Segment { from, to, .. } = *segment;
        let start_s = cells.bounds_s[from];
        let prior = &priors[which[from]];
        score_states(&cells, from, to, &states, &chords, prior, scores);
        HeardSpan {
            start_s,
            end_s: cells.bounds_s[to],
            candidates: candidates(&states, scores, keys.at(start_s), weights.temperature),
            shapes: Vec::new(),
            bass_midi: None,
            chroma: [0.0; 12],
            fragment: false,
        }
    };
    let spans = segments.par_iter().map_init(Vec::new, span).collect();
    let mut spans = with_plucks(spans, sound, &heard, &grid, &keys, &weights.plucks);
    let sounding = || spans.iter().filter(|s| s.candidates[0].0 != Label::NoChord);
    if let (true, Some(first), Some(last)) = (
        given.beats_s.is_empty(),
        sounding().next(),
        sounding().next_back(),
    ) {
        // a first downbeat by the user's word stays
        let starts_s = match given.first_downbeat_s {
            Some(_) => 0.0,
            None => first.start_s,
        };
        grid.trim(starts_s, last.end_s);
        grid.align(spans.iter().skip(1).map(|s| s.start_s));
    }
    for span in &mut spans {
        span.bass_midi = lowest(&heard, span.start_s, span.end_s);
        span.chroma = chroma(acoustic, span.start_s, span.end_s);
    }
    let pitches: Vec<_> = spans
        .par_iter()
        .map(|s| heard_notes(acoustic, &struck, (s.start_s, s.end_s), &weights.fit))
        .collect();
    let to_fit: Vec<Heard<'_>> = spans
        .iter()
        .zip(&pitches)
        .map(|(s, pitches)| Heard {
            label: &s.candidates[0].0,
            pitches: *pitches,
            seconds: s.end_s - s.start_s,
        })
        .collect();
    let shapes = fit_shapes(&given.instrument, &to_fit, &weights.fit);
    drop(to_fit);
    for (span, shapes) in spans.iter_mut().zip(shapes) {
        span.shapes = shapes;
    }
    let playing = Playing {
        acoustic,
        strokes: &sound.strokes,
        beats: &grid.beats,
        spans: &spans,
        instrument: &given.instrument,
    };
    judge_strums(&mut struck, &playing, least, tell);
    let told = notes(sound, &struck, &weights.notes);
    let played = Played {
        bars: &grid.bars,
        spans: &spans,
        notes: &heard,
        keys: &keys,
        divisions: match counted.as_ref().is_some_and(|c| c.compound) {
            true => 3,
            false => 2,
        },
    };
    let sections = Form::sketched(&played).sections(&weights.sections);
    if given.key.is_none() {
        keys = keys_of(&spans, &grid.bars, &sections);
        spell(&mut spans, &keys);
    }
    for (span, pitches) in spans.iter_mut().zip(&pitches) {
        give_reasons(span, pitches, keys.at(span.start_s));
    }
    let mut warnings = doubts(sound, counted.as_ref());
    if given.beats_s.is_empty() {
        warnings.extend(gaps(&spans, &grid, kept));
    }
    Hearing {
        duration_s,
        tuning_cents: sound.front.tuning.map_or(0.0, |t| t.0),
        tempo_bpm: grid.tempo_bpm,
        meter: given.meter.or(grid.meter),
        key: keys.first,
        key_changes: keys.changes,
        beats: grid.beats,
        sections,
        bars: grid.bars,
        chords: spans,
        notes: told,
        warnings,
    }
}

/// The keys that the chords and sections tell together.
fn keys_of(spans: &[HeardSpan], bars: &[Bar], sections: &[Section]) -> Keys {
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
fn spell(spans: &mut [HeardSpan], keys: &Keys) {
    for span in spans {
        let Some(key) = keys.at(span.start_s) else {
            continue;
        };
        for (label, _, _) in &mut span.candidates {
            *label = key.spell_label(label);
        }
    }
}

/// The count and the grid, with what the user said of single bars.
fn beats_and_bars(
    sound: &Sound,
    given: &Given,
    weights: &Weights,
    notes: &[Note],
) -> (Option<Count>, Grid) {
    let moments = moments(sound);
    let mut counted = count(&moments, notes, given, &weights.beats);
    if let (true, Some(counted)) = (given.beats_s.is_empty(), &mut counted) {
        counted.beats_s = on_strokes(&counted.beats_s, &sound.strokes);
    }
    let mut grid =
        crate::hearing::rhythm::grid::grid(counted.as_ref(), given, notes, sound.duration_s());
    let mut fixed: Vec<(f64, u8)> = Vec::new();
    for (which, n_beats) in &given.bar_beats {
        let at_s = match which {
            WhichBar::At(at_s) => Some(*at_s),
            WhichBar::Number(n) => grid.bars.iter().find(|b| b.number == *n).map(|b| b.start_s),
        };
        let (Some(at_s), Some(before)) = (at_s, &counted) else {
            continue;
        };
        fixed.push((at_s, *n_beats));
        let now = recount(before, &moments, given, &fixed);
        grid = crate::hearing::rhythm::grid::grid(Some(&now), given, notes, sound.duration_s());
        counted = Some(now);
    }
    (counted, grid)
}

/// A take in which no note was struck.
fn nothing(sound: &Sound) -> Hearing {
    let duration_s = sound.duration_s();
    Hearing {
        duration_s,
        tuning_cents: 0.0,
        tempo_bpm: None,
        meter: None,
        key: None,
        key_changes: Vec::new(),
        beats: Vec::new(),
        bars: Vec::new(),
        sections: Vec::new(),
        chords: silence(0.0, duration_s).into_iter().collect(),
        notes: Vec::new(),
        warnings: Vec::new(),
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
