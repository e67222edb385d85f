//! Slower without being lower: the sound in small overlapping pieces, each laid
//! where it goes on from the one before.
//!
//! # Source
//! Verhelst and Roelands, "An overlap-add technique based on waveform
//! similarity (WSOLA) for high quality time-scale modification of speech",
//! ICASSP 1993. Pieces and tolerance are longer than theirs, so that a low
//! string's period (12 ms for E2) fits into both. That attacks keep their own
//! pace and the ringing between them is stretched the more is after Grofit and
//! Lavner, "Time-scale modification of audio signals using enhanced WSOLA with
//! management of transients", IEEE Transactions on Audio, Speech, and Language
//! Processing 16(1), 2008 (`from memory`); lengths and limits here are ours.

use crate::units::{SampleRate, Seconds};

/// From piece to piece of the output, s; a piece is twice as long.
const HOP_S: f64 = 0.025;
/// How far a piece may be from where it should be taken, s.
const TOLERANCE_S: f64 = 0.0125;
/// How long after an attack the sound keeps its own pace, s.
const ATTACK_S: f64 = 0.04;
/// Attacks that follow so soon are one strum, s.
const STRUM_S: f64 = 0.05;
/// An attack keeps its pace only if what lies before it need not be stretched
/// more than this many times as far as the whole.
const MOST_EXTRA: f64 = 3.0;
/// Rate at which pieces are compared first, Hz.
const COARSE_HZ: u32 = 11_025;
/// The most that is stretched, times.
const SLOWEST: f64 = 8.0;

/// Mono samples made `slower` times as long (1 to 8) at the same pitch.
///
/// `attacks_s` are the moments at which strings are struck, s, ascending; a
/// strum is then heard once, not twice. They stay at `slower` times their
/// moment, within 13 ms. Gives `slower` times as many samples, rounded.
pub fn stretch(samples: &[f32], rate: SampleRate, slower: f64, attacks_s: &[f64]) -> Vec<f32> {
    let slower = if slower.is_finite() {
        slower.clamp(1.0, SLOWEST)
    } else {
        1.0
    };
    let n_out = (samples.len() as f64 * slower).round() as usize;
    let hop = rate.samples(Seconds(HOP_S));
    if n_out == samples.len() || hop == 0 {
        return samples.to_vec();
    }
    let pace = Pace::new(samples.len(), rate, slower, attacks_s);
    let input = Input {
        samples,
        n_piece: 2 * hop,
        stride: ((rate.0 / COARSE_HZ) as usize).max(1),
    };
    let tolerance = rate.samples(Seconds(TOLERANCE_S)) as isize;
    let window: Vec<f32> = (0..2 * hop)
        .map(|i| {
            let phase = std::f64::consts::PI * i as f64 / hop as f64;
            (0.5 - 0.5 * phase.cos()) as f32
        })
        .collect();
    // the first piece is centred on the first sample; its first half is not heard
    let mut out = vec![0.0f32; n_out + 3 * hop];
    let mut from = -(hop as isize);
    for k in 0..=n_out.div_ceil(hop) {
        if k > 0 {
            let wanted = pace.input_at((k * hop) as f64).round() as isize - hop as isize;
            let follows = from + hop as isize;
            from = input.most_alike(follows, wanted, tolerance);
        }
        for (i, w) in window.iter().enumerate() {
            out[k * hop + i] += w * input.at(from + i as isize);
        }
    }
    out.drain(..hop);
    out.truncate(n_out);
    out
}

/// Which sample of the input belongs to a sample of the output.
struct Pace {
    /// Output and input in samples, ascending; straight lines between.
    knots: Vec<(f64, f64)>,
}

impl Pace {
    fn new(n: usize, rate: SampleRate, slower: f64, attacks_s: &[f64]) -> Self {
        let hz = f64::from(rate.0);
        let n = n as f64;
        let mut knots = vec![(0.0, 0.0)];
        let mut rest = attacks_s;
        while let Some(first) = rest.first() {
            let n_strum = rest.partition_point(|a| a - first < STRUM_S).max(1);
            let last = rest[n_strum - 1];
            rest = &rest[n_strum..];
            let (out_before, in_before) = knots[knots.len() - 1];
            // no piece from before the attack may reach into it
            let start = ((first - HOP_S - TOLERANCE_S) * hz).max(in_before);
            let end = ((last + ATTACK_S) * hz).min(n);
            if !start.is_finite() || !end.is_finite() || start >= end {
                continue;
            }
            let (gap_out, gap_in) = (slower * start - out_before, start - in_before);
            if gap_out > MOST_EXTRA * slower * gap_in {
                continue;
            }
            if gap_in > 0.0 {
                knots.push((slower * start, start));
            }
            knots.push((slower * start + end - start, end));
        }
        let (_, in_before) = knots[knots.len() - 1];
        if in_before >= n {
            knots.pop(); // an attack at the very end: what is left is stretched evenly
        }
        knots.push((slower * n, n));
        Self { knots }
    }

    fn input_at(&self, out: f64) -> f64 {
        let next = self
            .knots
            .partition_point(|(o, _)| *o <= out)
            .clamp(1, self.knots.len() - 1);
        let ((o0, i0), (o1, i1)) = (self.knots[next - 1], self.knots[next]);
        i0 + (out - o0) * (i1 - i0) / (o1 - o0).max(1e-9)
    }
}

/// Samples with silence on both sides, and how pieces of them are compared.
struct Input<'a> {
    samples: &'a [f32],
    n_piece: usize,
    stride: usize,
}

impl Input<'_> {
    fn at(&self, i: isize) -> f32 {
        usize::try_from(i)
            .ok()
            .and_then(|i| self.samples.get(i))
            .copied()
            .unwrap_or(0.0)
    }

    /// Where, within `tolerance` of `wanted`, the piece most like that at `follows` begins.
    fn most_alike(&self, follows: isize, wanted: isize, tolerance: isize) -> isize {
        if (follows - wanted).abs() <= tolerance {
            return follows; // nothing is more like it than itself
        }
        let step = self.stride as isize;
        let best = |from: isize, to: isize, step: isize, stride: usize, start: isize| {
            let (mut found, mut alike) = (start, f64::NEG_INFINITY);
            for lag in (from..=to).step_by(step as usize) {
                let now = self.likeness(follows, lag, stride);
                if now > alike {
                    (found, alike) = (lag, now);
                }
            }
            found
        };
        let (low, high) = (wanted - tolerance, wanted + tolerance);
        let roughly = best(low, high, step, self.stride, wanted);
        let (low, high) = ((roughly - step).max(low), (roughly + step).min(high));
        best(low, high, 1, 1, roughly)
    }

    /// Normalised cross-correlation of two pieces, -1 to 1; 0 where one is silent.
    fn likeness(&self, a: isize, b: isize, stride: usize) -> f64 {
        let (mut product, mut energy_a, mut energy_b) = (0.0f64, 0.0f64, 0.0f64);
        for i in (0..self.n_piece).step_by(stride) {
            let x = f64::from(self.at(a + i as isize));
            let y = f64::from(self.at(b + i as isize));
            product += x * y;
            energy_a += x * x;
            energy_b += y * y;
        }
        let scale = (energy_a * energy_b).sqrt();
        if scale > 0.0 { product / scale } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE: SampleRate = SampleRate(44_100);

    /// A chord of six strings with four partials each, dying away; struck at each moment.
    fn struck(moments_s: &[f64], seconds: f64, hz: &[f64]) -> Vec<f32> {
        let mut out = vec![0.0f32; RATE.samples(Seconds(seconds))];
        for moment in moments_s {
            let from = RATE.samples(Seconds(*moment));
            for (i, x) in out[from..].iter_mut().enumerate() {
                let t = i as f64 / f64::from(RATE.0);
                let mut sum = 0.0;
                for hz in hz {
                    for k in 1..=4 {
                        let k = f64::from(k);
                        sum += (TAU * hz * k * t).sin() / k * (-1.5 * t).exp();
                    }
                }
                *x += (0.08 * sum * (t / 0.002).min(1.0)) as f32;
            }
        }
        out
    }

    /// Strength of one frequency in Hann-windowed samples.
    fn strength(samples: &[f32], hz: f64) -> f64 {
        let n = samples.len() as f64;
        let (mut re, mut im) = (0.0, 0.0);
        for (i, x) in samples.iter().enumerate() {
            let window = 0.5 - 0.5 * (TAU * i as f64 / n).cos();
            let phase = TAU * hz * i as f64 / f64::from(RATE.0);
            re += f64::from(*x) * window * phase.cos();
            im += f64::from(*x) * window * phase.sin();
        }
        re.hypot(im) / n
    }

    /// How far the strongest frequency near `hz` is from it, cents.
    fn cents_off(samples: &[f32], hz: f64) -> f64 {
        let at = |cents: f64| strength(samples, hz * 2f64.powf(cents / 1200.0));
        (-60..=60)
            .map(|c| f64::from(c) * 0.5)
            .max_by(|a, b| at(*a).total_cmp(&at(*b)))
            .expect("some")
    }

    const OPEN_STRINGS_HZ: [f64; 6] = [82.41, 110.0, 146.83, 196.0, 246.94, 329.63];

    #[test]
    fn it_is_as_long_as_asked_and_whole_at_full_speed() {
        let played = struck(&[0.1], 0.731, &OPEN_STRINGS_HZ);
        for slower in [1.0, 1.25, 4.0 / 3.0, 2.0, 4.0] {
            let out = stretch(&played, RATE, slower, &[0.1]);
            assert_eq!(out.len(), (played.len() as f64 * slower).round() as usize);
        }
        assert_eq!(stretch(&played, RATE, 1.0, &[]), played);
        assert!(stretch(&[], RATE, 2.0, &[]).is_empty());
        assert_eq!(stretch(&[0.5; 10], RATE, 2.0, &[3.0]).len(), 20);
        assert!(
            stretch(&[0.0; 9000], RATE, 2.0, &[0.0])
                .iter()
                .all(|x| *x == 0.0)
        );
    }

    #[test]
    fn every_string_keeps_its_pitch_within_three_cents() {
        for hz in OPEN_STRINGS_HZ {
            let played = struck(&[0.0], 2.0, &[hz]);
            for slower in [1.25, 2.0, 4.0] {
                let out = stretch(&played, RATE, slower, &[0.0]);
                let part = &out[RATE.samples(Seconds(0.3))..RATE.samples(Seconds(1.8))];
                let off = cents_off(part, hz);
                assert!(off.abs() <= 3.0, "{hz} Hz, {slower} times: {off} cents");
            }
        }
    }

    #[test]
    fn a_whole_chord_keeps_its_pitches_within_five_cents() {
        let played = struck(&[0.0], 2.0, &OPEN_STRINGS_HZ);
        let out = stretch(&played, RATE, 2.0, &[0.0]);
        let part = &out[RATE.samples(Seconds(0.3))..RATE.samples(Seconds(2.8))];
        for hz in OPEN_STRINGS_HZ {
            let off = cents_off(part, hz);
            assert!(off.abs() <= 5.0, "{hz} Hz: {off} cents");
        }
    }

    /// A click is a step that the sound itself does not make.
    #[test]
    fn there_are_no_clicks() {
        let steepest = |s: &[f32]| {
            s.windows(2)
                .map(|w| (w[1] - w[0]).abs())
                .fold(0.0f32, f32::max)
        };
        let loudest = |s: &[f32]| s.iter().fold(0.0f32, |p, x| p.max(x.abs()));
        let moments = [0.0, 0.5, 1.0];
        let played = struck(&moments, 1.5, &OPEN_STRINGS_HZ);
        for slower in [1.3, 2.0, 4.0] {
            for attacks in [&moments[..], &[]] {
                let out = stretch(&played, RATE, slower, attacks);
                assert!(steepest(&out) < 1.2 * steepest(&played), "{slower} times");
                assert!(loudest(&out) < 1.2 * loudest(&played), "{slower} times");
            }
        }
    }

    #[test]
    fn a_strum_is_heard_once_and_in_its_place() {
        let moments = [0.05, 0.55, 1.05];
        let played = struck(&moments, 1.5, &OPEN_STRINGS_HZ);
        let slower = 2.0;
        let out = stretch(&played, RATE, slower, &moments);
        for moment in moments {
            // the attack itself is the very samples that were played, at most 13 ms off
            let from = RATE.samples(Seconds(moment - 0.002));
            let piece = &played[from..from + RATE.samples(Seconds(0.03))];
            let (at, error) = (-600i32..=600)
                .map(|lag| {
                    let place = (RATE.samples(Seconds(moment * slower - 0.002)) as i32 + lag).max(0)
                        as usize;
                    let error: f32 = piece
                        .iter()
                        .zip(&out[place..])
                        .map(|(a, b)| (a - b).powi(2))
                        .sum();
                    (lag, error)
                })
                .min_by(|a, b| a.1.total_cmp(&b.1))
                .expect("some");
            let energy: f32 = piece.iter().map(|x| x * x).sum();
            assert!(error < 0.01 * energy, "{moment} s: {error} of {energy}");
            assert!(at.abs() < 574, "{moment} s: {at} samples off");
        }
    }

    #[test]
    fn fast_picking_is_still_slowed_as_asked() {
        let moments: Vec<f64> = (0..30).map(|i| f64::from(i) * 0.07).collect();
        let played = struck(&moments, 2.2, &[110.0]);
        let out = stretch(&played, RATE, 2.0, &moments);
        assert_eq!(out.len(), 2 * played.len());
        let pace = Pace::new(played.len(), RATE, 2.0, &moments);
        for (i, moment) in moments.iter().enumerate() {
            let there = pace.input_at(2.0 * moment * 44_100.0) / 44_100.0;
            assert!((there - moment).abs() < 0.05, "strike {i}: {there}");
        }
        assert!(
            pace.knots
                .windows(2)
                .all(|k| k[0].0 <= k[1].0 && k[0].1 <= k[1].1)
        );
    }
}
