//! Many plucks on six strings as one mono take.

use super::body::resonate;
use super::string::{Pluck, pluck};
use crate::units::{SampleRate, Seconds};

/// One note of a performance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strike {
    /// Which string, 0 the lowest: a string that is struck again stops its old note.
    pub string: usize,
    /// Pitch, MIDI.
    pub midi: u8,
    /// When it is struck, s.
    pub on_s: f64,
    /// When it is damped, s.
    pub off_s: f64,
    /// How hard, 0 to 1.
    pub velocity: f64,
}

/// Which way a hand crosses the strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// From the low string.
    Down,
    /// From the high string.
    Up,
}

/// The strikes of one strum: string and pitch of each note, low string first.
///
/// The first string sounds at `on_s`, each next one `apart_s` later; all are
/// damped at `off_s`.
pub fn strum(
    notes: &[(usize, u8)],
    stroke: Stroke,
    on_s: f64,
    off_s: f64,
    apart_s: f64,
    velocity: f64,
) -> Vec<Strike> {
    let mut order: Vec<(usize, u8)> = notes.to_vec();
    if stroke == Stroke::Up {
        order.reverse();
    }
    order
        .into_iter()
        .enumerate()
        .map(|(i, (string, midi))| Strike {
            string,
            midi,
            on_s: on_s + apart_s * i as f64,
            off_s,
            velocity: velocity * (1.0 - 0.03 * i as f64),
        })
        .collect()
}

/// Peak of a performance: 3 dB under full scale.
const PEAK: f64 = 0.708;

/// Plays strikes (any order) on one instrument.
///
/// Gives `duration` of mono samples at `rate`, peak at -3 dB of full scale, or
/// silence if nothing is struck. The same strikes give the same samples.
pub fn perform(
    strikes: &[Strike],
    brightness: f64,
    duration: Seconds,
    rate: SampleRate,
) -> Vec<f32> {
    let mut order: Vec<&Strike> = strikes.iter().collect();
    order.sort_by(|a, b| a.on_s.total_cmp(&b.on_s).then(a.string.cmp(&b.string)));
    let mut mix = vec![0.0f64; rate.samples(duration)];
    for (i, strike) in order.iter().enumerate() {
        let struck_again_s = order[i + 1..]
            .iter()
            .find(|next| next.string == strike.string)
            .map_or(f64::INFINITY, |next| next.on_s);
        let off_s = strike.off_s.min(struck_again_s).max(strike.on_s);
        let from = rate.samples(Seconds(strike.on_s));
        let Some(room) = mix.len().checked_sub(from) else {
            continue;
        };
        // a damped string is silent a quarter of a second later
        let length = rate.samples(Seconds(off_s - strike.on_s + 0.25)).min(room);
        let samples = pluck(
            Pluck {
                midi: f64::from(strike.midi),
                velocity: strike.velocity,
                position: 0.16 + 0.01 * strike.string as f64,
                brightness,
                seed: i as u64,
            },
            rate.seconds(length),
            Some(Seconds(off_s - strike.on_s)),
            rate,
        );
        for (out, x) in mix[from..].iter_mut().zip(samples) {
            *out += f64::from(x);
        }
    }
    resonate(&mut mix, rate);
    let peak = mix.iter().fold(0.0f64, |p, x| p.max(x.abs()));
    let gain = if peak > 0.0 { PEAK / peak } else { 0.0 };
    mix.into_iter().map(|x| (x * gain) as f32).collect()
}
