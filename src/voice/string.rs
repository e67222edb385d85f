//! One plucked string: a delay line whose loop loses high frequencies first.
//!
//! Every part is linear and runs at the output's rate, so nothing folds back
//! over half the rate but what the excitation holds, and that is low-passed.

use super::noise::Noise;
use crate::units::{SampleRate, Seconds, midi_to_hz};
use std::f64::consts::PI;

/// How a string is plucked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pluck {
    /// Pitch, MIDI; fractions are in tune too. Clamped to 21 to 100.
    pub midi: f64,
    /// How hard, 0 to 1: harder is louder and brighter.
    pub velocity: f64,
    /// Where, as a part of the string from the bridge, 0.02 to 0.5.
    pub position: f64,
    /// 0 (dull, nylon, worn) to 1 (bright, steel, new).
    pub brightness: f64,
    /// Chooses the noise in the attack; the same seed gives the same samples.
    pub seed: u64,
}

impl Default for Pluck {
    /// A3, middling hard, over the sound hole.
    fn default() -> Self {
        Self {
            midi: 57.0,
            velocity: 0.7,
            position: 0.18,
            brightness: 0.6,
            seed: 1,
        }
    }
}

/// A damped string still sounds this long, s (to -60 dB).
const DAMPED_RING_S: f64 = 0.16;

/// A plucked string, `duration` long; it is damped `damped_at` after the pluck, if at all.
///
/// Gives samples of about -1 to 1 at `rate`; the first is the pluck itself.
/// The fundamental is within 2 cents of equal temperament at A4 = 440 Hz.
///
/// # Example
/// ```
/// use takebook::units::{SampleRate, Seconds};
/// use takebook::voice::{Pluck, pluck};
/// let samples = pluck(Pluck::default(), Seconds(0.5), None, SampleRate(44_100));
/// assert_eq!(samples.len(), 22_050);
/// ```
pub fn pluck(
    how: Pluck,
    duration: Seconds,
    damped_at: Option<Seconds>,
    rate: SampleRate,
) -> Vec<f32> {
    let hz = midi_to_hz(how.midi.clamp(21.0, 100.0));
    let mut string = Loop::new(hz, ring_s(hz, how.brightness), how.brightness, rate);
    let excitation = excitation(how, hz, rate);
    let damped_at = damped_at.map_or(usize::MAX, |t| rate.samples(t));
    let mut samples = Vec::with_capacity(rate.samples(duration));
    for i in 0..rate.samples(duration) {
        if i == damped_at {
            string.set_ring(DAMPED_RING_S);
        }
        let input = excitation.get(i).copied().unwrap_or(0.0);
        samples.push(string.next(input) as f32);
    }
    samples
}

/// Time to -60 dB of the fundamental, s: low strings ring longer. Ours.
fn ring_s(hz: f64, brightness: f64) -> f64 {
    (3.0 + 3.0 * brightness.clamp(0.0, 1.0)) * (110.0 / hz).powf(0.45)
}

/// The pluck: a short push and a little noise, both one period long.
///
/// Low-passed by how hard it is (Jaffe and Smith, "dynamics"), and with the
/// same push taken off a part of the period later, which silences the
/// overtones that have a node where the string is plucked (ibid., "pick
/// position").
fn excitation(how: Pluck, hz: f64, rate: SampleRate) -> Vec<f64> {
    let period = f64::from(rate.0) / hz;
    let velocity = how.velocity.clamp(0.0, 1.0);
    let brightness = how.brightness.clamp(0.0, 1.0);
    let n = period.ceil() as usize;
    let width = (0.00022 + 0.0006 * (1.0 - brightness)) * f64::from(rate.0);
    let mut noise = Noise::new(how.seed.wrapping_add(how.midi.to_bits()));
    let mut burst: Vec<f64> = (0..n)
        .map(|i| {
            let x = i as f64 / width;
            let push = if x < 1.0 {
                0.5 - 0.5 * (2.0 * PI * x).cos()
            } else {
                0.0
            };
            push * (period / width).sqrt() + 0.22 * noise.next()
        })
        .collect();
    // one pole, 1.2 to 6 kHz, never over 0.2 of the rate
    let cutoff_hz =
        (1200.0 + 4800.0 * velocity * (0.4 + 0.6 * brightness)).min(0.2 * f64::from(rate.0));
    let keep = (-2.0 * PI * cutoff_hz / f64::from(rate.0)).exp();
    let mut low = 0.0;
    for x in &mut burst {
        low = (1.0 - keep) * *x + keep * low;
        *x = low;
    }
    let shift = ((how.position.clamp(0.02, 0.5) * period).round() as usize).max(1);
    let mut plucked = vec![0.0; n + shift];
    for (i, x) in burst.iter().enumerate() {
        plucked[i] += x;
        plucked[i + shift] -= x;
    }
    // no offset may enter the loop, it would ring longest
    let mean = plucked.iter().sum::<f64>() / plucked.len() as f64;
    let power = plucked.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / period;
    let gain = 0.25 * velocity.powf(1.5) / power.sqrt().max(1e-9);
    plucked.iter().map(|x| (x - mean) * gain).collect()
}

/// The loop: whole delay, two-point average with a weight, all-pass for the rest, loss.
struct Loop {
    hz: f64,
    rate_hz: f64,
    line: Vec<f64>,
    at: usize,
    /// Weight of the older sample in the average, 0 to 0.5.
    weight: f64,
    loss: f64,
    all_pass: f64,
    average_before: f64,
    all_pass_in: f64,
    all_pass_out: f64,
}

impl Loop {
    fn new(hz: f64, ring_s: f64, brightness: f64, rate: SampleRate) -> Self {
        let rate_hz = f64::from(rate.0);
        let weight = 0.5 - 0.35 * brightness.clamp(0.0, 1.0);
        let omega = 2.0 * PI * hz / rate_hz;
        // the average delays by this at the fundamental (its phase over omega)
        let average_delay =
            (weight * omega.sin()).atan2(1.0 - weight + weight * omega.cos()) / omega;
        // the all-pass takes the rest, 0.3 to 1.3 samples, where it is flattest
        let wanted = rate_hz / hz - average_delay;
        let whole = (wanted - 0.3).floor();
        let rest = wanted - whole;
        // exact at the fundamental: Jaffe and Smith, "tuning"
        let all_pass = ((omega - omega * rest) / 2.0).sin() / ((omega + omega * rest) / 2.0).sin();
        let mut string = Self {
            hz,
            rate_hz,
            line: vec![0.0; whole as usize],
            at: 0,
            weight,
            loss: 0.0,
            all_pass,
            average_before: 0.0,
            all_pass_in: 0.0,
            all_pass_out: 0.0,
        };
        string.set_ring(ring_s);
        string
    }

    /// Sets the loss so that the fundamental falls by 60 dB in `ring_s`.
    fn set_ring(&mut self, ring_s: f64) {
        let omega = 2.0 * PI * self.hz / self.rate_hz;
        let average_gain =
            (1.0 - 2.0 * self.weight * (1.0 - self.weight) * (1.0 - omega.cos())).sqrt();
        let per_period = 10f64.powf(-3.0 / (self.hz * ring_s));
        self.loss = (per_period / average_gain).min(0.99995);
    }

    fn next(&mut self, input: f64) -> f64 {
        let delayed = self.line[self.at];
        let average = (1.0 - self.weight) * delayed + self.weight * self.average_before;
        self.average_before = delayed;
        let tuned = self.all_pass * (average - self.all_pass_out) + self.all_pass_in;
        self.all_pass_in = average;
        self.all_pass_out = tuned;
        let out = input + self.loss * tuned;
        self.line[self.at] = out;
        self.at = (self.at + 1) % self.line.len();
        out
    }
}
