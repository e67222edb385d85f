//! The acoustic stage while the sound still comes: a net that needs no frame to come.
//!
//! It reads spectra whose windows lie at the frames' ends
//! ([`crate::hearing::acoustic::spectrum::Align::End`]), so that what a frame says reaches up to
//! the newest sample, and speaks of the moment [`LATE`] frames before that
//! sample (93 ms: a strum of six strings, and the shortest window that holds a
//! few waves of a low string). It was trained on the same takes as the net for
//! files (docs/training), with the same heads.
//!
//! It comes in two halves, so that each frame is heard once: the first reads
//! the spectra (8 frames before are needed) and folds them to pitch classes,
//! the second reads 60 folded frames before. Both are run without padding; a
//! stream that has just begun has silence before it, as in training.

use crate::hearing::acoustic::net::{
    Acoustic, N_BASSES, N_CLASSES, N_PITCHES, compressed, push_input,
};
use crate::hearing::acoustic::spectrum::{LONG_BINS, N_FFT, RATE, SHORT_BINS, Spectra};
use crate::hearing::acoustic::split_model::Halves;
use crate::hearing::error::HearingError;
use crate::hearing::weight_files::{LIVE_BACK, LIVE_FRONT};
use rten_tensor::NdTensor;
use rten_tensor::prelude::*;
use std::sync::OnceLock;

/// Frames that the net speaks later than it hears.
pub(crate) const LATE: usize = 2;
/// Frames before a frame that the first half reads.
const FRONT_REACH: usize = 8;
/// Folded frames before a frame that the second half reads.
const BACK_REACH: usize = 60;
/// Values of a folded frame: channels × 12 pitch classes.
const CHANNELS: usize = 44;

/// The net, loaded once a process.
fn built_in() -> Result<&'static Halves<2>, HearingError> {
    static NET: OnceLock<Result<Halves<2>, HearingError>> = OnceLock::new();
    NET.get_or_init(|| Halves::load(LIVE_FRONT.bytes(), LIVE_BACK.bytes(), ["long", "short"]))
        .as_ref()
        .map_err(Clone::clone)
}

/// The net in the middle of a stream: what it still needs of the frames before.
pub(crate) struct CausalNet {
    halves: &'static Halves<2>,
    /// The last [`FRONT_REACH`] frames as the first half reads them.
    long: Vec<f32>,
    short: Vec<f32>,
    /// The last [`BACK_REACH`] folded frames, `frame × channel × 12`.
    folded: Vec<f32>,
}

impl CausalNet {
    /// A net that has heard silence.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if the weights do not load: a broken build.
    pub(crate) fn new() -> Result<Self, HearingError> {
        let mut net = Self {
            halves: built_in()?,
            long: vec![0.0; FRONT_REACH * LONG_BINS],
            short: vec![0.0; FRONT_REACH * SHORT_BINS],
            folded: Vec::new(),
        };
        net.long.resize((FRONT_REACH + BACK_REACH) * LONG_BINS, 0.0);
        net.short
            .resize((FRONT_REACH + BACK_REACH) * SHORT_BINS, 0.0);
        net.fold()?;
        Ok(net)
    }

    /// Hears the frames `from..to` of `spectra`, which follow those heard
    /// before, and adds as many frames to `acoustic`.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if inference fails: a broken build.
    pub(crate) fn hear(
        &mut self,
        spectra: &Spectra,
        from: usize,
        to: usize,
        shift_cents: f64,
        peak: f32,
        acoustic: &mut Acoustic,
    ) -> Result<(), HearingError> {
        if from >= to {
            return Ok(());
        }
        for t in from..to {
            let (long, short) = (&mut self.long, &mut self.short);
            push_input(
                spectra,
                t,
                shift_cents,
                |db| compressed(db, peak),
                long,
                short,
            );
        }
        let (struck, sounding) = self.fold()?;
        let n = to - from;
        let [chords, basses, _] = self.read(n)?;
        for t in 0..n {
            acoustic.push_frame(
                &chords[t * N_CLASSES..(t + 1) * N_CLASSES],
                &basses[t * N_BASSES..(t + 1) * N_BASSES],
                &struck[t * N_PITCHES..(t + 1) * N_PITCHES],
                &sounding[t * N_PITCHES..(t + 1) * N_PITCHES],
            );
        }
        Ok(())
    }

    /// Runs the first half over all held input but its context; gives the
    /// logits of struck and sounding pitches.
    fn fold(&mut self) -> Result<(Vec<f32>, Vec<f32>), HearingError> {
        let n_in = self.long.len() / LONG_BINS;
        let n = n_in - FRONT_REACH;
        let keep = |values: &mut Vec<f32>, width: usize| {
            let taken = std::mem::take(values);
            values.extend_from_slice(&taken[(n_in - FRONT_REACH) * width..]);
            taken
        };
        let long = keep(&mut self.long, LONG_BINS);
        let short = keep(&mut self.short, SHORT_BINS);
        let long = NdTensor::from_data([1, n_in, LONG_BINS], long);
        let short = NdTensor::from_data([1, n_in, SHORT_BINS], short);
        let inputs = [long.view().into(), short.view().into()];
        let [folded, struck, sounding] = self.halves.run_front(inputs)?;
        // channel × frame × 12 to frame × channel × 12
        for t in 0..n {
            for c in 0..CHANNELS {
                let at = (c * n + t) * 12;
                self.folded.extend_from_slice(&folded[at..at + 12]);
            }
        }
        Ok((struck, sounding))
    }

    /// Runs the second half for the last `n` folded frames.
    fn read(&mut self, n: usize) -> Result<[Vec<f32>; 3], HearingError> {
        const WIDTH: usize = CHANNELS * 12;
        let n_in = BACK_REACH + n;
        let held = self.folded.len() / WIDTH;
        self.folded.drain(..(held - n_in) * WIDTH);
        let mut input = Vec::with_capacity(n_in * WIDTH);
        for c in 0..CHANNELS {
            for t in 0..n_in {
                let at = (t * CHANNELS + c) * 12;
                input.extend_from_slice(&self.folded[at..at + 12]);
            }
        }
        let input = NdTensor::from_data([1, CHANNELS, n_in, 12], input);
        self.halves.run_back(input.view().into())
    }
}

/// Seconds from the moment that a frame's answer is about to its newest sample.
pub(crate) fn delay_s() -> f64 {
    LATE as f64 * crate::hearing::acoustic::spectrum::HOP_S
}

/// The moment that the answer of frame `t` is about, s from the stream's start.
pub(crate) fn moment_s(t: usize) -> f64 {
    t as f64 * crate::hearing::acoustic::spectrum::HOP_S + (N_FFT / 2) as f64 / f64::from(RATE)
        - delay_s()
}
