//! How far the take is from A4 = 440 Hz, in cents.
//!
//! Peaks of each frame's transform between 100 and 1500 Hz, their place
//! refined by a parabola through the logarithms of three bins, vote for their
//! distance to the nearest equal-tempered pitch; the votes' circular mean
//! around their mode is the tuning.
//!
//! # Source
//! Parabolic interpolation of a Hann-windowed peak: Smith and Serra, "PARSHL",
//! ICMC 1987. The vote: ours.

use crate::hearing::acoustic::spectrum::{N_FFT, RATE};
use realfft::num_complex::Complex32;

const FIRST_BIN: usize = 37; // 100 Hz
const LAST_BIN: usize = 557; // 1500 Hz
/// Peaks this far under the frame's strongest do not vote.
const LEAST_SHARE: f32 = 0.05;
/// What a vote of weight 1 counts.
const UNIT: f64 = (1 << 24) as f64;

/// Gathers votes over frames.
#[derive(Debug, Clone)]
pub(crate) struct TuningVotes {
    /// Weight by cents above the nearest pitch, -50 to 49, in 2^-24ths: whole numbers, whose
    /// sum is the same in whatever order the frames come.
    cents: [u64; 100],
    magnitudes: Vec<f32>,
}

impl TuningVotes {
    pub(crate) fn new() -> Self {
        Self {
            cents: [0; 100],
            magnitudes: vec![0.0; LAST_BIN + 3],
        }
    }

    /// Lets the peaks of a frame's transform vote.
    pub(crate) fn frame(&mut self, transform: &[Complex32]) {
        // The transform is unwindowed here; a Hann window is a three-point sum
        // in frequency: X[k]/2 - (X[k-1] + X[k+1])/4.
        for k in FIRST_BIN - 2..LAST_BIN + 2 {
            let x = transform[k] * 0.5 - (transform[k - 1] + transform[k + 1]) * 0.25;
            self.magnitudes[k] = x.norm();
        }
        let m = &self.magnitudes;
        let loudest = m[FIRST_BIN..LAST_BIN].iter().copied().fold(0.0, f32::max);
        if loudest < 1e-3 {
            return;
        }
        for k in FIRST_BIN..LAST_BIN {
            let (a, b, c) = (m[k - 1], m[k], m[k + 1]);
            if b < a || b <= c || b < LEAST_SHARE * loudest {
                continue;
            }
            let (la, lb, lc) = (a.max(1e-9).ln(), b.ln(), c.max(1e-9).ln());
            let bend = la - 2.0 * lb + lc;
            if bend > -1e-6 {
                continue;
            }
            let offset = 0.5 * (la - lc) / bend;
            let hz = f64::from(k as f32 + offset) * f64::from(RATE) / N_FFT as f64;
            let pitch = crate::units::hz_to_midi(hz);
            let cents = (pitch - pitch.round()) * 100.0;
            let at = (cents.floor() as i64 + 50).clamp(0, 99) as usize;
            self.cents[at] += (f64::from(b / loudest).sqrt() * UNIT).round() as u64;
        }
    }

    /// Takes over the votes of other frames.
    pub(crate) fn add(&mut self, others: &Self) {
        for (sum, w) in self.cents.iter_mut().zip(others.cents) {
            *sum += w;
        }
    }

    /// Cents from A4 = 440 Hz (-50 to 50) and how concentrated the votes are,
    /// 0 to 1; none without a vote.
    pub(crate) fn result(&self) -> Option<(f64, f64)> {
        let weights = self.cents.map(|w| w as f64 / UNIT);
        let total: f64 = weights.iter().sum();
        if total <= 0.0 {
            return None;
        }
        let (mut x, mut y) = (0.0, 0.0);
        for (i, w) in weights.iter().enumerate() {
            let angle = (i as f64 + 0.5 - 50.0) / 100.0 * std::f64::consts::TAU;
            x += w * angle.cos();
            y += w * angle.sin();
        }
        let mean = y.atan2(x) / std::f64::consts::TAU * 100.0;
        // once more, only the votes within 25 cents of the mean
        let (mut near, mut near_weight) = (0.0, 0.0);
        for (i, w) in weights.iter().enumerate() {
            let distance = (i as f64 + 0.5 - 50.0 - mean + 150.0).rem_euclid(100.0) - 50.0;
            if distance.abs() <= 25.0 {
                near += w * distance;
                near_weight += w;
            }
        }
        let cents = mean + near / near_weight.max(1e-9);
        let cents = (cents + 50.0).rem_euclid(100.0) - 50.0;
        Some((cents, x.hypot(y) / total))
    }
}
