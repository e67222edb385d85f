//! Samples to log-frequency spectra: the acoustic stage's input.
//!
//! 22,050 Hz mono in, a frame every 1024 samples (46.4 ms), frame `t` centered
//! on sample `1024 t`, ends padded with silence. One 8192-point transform a
//! frame; from it two spectra by sparse kernels in the frequency domain, each
//! kernel a Hann-windowed complex tone centered in the frame:
//!
//! * long: 36 bins an octave from C1 (32.70 Hz), 252 bins and a margin of 14
//!   on both sides; window `min(8192, 36 fs / f)` samples. Tells low E from F
//!   (4.9 Hz apart) by their partials.
//! * short: 12 bins an octave from C1, 84 bins and a margin of 5 on both
//!   sides; window `12 fs / f` within 256 to 2730 samples (at most 0.12 s).
//!   Tells when a low note starts.
//!
//! Live, every kernel lies at the frame's end instead (`Align::End`): what is
//! known of the last moment then does not wait for the longest window.
//!
//! Values are kept as decibels in half-decibel steps of one byte, so that ten
//! minutes take 5 MB; of digital silence next to nothing is kept.
//!
//! # Source
//! Brown and Puckette, "An efficient algorithm for the calculation of a
//! constant Q transform", JASA 92 (1992): kernels in the frequency domain.

use crate::hearing::acoustic::rows::Rows;
use realfft::{RealFftPlanner, RealToComplex, num_complex::Complex32};
use std::sync::Arc;

/// Sample rate of everything in this room, Hz.
pub const RATE: u32 = 22_050;
/// Samples from one frame to the next.
pub const HOP: usize = 1024;
/// Points of the transform.
pub const N_FFT: usize = 8192;
/// Seconds from one frame to the next.
pub const HOP_S: f64 = HOP as f64 / RATE as f64;

/// C1, Hz: bin 0 of both spectra.
const LOWEST_HZ: f64 = 32.703_195_66;
/// Bins of the long spectrum without margins: seven octaves of 36.
pub const LONG_BINS: usize = 252;
/// Margin on both sides of the long spectrum, so that it can be shifted to the take's tuning.
pub const LONG_MARGIN: usize = 14;
/// Bins of the short spectrum without margins: seven octaves of 12.
pub const SHORT_BINS: usize = 84;
/// Margin on both sides of the short spectrum.
pub const SHORT_MARGIN: usize = 5;
const LONG_ALL: usize = LONG_BINS + 2 * LONG_MARGIN;
const SHORT_ALL: usize = SHORT_BINS + 2 * SHORT_MARGIN;
/// Bytes that one frame is kept in.
const FRAME_BYTES: usize = LONG_ALL + SHORT_ALL;

/// Decibels of byte 0, of one step, and of the last byte.
pub(crate) const FLOOR_DB: f32 = -115.0;
const STEP_DB: f32 = 0.5;
pub(crate) const LOUDEST_DB: f32 = FLOOR_DB + 255.0 * STEP_DB;

/// Parts of a kernel weaker than this share of its strongest are dropped.
const KERNEL_CUT: f32 = 0.004;

/// Where in the frame the kernels lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    /// In its middle: for files.
    Middle,
    /// At its end: for what is just being played.
    End,
}

/// One bin's kernel: a run of weights over transform bins.
///
/// A window that is symmetric about the frame's middle sample has a real
/// spectrum but for the sign `(-1)^bin` that moves the frame's start to its
/// middle; one that lies elsewhere is turned in the complex plane.
struct Kernel {
    first: usize,
    weights: Vec<f32>,
    /// Imaginary parts; empty for a kernel in the middle.
    turned: Vec<f32>,
}

impl Kernel {
    /// The spectrum of a Hann-windowed tone of `hz` over `n` samples (even),
    /// scaled so that a sine of amplitude 1 gives magnitude 1.
    ///
    /// A periodic Hann window is three terms of its cosine series, and each
    /// term's spectrum is a Dirichlet kernel.
    fn new(hz: f64, n: usize) -> Self {
        Self::over(hz, n, N_FFT)
    }

    /// The same for a transform of `n_fft` points.
    fn over(hz: f64, n: usize, n_fft: usize) -> Self {
        use std::f64::consts::TAU;
        // samples from -(n/2 - 1) to n/2 - 1: the window's first sample is zero
        let half_terms = n as f64 / 2.0 - 0.5;
        let dirichlet = |theta: f64| {
            let wrapped = theta.rem_euclid(TAU);
            if wrapped.min(TAU - wrapped) < 1e-12 {
                return 2.0 * half_terms;
            }
            (half_terms * theta).sin() / (theta / 2.0).sin()
        };
        let window = |theta: f64| {
            let step = TAU / n as f64;
            0.5 * dirichlet(theta) + 0.25 * (dirichlet(theta - step) + dirichlet(theta + step))
        };
        // the window sums to n/2
        let scale = 4.0 / n as f64 / n_fft as f64;
        let center = hz / f64::from(RATE) * n_fft as f64;
        // beyond six window widths every part is under the cut
        let reach = 6.0 * n_fft as f64 / n as f64;
        let first = (center - reach).floor().max(0.0) as usize;
        let last = ((center + reach).ceil() as usize).min(n_fft / 2);
        let weights: Vec<f32> = (first..=last)
            .map(|b| {
                let theta = TAU * (b as f64 / n_fft as f64) - TAU * hz / f64::from(RATE);
                let sign = if b % 2 == 0 { 1.0 } else { -1.0 };
                (sign * scale * window(theta)) as f32
            })
            .collect();
        let peak = weights.iter().map(|w| w.abs()).fold(0.0, f32::max);
        let kept = |w: &f32| w.abs() >= KERNEL_CUT * peak;
        let a = weights.iter().position(kept).unwrap_or(0);
        let b = weights.iter().rposition(kept).unwrap_or(0);
        Self {
            first: first + a,
            weights: weights[a..=b]
                .iter()
                .map(|w| if kept(w) { *w } else { 0.0 })
                .collect(),
            turned: Vec::new(),
        }
    }

    /// The kernel moved `samples` later in the frame (the shift theorem).
    fn later(mut self, samples: usize) -> Self {
        let turn = std::f64::consts::TAU * samples as f64 / N_FFT as f64;
        let angle = |i: usize| turn * (self.first + i) as f64;
        let parts = self.weights.iter().enumerate();
        self.turned = parts
            .clone()
            .map(|(i, w)| w * angle(i).sin() as f32)
            .collect();
        self.weights = parts.map(|(i, w)| w * angle(i).cos() as f32).collect();
        self
    }

    /// Squared magnitude of the bin in a spectrum given as real and imaginary parts.
    fn power(&self, re: &[f32], im: &[f32]) -> f32 {
        let n = self.weights.len();
        let (re, im) = (
            &re[self.first..self.first + n],
            &im[self.first..self.first + n],
        );
        // eight running sums, so that the compiler can use vector registers
        let (mut sr, mut si) = ([0f32; 8], [0f32; 8]);
        let weights = self.weights.chunks_exact(8);
        let (re8, im8) = (re.chunks_exact(8), im.chunks_exact(8));
        let rest = weights
            .remainder()
            .iter()
            .zip(re8.remainder())
            .zip(im8.remainder());
        for ((w, r), _) in rest.clone() {
            sr[0] += w * r;
        }
        for ((w, _), i) in rest {
            si[0] += w * i;
        }
        for ((w, r), i) in weights.zip(re8).zip(im8) {
            for l in 0..8 {
                sr[l] += w[l] * r[l];
                si[l] += w[l] * i[l];
            }
        }
        let (mut r, mut i) = (sr.iter().sum::<f32>(), si.iter().sum::<f32>());
        for ((w, x), y) in self.turned.iter().zip(re).zip(im) {
            r -= w * y;
            i += w * x;
        }
        r * r + i * i
    }
}

fn even(n: f64) -> usize {
    let n = n as usize;
    n + n % 2
}

/// Frequency (Hz) and window (samples) of a bin of the short spectrum, its margin counted.
fn short_window(bin: usize) -> (f64, usize) {
    let hz = LOWEST_HZ * ((bin as f64 - SHORT_MARGIN as f64) / 12.0).exp2();
    let n = even((12.0 * f64::from(RATE) / hz).clamp(256.0, 2730.0));
    (hz, n)
}

/// The kernels of both spectra.
pub(crate) struct Kernels {
    long: Vec<Kernel>,
    short: Vec<Kernel>,
}

impl Kernels {
    /// Makes them; a few milliseconds.
    pub(crate) fn new(align: Align) -> Self {
        let rate = f64::from(RATE);
        let kernel = |hz: f64, n: usize| match align {
            Align::Middle => Kernel::new(hz, n),
            Align::End => Kernel::new(hz, n).later((N_FFT - n) / 2),
        };
        let long = (0..LONG_ALL)
            .map(|k| {
                let hz = LOWEST_HZ * ((k as f64 - LONG_MARGIN as f64) / 36.0).exp2();
                kernel(hz, even((36.0 * rate / hz).min(N_FFT as f64)))
            })
            .collect();
        let short = (0..SHORT_ALL)
            .map(|k| {
                let (hz, n) = short_window(k);
                kernel(hz, n)
            })
            .collect();
        Self { long, short }
    }
}

/// Frames of both spectra, kept as bytes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Spectra {
    rows: Rows<FRAME_BYTES>,
}

impl Spectra {
    /// Frames as they are kept: of each the long spectrum, then the short.
    #[cfg(test)]
    pub(crate) fn from_bytes(bytes: Vec<u8>) -> Self {
        let mut rows = Rows::default();
        rows.push(bytes);
        Self { rows }
    }

    /// Number of frames.
    pub fn n_frames(&self) -> usize {
        self.rows.n_rows()
    }

    /// Whether nothing at all is heard in these frames.
    pub(crate) fn are_silent(&self, mut frames: std::ops::Range<usize>) -> bool {
        frames.all(|t| self.rows.row(t).iter().all(|b| *b == 0))
    }

    /// Decibels of a frame's long spectrum with margins (280 values).
    pub fn long_db(&self, frame: usize) -> impl ExactSizeIterator<Item = f32> + '_ {
        self.part(frame, 0, LONG_ALL)
    }

    /// Decibels of a frame's short spectrum with margins (94 values).
    pub fn short_db(&self, frame: usize) -> impl ExactSizeIterator<Item = f32> + '_ {
        self.part(frame, LONG_ALL, SHORT_ALL)
    }

    /// Decibels of one bin of a frame's long spectrum, margins counted; none beyond them.
    pub(crate) fn long_at(&self, frame: usize, bin: usize) -> Option<f32> {
        (bin < LONG_ALL).then(|| decibels(self.rows.row(frame)[bin]))
    }

    /// Decibels of one bin of a frame's short spectrum, margins counted; none beyond them.
    pub(crate) fn short_at(&self, frame: usize, bin: usize) -> Option<f32> {
        (bin < SHORT_ALL).then(|| decibels(self.rows.row(frame)[LONG_ALL + bin]))
    }

    /// Of two that took blocks of frames in turns ([`crate::hearing::acoustic::rows::BLOCK`]).
    pub(crate) fn in_turns(both: [Self; 2]) -> Self {
        Self {
            rows: Rows::in_turns(both.map(|one| one.rows)),
        }
    }

    /// Lets go of the first frames; those after them count from 0 again.
    pub(crate) fn forget(&mut self, n_frames: usize) {
        self.rows.forget(n_frames);
    }

    fn part(&self, frame: usize, skip: usize, n: usize) -> impl ExactSizeIterator<Item = f32> + '_ {
        let row = &self.rows.row(frame)[skip..skip + n];
        row.iter().map(|b| decibels(*b))
    }

    /// Adds a frame without any sound.
    pub(crate) fn push_silence(&mut self) {
        self.rows.push([0; FRAME_BYTES]);
    }
}

/// Whether all samples are 0, which a transform need not find out.
pub(crate) fn is_silent(samples: &[f32]) -> bool {
    samples.iter().all(|x| *x == 0.0)
}

/// The byte that a squared magnitude is kept as.
fn byte(power: f32) -> u8 {
    const DB_PER_OCTAVE: f32 = 3.010_3;
    let db = DB_PER_OCTAVE * log2(power + 1e-18);
    ((db - FLOOR_DB) / STEP_DB + 0.5).clamp(0.0, 255.0) as u8
}

fn decibels(byte: u8) -> f32 {
    f32::from(byte) * STEP_DB + FLOOR_DB
}

/// Logarithm to base 2 of a positive normal number within 0.0011: far more
/// than enough for half-decibel steps, and much cheaper than `f32::log2`.
///
/// The exponent is read from the number's bits; the mantissa's logarithm is a
/// parabola that is exact at 1 and 2 (ours, fitted by least squares).
fn log2(x: f32) -> f32 {
    let bits = x.to_bits();
    let exponent = (bits >> 23) as i32 - 127;
    let mantissa = f32::from_bits(bits & 0x007f_ffff | 0x3f80_0000);
    let m = mantissa - 1.0;
    exponent as f32 + m * (1.0 + (1.0 - m) * (0.420_9 - 0.156_4 * m))
}

/// A transform with its buffers, and its last result as kernels read it.
struct Transform {
    fft: Arc<dyn RealToComplex<f32>>,
    scratch: Vec<Complex32>,
    input: Vec<f32>,
    output: Vec<Complex32>,
    re: Vec<f32>,
    im: Vec<f32>,
}

impl Transform {
    fn new(n_fft: usize) -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(n_fft);
        Self {
            scratch: fft.make_scratch_vec(),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            re: vec![0.0; n_fft / 2 + 1],
            im: vec![0.0; n_fft / 2 + 1],
            fft,
        }
    }

    /// Transforms as many samples as it has points.
    fn of(&mut self, samples: &[f32]) {
        self.input.copy_from_slice(samples);
        // lengths are those the plan asked for
        let done =
            self.fft
                .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch);
        debug_assert!(done.is_ok());
        for (i, c) in self.output.iter().enumerate() {
            self.re[i] = c.re;
            self.im[i] = c.im;
        }
    }

    /// Squared magnitude of a kernel's bin in what was transformed last.
    fn power(&self, kernel: &Kernel) -> f32 {
        kernel.power(&self.re, &self.im)
    }
}

/// Turns a stream of samples into [`Spectra`].
pub(crate) struct SpectrumStage {
    kernels: Arc<Kernels>,
    transform: Transform,
}

impl SpectrumStage {
    pub(crate) fn new(kernels: Arc<Kernels>) -> Self {
        Self {
            kernels,
            transform: Transform::new(N_FFT),
        }
    }

    /// The transform of the frame heard last, bin 0 first.
    pub(crate) fn transform(&self) -> &[Complex32] {
        &self.transform.output
    }

    /// Adds the frame of these 8192 samples to `spectra`.
    pub(crate) fn frame(&mut self, samples: &[f32], spectra: &mut Spectra) {
        self.transform.of(samples);
        let kernels = self.kernels.long.iter().chain(&self.kernels.short);
        spectra
            .rows
            .push(kernels.map(|kernel| byte(self.transform.power(kernel))));
    }
}

/// Points of the transform of a frame between two: the short windows fit in it.
pub(crate) const N_BETWEEN: usize = 4096;

/// The short spectrum alone, of the frames half-way between those of [`Spectra`]: frame `t` is
/// centered on sample `1024 t + 512`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Between {
    rows: Rows<SHORT_ALL>,
}

impl Between {
    /// Number of frames.
    pub(crate) fn n_frames(&self) -> usize {
        self.rows.n_rows()
    }

    /// Decibels of a frame with margins (94 values).
    pub(crate) fn short_db(&self, frame: usize) -> impl ExactSizeIterator<Item = f32> + '_ {
        self.rows.row(frame).iter().map(|b| decibels(*b))
    }

    /// Whether nothing at all is heard in these frames.
    pub(crate) fn are_silent(&self, mut frames: std::ops::Range<usize>) -> bool {
        frames.all(|t| self.rows.row(t).iter().all(|b| *b == 0))
    }
}

/// Turns frames of [`N_BETWEEN`] samples into [`Between`].
pub(crate) struct BetweenStage {
    kernels: Vec<Kernel>,
    transform: Transform,
}

impl BetweenStage {
    pub(crate) fn new() -> Self {
        let kernels = (0..SHORT_ALL).map(|k| {
            let (hz, n) = short_window(k);
            Kernel::over(hz, n, N_BETWEEN)
        });
        Self {
            kernels: kernels.collect(),
            transform: Transform::new(N_BETWEEN),
        }
    }

    /// Adds the frame of these samples.
    pub(crate) fn frame(&mut self, samples: &[f32], between: &mut Between) {
        if is_silent(samples) {
            between.rows.push([0; SHORT_ALL]);
            return;
        }
        self.transform.of(samples);
        let bytes = self.kernels.iter().map(|k| byte(self.transform.power(k)));
        between.rows.push(bytes);
    }
}
