//! Mixing, resampling and the fingerprint on tones made here.

use super::facts::{Fingerprint, FingerprintMeter};
use super::mono::{Mix, MixScan, Mixer};
use super::resample::Stream;

fn tone(hz: f64, rate_hz: u32, n: usize) -> Vec<f32> {
    (0..n)
        .map(|i| {
            let t = i as f64 / f64::from(rate_hz);
            (0.5 * (std::f64::consts::TAU * hz * t).sin()) as f32
        })
        .collect()
}

fn resampled(rate_hz: u32, samples: &[f32], block: usize) -> Vec<f32> {
    let mut out = Vec::new();
    let mut stream = Stream::new(rate_hz, 22_050).expect("both rates are over zero");
    for part in samples.chunks(block) {
        stream.push(part, &mut |b| out.extend_from_slice(b));
    }
    stream.finish(&mut |b| out.extend_from_slice(b));
    out
}

#[test]
fn a_resampled_tone_stays_in_time_and_in_length() {
    // the tone itself at the new rate is the slow formula to compare with
    // half a sample of delay (0.02 ms) at 440 Hz, where the filter's length is odd
    const TOLERANCE: f32 = 0.033;
    for rate_hz in [8_000, 11_025, 44_056, 44_100, 48_000, 96_000, 192_000] {
        let n = rate_hz as usize * 2 + 7;
        let out = resampled(rate_hz, &tone(440.0, rate_hz, n), 1000);
        let wanted = (n as f64 * 22_050.0 / f64::from(rate_hz)).ceil() as usize;
        assert_eq!(out.len(), wanted, "at {rate_hz} Hz");
        let truth = tone(440.0, 22_050, wanted);
        let middle = 6_000..wanted - 6_000;
        let worst = out[middle.clone()]
            .iter()
            .zip(&truth[middle])
            .map(|(a, b)| (a - b).abs())
            .fold(0.0f32, f32::max);
        assert!(worst < TOLERANCE, "{worst} off at {rate_hz} Hz");
    }
}

#[test]
fn resampling_does_not_depend_on_the_blocks() {
    let samples = tone(330.0, 48_000, 30_000);
    assert_eq!(
        resampled(48_000, &samples, 77),
        resampled(48_000, &samples, 30_000)
    );
    assert_eq!(resampled(48_000, &samples[..5], 5).len(), 3);
}

fn mix_of(frames: &[[f32; 2]]) -> Mix {
    let mut scan = MixScan::new(2, 8_000);
    scan.push(&frames.concat());
    scan.mix()
}

#[test]
fn only_cancelling_channels_are_not_mixed() {
    let tone = tone(200.0, 8_000, 8_000);
    let stereo = |f: fn(f32) -> f32| tone.iter().map(|x| [*x, f(*x)]).collect::<Vec<_>>();
    assert_eq!(mix_of(&stereo(|x| x)), Mix::Mean);
    assert_eq!(mix_of(&stereo(|_| 0.0)), Mix::Mean);
    assert_eq!(mix_of(&stereo(|x| -x)), Mix::One(1));
    assert_eq!(mix_of(&stereo(|x| -0.8 * x)), Mix::One(0));
    assert_eq!(mix_of(&[[0.0; 2]; 100]), Mix::Mean);
}

#[test]
fn clipping_is_counted_in_runs_and_no_numbers_become_silence() {
    let mut mixer = Mixer::new(1, Mix::Mean);
    let mut block = [
        0.1,
        1.0,
        0.1,
        1.0,
        1.0,
        1.0,
        1.0,
        f32::NAN,
        f32::INFINITY,
        -1.0,
    ];
    let mono = mixer.push(&mut block).to_vec();
    assert_eq!(mixer.n_clipped, 4);
    assert_eq!(mixer.n_not_finite, 2);
    assert_eq!(mono[7..9], [0.0, 0.0]);
}

fn print(samples: &[f32]) -> Fingerprint {
    let mut meter = FingerprintMeter::new(22_050);
    meter.push(samples);
    meter.finish()
}

#[test]
fn a_fingerprint_knows_the_take_again_but_not_another() {
    let low = tone(110.0, 22_050, 220_500);
    let quieter: Vec<f32> = low.iter().map(|x| x * 0.95).collect();
    assert!(print(&low).is_same_take(&print(&quieter)));
    assert!(!print(&low).is_same_take(&print(&tone(165.0, 22_050, 220_500))));
    assert!(!print(&low).is_same_take(&print(&low[..200_000])));
    assert!(print(&[0.0; 9]).is_same_take(&print(&[0.0; 10])));
}
