//! The demo takes: made by the example, true by construction, and heard to be so.

#[expect(dead_code, reason = "the example's own main is not called here")]
#[path = "../../docs/examples/make_fixtures.rs"]
mod make_fixtures;

use crate::outside;
use make_fixtures::{RATE, Take, takes};
use serde_json::Value;
use takebook::grading::parse_lab;
use takebook::theory::{Label, PitchClass};
use takebook::units::midi_to_hz;

/// Another mathematics library may round a sample the other way.
const ROUNDING_STEPS: i32 = 1;

fn fixture(name: &str) -> Vec<u8> {
    let path = outside::root().join("fixtures").join(name);
    std::fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn wav(take: &Take) -> Vec<i16> {
    let bytes = fixture(&format!("{}.wav", take.name));
    let mut reader = hound::WavReader::new(&bytes[..]).expect("a WAV file");
    assert_eq!(
        (reader.spec().sample_rate, reader.spec().channels),
        (RATE.0, 1)
    );
    reader.samples().map(|s| s.expect("a sample")).collect()
}

fn truth(take: &Take) -> Value {
    serde_json::from_slice(&fixture(&format!("truth/{}.json", take.name))).expect("JSON")
}

#[test]
fn the_committed_takes_are_what_the_example_makes() {
    for take in takes() {
        let (kept, made) = (wav(&take), take.samples());
        assert_eq!(kept.len(), made.len(), "{}", take.name);
        let apart = kept
            .iter()
            .zip(&made)
            .map(|(a, b)| (i32::from(*a) - i32::from(*b)).abs());
        assert!(
            apart.max() <= Some(ROUNDING_STEPS),
            "{}: remake the fixtures",
            take.name
        );
        let lab = String::from_utf8(fixture(&format!("truth/{}.lab", take.name)));
        assert_eq!(lab, Ok(take.lab()));
        assert_eq!(truth(&take), take.truth());
    }
}

/// Notes of a take: on, off, MIDI, string.
fn notes(truth: &Value) -> Vec<(f64, f64, u8, u64)> {
    let rows = truth["notes_on_off_midi_string"].as_array().expect("notes");
    rows.iter()
        .map(|n| {
            let midi = u8::try_from(n[2].as_u64().expect("MIDI")).expect("MIDI");
            let time = |i: usize| n[i].as_f64().expect("s");
            (time(0), time(1), midi, n[3].as_u64().expect("a string"))
        })
        .collect()
}

#[test]
fn every_struck_note_belongs_to_its_chord() {
    for take in takes() {
        let truth = truth(&take);
        let lab = parse_lab(&take.lab()).expect("a timeline");
        let mut n_checked = 0;
        for span in lab.spans() {
            let label: Label = span.label.parse().expect("a label");
            let struck: Vec<u8> = notes(&truth)
                .into_iter()
                .filter(|n| (span.start_s..span.end_s).contains(&n.0))
                .map(|n| n.2)
                .collect();
            let Some(chord) = label.chord() else {
                assert!(struck.is_empty(), "{}: struck in silence", take.name);
                continue;
            };
            let classes = chord.pitch_classes();
            for midi in &struck {
                assert!(
                    classes.contains(PitchClass::new(i32::from(*midi))),
                    "{}: {midi} is not in {}",
                    take.name,
                    span.label
                );
            }
            n_checked += struck.len();
            if take.name != "attic-letters" {
                let lowest = struck.iter().min().expect("a note");
                assert_eq!(
                    chord.bass_pitch_class(),
                    PitchClass::new(i32::from(*lowest)),
                    "{}",
                    span.label
                );
            }
        }
        assert_eq!(n_checked, notes(&truth).len(), "{}", take.name);
    }
}

/// Strength of a frequency in a stretch of samples.
fn strength(samples: &[i16], hz: f64) -> f64 {
    let (mut re, mut im) = (0.0f64, 0.0f64);
    for (i, x) in samples.iter().enumerate() {
        let turn = std::f64::consts::TAU * hz * i as f64 / f64::from(RATE.0);
        re += f64::from(*x) * turn.cos();
        im += f64::from(*x) * turn.sin();
    }
    re.hypot(im) / samples.len() as f64
}

/// The lowest string of a chord comes in where the truth says: its fundamental
/// is far stronger in the 180 ms after the strike than before it, unless the
/// same pitch (or one an octave or a twelfth below it) was sounding already.
#[test]
fn the_sound_changes_where_the_truth_says() {
    for take in takes() {
        let (samples, truth) = (wav(&take), truth(&take));
        let notes = notes(&truth);
        let mut n_checked = 0;
        for (on, _, midi, _) in &notes {
            let hides = |other: u8| [0, 12, 19, 24].contains(&midi.wrapping_sub(other));
            if notes
                .iter()
                .any(|n| n.0 < *on && n.1 + 0.25 > *on && hides(n.2))
                || notes
                    .iter()
                    .any(|n| (n.0 - on).abs() < 0.2 && n.2 != *midi && hides(n.2))
            {
                continue;
            }
            let at = |time: f64| (time * f64::from(RATE.0)).round() as usize;
            let window = |from: f64| &samples[at(from)..at(from + 0.18)];
            let hz = midi_to_hz(f64::from(*midi));
            let (before, after) = (strength(window(on - 0.185), hz), strength(window(*on), hz));
            assert!(
                after > 3.0 * before,
                "{}: {midi} at {on}: {before:.1} to {after:.1}",
                take.name
            );
            n_checked += 1;
        }
        assert!(
            n_checked >= 5,
            "{}: only {n_checked} notes checked",
            take.name
        );
    }
}
