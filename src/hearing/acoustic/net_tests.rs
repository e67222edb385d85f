//! The nets as run here, held against ONNX Runtime (PyPI onnxruntime), which
//! reads the same weights: what the training framework exported is what is heard.

use crate::hearing::acoustic::net::{N_CLASSES, N_PITCHES, Net};
use crate::hearing::acoustic::spectrum::{LONG_BINS, SHORT_BINS};
use crate::hearing::acoustic::split_model::run_net;
use crate::hearing::acoustic::stacked::{LAYERS, WIDTH};
use rten::Model;
use rten_tensor::prelude::*;
use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

/// Numbers from 0 to 1 that look like nothing in particular.
pub(in crate::hearing) fn numbers(n: usize, seed: u64) -> Vec<f32> {
    let mut state = seed;
    (0..n)
        .map(|_| {
            // Knuth's constants for a linear congruential generator, from memory
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f32 / (1u64 << 24) as f32
        })
        .collect()
}

/// What a script of tests/outside answers to some JSON.
pub(in crate::hearing) fn python(script: &str, arguments: &[&Path], told: &Value) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join(".venv/bin/python3");
    assert!(python.exists(), "no {}: run tests/setup", python.display());
    let mut run = Command::new(python)
        .arg(root.join("tests/outside").join(script))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python starts");
    let mut to = run.stdin.take().expect("a pipe");
    to.write_all(told.to_string().as_bytes()).expect("sent");
    drop(to);
    let done = run.wait_with_output().expect("python ends");
    assert!(done.status.success(), "{script} failed: run tests/setup");
    serde_json::from_slice(&done.stdout).expect("JSON")
}

fn check<const N: usize>(file: &str, inputs: &[(&str, &[usize])], outputs: [&str; N]) {
    let net = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("src/hearing/weights")
        .join(file);
    let model = Model::load_file(&net).expect("loads");
    let values: Vec<Vec<f32>> = inputs
        .iter()
        .zip(1..)
        .map(|((_, shape), seed)| numbers(shape.iter().product(), seed))
        .collect();
    let tensors: Vec<_> = inputs
        .iter()
        .zip(&values)
        .map(|((_, shape), v)| rten_tensor::Tensor::from_data(*shape, v.clone()))
        .collect();
    let given = inputs
        .iter()
        .zip(&tensors)
        .map(|((name, _), t)| (model.node_id(name).expect("an input"), t.view().into()))
        .collect();
    let nodes = outputs.map(|name| model.node_id(name).expect("an output"));
    let ours = run_net(&model, given, nodes).expect("runs");
    let told: serde_json::Map<String, Value> = inputs
        .iter()
        .zip(&values)
        .map(|((name, shape), v)| ((*name).to_owned(), json!({"shape": shape, "values": v})))
        .collect();
    // the outputs by ONNX Runtime
    let theirs = python("run_net.py", &[&net], &Value::Object(told));
    for (name, ours) in outputs.iter().zip(&ours) {
        let theirs = theirs[*name].as_array().expect("a list");
        assert_eq!(ours.len(), theirs.len(), "{file} {name}");
        assert!(!ours.is_empty(), "{file} {name}");
        for (i, (a, b)) in ours.iter().zip(theirs).enumerate() {
            let b = b.as_f64().expect("a number");
            let far = (f64::from(*a) - b).abs();
            assert!(
                far < 2e-3 * b.abs().max(1.0),
                "{file} {name} {i}: {a} and {b}"
            );
        }
    }
}

#[test]
fn the_net_for_files_runs_as_by_onnx_runtime() {
    let layers: &[usize] = &[1, LAYERS, 90, WIDTH];
    check(
        "acoustic-front.onnx",
        &[("stacked", layers)],
        ["folded", "struck", "sounding"],
    );
    let folded: &[usize] = &[1, 64, 90, 12];
    check(
        "acoustic-back.onnx",
        &[("folded", folded)],
        ["chord", "bass", "tones"],
    );
}

#[test]
fn the_live_net_runs_as_by_onnx_runtime() {
    let long: &[usize] = &[1, 20, LONG_BINS];
    let short: &[usize] = &[1, 20, SHORT_BINS];
    check(
        "live-front.onnx",
        &[("long", long), ("short", short)],
        ["folded", "struck", "sounding"],
    );
    let folded: &[usize] = &[1, 44, 70, 12];
    check(
        "live-back.onnx",
        &[("folded", folded)],
        ["chord", "bass", "tones"],
    );
}

/// A minute and a half of notes that change, as no guitar plays them.
fn notes_s(seconds: usize) -> Vec<f32> {
    let rate = 22_050;
    (0..seconds * rate)
        .map(|i| {
            let t = i as f32 / rate as f32;
            let step = (t / 0.4) as usize;
            let hz = 110.0 * 2f32.powf(((step * 7) % 19) as f32 / 12.0);
            let fade = (-3.0 * (t - 0.4 * step as f32)).exp();
            let partial = |k: f32| (std::f32::consts::TAU * k * hz * t).sin() / k;
            0.2 * fade * (partial(1.0) + partial(2.0) + partial(3.0))
        })
        .collect()
}

#[test]
fn blocks_and_chunks_cannot_be_seen() {
    let mut listener = crate::hearing::Listener::new();
    listener.push(&notes_s(90));
    let sound = listener.finish(&|_| true).expect("heard");
    let cents = sound.front.tuning.map_or(0.0, |t| t.0);
    let once = Net::built_in()
        .expect("loads")
        .at_once(&sound.front.spectra, cents)
        .expect("runs");
    assert!(sound.acoustic.n_frames() > 1_500);
    assert_eq!(sound.acoustic.n_frames(), once.n_frames());
    let mut off = 0;
    let (mut cut, mut whole) = (sound.acoustic.chords(), once.chords());
    for t in 0..once.n_frames() {
        for p in 0..N_PITCHES {
            let apart = (sound.acoustic.struck(t, p) - once.struck(t, p)).abs();
            assert!(apart < 0.02, "frame {t}, pitch {p}: {apart}");
        }
        for (class, (a, b)) in cut.all(t).zip(whole.all(t)).enumerate() {
            let apart = (a - b).abs();
            assert!(apart < 0.2, "frame {t}, class {class}: {apart}");
            off += usize::from(apart > 0.0);
        }
    }
    // rounding to bytes may fall the other way now and then
    assert!(off < once.n_frames() * N_CLASSES / 1_000, "{off}");
}

#[test]
fn the_song_net_answers_as_onnx_runtime_does() {
    use crate::hearing::acoustic::stacked::{LONG_LAYERS, SHORT_LAYERS};
    let (slow, half, fine) = (40, 80, 160);
    check(
        "songs-front.onnx",
        &[
            ("long", &[1, LONG_LAYERS, half, WIDTH]),
            ("short", &[1, SHORT_LAYERS, fine, WIDTH]),
        ],
        ["fold", "bands"],
    );
    check(
        "songs-back.onnx",
        &[("fold", &[1, 72, slow, 12])],
        ["chord", "bass", "mean"],
    );
    check(
        "songs-pulse.onnx",
        &[("bands", &[1, 72, fine]), ("mean", &[1, 72, slow])],
        ["pulse"],
    );
}
