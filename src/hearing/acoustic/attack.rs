//! When strings are struck: spectral flux on a fine grid.
//!
//! A 1024-point transform every 256 samples (11.6 ms); the rise of the
//! log-magnitude in 24 bands is the attack strength. Bands below 200 Hz are
//! also summed apart (a bass note or a drum).
//!
//! # Source
//! Bello et al., "A tutorial on onset detection in music signals", IEEE TSAP
//! 13 (2005), section III.B (spectral difference); Böck and Widmer, "Maximum
//! filter vibrato suppression for onset detection", DAFx 2013 (the maximum
//! over neighboring bands of the earlier frame).

use crate::hearing::acoustic::spectrum::{RATE, is_silent};
use realfft::{RealFftPlanner, RealToComplex, num_complex::Complex32};
use std::sync::Arc;

/// Samples from one value to the next.
pub(crate) const FINE_HOP: usize = 256;
/// Seconds from one value to the next.
pub(crate) const FINE_HOP_S: f64 = FINE_HOP as f64 / RATE as f64;
const N: usize = 1024;
const N_BANDS: usize = 24;
/// How many fine frames back the rise is taken.
const LAG: usize = 2;

/// Attack strength over time, a value every 256 samples, centered.
#[derive(Debug, Clone, Default)]
pub(crate) struct Attacks {
    /// Rise over all bands.
    pub(crate) flux: Vec<f32>,
    /// Rise below 200 Hz.
    pub(crate) low: Vec<f32>,
    /// Rise above 3 kHz (picks, hi-hats).
    pub(crate) high: Vec<f32>,
}

pub(crate) struct AttackStage {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    edges: Vec<usize>,
    input: Vec<f32>,
    output: Vec<Complex32>,
    scratch: Vec<Complex32>,
    past: [[f32; N_BANDS]; LAG],
    seen: usize,
    n_low: usize,
    first_high: usize,
}

impl AttackStage {
    pub(crate) const N: usize = N;

    pub(crate) fn new() -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(N);
        let window = (0..N)
            .map(|i| 0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / N as f32).cos())
            .collect();
        // band edges from 60 Hz to 10 kHz, evenly in log frequency, at least one bin wide
        let bin = |hz: f64| hz * N as f64 / f64::from(RATE);
        let mut edges = vec![2usize];
        for b in 1..=N_BANDS {
            let hz = 60.0 * (10_000.0f64 / 60.0).powf(b as f64 / N_BANDS as f64);
            let last = edges[edges.len() - 1];
            edges.push((bin(hz).round() as usize).max(last + 1));
        }
        let n_low = edges[1..]
            .iter()
            .filter(|e| (**e as f64) <= bin(220.0))
            .count();
        let first_high = edges[..N_BANDS]
            .iter()
            .filter(|e| (**e as f64) < bin(3000.0))
            .count();
        Self {
            scratch: fft.make_scratch_vec(),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            fft,
            window,
            edges,
            past: [[0.0; N_BANDS]; LAG],
            seen: 0,
            n_low,
            first_high,
        }
    }

    /// Adds the value of these 1024 samples.
    pub(crate) fn frame(&mut self, samples: &[f32], to: &mut Attacks) {
        if is_silent(samples) {
            // nothing rises
            self.past[self.seen % LAG] = [0.0; N_BANDS];
            self.seen += 1;
            for values in [&mut to.flux, &mut to.low, &mut to.high] {
                values.push(0.0);
            }
            return;
        }
        for ((x, s), w) in self.input.iter_mut().zip(samples).zip(&self.window) {
            *x = s * w;
        }
        let done =
            self.fft
                .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch);
        debug_assert!(done.is_ok());
        let mut now = [0f32; N_BANDS];
        for (b, level) in now.iter_mut().enumerate() {
            let bins = &self.output[self.edges[b]..self.edges[b + 1]];
            let sum: f32 = bins.iter().map(|c| c.norm_sqr()).sum();
            *level = (1.0 + 30.0 * (sum / bins.len() as f32).sqrt()).ln();
        }
        let before = &self.past[self.seen % LAG];
        let (mut flux, mut low, mut high) = (0.0, 0.0, 0.0);
        for b in 0..N_BANDS {
            let around = before[b.saturating_sub(1)..(b + 2).min(N_BANDS)]
                .iter()
                .copied()
                .fold(0.0, f32::max);
            let rise = (now[b] - around).max(0.0);
            flux += rise;
            if b < self.n_low {
                low += (now[b] - before[b]).max(0.0);
            }
            if b >= self.first_high {
                high += rise;
            }
        }
        self.past[self.seen % LAG] = now;
        self.seen += 1;
        to.flux.push(if self.seen <= LAG { 0.0 } else { flux });
        to.low.push(if self.seen <= LAG { 0.0 } else { low });
        to.high.push(if self.seen <= LAG { 0.0 } else { high });
    }
}
