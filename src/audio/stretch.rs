//! Slower without being lower: a phase vocoder whose peaks carry what lies around them.
//!
//! # Source
//! Laroche and Dolson, "Improved phase vocoder time-scale modification of
//! audio", IEEE Transactions on Speech and Audio Processing 7(3), 1999
//! (identity phase locking; phase advance from two frames one hop apart). That
//! attacks keep their own pace and begin with the phases they were played with
//! follows Röbel, "A new approach to transient processing in the phase
//! vocoder", DAFx 2003 (both `from memory`); lengths and limits here are ours.
//!
//! Overlap-add by waveform similarity (WSOLA) was tried first: it keeps one
//! string's pitch, but pulled the low E of a full chord down by 30 cents, since no
//! single shift suits six strings at once.

use crate::units::{SampleRate, Seconds};
use realfft::num_complex::Complex32;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Length of a frame, s: tells E2 from A2, 28 Hz apart.
const FRAME_S: f64 = 0.12;
/// Frames that overlap at every moment.
const OVERLAP: usize = 4;
/// How long after an attack the sound keeps its own pace, s.
const ATTACK_S: f64 = 0.04;
/// Attacks that follow so soon are one strum, s.
const STRUM_S: f64 = 0.05;
/// An attack keeps its pace only if what lies before it need not be stretched
/// more than this many times as far as the whole.
const MOST_EXTRA: f64 = 3.0;
/// An attack keeps its pace from at least so long before it, s.
const LEAST_LEAD_S: f64 = 0.02;
/// The most that is stretched, times.
const SLOWEST: f64 = 8.0;

/// Mono samples made `slower` times as long (1 to 8) at the same pitch.
///
/// `attacks_s` are the moments at which strings are struck, s, ascending; a
/// strum then sounds as it was played, and at `slower` times its moment. Gives
/// `slower` times as many samples, rounded.
pub fn stretch(samples: &[f32], rate: SampleRate, slower: f64, attacks_s: &[f64]) -> Vec<f32> {
    let slower = if slower.is_finite() {
        slower.clamp(1.0, SLOWEST)
    } else {
        1.0
    };
    let n_out = (samples.len() as f64 * slower).round() as usize;
    let hop = rate.samples(Seconds(FRAME_S / OVERLAP as f64));
    if n_out == samples.len() || hop == 0 {
        return samples.to_vec();
    }
    let pace = Pace::new(samples.len(), rate, slower, attacks_s);
    let n = OVERLAP * hop;
    let mut planner = RealFftPlanner::<f32>::new();
    let mut frames = Frames {
        samples,
        window: hann(n),
        forward: planner.plan_fft_forward(n),
        windowed: vec![0.0; n],
    };
    let back = planner.plan_fft_inverse(n);
    let mut now = frames.forward.make_output_vec();
    let mut earlier = now.clone();
    let mut out_spectrum = now.clone();
    let mut piece = vec![0.0f32; n];
    // frames are centred on their moment; half of the first lies before the start
    let mut out = vec![0.0f32; n_out + 2 * n];
    let mut weight = out.clone();
    for k in 0..=n_out.div_ceil(hop) {
        let at = pace.input_at((k * hop) as f64);
        let centre = at.round() as isize;
        frames.spectrum(centre, &mut now);
        let begins = k == 0 || pace.begins_between(((k - 1) * hop) as f64, (k * hop) as f64);
        if begins {
            out_spectrum.copy_from_slice(&now);
        } else {
            frames.spectrum(centre - hop as isize, &mut earlier);
            go_on(&now, &earlier, &mut out_spectrum);
        }
        let mut spectrum = out_spectrum.clone();
        if let Some(offset) = spectrum.first_mut() {
            offset.im = 0.0; // the inverse wants real ends
        }
        if let Some(top) = spectrum.last_mut() {
            top.im = 0.0;
        }
        if back.process(&mut spectrum, &mut piece).is_err() {
            return Vec::new(); // lengths are those of the plan: not reached
        }
        for (i, (x, w)) in piece.iter().zip(&frames.window).enumerate() {
            out[k * hop + i] += x * w / n as f32;
            weight[k * hop + i] += w * w;
        }
    }
    out.iter()
        .zip(&weight)
        .skip(n / 2)
        .take(n_out)
        .map(|(x, w)| if *w > 1e-3 { x / w } else { 0.0 })
        .collect()
}

fn hann(n: usize) -> Vec<f32> {
    (0..n)
        .map(|i| {
            let phase = std::f64::consts::TAU * i as f64 / n as f64;
            (0.5 - 0.5 * phase.cos()) as f32
        })
        .collect()
}

/// Spectra of windowed frames of the input; it is silent outside.
struct Frames<'a> {
    samples: &'a [f32],
    window: Vec<f32>,
    forward: Arc<dyn RealToComplex<f32>>,
    windowed: Vec<f32>,
}

impl Frames<'_> {
    fn spectrum(&mut self, centre: isize, into: &mut [Complex32]) {
        let from = centre - (self.window.len() / 2) as isize;
        for (i, (x, w)) in self.windowed.iter_mut().zip(&self.window).enumerate() {
            let sample = usize::try_from(from + i as isize)
                .ok()
                .and_then(|i| self.samples.get(i));
            *x = w * sample.copied().unwrap_or(0.0);
        }
        if self.forward.process(&mut self.windowed, into).is_err() {
            into.fill(Complex32::default()); // lengths are those of the plan: not reached
        }
    }
}

/// The next frame's spectrum: that of the input, each peak and its surroundings
/// turned so that it goes on from the frame before as it does in the input.
///
/// `earlier` is the input one hop before `now`; `out` holds the frame before
/// and gets the next.
fn go_on(now: &[Complex32], earlier: &[Complex32], out: &mut [Complex32]) {
    let power: Vec<f32> = now.iter().map(Complex32::norm_sqr).collect();
    let is_peak = |i: &usize| {
        let near = i.saturating_sub(2)..(*i + 3).min(power.len());
        power[*i] > 0.0 && near.into_iter().all(|j| j == *i || power[j] < power[*i])
    };
    let peaks: Vec<usize> = (0..power.len()).filter(is_peak).collect();
    let before = out.to_vec();
    out.copy_from_slice(now);
    let mut from = 0;
    for (i, peak) in peaks.iter().enumerate() {
        let to = peaks
            .get(i + 1)
            .map_or(power.len(), |next| (peak + next).div_ceil(2));
        let turn = before[*peak] * earlier[*peak].conj();
        let size = turn.norm();
        if size > 0.0 {
            let turn = turn / size;
            for x in &mut out[from..to] {
                *x *= turn;
            }
        }
        from = to;
    }
}

/// Which sample of the input belongs to a sample of the output.
struct Pace {
    /// Output and input in samples, ascending; straight lines between.
    knots: Vec<(f64, f64)>,
    /// Where attacks begin to keep their pace, output samples.
    begins: Vec<f64>,
}

impl Pace {
    fn new(n: usize, rate: SampleRate, slower: f64, attacks_s: &[f64]) -> Self {
        let hz = f64::from(rate.0);
        let n = n as f64;
        let (mut knots, mut begins) = (vec![(0.0, 0.0)], Vec::new());
        let mut rest = attacks_s;
        while let Some(first) = rest.first() {
            let n_strum = rest.partition_point(|a| a - first < STRUM_S).max(1);
            let last = rest[n_strum - 1];
            rest = &rest[n_strum..];
            let (out_before, in_before) = knots[knots.len() - 1];
            let end = ((last + ATTACK_S) * hz).min(n);
            let first = first * hz;
            if !first.is_finite() || !end.is_finite() || first < in_before || first >= end {
                continue;
            }
            // the attack falls on its moment; how much before it keeps the pace is
            // at best so much that no frame from before reaches into the attack
            let most = MOST_EXTRA * slower;
            let room = (most * (first - in_before) - (slower * first - out_before)) / (most - 1.0);
            let lead = room.min(0.5 * FRAME_S * hz);
            let (start, out_start) = if in_before == 0.0 && first < LEAST_LEAD_S * hz {
                (0.0, 0.0)
            } else if lead >= LEAST_LEAD_S * hz {
                (first - lead, slower * first - lead)
            } else {
                continue;
            };
            if start > in_before {
                knots.push((out_start, start));
            }
            begins.push(out_start);
            knots.push((out_start + end - start, end));
        }
        let (_, in_before) = knots[knots.len() - 1];
        if in_before >= n {
            knots.pop(); // an attack at the very end: what is left is stretched evenly
        }
        knots.push((slower * n, n));
        Self { knots, begins }
    }

    /// Whether an attack begins to keep its pace after one output sample, up to another.
    fn begins_between(&self, after: f64, to: f64) -> bool {
        self.begins.iter().any(|b| after < *b && *b <= to)
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
        let best = |middle: f64, step: f64| {
            (-5..=5)
                .map(|c| middle + step * f64::from(c))
                .max_by(|a, b| at(*a).total_cmp(&at(*b)))
                .expect("some")
        };
        best(best(0.0, 9.0), 1.0)
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
            // the attack itself is what was played, at most 2 ms off
            let from = RATE.samples(Seconds(moment - 0.002));
            let piece = &played[from..from + RATE.samples(Seconds(0.03))];
            let (at, error) = (-100i32..=100)
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
            assert!(error < 0.05 * energy, "{moment} s: {error} of {energy}");
            assert!(at.abs() <= 88, "{moment} s: {at} samples off");
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
