//! Takes that are hard to count, and one that changes its key: rendered by
//! FluidSynth from Standard MIDI Files whose tempo map is the truth, heard by
//! the real program, graded by mir_eval; the chart of the last is read by
//! music21 and mido.

use crate::outside;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use takebook::songlog::{Log, resolve, store};

/// Least F of beats and of downbeats within 70 ms.
const FLOORS: [(&str, f64); 2] = [("beats", 0.98), ("downbeats", 0.98)];
/// A push that is heard lies so near to its off-beat, s; a sixteenth is 0.14 s there.
const PUSH_S: f64 = 0.06;

fn takes() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        outside::tool("fluidsynth");
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("counts");
        std::fs::create_dir_all(&folder).expect("a folder for the takes");
        outside::python("render_counts.py", &[&folder.to_string_lossy()]);
        folder
    })
}

fn run(words: &[&str]) -> String {
    let output = outside::takebook().args(words).output();
    let output = output.expect("takebook runs");
    assert!(output.status.code() != Some(2), "{words:?}: {output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Drafts a take into a log in `folder`.
fn drafted(name: &str, folder: &Path) -> (PathBuf, Log) {
    let take = takes().join(format!("{name}.wav"));
    let path = folder.join(format!("{name}.takebook"));
    run(&[
        "draft",
        &take.to_string_lossy(),
        "-o",
        &path.to_string_lossy(),
    ]);
    let log = store::load(&path).expect("a log");
    (path, log)
}

fn truth(name: &str) -> Value {
    let text = std::fs::read_to_string(takes().join(format!("{name}.json")));
    serde_json::from_str(&text.expect("a truth")).expect("JSON")
}

#[test]
#[expect(clippy::print_stdout, reason = "the table is wanted with --nocapture")]
fn pushes_odd_bars_and_slow_triplets_are_counted() {
    let (_keep, folder) = outside::folder();
    let mut wrong = Vec::new();
    for name in [
        "cart-track",
        "crank-reel",
        "wheel-waltz",
        "loom-slow",
        "pier-push",
        "stair-up",
    ] {
        let (_, log) = drafted(name, &folder);
        let truth = truth(name);
        let beats = &log.heard.beats;
        let text = json!({
            "beats_s": beats.iter().map(|b| b.time_s).collect::<Vec<_>>(),
            "downbeats_s": beats.iter().filter(|b| b.place == 1).map(|b| b.time_s).collect::<Vec<_>>(),
        });
        let est = takes().join(format!("{name}.est.json"));
        std::fs::write(est, text.to_string()).expect("written");
        let song = resolve(&log);
        let meter = song.meter.map(|(n, value)| format!("{n}/{value}"));
        if meter.as_deref() != truth["meter"].as_str() {
            wrong.push(format!("{name}: {meter:?} for {}", truth["meter"]));
        }
        let usual = song.bars[2].n_beats;
        let odd: Vec<Value> = song
            .bars
            .iter()
            .filter(|b| b.n_beats != usual && b.number != 0)
            .map(|b| json!([b.number, b.n_beats]))
            .collect();
        let expected: Vec<Value> = truth["odd"]
            .is_array()
            .then(|| truth["odd"].clone())
            .into_iter()
            .collect();
        if odd != expected {
            wrong.push(format!("{name}: odd bars {odd:?} for {expected:?}"));
        }
        for at_s in truth["pushes_s"].as_array().expect("pushes") {
            let at_s = at_s.as_f64().expect("a time");
            // in detail; the song's chord may wait for the bar that it anticipates
            let detail = match log.heard.detail.is_empty() {
                true => &log.heard.chords,
                false => &log.heard.detail,
            };
            if !detail.iter().any(|c| (c.start_s - at_s).abs() < PUSH_S) {
                wrong.push(format!(
                    "{name}: no chord starts with the push at {at_s:.2}"
                ));
            }
        }
    }
    let graded = outside::python("grade_counts.py", &[&takes().to_string_lossy()]);
    for line in String::from_utf8_lossy(&graded.stdout).lines() {
        println!("{line}");
        let scores: Value = serde_json::from_str(line).expect("JSON");
        wrong.extend(outside::under_floors(&scores, &FLOORS));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_song_that_goes_up_a_whole_tone_is_read_and_printed_in_its_new_key() {
    let (_keep, folder) = outside::folder();
    let (path, log) = drafted("stair-up", &folder);
    let bar = log.heard.bars.iter().find(|b| b.number == 25);
    let at_s = bar.expect("bar 25").start_s;
    assert_eq!(log.heard.key.map(|k| k.label()), Some("G:maj".into()));
    let changes: Vec<(f64, String)> = log
        .heard
        .key_changes
        .iter()
        .map(|c| (c.at_s, c.key.label()))
        .collect();
    assert_eq!(changes, [(at_s, "A:maj".to_owned())]);
    let log_file = path.to_string_lossy().into_owned();
    let shown = run(&["show", &log_file]);
    assert!(shown.contains("G major, A major from bar 25"), "{shown}");
    let file = |ending: &str| {
        folder
            .join(format!("up.{ending}"))
            .to_string_lossy()
            .into_owned()
    };
    for ending in ["txt", "musicxml", "mid"] {
        run(&["chart", &log_file, "-o", &file(ending)]);
    }
    let txt = std::fs::read_to_string(file("txt")).expect("a chart");
    let lines: Vec<&str> = txt.lines().map(str::trim).collect();
    let over = lines.iter().position(|l| *l == "Key: A major");
    let over = over.unwrap_or_else(|| panic!("{txt}"));
    assert!(lines[over + 1].starts_with("25 |"), "{txt}");
    let read = outside::python("chart_keys.py", &[&file("musicxml"), &file("mid")]);
    let read = String::from_utf8_lossy(&read.stdout).into_owned();
    let told: Vec<&str> = read.lines().collect();
    // how many measures are printed depends on the repeats that are folded
    assert!(
        told[0].starts_with("1:1 ") && told[0].ends_with(":3"),
        "{read}"
    );
    assert_eq!(told[0].split(' ').count(), 2, "{read}");
    assert_eq!(told[1], format!("0.00:G {at_s:.2}:A"), "{read}");
    // taken in again, both files tell the same keys
    for ending in ["musicxml", "mid"] {
        let again = folder.join(format!("again-{ending}.takebook"));
        let again_file = again.to_string_lossy().into_owned();
        run(&["draft", &file(ending), "-o", &again_file]);
        let again = store::load(&again).expect("a log");
        let keys: Vec<String> = again
            .heard
            .key_changes
            .iter()
            .map(|c| c.key.label())
            .collect();
        assert_eq!(
            again.heard.key.map(|k| k.label()),
            Some("G:maj".into()),
            "{ending}"
        );
        assert_eq!(keys, ["A:maj"], "{ending}");
    }
    // the user's word: it stays in G up to bar 33
    run(&["confirm", &log_file, "25", "--key", "G"]);
    let said = run(&["confirm", &log_file, "33", "--key", "A"]);
    assert!(said.contains("A major"), "{said}");
    let shown = run(&["show", &log_file]);
    assert!(shown.contains("G major, A major from bar 33"), "{shown}");
}
