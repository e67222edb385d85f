//! The acoustic stage: what sounds, frame by frame, by a small trained net.
//!
//! The net reads both spectra of [`crate::hearing::acoustic::spectrum`] (shifted to the take's
//! tuning, scaled to its loudness, compressed, laid over themselves by
//! [`crate::hearing::acoustic::stacked`]) and says for each frame how
//! likely each chord, bass and pitch class is, and which pitches are struck
//! and sound. How it was trained, on what, and where it fails: docs/training.
//! It runs in chunks with enough context on both sides that the chunking
//! cannot be seen in the result, on as many threads as rayon's pool has.
//!
//! Everything the musical stage learns about the sound stands in
//! [`Acoustic`], so that either stage can be replaced and measured alone.

use crate::hearing::acoustic::packed_rows::{PackedRows, Reader};
use crate::hearing::acoustic::rows::{Rows, SparseRows};
use crate::hearing::acoustic::spectrum::{
    FLOOR_DB, LONG_BINS, LONG_MARGIN, LOUDEST_DB, SHORT_BINS, SHORT_MARGIN, Spectra,
};
use crate::hearing::acoustic::split_model::Halves;
use crate::hearing::acoustic::stacked::{LAYERS, WIDTH, stacked};
use crate::hearing::error::HearingError;
use crate::hearing::weight_files::{FILE_BACK, FILE_FRONT};
use crate::theory::N_NET;
use rten_tensor::NdTensor;
use rten_tensor::prelude::*;
use std::ops::Range;
use std::sync::{Arc, OnceLock};

/// Chord qualities the net knows ([`crate::theory::Quality::of_net_class`]); class = quality × 12 + root.
pub(crate) const N_QUALITIES: usize = N_NET;
/// Chord classes with "no chord" as the last.
pub(crate) const N_CLASSES: usize = N_QUALITIES * 12 + 1;
/// Index of "no chord".
pub(crate) const NO_CHORD: usize = N_CLASSES - 1;
/// Bass classes: twelve pitch classes and none.
pub(crate) const N_BASSES: usize = 13;
/// Pitches the net tells apart: MIDI 28 (E1) to 91 (G6).
pub(crate) const N_PITCHES: usize = 64;
/// MIDI note of pitch 0.
pub(crate) const LOWEST_MIDI: u8 = 28;

/// Steps of a natural logarithm that one unit of a byte stands for.
pub(crate) const LOG_STEP: f32 = 1.0 / 12.0;

/// Most frames in a chunk without its context.
const CHUNK: usize = 1024;
/// Frames of context on both sides of a chunk: the reach of the back, and a little.
const CONTEXT: usize = 64;
/// Frames that the front reads at a time: few, so that its layers stay in the
/// processor's cache and in memory that is used again.
const BLOCK: usize = 64;
/// Frames of context on both sides of a block: the reach of the front.
const BLOCK_CONTEXT: usize = 4;

/// What the acoustic stage says of each frame (46.4 ms), as bytes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Acoustic {
    /// -ln p in twelfths.
    chords: PackedRows<N_CLASSES>,
    /// -ln p in twelfths.
    basses: Rows<N_BASSES>,
    /// Of each of the [`N_PITCHES`], p in 255ths.
    struck: SparseRows,
    /// Of each of the [`N_PITCHES`], p in 255ths.
    sounding: SparseRows,
}

impl Acoustic {
    /// Number of frames.
    pub(crate) fn n_frames(&self) -> usize {
        self.struck.n_rows()
    }

    /// What is said of chords, to be read one frame after the other.
    pub(crate) fn chords(&self) -> LnChords<'_> {
        LnChords(self.chords.reader())
    }

    /// ln p of every bass pitch class (12 = none) in a frame.
    pub(crate) fn ln_basses(&self, frame: usize) -> impl ExactSizeIterator<Item = f32> + '_ {
        let row = self.basses.row(frame).iter();
        row.map(|b| -f32::from(*b) * LOG_STEP)
    }

    /// Probability that a pitch (0 = MIDI 28) is struck in a frame.
    pub(crate) fn struck(&self, frame: usize, pitch: usize) -> f32 {
        f32::from(self.struck.at(frame, pitch)) / 255.0
    }

    /// Probability that a pitch (0 = MIDI 28) sounds in a frame.
    pub(crate) fn sounding(&self, frame: usize, pitch: usize) -> f32 {
        f32::from(self.sounding.at(frame, pitch)) / 255.0
    }

    /// The pitches that may be struck in a frame, with their probabilities.
    pub(crate) fn struck_in(&self, frame: usize) -> impl Iterator<Item = (usize, f32)> + '_ {
        let all = self.struck.filled(frame);
        all.map(|(pitch, byte)| (pitch, f32::from(byte) / 255.0))
    }

    /// Adds a frame: logits of chords, basses, struck and sounding pitches.
    pub(crate) fn push_frame(
        &mut self,
        chords: &[f32],
        basses: &[f32],
        struck: &[f32],
        sounding: &[f32],
    ) {
        self.chords.push_with(|row| log_softmax(chords, row));
        self.basses.push_with(|row| log_softmax(basses, row));
        self.struck.push(in_255ths(struck));
        self.sounding.push(in_255ths(sounding));
    }

    /// Lets go of the first frames; those after them count from 0 again.
    pub(crate) fn forget(&mut self, n_frames: usize) {
        self.chords.forget(n_frames);
        self.basses.forget(n_frames);
        self.struck.forget(n_frames);
        self.sounding.forget(n_frames);
    }

    /// Adds the frames of a chunk.
    pub(crate) fn append(&mut self, chunk: &Chunk) {
        self.chords.push_all(&chunk.chords);
        self.basses.push_all(&chunk.basses);
        self.struck.push_all::<N_PITCHES>(&chunk.struck);
        self.sounding.push_all::<N_PITCHES>(&chunk.sounding);
    }
}

/// Reads what a net says of chords.
pub(crate) struct LnChords<'a>(Reader<'a, N_CLASSES>);

impl<'a> LnChords<'a> {
    /// Of rows of -ln p in twelfths.
    pub(crate) fn of(rows: &'a PackedRows<N_CLASSES>) -> Self {
        Self(rows.reader())
    }

    /// ln p of every chord class in a frame.
    pub(crate) fn all(&mut self, frame: usize) -> impl ExactSizeIterator<Item = f32> + '_ {
        let row = self.0.row(frame).iter();
        row.map(|b| -f32::from(*b) * LOG_STEP)
    }

    /// ln p of a chord class in a frame.
    pub(crate) fn one(&mut self, frame: usize, class: usize) -> f32 {
        -f32::from(self.0.row(frame)[class]) * LOG_STEP
    }
}

/// The net: the front hears notes and folds them to pitch classes, the back hears
/// chords over seconds.
pub(crate) struct Net(Halves<1>);

impl Net {
    /// The built-in net, loaded once a process.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if the weights do not load: a broken build.
    pub(crate) fn built_in() -> Result<&'static Self, HearingError> {
        static NET: OnceLock<Result<Net, HearingError>> = OnceLock::new();
        // on a thread of its own: a rayon thread that waits for the loading
        // might take up other work meanwhile and wait here for itself
        let load = || {
            let (front, back) = (FILE_FRONT.bytes(), FILE_BACK.bytes());
            std::thread::spawn(|| Halves::load(front, back, ["stacked"]).map(Net))
                .join()
                .unwrap_or_else(|_| {
                    Err(HearingError::Model {
                        reason: "loading it panicked".into(),
                    })
                })
        };
        NET.get_or_init(load).as_ref().map_err(Clone::clone)
    }

    /// Hears all frames in one block and one chunk: what [`Chunks`] must equal.
    #[cfg(test)]
    pub(crate) fn at_once(
        &self,
        spectra: &Spectra,
        shift_cents: f64,
    ) -> Result<Acoustic, HearingError> {
        let (n, peak) = (spectra.n_frames(), loudness(spectra));
        let mut all = Acoustic::default();
        all.append(&self.chunk(spectra, 0..n, n, shift_cents, peak)?);
        Ok(all)
    }

    /// Hears the frames `frames` by themselves and what they need around
    /// them, in blocks of `n_block` frames.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if inference fails: a broken build.
    fn chunk(
        &self,
        spectra: &Spectra,
        frames: Range<usize>,
        n_block: usize,
        shift_cents: f64,
        peak: f32,
    ) -> Result<Chunk, HearingError> {
        let (n_frames, start, end) = (spectra.n_frames(), frames.start, frames.end);
        let wide = around(start, end, CONTEXT, n_frames);
        let read = around(wide.start, wide.end, BLOCK_CONTEXT, n_frames);
        let mut long = Vec::with_capacity(read.len() * LONG_BINS);
        let mut short = Vec::with_capacity(read.len() * SHORT_BINS);
        let compressed = table(peak);
        for t in read.clone() {
            push_input(spectra, t, shift_cents, &compressed, &mut long, &mut short);
        }
        let n = wide.len();
        let mut folded = Vec::new();
        let (mut struck, mut sounding) = (Vec::new(), Vec::new());
        for from in wide.clone().step_by(n_block) {
            let to = (from + n_block).min(wide.end);
            let block = around(from, to, BLOCK_CONTEXT, n_frames);
            let (a, b) = (block.start - read.start, block.end - read.start);
            let layers = stacked(
                &long[a * LONG_BINS..b * LONG_BINS],
                &short[a * SHORT_BINS..b * SHORT_BINS],
            );
            let input = NdTensor::from_data([1, LAYERS, block.len(), WIDTH], layers);
            let [fold, hit, ring] = self.0.run_front([input.view().into()])?;
            let kept = from - block.start..to - block.start;
            place(
                &mut folded,
                n,
                from - wide.start,
                &fold,
                block.len(),
                kept.clone(),
            );
            let notes = kept.start * N_PITCHES..kept.end * N_PITCHES;
            struck.extend_from_slice(&hit[notes.clone()]);
            sounding.extend_from_slice(&ring[notes]);
        }
        let folded = NdTensor::from_data([1, folded.len() / (n * 12), n, 12], folded);
        let [chords, basses, _] = self.0.run_back(folded.view().into())?;
        let mut part = Chunk::default();
        for t in start - wide.start..end - wide.start {
            log_softmax(
                &chords[t * N_CLASSES..(t + 1) * N_CLASSES],
                &mut part.chords,
            );
            log_softmax(&basses[t * N_BASSES..(t + 1) * N_BASSES], &mut part.basses);
            let pitches = t * N_PITCHES..(t + 1) * N_PITCHES;
            part.struck.extend(in_255ths(&struck[pitches.clone()]));
            part.sounding.extend(in_255ths(&sounding[pitches]));
        }
        Ok(part)
    }
}

/// What the net says of the frames of a chunk, in one piece each: small pieces that stay would lie
/// between the large ones that a net frees, on its thread.
#[derive(Debug, Clone, Default)]
pub(crate) struct Chunk {
    chords: Vec<u8>,
    basses: Vec<u8>,
    struck: Vec<u8>,
    sounding: Vec<u8>,
}

/// A take as chunks to be heard.
pub(crate) struct Chunks<'a> {
    net: &'a Net,
    spectra: &'a Spectra,
    shift_cents: f64,
    peak: f32,
    /// Frames of each but the last.
    length: usize,
    /// What is heard in a whole chunk of silence.
    silence: OnceLock<Arc<Chunk>>,
}

impl<'a> Chunks<'a> {
    /// Of a take whose tuning is off by `shift_cents`: as many for each thread, so that none waits
    /// for another's last.
    pub(crate) fn new(
        net: &'a Net,
        spectra: &'a Spectra,
        shift_cents: f64,
        n_threads: usize,
    ) -> Self {
        let n = spectra.n_frames();
        let n_chunks = n.div_ceil(CHUNK).next_multiple_of(n_threads);
        Self {
            net,
            spectra,
            shift_cents,
            peak: loudness(spectra),
            length: n.div_ceil(n_chunks).max(CHUNK / 4),
            silence: OnceLock::new(),
        }
    }

    /// How many.
    pub(crate) fn n(&self) -> usize {
        self.spectra.n_frames().div_ceil(self.length)
    }

    /// Hears one.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if inference fails: a broken build.
    pub(crate) fn hear(&self, chunk: usize) -> Result<Arc<Chunk>, HearingError> {
        const AROUND: usize = CONTEXT + BLOCK_CONTEXT;
        let (n, start) = (self.spectra.n_frames(), chunk * self.length);
        let frames = start..(start + self.length).min(n);
        let read = around(frames.start, frames.end, AROUND, n);
        // all chunks inside the take in which nothing is heard, nor around them, are alike
        let is_silent =
            read.len() == self.length + 2 * AROUND && self.spectra.are_silent(read.clone());
        if let Some(silence) = self.silence.get().filter(|_| is_silent) {
            return Ok(Arc::clone(silence));
        }
        let (shift_cents, peak) = (self.shift_cents, self.peak);
        let heard = (self.net).chunk(self.spectra, frames, BLOCK, shift_cents, peak)?;
        let heard = Arc::new(heard);
        if is_silent {
            // another thread may have been sooner, with the same
            let _ = self.silence.set(Arc::clone(&heard));
        }
        Ok(heard)
    }
}

/// Frames from one to before another and those around them, of so many.
fn around(start: usize, end: usize, context: usize, n_frames: usize) -> Range<usize> {
    start.saturating_sub(context)..(end + context).min(n_frames)
}

/// Frees a large piece of memory that was never touched, after which glibc's allocator keeps what
/// the net frees after each block instead of giving it back and asking for it anew, which took a
/// twentieth of a draft (mallopt(3): its threshold follows the largest piece freed). Other
/// allocators do not mind.
pub(crate) fn keep_freed_memory() {
    const BYTES: usize = 16 << 20;
    drop(std::hint::black_box(Vec::<u8>::with_capacity(BYTES)));
}

/// Puts the frames `kept` of a block's folded frames (`channel × n_block × 12`)
/// at frame `at` of a chunk's (`channel × n × 12`).
fn place(
    all: &mut Vec<f32>,
    n: usize,
    at: usize,
    block: &[f32],
    n_block: usize,
    kept: std::ops::Range<usize>,
) {
    let channels = block.len() / (n_block * 12);
    all.resize(channels * n * 12, 0.0);
    for c in 0..channels {
        let from = &block[(c * n_block + kept.start) * 12..(c * n_block + kept.end) * 12];
        let to = (c * n + at) * 12;
        all[to..to + from.len()].copy_from_slice(from);
    }
}

/// Appends a frame of both spectra as a net reads it: shifted to the take's tuning, then each
/// level in decibels made what `compressed` says ([`compressed`] itself, or its [`table`]).
pub(crate) fn push_input(
    spectra: &Spectra,
    t: usize,
    shift_cents: f64,
    compressed: impl Fn(f32) -> f32,
    long: &mut Vec<f32>,
    short: &mut Vec<f32>,
) {
    let (a, b) = (spectra.long_db(t), spectra.short_db(t));
    let (by, third) = (shift_cents * 0.01, shift_cents * 0.03);
    long.extend(shifted(a, LONG_MARGIN, LONG_BINS, third).map(&compressed));
    short.extend(shifted(b, SHORT_MARGIN, SHORT_BINS, by).map(&compressed));
}

/// Reference loudness: the 97th percentile over frames of the strongest bin's magnitude.
pub(crate) fn loudness(spectra: &Spectra) -> f32 {
    let mut peaks: Vec<f32> = (0..spectra.n_frames())
        .map(|t| frame_peak_db(spectra, t))
        .collect();
    reference(&mut peaks)
}

/// Decibels of a frame's strongest bin.
pub(crate) fn frame_peak_db(spectra: &Spectra, frame: usize) -> f32 {
    spectra
        .long_db(frame)
        .skip(LONG_MARGIN)
        .take(LONG_BINS)
        .fold(f32::MIN, f32::max)
}

/// The 97th percentile of the frames' peaks as a magnitude; sorts them.
pub(crate) fn reference(peaks_db: &mut [f32]) -> f32 {
    if peaks_db.is_empty() {
        return 1e-9;
    }
    peaks_db.sort_by(f32::total_cmp);
    let at = ((peaks_db.len() - 1) as f64 * 0.97).round() as usize;
    10f32.powf(peaks_db[at] / 20.0) + 1e-9
}

/// Levels of a short spectrum without its margins, shifted to a take's tuning.
pub(crate) fn shifted_short(
    db: impl Iterator<Item = f32>,
    shift_cents: f64,
) -> impl Iterator<Item = f32> {
    shifted(db, SHORT_MARGIN, SHORT_BINS, shift_cents * 0.01)
}

/// A spectrum without its margins, shifted by a part of a bin (linear in decibels).
fn shifted(
    db: impl Iterator<Item = f32>,
    margin: usize,
    n_bins: usize,
    shift_bins: f64,
) -> impl Iterator<Item = f32> {
    let at = (margin as f64 + shift_bins).max(0.0);
    let (first, part) = (at.floor() as usize, at.fract() as f32);
    let levels = db.skip(first).take(n_bins + 1).collect::<Vec<f32>>();
    (0..n_bins).map(move |k| {
        let low = k.min(levels.len() - 2);
        levels[low] * (1.0 - part) + levels[low + 1] * part
    })
}

/// A level in decibels as the nets were trained to read it, for a take of that loudness.
pub(crate) fn compressed(level_db: f32, peak: f32) -> f32 {
    let magnitude = 10f32.powf(level_db / 20.0);
    (100.0 * magnitude / peak).ln_1p() / 101f32.ln()
}

/// [`compressed`] looked up within a fortieth of a decibel, which no net can tell:
/// a file has many levels and one loudness.
pub(crate) fn table(peak: f32) -> impl Fn(f32) -> f32 {
    const STEPS_PER_DB: f32 = 20.0;
    let n = ((LOUDEST_DB - FLOOR_DB) * STEPS_PER_DB) as usize;
    let values: Vec<f32> = (0..=n)
        .map(|i| compressed(i as f32 / STEPS_PER_DB + FLOOR_DB, peak))
        .collect();
    move |level| {
        let i = ((level - FLOOR_DB) * STEPS_PER_DB + 0.5) as usize;
        values[i.min(n)]
    }
}

pub(crate) fn log_softmax(x: &[f32], out: &mut Vec<u8>) {
    let top = x.iter().copied().fold(f32::MIN, f32::max);
    let sum: f32 = x.iter().map(|v| (v - top).exp()).sum();
    let norm = top + sum.ln();
    out.extend(
        x.iter()
            .map(|v| ((norm - v) / LOG_STEP).round().clamp(0.0, 255.0) as u8),
    );
}

/// Probabilities of logits, in 255ths.
pub(crate) fn in_255ths(logits: &[f32]) -> impl Iterator<Item = u8> + '_ {
    let probability = |x: &f32| (255.0 / (1.0 + (-x).exp())).round() as u8;
    logits.iter().map(probability)
}
