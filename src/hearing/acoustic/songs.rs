//! The song net: what a lead sheet would say, and beats and strums, frame by frame.
//!
//! It reads the long spectrum of each frame and the short one twice as often, hears about 12 s
//! each way, and was trained on takes whose players brush strings, ornament, push and rest while
//! the label stays the sheet's chord (docs/training/songnet.py, train_songs.py). Its frames:
//! *fine* ones of 23.2 ms, and *slow* ones of four fine frames (92.9 ms), for which chords are reported.

use crate::hearing::acoustic::net::{
    LOG_STEP, LnChords, N_BASSES, N_CLASSES, N_PITCHES, in_255ths, log_softmax, loudness,
    push_input, shifted_short, table,
};
use crate::hearing::acoustic::packed_rows::PackedRows;
use crate::hearing::acoustic::rows::{Rows, SparseRows};
use crate::hearing::acoustic::spectrum::{Between, LONG_BINS, RATE, SHORT_BINS, Spectra};
use crate::hearing::acoustic::split_model::{broken, nodes, run_net};
use crate::hearing::acoustic::stacked::{
    LONG_LAYERS, SHORT_LAYERS, WIDTH, stacked_long, stacked_short,
};
use crate::hearing::error::HearingError;
use crate::hearing::weight_files::{SONGS_BACK, SONGS_FRONT, SONGS_PULSE, WeightFile};
use rten::{Model, NodeId};
use rten_tensor::NdTensor;
use rten_tensor::prelude::*;
use std::sync::{Arc, OnceLock};

/// Seconds from one fine frame to the next.
pub(crate) const FINE_S: f64 = 512.0 / RATE as f64;
/// Fine frames in a slow one.
pub(crate) const FINE_IN_SLOW: usize = 4;
/// Seconds from one slow frame to the next.
pub(crate) const SLOW_S: f64 = FINE_S * FINE_IN_SLOW as f64;
/// Frames of the spectra in a slow frame.
const HALF_IN_SLOW: usize = 2;

/// Most slow frames that are heard at a time, without their context.
const CHUNK: usize = 1536;
/// Slow frames of context on both sides: the reach of chords, and most of that of beats.
const CONTEXT: usize = 192;
/// Slow frames that the front reads at a time.
const BLOCK: usize = 32;
/// Slow frames of context on both sides of a block: the reach of the front.
const BLOCK_CONTEXT: usize = 2;

/// What is told of each fine frame, as probabilities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pulse {
    /// A beat.
    pub(crate) beat: f32,
    /// A downbeat.
    pub(crate) downbeat: f32,
    /// The first string of a strum.
    pub(crate) strum: f32,
    /// If it is a strum, that it goes up.
    pub(crate) up: f32,
}

/// What the song net says of a take.
#[derive(Debug, Clone, Default)]
pub(crate) struct Songs {
    /// Of slow frames, -ln p in twelfths.
    chords: PackedRows<N_CLASSES>,
    /// Of slow frames, -ln p in twelfths.
    basses: Rows<N_BASSES>,
    /// Of fine frames and [`N_PITCHES`], probabilities that a string was struck, in 255ths.
    struck: SparseRows,
    /// Of each fine frame.
    pub(crate) pulse: Vec<Pulse>,
}

impl Songs {
    /// Number of slow frames.
    pub(crate) fn n_slow(&self) -> usize {
        self.basses.n_rows()
    }

    /// What is said of the song's chord in each slow frame.
    pub(crate) fn chords(&self) -> LnChords<'_> {
        LnChords::of(&self.chords)
    }

    /// How likely a pitch is struck within two fine frames of a time.
    pub(crate) fn struck_near(&self, time_s: f64, pitch: usize) -> f32 {
        const REACH: usize = 2;
        let n = self.struck.n_rows();
        let at = (time_s / FINE_S).round().max(0.0) as usize;
        let near = at.saturating_sub(REACH).min(n)..(at + REACH + 1).min(n);
        near.map(|t| self.struck_at(t, pitch)).fold(0.0, f32::max)
    }

    fn struck_at(&self, frame: usize, pitch: usize) -> f32 {
        f32::from(self.struck.at(frame, pitch)) / 255.0
    }

    /// Lets go of the strings that were struck.
    pub(crate) fn forget_struck(&mut self) {
        self.struck = SparseRows::default();
    }

    /// Adds what is said of the frames after them.
    pub(crate) fn append(&mut self, chunk: &SongChunk) {
        self.chords.push_all(&chunk.chords);
        self.basses.push_all(&chunk.basses);
        self.struck.push_all::<N_PITCHES>(&chunk.struck);
        self.pulse.extend(&chunk.pulse);
    }

    /// ln p of the song's bass in a slow frame: twelve pitch classes and none.
    pub(crate) fn ln_bass(&self, frame: usize, bass: usize) -> f32 {
        -f32::from(self.basses.row(frame)[bass]) * LOG_STEP
    }
}

/// What the net says of the frames of a chunk, in one piece each.
#[derive(Default)]
pub(crate) struct SongChunk {
    chords: Vec<u8>,
    basses: Vec<u8>,
    struck: Vec<u8>,
    pulse: Vec<Pulse>,
}

/// The trained net, in the three parts that docs/training/export_songs.py writes.
pub(crate) struct SongNet {
    front: Model,
    back: Model,
    pulse: Model,
    front_inputs: [NodeId; 2],
    front_outputs: [NodeId; 3],
    back_input: NodeId,
    back_outputs: [NodeId; 3],
    pulse_inputs: [NodeId; 2],
    pulse_output: NodeId,
}

impl SongNet {
    /// The built-in net, loaded once a process.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if the weights do not load: a broken build.
    pub(crate) fn built_in() -> Result<&'static Self, HearingError> {
        static NET: OnceLock<Result<SongNet, HearingError>> = OnceLock::new();
        // on a thread of its own, as the other net is loaded
        let load = || {
            std::thread::spawn(Self::load)
                .join()
                .unwrap_or_else(|_| Err(broken("loading it panicked".into())))
        };
        NET.get_or_init(load).as_ref().map_err(Clone::clone)
    }

    fn load() -> Result<Self, HearingError> {
        let load = |file: &WeightFile| {
            Model::load_static_slice(file.bytes()).map_err(|e| broken(e.to_string()))
        };
        let (front, back, pulse) = (load(&SONGS_FRONT)?, load(&SONGS_BACK)?, load(&SONGS_PULSE)?);
        Ok(Self {
            front_inputs: nodes(&front, ["long", "short"])?,
            front_outputs: nodes(&front, ["fold", "bands", "struck"])?,
            back_input: nodes(&back, ["fold"])?[0],
            back_outputs: nodes(&back, ["chord", "bass", "mean"])?,
            pulse_inputs: nodes(&pulse, ["bands", "mean"])?,
            pulse_output: nodes(&pulse, ["pulse"])?[0],
            front,
            back,
            pulse,
        })
    }

    /// What is said of the slow frames `kept` of `n`.
    fn chunk(
        &self,
        sound: &Input<'_>,
        kept: std::ops::Range<usize>,
        n: usize,
    ) -> Result<SongChunk, HearingError> {
        let mut all = SongChunk::default();
        let wide = kept.start.saturating_sub(CONTEXT)..(kept.end + CONTEXT).min(n);
        let Fronts {
            fold,
            bands,
            struck,
        } = self.fronts(sound, wide.clone(), n)?;
        let (first, last) = (kept.start - wide.start, kept.end - wide.start);
        let fine_row = FINE_IN_SLOW * N_PITCHES;
        all.struck
            .extend_from_slice(&struck[first * fine_row..last * fine_row]);
        drop(struck);
        let slow = wide.len();
        let channels = fold.len() / (slow * 12);
        let fold = NdTensor::from_data([1, channels, slow, 12], fold);
        let inputs = vec![(self.back_input, fold.view().into())];
        let [chords, basses, mean] = run_net(&self.back, inputs, self.back_outputs)?;
        drop(fold);
        let fine = slow * FINE_IN_SLOW;
        let bands = NdTensor::from_data([1, bands.len() / fine, fine], bands);
        let mean = NdTensor::from_data([1, mean.len() / slow, slow], mean);
        let inputs = vec![
            (self.pulse_inputs[0], bands.view().into()),
            (self.pulse_inputs[1], mean.view().into()),
        ];
        let [pulse] = run_net(&self.pulse, inputs, [self.pulse_output])?;
        for t in kept.start - wide.start..kept.end - wide.start {
            let (chords, basses) = (
                &chords[t * N_CLASSES..(t + 1) * N_CLASSES],
                &basses[t * N_BASSES..(t + 1) * N_BASSES],
            );
            log_softmax(chords, &mut all.chords);
            log_softmax(basses, &mut all.basses);
            for k in t * FINE_IN_SLOW..(t + 1) * FINE_IN_SLOW {
                let p = |row: usize| 1.0 / (1.0 + (-pulse[row * fine + k]).exp());
                all.pulse.push(Pulse {
                    beat: p(0),
                    downbeat: p(1),
                    strum: p(2),
                    up: p(3),
                });
            }
        }
        Ok(all)
    }

    /// What the front says of the slow frames `wide` of `n`.
    fn fronts(
        &self,
        sound: &Input<'_>,
        wide: std::ops::Range<usize>,
        n: usize,
    ) -> Result<Fronts, HearingError> {
        let mut all = Fronts::default();
        for from in wide.clone().step_by(BLOCK) {
            let to = (from + BLOCK).min(wide.end);
            let read = from.saturating_sub(BLOCK_CONTEXT)..(to + BLOCK_CONTEXT).min(n);
            let (long, short) = sound.layers(read.clone());
            let half = read.len() * HALF_IN_SLOW;
            let long = NdTensor::from_data([1, LONG_LAYERS, half, WIDTH], long);
            let short = NdTensor::from_data([1, SHORT_LAYERS, 2 * half, WIDTH], short);
            let inputs = vec![
                (self.front_inputs[0], long.view().into()),
                (self.front_inputs[1], short.view().into()),
            ];
            let [fold, bands, struck] = run_net(&self.front, inputs, self.front_outputs)?;
            let (skip, at) = (from - read.start, from - wide.start);
            let kept = skip..skip + to - from;
            for (rows, width, all) in [
                (&fold, 12, &mut all.fold),
                (&bands, FINE_IN_SLOW, &mut all.bands),
            ] {
                copy_rows(rows, read.len(), kept.clone(), width, all, wide.len(), at);
            }
            let row = FINE_IN_SLOW * N_PITCHES;
            let logits = &struck[kept.start * row..kept.end * row];
            all.struck.extend(in_255ths(logits));
        }
        Ok(all)
    }
}

/// A take as chunks to be heard.
pub(crate) struct SongChunks<'a> {
    net: &'a SongNet,
    sound: Input<'a>,
    /// Slow frames.
    n_slow: usize,
    /// What is heard in a whole chunk of silence.
    silence: OnceLock<Arc<SongChunk>>,
}

impl<'a> SongChunks<'a> {
    /// Of a take whose tuning is off by `shift_cents`.
    pub(crate) fn new(
        net: &'a SongNet,
        spectra: &'a Spectra,
        between: &'a Between,
        shift_cents: f64,
    ) -> Self {
        Self {
            net,
            sound: Input {
                spectra,
                between,
                shift_cents,
                level: Box::new(table(loudness(spectra))),
            },
            n_slow: spectra.n_frames().div_ceil(HALF_IN_SLOW),
            silence: OnceLock::new(),
        }
    }

    /// How many.
    pub(crate) fn n(&self) -> usize {
        self.n_slow.div_ceil(CHUNK)
    }

    /// Hears one.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if inference fails: a broken build.
    pub(crate) fn hear(&self, chunk: usize) -> Result<Arc<SongChunk>, HearingError> {
        let (n, start) = (self.n_slow, chunk * CHUNK);
        let kept = start..(start + CHUNK).min(n);
        let is_silent = self.sound.is_silent(&kept, n);
        if let Some(silence) = self.silence.get().filter(|_| is_silent) {
            return Ok(Arc::clone(silence));
        }
        let heard = Arc::new(self.net.chunk(&self.sound, kept, n)?);
        if is_silent {
            // another thread may have been sooner, with the same
            let _ = self.silence.set(Arc::clone(&heard));
        }
        Ok(heard)
    }
}

/// What the front says of slow frames.
#[derive(Default)]
struct Fronts {
    /// `channel × slow × 12`.
    fold: Vec<f32>,
    /// `channel × fine`.
    bands: Vec<f32>,
    /// `fine × N_PITCHES`, in 255ths.
    struck: Vec<u8>,
}

/// What the net reads.
struct Input<'a> {
    spectra: &'a Spectra,
    between: &'a Between,
    shift_cents: f64,
    /// A level in decibels as the net reads it.
    level: Box<dyn Fn(f32) -> f32 + Sync + 'a>,
}

impl Input<'_> {
    /// Whether the slow frames `kept` of `n` are a whole chunk inside the take, and nothing is
    /// heard in it or around it: then all such chunks are alike.
    fn is_silent(&self, kept: &std::ops::Range<usize>, n: usize) -> bool {
        const AROUND: usize = CONTEXT + BLOCK_CONTEXT;
        let is_inside = kept.len() == CHUNK && kept.start >= AROUND && kept.end + AROUND < n;
        is_inside && {
            let frames = (kept.start - AROUND) * HALF_IN_SLOW..(kept.end + AROUND) * HALF_IN_SLOW;
            let ends = frames.end <= self.between.n_frames();
            ends && self.spectra.are_silent(frames.clone()) && self.between.are_silent(frames)
        }
    }

    /// Layers of the long and the short spectrum for these slow frames; silence beyond the take.
    fn layers(&self, slow: std::ops::Range<usize>) -> (Vec<f32>, Vec<f32>) {
        let frames = slow.start * HALF_IN_SLOW..slow.end * HALF_IN_SLOW;
        let mut long = Vec::with_capacity(frames.len() * LONG_BINS);
        let mut short = Vec::with_capacity(2 * frames.len() * SHORT_BINS);
        let level = &self.level;
        for t in frames {
            if t < self.spectra.n_frames() {
                push_input(
                    self.spectra,
                    t,
                    self.shift_cents,
                    level,
                    &mut long,
                    &mut short,
                );
            } else {
                long.resize(long.len() + LONG_BINS, 0.0);
                short.resize(short.len() + SHORT_BINS, 0.0);
            }
            if t < self.between.n_frames() {
                let db = self.between.short_db(t);
                short.extend(shifted_short(db, self.shift_cents).map(level));
            } else {
                short.resize(short.len() + SHORT_BINS, 0.0);
            }
        }
        (stacked_long(&long), stacked_short(&short))
    }
}

/// Copies the slow frames `kept` of rows of `n` frames to frame `at` of rows of `n_all`, each
/// frame `width` values.
fn copy_rows(
    rows: &[f32],
    n: usize,
    kept: std::ops::Range<usize>,
    width: usize,
    all: &mut Vec<f32>,
    n_all: usize,
    at: usize,
) {
    let channels = rows.len() / (n * width);
    all.resize(channels * n_all * width, 0.0);
    for c in 0..channels {
        let from = &rows[(c * n + kept.start) * width..(c * n + kept.end) * width];
        let to = (c * n_all + at) * width;
        all[to..to + from.len()].copy_from_slice(from);
    }
}
