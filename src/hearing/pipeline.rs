//! The table of stages: from a take's sound to everything heard in it.

use crate::fretboard::Instrument;
use crate::hearing::acoustic::low_end::standing_out_db;
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::doubts::{counted_otherwise, doubts, gaps, set_up_otherwise};
use crate::hearing::form::sections::{Form, Played};
use crate::hearing::harmony::keys::Keys;
use crate::hearing::harmony::labels::without_basses;
use crate::hearing::harmony::reasons::give_reasons;
use crate::hearing::harmony::song_level::song_level;
use crate::hearing::harmony::sparse::{silence, with_plucks};
use crate::hearing::harmony::stage::{ChordSearch, describe, keys_of, spell};
use crate::hearing::notes::events::{Possible, notes, possible};
use crate::hearing::notes::pitches::{Pitches, heard_notes};
use crate::hearing::outputs::{Given, HeardSpan, Hearing, Note, Section, Strum};
use crate::hearing::rhythm::count::Count;
use crate::hearing::rhythm::grid::Grid;
use crate::hearing::rhythm::stage::beats_and_bars;
use crate::hearing::rhythm::strum_events::strums;
use crate::hearing::voicing::fit::capo;
use crate::hearing::voicing::fit::{Heard, fit_shapes};
use crate::hearing::voicing::strums::{Playing, judge_strums};
use crate::hearing::weights::Weights;
use crate::theory::Label;
use rayon::prelude::*;

/// Reads a take's sound.
pub fn interpret(sound: &Sound, given: &Given, weights: &Weights) -> Hearing {
    read(sound, Struck::of(sound, weights), given, weights)
}

/// [`interpret`] for the last time: lets go of the sound piece by piece, which takes a third less
/// memory.
pub fn interpret_once(mut sound: Sound, given: &Given, weights: &Weights) -> Hearing {
    let struck = Struck::of(&sound, weights);
    sound.forget_spectra();
    read(&sound, struck, given, weights)
}

fn read(sound: &Sound, struck: Struck, given: &Given, weights: &Weights) -> Hearing {
    let Some(mut first) = FirstPasses::of(sound, struck, given, weights) else {
        return nothing(sound);
    };
    // second pass over the notes: the strings of a strum, now that the shape is known
    let mut struck = std::mem::take(&mut first.struck);
    judge_strums(
        &mut struck,
        &first.playing(sound, given),
        weights.notes.struck,
    );
    let notes = notes(sound, &struck, &weights.notes);
    let sections = first.sections(weights);
    // second pass over the keys, now that the sections are known
    if given.key.is_none() {
        first.keys = keys_of(first.chords(), &first.grid.bars, &sections);
        spell(&mut first.detail.spans, &first.keys);
        if let Some(song) = &mut first.song {
            spell(&mut song.spans, &first.keys);
        }
    }
    first.finish(sound, given, weights, (notes, sections))
}

/// What is read of the spectra; nothing after it looks at them.
pub(in crate::hearing) struct Struck {
    /// Every moment where a string may have been struck, in order of time.
    possible: Vec<Possible>,
    notes: Vec<Note>,
    /// How far the lowest strings stand out, dB.
    low_end_db: f32,
}

impl Struck {
    pub(in crate::hearing) fn of(sound: &Sound, weights: &Weights) -> Self {
        let mut possible = possible(sound, &weights.notes);
        let notes = notes(sound, &possible, &weights.notes);
        possible.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        Self {
            possible,
            notes,
            low_end_db: standing_out_db(&sound.front.spectra),
        }
    }
}

/// What the first passes of the stages from notes to voicing hear.
pub(in crate::hearing) struct FirstPasses {
    /// Every moment where a string may have been struck, in order of time.
    pub(in crate::hearing) struck: Vec<Possible>,
    notes: Vec<Note>,
    count: Option<Count>,
    grid: Grid,
    /// How far strokes keep to the beats, 0 to 1.
    kept: f64,
    keys: Keys,
    /// Every harmony that sounds, and how surely each pitch was heard in each.
    detail: Voiced,
    /// What a lead sheet says; none where it is the detail.
    song: Option<Voiced>,
    strums: Vec<Strum>,
}

/// Chords with their shapes.
struct Voiced {
    spans: Vec<HeardSpan>,
    pitches: Vec<Pitches>,
}

impl Voiced {
    /// Gives chords their lowest notes, their pitch classes and their shapes.
    fn of(
        mut spans: Vec<HeardSpan>,
        sound: &Sound,
        (struck, notes): (&[Possible], &[Note]),
        given: &Given,
        weights: &Weights,
    ) -> Self {
        if !given.instrument.tuning.has_bass() {
            spans = without_basses(spans);
        }
        describe(&mut spans, &sound.acoustic, notes);
        let pitches = voice(&mut spans, sound, struck, given, weights);
        Self { spans, pitches }
    }

    /// The capo or tuning that they suggest; none where the user said how the guitar is set up.
    fn suggested(&self, given: &Given, weights: &Weights) -> Option<Instrument> {
        if given.is_set_up || given.instrument != Instrument::default() {
            return None;
        }
        capo::suggested(&heard(&self.spans, &self.pitches), &weights.fit)
    }

    fn explain(&mut self, keys: &Keys) {
        for (span, pitches) in self.spans.iter_mut().zip(&self.pitches) {
            give_reasons(span, pitches, keys.at(span.start_s));
        }
    }
}

impl FirstPasses {
    /// None where no note was struck.
    pub(in crate::hearing) fn of(
        sound: &Sound,
        struck: Struck,
        given: &Given,
        weights: &Weights,
    ) -> Option<Self> {
        let Struck {
            possible: struck,
            notes,
            low_end_db,
        } = struck;
        if notes.is_empty() {
            return None;
        }
        let chords = weights.chords.clone().hearing_bass(low_end_db);
        let search = ChordSearch::new(sound, (&struck, weights.notes.struck), given, chords);
        // before anything is known of keys, chords wait for the bars only in the end
        let ((count, mut grid), without_keys) = rayon::join(
            || beats_and_bars(sound, given, &weights.beats, &notes),
            || search.without_keys(),
        );
        // before downbeats are moved to strokes
        let kept = grid.kept(&notes);
        let (spans, keys) = search.chords(without_keys, &grid, given, weights.temperature);
        drop(search);
        let spans = with_plucks(spans, sound, &notes, &grid, &keys, &weights.plucks);
        grid = on_chords(grid, given, &spans);
        let voiced = |spans| Voiced::of(spans, sound, (&struck, &notes), given, weights);
        let detail = voiced(spans);
        let beats_s: Vec<f64> = grid.beats.iter().map(|b| b.0).collect();
        let strums = strums(&sound.songs.pulse, &sound.strokes);
        let song = song_level(&sound.songs, &detail.spans, (&beats_s, &strums), &keys);
        let song = (!is_same(&song, &detail.spans)).then(|| voiced(song));
        Some(Self {
            struck,
            notes,
            count,
            grid,
            kept,
            keys,
            detail,
            song,
            strums,
        })
    }

    /// What the judging of strums looks at.
    pub(in crate::hearing) fn playing<'a>(
        &'a self,
        sound: &'a Sound,
        given: &'a Given,
    ) -> Playing<'a> {
        Playing {
            acoustic: &sound.acoustic,
            strokes: &sound.strokes,
            beats: &self.grid.beats,
            spans: &self.detail.spans,
            instrument: &given.instrument,
        }
    }

    /// The chords at song level.
    fn chords(&self) -> &[HeardSpan] {
        &self.song.as_ref().unwrap_or(&self.detail).spans
    }

    fn sections(&self, weights: &Weights) -> Vec<Section> {
        let compound = self.count.as_ref().is_some_and(|c| c.compound);
        let played = Played {
            bars: &self.grid.bars,
            spans: self.chords(),
            notes: &self.notes,
            keys: &self.keys,
            divisions: if compound { 3 } else { 2 },
        };
        Form::sketched(&played).sections(&weights.sections)
    }

    fn finish(
        mut self,
        sound: &Sound,
        given: &Given,
        weights: &Weights,
        (notes, sections): (Vec<Note>, Vec<Section>),
    ) -> Hearing {
        self.detail.explain(&self.keys);
        if let Some(song) = &mut self.song {
            song.explain(&self.keys);
        }
        let mut warnings = doubts(sound, self.count.as_ref());
        if given.beats_s.is_empty() {
            warnings.extend(gaps(self.chords(), &notes, &self.grid, self.kept));
        }
        let played = self.song.as_ref().unwrap_or(&self.detail);
        let suggested = played.suggested(given, weights);
        let counted = self.count.as_ref().and_then(counted_otherwise);
        let set_up = suggested.as_ref().map(set_up_otherwise);
        let (chords, detail) = match self.song {
            Some(song) => (song.spans, self.detail.spans),
            None => (self.detail.spans, Vec::new()),
        };
        Hearing {
            duration_s: sound.duration_s(),
            tuning_cents: sound.front.tuning.map_or(0.0, |t| t.0),
            tempo_bpm: self.grid.tempo_bpm,
            meter: given.meter.or(self.grid.meter),
            key: self.keys.first,
            key_changes: self.keys.changes,
            beats: self.grid.beats,
            sections,
            bars: self.grid.bars,
            chords,
            detail,
            strums: self.strums,
            notes,
            suggested,
            choices: counted.into_iter().chain(set_up).collect(),
            warnings,
        }
    }
}

/// Whether both levels have the same chords at the same times.
fn is_same(song: &[HeardSpan], detail: &[HeardSpan]) -> bool {
    song.len() == detail.len()
        && song
            .iter()
            .zip(detail)
            .all(|(a, b)| a.start_s == b.start_s && a.candidates[0].0 == b.candidates[0].0)
}

/// Second pass over the grid: without bars before the first chord and after the last, and
/// with downbeats on the chords that start there.
fn on_chords(mut grid: Grid, given: &Given, spans: &[HeardSpan]) -> Grid {
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
    grid
}

/// Gives every chord the shapes that fit its notes best; returns how surely each pitch was
/// heard in each.
fn voice(
    spans: &mut [HeardSpan],
    sound: &Sound,
    struck: &[Possible],
    given: &Given,
    weights: &Weights,
) -> Vec<Pitches> {
    let judged = weights.fit.judged;
    let pitches: Vec<_> = spans
        .par_iter()
        .map(|s| heard_notes(&sound.acoustic, struck, (s.start_s, s.end_s), judged))
        .collect();
    let shapes = fit_shapes(&given.instrument, &heard(spans, &pitches), &weights.fit);
    for (span, shapes) in spans.iter_mut().zip(shapes) {
        span.shapes = shapes;
    }
    pitches
}

/// Chords with what was heard in each, for the fit of shapes.
fn heard<'a>(spans: &'a [HeardSpan], pitches: &[Pitches]) -> Vec<Heard<'a>> {
    let each = spans.iter().zip(pitches);
    each.map(|(s, pitches)| Heard {
        label: &s.candidates[0].0,
        pitches: *pitches,
        seconds: s.end_s - s.start_s,
    })
    .collect()
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
        detail: Vec::new(),
        strums: Vec::new(),
        notes: Vec::new(),
        suggested: None,
        choices: Vec::new(),
        warnings: Vec::new(),
    }
}
