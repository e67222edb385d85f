//! The wooden box: a few resonances beside the string's own sound.

use crate::units::SampleRate;
use std::f64::consts::PI;

/// Frequency (Hz), ring to -60 dB (s) and share of a mode: the air in the box,
/// the top, and a few higher ones. Ours, set by ear.
const MODES: [(f64, f64, f64); 6] = [
    (98.0, 0.12, 0.30),
    (196.0, 0.10, 0.34),
    (287.0, 0.07, 0.18),
    (418.0, 0.06, 0.16),
    (655.0, 0.05, 0.12),
    (1190.0, 0.03, 0.10),
];

/// Adds the body to the samples in place.
pub(super) fn resonate(samples: &mut [f64], rate: SampleRate) {
    let rate_hz = f64::from(rate.0);
    let dry = samples.to_vec();
    for (hz, ring_s, share) in MODES {
        let radius = 10f64.powf(-3.0 / (ring_s * rate_hz));
        let omega = 2.0 * PI * hz / rate_hz;
        let (a1, a2) = (2.0 * radius * omega.cos(), -radius * radius);
        // gain 1 at the mode: zeros at 0 and at half the rate
        let gain = share * (1.0 - radius * radius) / 2.0;
        let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
        for (out, x) in samples.iter_mut().zip(&dry) {
            let y = gain * (x - x2) + a1 * y1 + a2 * y2;
            (x2, x1) = (x1, *x);
            (y2, y1) = (y1, y);
            *out += y;
        }
    }
}
