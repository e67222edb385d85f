//! What speaks for a beat at each moment: attacks, low attacks, changes of harmony and bass.

use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::acoustic::net::{N_BASSES, N_CLASSES};
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::acoustic::spectrum::HOP_S;
use crate::hearing::acoustic::strokes::{PEAK_LAG_S, normalized};
use crate::hearing::learned;
use crate::hearing::weight_files::PULSE;
use std::sync::LazyLock;

/// How many numbers describe a moment.
pub(crate) const N_FEATURES: usize = 5;
/// Attack strength, low attacks, high attacks, change of chord, change of bass; each about 0 to 1.5.
pub(crate) type Moment = [f32; N_FEATURES];

/// How what speaks for a beat is made. The log odds of beats were fitted with these: another
/// value asks for a new fit.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PulseWeights {
    /// Frames on each side of a moment that are compared for a change of harmony.
    side_frames: usize,
    /// So many nats better as two labels than as one, a change is nearly certain.
    gain: f32,
    /// What a certain change counts.
    most: f32,
    /// An attack or a change is read once more up to here.
    cap: f32,
}

static WEIGHTS: LazyLock<PulseWeights> = LazyLock::new(|| learned::read(&PULSE));

/// The numbers of every fine frame (11.6 ms).
pub(crate) fn moments(sound: &Sound) -> Vec<Moment> {
    let attacks = &sound.front.attacks;
    let lag = (PEAK_LAG_S / FINE_HOP_S).round() as usize;
    // the strongest within ±2 frames, moved from the attack's peak to its start
    let spread = |values: &[f32]| -> Vec<f32> {
        let level = normalized(values);
        (0..level.len())
            .map(|i| {
                let from = (i + lag).saturating_sub(2).min(level.len());
                let to = (i + lag + 3).min(level.len());
                level[from..to].iter().copied().fold(0.0, f32::max)
            })
            .collect()
    };
    let (flux, low, high) = (
        spread(&attacks.flux),
        spread(&attacks.low),
        spread(&attacks.high),
    );
    let acoustic = &sound.acoustic;
    let n = acoustic.n_frames();
    let mut chords = acoustic.chords();
    let chord = changes(n, N_CLASSES, |t, sums, sign| {
        add(sums, chords.all(t), sign);
    });
    let bass = changes(n, N_BASSES, |t, sums, sign| {
        add(sums, acoustic.ln_basses(t), sign);
    });
    let at = |values: &[f32], i: usize| -> f32 {
        let place = i as f64 * FINE_HOP_S / HOP_S;
        let k = (place as usize).min(values.len().saturating_sub(2));
        let part = (place - k as f64).clamp(0.0, 1.0) as f32;
        match values {
            [] => 0.0,
            [one] => *one,
            _ => values[k] * (1.0 - part) + values[k + 1] * part,
        }
    };
    (0..flux.len())
        .map(|i| [flux[i], low[i], high[i], at(&chord, i), at(&bass, i)])
        .collect()
}

fn add(sums: &mut [f32], ln: impl Iterator<Item = f32>, sign: f32) {
    for (sum, ln) in sums.iter_mut().zip(ln) {
        *sum += sign * ln;
    }
}

/// How much better two stretches around each frame are told as two labels than
/// as one: a likelihood ratio, squashed to 0..1.5 and kept at its local peaks.
///
/// Takes the number of frames, that of classes, and what adds ln p of each class in a frame,
/// times a sign, to sums.
fn changes(n: usize, n_classes: usize, mut add: impl FnMut(usize, &mut [f32], f32)) -> Vec<f32> {
    let w = &*WEIGHTS;
    let side = w.side_frames;
    let mut before = vec![0f32; n_classes];
    let mut after = vec![0f32; n_classes];
    let mut raw = vec![0f32; n];
    for (t, value) in raw.iter_mut().enumerate() {
        // slide both sums by one frame
        if t == 0 {
            (0..side.min(n)).for_each(|f| add(f, &mut after, 1.0));
        } else {
            add(t - 1, &mut before, 1.0);
            add(t - 1, &mut after, -1.0);
            if t > side {
                add(t - 1 - side, &mut before, -1.0);
            }
            if t - 1 + side < n {
                add(t - 1 + side, &mut after, 1.0);
            }
        }
        let best = |v: &[f32]| v.iter().copied().fold(f32::MIN, f32::max);
        let joint = before
            .iter()
            .zip(&after)
            .map(|(a, b)| a + b)
            .fold(f32::MIN, f32::max);
        let gain = (best(&before) + best(&after) - joint).max(0.0);
        *value = w.most * (1.0 - (-gain / w.gain).exp());
    }
    raw
}

/// A moment as the fitted models read it: its numbers, some products and caps, and a constant 1.
pub(in crate::hearing) fn described(m: &Moment) -> [f32; 13] {
    let [f, l, h, c, b] = *m;
    let cap = WEIGHTS.cap;
    [
        f,
        l,
        h,
        c,
        b,
        f * l,
        f * c,
        f * b,
        c * b,
        f.min(cap),
        c.min(cap),
        f * h,
        1.0,
    ]
}

/// Log odds of a fitted model for a moment.
pub(in crate::hearing) fn log_odds(
    model: &crate::hearing::rhythm::beat_numbers::Model,
    m: &Moment,
) -> f32 {
    model.iter().zip(described(m)).map(|(w, x)| w * x).sum()
}
