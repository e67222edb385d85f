//! The judge's numbers held against the Python that the judge was fitted with
//! (docs/training/note_evidence.py, run by tests/outside/note_evidence.py).

use crate::hearing::acoustic::attack::Attacks;
use crate::hearing::acoustic::front::Front;
use crate::hearing::acoustic::net::{Acoustic, N_BASSES, N_CLASSES, N_PITCHES};
use crate::hearing::acoustic::net_tests::{numbers, python};
use crate::hearing::acoustic::songs::Songs;
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::acoustic::spectrum::{Between, Spectra};
use crate::hearing::notes::classifier::Grid;
use crate::hearing::notes::evidence::{Reader, candidates};
use serde_json::{Value, json};

const N_FRAMES: usize = 90;
const TUNING_CENTS: f64 = -23.0;

/// A take of which nothing is meant: smooth levels, some pitches struck.
fn some_sound() -> (Sound, Vec<u8>) {
    let bytes: Vec<u8> = numbers(N_FRAMES * 374, 1)
        .iter()
        .map(|v| 60 + (130.0 * v) as u8)
        .collect();
    let mut acoustic = Acoustic::default();
    let struck = numbers(N_FRAMES * N_PITCHES, 2);
    let sounding = numbers(N_FRAMES * N_PITCHES, 3);
    for t in 0..N_FRAMES {
        let of = |values: &[f32]| -> Vec<f32> {
            let frame = &values[t * N_PITCHES..(t + 1) * N_PITCHES];
            frame.iter().map(|v| 12.0 * v - 9.0).collect()
        };
        acoustic.push_frame(
            &[0.0; N_CLASSES],
            &[0.0; N_BASSES],
            &of(&struck),
            &of(&sounding),
        );
    }
    let front = Front {
        spectra: Spectra::from_bytes(bytes.clone()),
        attacks: Attacks::default(),
        between: Between::default(),
        tuning: Some((TUNING_CENTS, 1.0)),
        n_samples: N_FRAMES * 1024,
        clipped_share: 0.0,
    };
    let sound = Sound {
        front,
        acoustic,
        songs: Songs::default(),
        strokes: Vec::new(),
    };
    (sound, bytes)
}

fn check_row(what: &str, ours: &[f32], theirs: &Value) {
    let theirs = theirs.as_array().expect("a list");
    assert_eq!(ours.len(), theirs.len(), "{what}");
    for (i, (a, b)) in ours.iter().zip(theirs).enumerate() {
        let b = b.as_f64().expect("a number");
        assert!((f64::from(*a) - b).abs() < 2e-3, "{what} {i}: {a} and {b}");
    }
}

#[test]
fn evidence_is_what_the_judge_was_fitted_with() {
    let (sound, bytes) = some_sound();
    let grid = |value: &dyn Fn(usize, usize) -> f32| -> Vec<f32> {
        let places = (0..N_FRAMES).flat_map(|t| (0..N_PITCHES).map(move |p| (t, p)));
        places.map(|(t, p)| (255.0 * value(t, p)).round()).collect()
    };
    let logits: Vec<f32> = numbers(997, 4).iter().map(|v| 8.0 * v - 4.0).collect();
    let told = json!({
        "frames": N_FRAMES,
        "cents": TUNING_CENTS,
        "struck": grid(&|t, p| sound.acoustic.struck(t, p)),
        "sounding": grid(&|t, p| sound.acoustic.sounding(t, p)),
        "spectra": bytes,
        "logits": logits,
    });
    let theirs = python("note_evidence.py", &[], &told);
    let found = candidates(&sound.acoustic);
    assert!(found.len() > 100);
    assert_eq!(
        found.len(),
        theirs["candidates"].as_array().map_or(0, Vec::len)
    );
    let logits: Vec<f32> = logits.iter().copied().cycle().take(found.len()).collect();
    let reader = Reader::new(&sound);
    let said = Grid::new(&sound.acoustic, &found, &logits);
    for (i, candidate) in found.iter().enumerate() {
        let place = [
            candidate.pitch as f32,
            candidate.frame as f32,
            candidate.center,
        ];
        check_row("candidate", &place, &theirs["candidates"][i]);
        check_row(
            "evidence",
            &reader.evidence(&reader.moment(candidate.frame), candidate.pitch),
            &theirs["evidence"][i],
        );
        let joint = said.joint(candidate, logits[i]);
        check_row("second look", &joint, &theirs["second"][i]);
    }
}
