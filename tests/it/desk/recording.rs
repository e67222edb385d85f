//! A take recorded on the page of the list, through the real sound system: what came is in the
//! folder to the bit, marked, named and analysed; what goes wrong is said, and what was recorded
//! till then stays.

use super::Desk;
use super::client::{Events, take_and_log};
use crate::microphone::{RATE_HZ, RealTime, configure, noise};
use crate::outside;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use takebook::songlog::store;

/// A folder of songs, beside what feeds the microphone.
struct Place {
    _keep: tempfile::TempDir,
    outer: PathBuf,
    songs: PathBuf,
}

fn place() -> Place {
    let (keep, outer) = outside::folder();
    let songs = outer.join("songs");
    std::fs::create_dir(&songs).expect("a folder");
    Place {
        _keep: keep,
        outer,
        songs,
    }
}

fn command(place: &Place, config: &Path) -> Command {
    let mut command = outside::takebook();
    command.env("ALSA_CONFIG_PATH", config);
    command.args(["desk", "--no-open"]).arg(&place.songs);
    command
}

/// A desk that hears a microphone which delivers these samples in real time.
fn hearing(place: &Place, samples: &[f32], pause_s: u64) -> (Desk, RealTime) {
    let pause = Duration::from_secs(pause_s);
    let mic = RealTime::new(&place.outer, samples.to_vec(), pause);
    let config = configure(&place.outer, &mic.pipe);
    (Desk::start(command(place, &config)).entered(), mic)
}

#[track_caller]
fn posted(desk: &Desk, path: &str, body: &Value) -> Value {
    let answer = desk.post(path, body);
    assert_eq!(answer.status, 200, "{path} {body}: {}", answer.text());
    answer.json()
}

#[track_caller]
fn refused(desk: &Desk, path: &str, body: &Value, status: u16, words: &str) {
    let answer = desk.post(path, body);
    assert_eq!(answer.status, status, "{path} {body}: {}", answer.text());
    let error = answer.error();
    assert!(error.contains(words), "{path} {body}: {error}");
}

/// Waits for so many levels: a tenth of a second each.
fn record_for(events: &mut Events, n_levels: usize) {
    (0..n_levels).for_each(|_| drop(events.wait_for("level")));
}

/// The next news of the recording that is in this stage.
fn until(events: &mut Events, stage: &str) -> Value {
    loop {
        let told = events.wait_for("recording");
        if told["stage"] == stage {
            return told;
        }
    }
}

/// The recordings without a song, once the list fits.
fn loose(desk: &Desk, fits: impl Fn(&[Value]) -> bool) -> Vec<Value> {
    let began = Instant::now();
    loop {
        let told = desk.json("/api/songs");
        let all = told["without_song"].as_array().expect("a list").clone();
        if told["n_unread"] == 0 && fits(&all) {
            return all;
        }
        assert!(began.elapsed() < Duration::from_secs(30), "{told}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Samples of a WAV file and what libsndfile says of its cue points, frames.
fn read_back(place: &Place, wav: &Path) -> (Vec<f32>, Vec<usize>) {
    let raw = place.outer.join("read.raw");
    let wav = wav.to_string_lossy();
    outside::python("read_wav.py", &[&wav, &raw.to_string_lossy()]);
    let bytes = std::fs::read(&raw).expect("samples");
    let sample = |b: &[u8]| f32::from_le_bytes([b[0], b[1], b[2], b[3]]);
    let samples = bytes.chunks_exact(4).map(sample).collect();
    let cues = outside::python("read_cues.py", &[&wav]);
    (
        samples,
        serde_json::from_slice(&cues.stdout).expect("a list"),
    )
}

/// Whether what was recorded is a stretch of what was fed, without a gap.
#[track_caller]
fn is_stretch(recorded: &[f32], fed: &[f32]) {
    assert!(!recorded.is_empty(), "nothing was recorded");
    let found = (0..fed.len() - recorded.len())
        .step_by(2)
        .find(|at| fed[*at..*at + 64] == recorded[..64]);
    let at = found.expect("where it begins");
    assert!(fed[at..at + recorded.len()] == *recorded, "samples differ");
}

#[test]
fn a_take_is_counted_in_recorded_marked_named_and_analysed() {
    let place = place();
    let fed = noise(40 * RATE_HZ);
    let (desk, _mic) = hearing(&place, &fed, 0);
    assert_eq!(desk.json("/api/record")["stage"], "idle");
    let mut events = desk.events();
    let count = json!({"bars": 1, "beats": 3, "tempo_bpm": 180});
    let told = posted(
        &desk,
        "/api/record/start",
        &json!({"name": "Now", "count_in": count}),
    );
    assert_eq!(told, json!({"stage": "counting", "beat": 1, "n_beats": 3}));
    refused(
        &desk,
        "/api/record/mark",
        &json!({}),
        409,
        "nothing is being recorded",
    );
    assert_eq!(until(&mut events, "counting")["beat"], 1);
    assert_eq!(until(&mut events, "counting")["beat"], 2);
    assert_eq!(until(&mut events, "counting")["beat"], 3);
    let told = until(&mut events, "recording");
    assert_eq!(
        (&told["file"], &told["marks_s"]),
        (&json!("Now.wav"), &json!([]))
    );
    // another page, and the page of a song, leave the microphone alone
    refused(
        &desk,
        "/api/record/start",
        &json!({}),
        409,
        "being recorded already",
    );
    take_and_log(&place.songs);
    let live = "/song/evening.takebook/api/live/start";
    refused(&desk, live, &json!({}), 409, "stop that first");
    record_for(&mut events, 8);
    let first = posted(&desk, "/api/record/mark", &json!({}))["at_s"].as_f64();
    record_for(&mut events, 8);
    let second = posted(&desk, "/api/record/mark", &json!({}))["at_s"].as_f64();
    let level = events.wait_for("level");
    assert_eq!(level["clipped"], false);
    assert!(
        level["peak_dbfs"]
            .as_f64()
            .is_some_and(|db| (-1.0..=0.0).contains(&db)),
        "{level}"
    );
    let names = loose(&desk, |_| true);
    assert!(
        names.iter().all(|r| r["file"] != "Now.wav"),
        "not offered yet: {names:?}"
    );
    let told = posted(&desk, "/api/record/stop", &json!({}));
    assert_eq!(
        (&told["stage"], &told["missing"]),
        (&json!("recorded"), &json!([]))
    );
    assert_eq!(told["is_silent"], false);
    let seconds = told["seconds"].as_f64().expect("a length");
    let marks = [first.expect("a mark"), second.expect("a mark")];
    assert_eq!(told["marks_s"], json!(marks));
    assert!(
        0.5 < marks[0] && marks[0] + 0.5 < marks[1] && marks[1] < seconds,
        "{told}"
    );

    // named as another file: that one stays
    std::fs::write(place.songs.join("Ferry lights.wav"), "another").expect("written");
    for (name, words) in [(" ", "a name"), ("a/x", "slash"), (".x", "dot")] {
        refused(
            &desk,
            "/api/record/keep",
            &json!({"name": name}),
            400,
            words,
        );
    }
    let entry = posted(
        &desk,
        "/api/record/keep",
        &json!({"name": "Ferry lights", "analyse": true}),
    );
    assert_eq!(entry["file"], "Ferry lights 2.wav", "{entry}");
    assert_eq!(desk.json("/api/record")["stage"], "idle");
    refused(
        &desk,
        "/api/record/keep",
        &json!({"name": "x"}),
        409,
        "no recording to name",
    );
    let wav = place.songs.join("Ferry lights 2.wav");
    let (samples, cues) = read_back(&place, &wav);
    is_stretch(&samples, &fed);
    let frame = |s: f64| (s * RATE_HZ as f64).round() as usize;
    assert_eq!(cues, marks.map(frame));
    assert_eq!(
        std::fs::read(place.songs.join("Ferry lights.wav")).expect("there"),
        b"another"
    );
    let end = loop {
        let told = events.wait_for("adding");
        let own = told["entries"]
            .as_array()
            .and_then(|all| all.first())
            .cloned();
        if let Some(own) = own.filter(|e| e["stage"] == "done" || e["stage"] == "failed") {
            break own;
        }
    };
    assert_eq!(end["stage"], "done", "{end}");
    let song = desk.json("/song/Ferry%20lights%202.takebook/api/song");
    assert_eq!(song["take"]["marks_s"].as_array().map(Vec::len), Some(2));
    assert_eq!(
        store::load(&wav.with_extension("takebook"))
            .expect("a song")
            .take
            .file,
        "Ferry lights 2.wav"
    );
}

#[test]
fn a_count_that_is_stopped_and_a_take_that_is_thrown_away_leave_nothing() {
    let place = place();
    let (desk, _mic) = hearing(&place, &noise(40 * RATE_HZ), 0);
    let mut events = desk.events();
    let count = json!({"bars": 16, "beats": 4, "tempo_bpm": 60});
    posted(&desk, "/api/record/start", &json!({"count_in": count}));
    let told = posted(&desk, "/api/record/stop", &json!({}));
    assert_eq!(told["stage"], "idle", "{told}");
    let left = || std::fs::read_dir(&place.songs).expect("a folder").count();
    assert_eq!(left(), 1, "only the folder of what need not be seen");
    posted(&desk, "/api/record/start", &json!({}));
    record_for(&mut events, 3);
    let told = posted(&desk, "/api/record/stop", &json!({}));
    assert_eq!(told["file"], "Recording.wav");
    std::fs::write(place.songs.join("mine.wav"), "precious").expect("written");
    refused(
        &desk,
        "/api/record/discard",
        &json!({"file": "mine.wav"}),
        409,
        "no recording",
    );
    posted(
        &desk,
        "/api/record/discard",
        &json!({"file": "Recording.wav"}),
    );
    assert_eq!(left(), 2);
    assert!(place.songs.join("mine.wav").exists());
    for (body, words) in [
        (
            json!({"count_in": {"bars": 0, "beats": 4, "tempo_bpm": 90}}),
            "bars",
        ),
        (
            json!({"count_in": {"bars": 1, "beats": 99, "tempo_bpm": 90}}),
            "beats",
        ),
        (
            json!({"count_in": {"bars": 1, "beats": 4, "tempo_bpm": 1e9}}),
            "bpm",
        ),
        (json!({"name": "a/b"}), "slash"),
        (json!({"volume": 3}), "unknown field"),
        (json!([]), "object"),
    ] {
        refused(&desk, "/api/record/start", &body, 400, words);
    }
    assert_eq!(desk.json("/api/record")["stage"], "idle");
}

#[test]
fn a_desk_killed_while_recording_leaves_what_was_played_and_the_next_one_says_so() {
    let place = place();
    let fed = noise(30 * RATE_HZ);
    let (mut desk, mic) = hearing(&place, &fed, 0);
    let mut events = desk.events();
    posted(&desk, "/api/record/start", &json!({"name": "Thursday"}));
    record_for(&mut events, 12);
    let mark = posted(&desk, "/api/record/mark", &json!({}))["at_s"].as_f64();
    record_for(&mut events, 12);
    let delivered = mic.delivered.load(Ordering::SeqCst);
    desk.kill();
    drop(mic);
    let wav = place.songs.join("Thursday.wav");
    assert!(wav.exists());
    let desk = Desk::open(&place.songs);
    let [left] = &loose(&desk, |all| all.len() == 1)[..] else {
        panic!("one recording");
    };
    assert_eq!(
        (&left["file"], &left["cut_short"]),
        (&json!("Thursday.wav"), &json!(true))
    );
    let (samples, cues) = read_back(&place, &wav);
    is_stretch(&samples, &fed);
    assert!(
        samples.len() / 2 + RATE_HZ > delivered,
        "{} of {delivered}",
        samples.len() / 2
    );
    let frame = (mark.expect("a mark") * RATE_HZ as f64).round() as i64;
    // the journal rounds to a millisecond
    assert!(
        cues.len() == 1 && (cues[0] as i64 - frame).abs() <= 24,
        "{cues:?}, not {frame}"
    );
    // once it is a song, nothing more is said
    posted(&desk, "/api/draft", &json!({"file": "Thursday.wav"}));
    loose(&desk, |all| all.is_empty());
    let side = std::fs::read_dir(place.songs.join(".takebook")).expect("a folder");
    let names: Vec<String> = side
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into())
        .collect();
    assert!(
        names.iter().all(|n| !n.starts_with("recording-")),
        "{names:?}"
    );
}

#[test]
fn a_microphone_that_is_not_there_or_goes_away_is_said_in_words() {
    let place = place();
    let silent = place.outer.join("none.conf");
    std::fs::write(&silent, "").expect("no devices");
    let desk = Desk::start(command(&place, &silent)).entered();
    refused(
        &desk,
        "/api/record/start",
        &json!({}),
        404,
        "no microphone can be opened",
    );
    refused(
        &desk,
        "/api/record/start",
        &json!({"device": "banjo"}),
        404,
        "'banjo'",
    );
    assert_eq!(desk.json("/api/record")["stage"], "idle");
    assert_eq!(
        std::fs::read_dir(&place.songs).expect("a folder").count(),
        0
    );
    drop(desk);

    // it stops delivering after a second, as when it is unplugged
    let fed = noise(RATE_HZ);
    let (desk, _mic) = hearing(&place, &fed, 9);
    let mut events = desk.events();
    posted(&desk, "/api/record/start", &json!({}));
    let told = until(&mut events, "recorded");
    let missing = told["missing"][0].as_str().expect("words");
    assert!(
        missing.contains("stopped delivering; what was caught until then is saved"),
        "{missing}"
    );
    let (samples, _) = read_back(&place, &place.songs.join("Recording.wav"));
    assert!(
        samples.len() > RATE_HZ && samples == fed[..samples.len()],
        "{}",
        samples.len()
    );
    posted(&desk, "/api/record/keep", &json!({"name": "short"}));
    let all = loose(&desk, |all| all.iter().any(|r| r["file"] == "short.wav"));
    assert_eq!(all.len(), 1, "{all:?}");
}

#[test]
fn a_disk_that_fills_up_ends_a_recording_with_what_was_caught() {
    let place = place();
    let fed = noise(40 * RATE_HZ);
    let mic = RealTime::new(&place.outer, fed.clone(), Duration::ZERO);
    let config = configure(&place.outer, &mic.pipe);
    // room for some twelve seconds, seen by this desk alone
    let disk = super::faults::SmallDisk::open(&place.outer, 4000, Some(&config));
    let desk = &disk.desk;
    let mut events = desk.events();
    posted(desk, "/api/record/start", &json!({}));
    record_for(&mut events, 3);
    disk.fill(500);
    let told = until(&mut events, "recorded");
    let missing = told["missing"][0].as_str().expect("words");
    assert!(
        missing.contains("No space left") && missing.contains("playable"),
        "{missing}"
    );
    let caught = disk.folder.join("Recording.wav");
    let (samples, _) = read_back(&place, &caught);
    is_stretch(&samples, &fed);
    let seconds = told["seconds"].as_f64().expect("a length");
    assert!(
        (samples.len() as f64 / 2.0 / RATE_HZ as f64 - seconds).abs() < 0.6,
        "{told}"
    );
    // another is not begun
    refused(
        desk,
        "/api/record/start",
        &json!({}),
        507,
        "the disk has no room",
    );
    assert_eq!(desk.json("/api/songs")["trouble"], Value::Null);
}

#[test]
fn what_the_page_of_a_song_saves_waits_in_the_same_queue() {
    let place = place();
    take_and_log(&place.songs);
    let (desk, _mic) = hearing(&place, &noise(30 * RATE_HZ), 0);
    let live = |what: &str| format!("/song/evening.takebook/api/live/{what}");
    posted(&desk, &live("start"), &json!({}));
    let mut folder = desk.events();
    let began = Instant::now();
    // three seconds must be there
    let answer = loop {
        let answer = desk.post(&live("take"), &json!({}));
        if answer.status == 200 {
            break answer.json();
        }
        assert!(answer.error().contains("not yet"), "{}", answer.text());
        assert!(began.elapsed() < Duration::from_secs(60));
        std::thread::sleep(Duration::from_millis(200));
    };
    assert_eq!(answer["file"], "evening-moments-take-1.wav", "{answer}");
    assert!(answer["id"].is_number(), "an entry of the queue: {answer}");
    posted(&desk, &live("stop"), &json!({}));
    loop {
        let told = folder.wait_for("adding");
        let own = &told["entries"][0];
        assert_ne!(own["stage"], "failed", "{own}");
        if own["stage"] == "done" {
            break;
        }
    }
    let log = place.songs.join("evening-moments-take-1.takebook");
    assert!(store::load(&log).expect("a song").take.rate_hz > 0);
}
