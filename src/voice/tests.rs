//! Pitch against ISO 16, decay, damping, and what must not be there.

use super::*;
use crate::units::{SampleRate, Seconds, midi_to_hz};
use std::f64::consts::PI;

const RATE: SampleRate = SampleRate(44_100);

/// Strength of one frequency in Hann-windowed samples: the slow formula written out.
fn strength(samples: &[f32], hz: f64, rate: SampleRate) -> f64 {
    let n = samples.len() as f64;
    let (mut re, mut im) = (0.0, 0.0);
    for (i, x) in samples.iter().enumerate() {
        let i = i as f64;
        let window = 0.5 - 0.5 * (2.0 * PI * i / n).cos();
        let phase = 2.0 * PI * hz * i / f64::from(rate.0);
        re += f64::from(*x) * window * phase.cos();
        im += f64::from(*x) * window * phase.sin();
    }
    re.hypot(im) / n
}

/// The frequency of the strongest partial within half a semitone of `midi`, as cents off it.
fn cents_off(samples: &[f32], midi: f64, rate: SampleRate) -> f64 {
    let at = |cents: f64| strength(samples, midi_to_hz(midi + cents / 100.0), rate);
    let coarse = (-10..=10)
        .map(|c| f64::from(c) * 5.0)
        .max_by(|a, b| at(*a).total_cmp(&at(*b)))
        .unwrap_or(0.0);
    // the peak of a parabola through three points around it
    let (a, b, c) = (
        at(coarse - 5.0).ln(),
        at(coarse).ln(),
        at(coarse + 5.0).ln(),
    );
    coarse + 5.0 * 0.5 * (a - c) / (a - 2.0 * b + c)
}

/// ISO 16:1975: A4 is 440 Hz; the rest by equal temperament.
#[test]
fn every_fret_is_in_tune_within_two_cents() {
    for rate in [RATE, SampleRate(22_050)] {
        for midi in (40..=88).step_by(3) {
            for brightness in [0.0, 0.6, 1.0] {
                let how = Pluck {
                    midi: f64::from(midi),
                    brightness,
                    ..Pluck::default()
                };
                let samples = pluck(how, Seconds(0.9), None, rate);
                let off = cents_off(&samples[2000..], f64::from(midi), rate);
                assert!(
                    off.abs() < 2.0,
                    "MIDI {midi} at {} Hz, brightness {brightness}: {off:.2} cents",
                    rate.0
                );
            }
        }
    }
}

#[test]
fn a_quarter_tone_is_in_tune_too() {
    let how = Pluck {
        midi: 52.37,
        ..Pluck::default()
    };
    let off = cents_off(&pluck(how, Seconds(1.0), None, RATE), 52.37, RATE);
    assert!(off.abs() < 2.0, "{off}");
}

fn level_db(samples: &[f32]) -> f64 {
    let power: f64 = samples.iter().map(|x| f64::from(*x).powi(2)).sum();
    10.0 * (power / samples.len() as f64 + 1e-20).log10()
}

#[test]
fn a_string_decays_and_a_damped_one_stops() {
    let rings = pluck(Pluck::default(), Seconds(4.0), None, RATE);
    let damped = pluck(Pluck::default(), Seconds(4.0), Some(Seconds(1.0)), RATE);
    let at = |samples: &[f32], s: usize| level_db(&samples[s * 22_050..][..4410]);
    assert!(at(&rings, 2) < at(&rings, 0) - 6.0);
    assert!(at(&rings, 4) > -60.0, "{}", at(&rings, 4));
    assert_eq!(rings[..44_100], damped[..44_100]);
    assert!(at(&damped, 3) < at(&rings, 3) - 60.0);
}

#[test]
fn nothing_sounds_between_the_partials_nor_at_zero() {
    let how = Pluck {
        midi: 88.0,
        velocity: 1.0,
        brightness: 1.0,
        ..Pluck::default()
    };
    let samples = pluck(how, Seconds(1.0), None, RATE);
    let hz = midi_to_hz(88.0);
    let settled = &samples[4410..];
    let fundamental = strength(settled, hz, RATE);
    for odd in [0.0, 0.5 * hz, 1.5 * hz, 2.5 * hz, 0.97 * hz * 3.5] {
        let db = 20.0 * (strength(settled, odd, RATE) / fundamental).log10();
        assert!(db < -60.0, "{odd:.0} Hz at {db:.0} dB");
    }
}

#[test]
fn a_harder_pluck_is_louder_and_brighter() {
    let play = |velocity| {
        let how = Pluck {
            velocity,
            ..Pluck::default()
        };
        pluck(how, Seconds(0.4), None, RATE)
    };
    let (soft, hard) = (play(0.3), play(1.0));
    assert!(level_db(&hard) > level_db(&soft) + 6.0);
    let tilt = |s: &[f32]| strength(s, 9.0 * 220.0, RATE) / strength(s, 220.0, RATE);
    assert!(tilt(&hard) > tilt(&soft));
}

#[test]
fn a_string_struck_again_drops_its_old_note() {
    let strike = |midi, on_s| Strike {
        string: 2,
        midi,
        on_s,
        off_s: 9.0,
        velocity: 0.8,
    };
    let both = perform(&[strike(55, 0.0), strike(60, 1.0)], 0.6, Seconds(2.0), RATE);
    let later = &both[44_100 + 11_025..];
    let (old, new) = (midi_to_hz(55.0), midi_to_hz(60.0));
    assert!(strength(later, new, RATE) > 30.0 * strength(later, old, RATE));
}

#[test]
fn a_performance_is_the_same_twice_and_keeps_its_headroom() {
    let notes = [(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)];
    let strikes = strum(&notes, Stroke::Down, 0.1, 1.0, 0.012, 0.8);
    assert_eq!(strikes[5].on_s, 0.1 + 5.0 * 0.012);
    let once = perform(&strikes, 0.6, Seconds(1.5), RATE);
    assert_eq!(once, perform(&strikes, 0.6, Seconds(1.5), RATE));
    let peak = once.iter().fold(0.0f32, |p, x| p.max(x.abs()));
    assert!((0.70..0.71).contains(&peak), "{peak}");
    assert!(
        perform(&[], 0.6, Seconds(1.0), RATE)
            .iter()
            .all(|x| *x == 0.0)
    );
}
