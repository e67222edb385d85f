//! The microphone on the page: the real sound system, fed with the project's own plucked string.

use super::Desk;
use super::client::take_and_log;
use crate::microphone::{RATE_HZ, RealTime, configure};
use crate::outside;
use serde_json::json;
use std::path::Path;
use std::time::Duration;
use takebook::songlog::store;
use takebook::units::{SampleRate, Seconds};
use takebook::voice::{Stroke, perform, strum};

/// C, then G: four seconds each, strummed each second. Stereo.
fn two_chords() -> Vec<f32> {
    let chords: [&[(usize, u8)]; 2] = [
        &[(1, 48), (2, 52), (3, 55), (4, 60), (5, 64)],
        &[(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)],
    ];
    let strikes: Vec<_> = (0..8)
        .flat_map(|n| {
            let on_s = f64::from(n);
            strum(
                chords[n as usize / 4],
                Stroke::Down,
                on_s,
                on_s + 1.0,
                0.01,
                0.8,
            )
        })
        .collect();
    let mono = perform(&strikes, 0.5, Seconds(20.0), SampleRate(RATE_HZ as u32));
    mono.iter().flat_map(|x| [*x, *x]).collect()
}

fn desk_hearing(folder: &Path, log: &Path, source: &Path) -> Desk {
    let mut command = outside::takebook();
    command.env("ALSA_CONFIG_PATH", configure(folder, source));
    command.args(["desk", "--no-open"]).arg(log);
    Desk::start(command).entered()
}

#[test]
fn what_is_played_is_told_and_a_moment_is_kept_beside_the_log() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let before = std::fs::read(&log).expect("a log");
    let played = RealTime::new(&folder, two_chords(), Duration::from_secs(5));
    let desk = desk_hearing(&folder, &log, &played.pipe);
    assert_eq!(desk.json("/api/song")["live"], true);
    let post = |path: &str| desk.post(path, &json!({}));
    // not before it was started
    let answer = post("/api/live/keep");
    assert_eq!(answer.status, 409, "{}", answer.text());
    assert!(answer.error().contains("start first"));
    let mut events = desk.events();
    let answer = desk.post("/api/live/start", &json!({"fragments": true}));
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert_eq!(answer.json()["keeps_in"], "evening-moments.takebook");
    let mut chords: Vec<String> = Vec::new();
    let mut n_levels = 0;
    while chords.last().is_none_or(|c| c != "G:maj") {
        let (name, data) = events.next();
        match name.as_str() {
            "level" => {
                let peak = data["peak_dbfs"].as_f64().expect("a level");
                assert!((-121.0..=0.1).contains(&peak), "{data}");
                assert!(data["clipped"].is_boolean(), "{data}");
                n_levels += 1;
            }
            "live" => {
                assert!(data["ended"].is_null(), "{data}");
                assert_eq!(data["version"], 1);
                chords.push(
                    data["candidates"][0]["label"]
                        .as_str()
                        .expect("a label")
                        .into(),
                );
            }
            _ => {}
        }
        assert!(n_levels < 200, "G was never heard: {chords:?}");
    }
    assert!(chords.contains(&"C:maj".into()), "{chords:?}");
    assert!(
        n_levels > 20,
        "ten levels a second, not {n_levels} in four seconds"
    );
    let kept = post("/api/live/keep");
    assert_eq!(kept.status, 200, "{}", kept.text());
    assert!(
        kept.json()["words"]
            .as_str()
            .is_some_and(|w| w.contains("kept")),
        "{}",
        kept.text()
    );
    let saved = post("/api/live/take");
    assert_eq!(saved.status, 200, "{}", saved.text());
    assert_eq!(saved.json()["log"], "evening-moments-take-1.takebook");
    let take = store::load(&folder.join("evening-moments-take-1.takebook")).expect("a draft");
    assert!(!take.heard.chords.is_empty());
    assert_eq!(post("/api/live/stop").json()["was_listening"], true);
    assert_eq!(post("/api/live/stop").json()["was_listening"], false);
    let moments = store::load(&folder.join("evening-moments.takebook")).expect("a log of moments");
    assert!(moments.heard.duration_s >= 3.0);
    assert!(folder.join("evening-moments.wav").exists());
    // the log that is open and its take are what they were
    assert_eq!(std::fs::read(&log).expect("a log"), before);
}

#[test]
fn without_a_microphone_it_says_so() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let silent = folder.join("silent.raw");
    std::fs::write(&silent, [0u8; 8 * RATE_HZ]).expect("written");
    let desk = desk_hearing(&folder, &log, &silent);
    // (asking opens each device, which would drain one that is a pipe)
    let devices = desk.json("/api/live/devices");
    let listed = devices["devices"].as_array().expect("a list");
    assert!(listed.iter().all(|d| d["name"].is_string()), "{devices}");
    let answer = desk.post("/api/live/start", &json!({"device": "no such device"}));
    assert_eq!(answer.status, 404, "{}", answer.text());
    assert!(!answer.error().is_empty());
    assert_eq!(desk.post("/api/live/keep", &json!({})).status, 409);
}

#[test]
fn a_drafted_take_is_never_added_to() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    // a drafted take that has the name and the form of kept moments
    let (other, wav) = (
        folder.join("evening-moments.takebook"),
        folder.join("evening-moments.wav"),
    );
    let text = std::fs::read_to_string(&log).expect("a log");
    let text = text.replace("evening.wav", "evening-moments.wav");
    std::fs::write(&other, text).expect("written");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ as u32,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&wav, spec).expect("a file");
    for n in 0..RATE_HZ as i32 {
        writer.write_sample(n).expect("written");
    }
    writer.finalize().expect("written");
    let read = |path: &Path| std::fs::read(path).expect("a file");
    let before = (read(&other), read(&wav));
    let played = RealTime::new(&folder, two_chords(), Duration::from_secs(5));
    let desk = desk_hearing(&folder, &log, &played.pipe);
    let mut events = desk.events();
    let answer = desk.post("/api/live/start", &json!({}));
    assert_eq!(answer.status, 200, "{}", answer.text());
    for _ in 0..35 {
        events.wait_for("level");
    }
    let answer = desk.post("/api/live/keep", &json!({}));
    assert_eq!(answer.status, 409, "{}", answer.text());
    let error = answer.error();
    assert!(error.contains("holds something else"), "{error}");
    assert!((read(&other), read(&wav)) == before);
    // and listening goes on
    events.wait_for("level");
    let stopped = desk.post("/api/live/stop", &json!({})).json();
    assert_eq!(stopped["was_listening"], true);
}
