//! `takebook record` through the real sound system; what it wrote is read back
//! by soundfile (libsndfile) and sox.

use crate::microphone::{RATE_HZ, RealTime, configure, noise, takebook_hearing, takebook_typed};
use crate::outside;
use serde_json::Value;
use std::path::Path;
use std::process::{Output, Stdio};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

fn as_json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {output:?}"))
}

/// Facts and samples of a WAV file, by soundfile.
fn read_back(folder: &Path, wav: &Path) -> (Value, Vec<f32>) {
    let raw = folder.join("read.raw");
    let output = outside::python(
        "read_wav.py",
        &[&wav.to_string_lossy(), &raw.to_string_lossy()],
    );
    let bytes = std::fs::read(&raw).expect("samples");
    let samples = bytes
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect();
    (as_json(&output), samples)
}

/// Frames in a WAV file, by sox, which also decodes all of it.
fn sox_frames(wav: &Path) -> usize {
    let output = outside::tool("sox")
        .arg(wav)
        .args(["-n", "stat"])
        .output()
        .expect("sox runs");
    assert!(output.status.success(), "{output:?}");
    let output = outside::tool("soxi")
        .arg("-s")
        .arg(wav)
        .output()
        .expect("soxi runs");
    let text = String::from_utf8_lossy(&output.stdout);
    text.trim()
        .parse()
        .unwrap_or_else(|e| panic!("{e}: {text}"))
}

#[test]
fn devices_are_told_as_their_schema_says() {
    let (_keep, folder) = outside::folder();
    let output = takebook_hearing(&folder, &noise(RATE_HZ))
        .args(["record", "--devices", "--json"])
        .output()
        .expect("takebook runs");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let told = as_json(&output);
    assert!(!told["devices"].as_array().expect("a list").is_empty());
    crate::results::fit(&[("devices", told)]);
}

#[test]
fn what_was_recorded_is_what_came_bit_for_bit() {
    let (_keep, folder) = outside::folder();
    let fed = noise(3 * RATE_HZ);
    for (form, coding) in [(&["--float"][..], "FLOAT"), (&[], "PCM_24")] {
        let output = takebook_hearing(&folder, &fed)
            .args([
                "record",
                "take.wav",
                "--seconds",
                "2",
                "--json",
                "--overwrite",
            ])
            .args(form)
            .output()
            .expect("takebook runs");
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let told = as_json(&output);
        crate::results::fit(&[("record", told.clone())]);
        assert_eq!(told["frames"], 2 * RATE_HZ);
        assert_eq!(told["ended_by"], "seconds");
        let (facts, samples) = read_back(&folder, &folder.join("take.wav"));
        assert_eq!(facts["coding"], coding);
        assert_eq!(facts["rate_hz"], RATE_HZ);
        assert_eq!(samples.len(), 4 * RATE_HZ);
        assert!(samples == fed[..4 * RATE_HZ], "{coding}: samples differ");
        assert_eq!(sox_frames(&folder.join("take.wav")), 2 * RATE_HZ);
    }
}

#[test]
fn one_channel_is_taken_alone_and_clipping_is_told() {
    let (_keep, folder) = outside::folder();
    let loud: Vec<f32> = (0..RATE_HZ)
        .flat_map(|i| [0.1, if i % 100 < 50 { 1.0 } else { -1.0 }])
        .collect();
    for (channel, clipped) in [("1", false), ("2", true)] {
        let output = takebook_hearing(&folder, &loud)
            .args([
                "record",
                "one.wav",
                "--seconds",
                "0.5",
                "--json",
                "--overwrite",
                "--channel",
                channel,
            ])
            .output()
            .expect("takebook runs");
        let told = as_json(&output);
        assert_eq!(told["channels"], 1);
        assert_eq!(
            told["clipped_samples"].as_u64() > Some(0),
            clipped,
            "{told}"
        );
    }
}

#[test]
fn a_killed_recording_plays_and_lost_less_than_a_second() {
    let (_keep, folder) = outside::folder();
    let fed = noise(12 * RATE_HZ);
    let mic = RealTime::new(&folder, fed.clone(), Duration::ZERO);
    let wav = folder.join("killed.wav");
    let mut child = outside::takebook()
        .env("ALSA_CONFIG_PATH", configure(&folder, &mic.pipe))
        .arg("record")
        .arg(&wav)
        .stdin(Stdio::null())
        .spawn()
        .expect("takebook runs");
    let start = Instant::now();
    while mic.delivered.load(Ordering::SeqCst) < 4 * RATE_HZ {
        assert!(
            start.elapsed() < Duration::from_secs(40),
            "the microphone is not read"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    child.kill().expect("killed"); // SIGKILL: nothing of the program runs after it
    child.wait().expect("gone");
    let delivered = mic.delivered.load(Ordering::SeqCst);
    let (_, samples) = read_back(&folder, &wav);
    let n_frames = samples.len() / 2;
    assert!(
        n_frames + RATE_HZ > delivered,
        "{n_frames} of {delivered} frames"
    );
    assert!(samples == fed[..samples.len()], "samples differ");
    assert_eq!(sox_frames(&wav), n_frames);
}

#[test]
fn a_full_disk_ends_it_cleanly_with_what_was_caught() {
    let (_keep, folder) = outside::folder();
    let fed = noise(6 * RATE_HZ);
    let program = takebook_hearing(&folder, &fed);
    let config = folder.join("asound.conf");
    // a disk of 600 KiB, seen by this command alone: room for two seconds
    let script = "mkdir small && mount -t tmpfs -o size=600k none small || exit 9
        \"$0\" record small/full.wav --seconds 5; code=$?; cp small/full.wav caught.wav; exit $code";
    let is_root = outside::tool("id")
        .arg("-u")
        .output()
        .expect("id runs")
        .stdout
        == b"0\n";
    let mut command = outside::tool("unshare");
    if !is_root {
        command.arg("--map-root-user");
    }
    let output = command
        .args(["--mount", "sh", "-c", script])
        .arg(program.get_program())
        .env("ALSA_CONFIG_PATH", config)
        .current_dir(&folder)
        .output()
        .expect("unshare runs");
    assert_ne!(
        output.status.code(),
        Some(9),
        "a small disk can only be mounted by root or where user namespaces are allowed: {output:?}"
    );
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(
        stderr.contains("No space left") && stderr.contains("playable"),
        "{stderr}"
    );
    let (_, samples) = read_back(&folder, &folder.join("caught.wav"));
    assert!(samples.len() > RATE_HZ, "only {} samples", samples.len());
    assert!(samples == fed[..samples.len()], "samples differ");
}

#[test]
fn a_device_that_stops_ends_it_cleanly() {
    let (_keep, folder) = outside::folder();
    let fed = noise(RATE_HZ);
    let mic = RealTime::new(&folder, fed.clone(), Duration::from_secs(7));
    let wav = folder.join("gone.wav");
    let output = outside::takebook()
        .env("ALSA_CONFIG_PATH", configure(&folder, &mic.pipe))
        .arg("record")
        .arg(&wav)
        .stdin(Stdio::null())
        .output()
        .expect("takebook runs");
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(
        String::from_utf8_lossy(&output.stderr).contains("stopped delivering"),
        "{output:?}"
    );
    let (_, samples) = read_back(&folder, &wav);
    assert!(
        samples.len() > RATE_HZ && samples == fed[..samples.len()],
        "{} samples",
        samples.len()
    );
}

#[test]
fn a_signal_ends_it_as_asked() {
    let (_keep, folder) = outside::folder();
    let mic = RealTime::new(&folder, noise(20 * RATE_HZ), Duration::ZERO);
    let child = outside::takebook()
        .env("ALSA_CONFIG_PATH", configure(&folder, &mic.pipe))
        .args(["record", "--json"])
        .arg(folder.join("asked.wav"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .expect("takebook runs");
    while mic.delivered.load(Ordering::SeqCst) < RATE_HZ {
        std::thread::sleep(Duration::from_millis(20));
    }
    let ended = outside::tool("kill")
        .args(["-TERM", &child.id().to_string()])
        .status()
        .expect("kill runs");
    assert!(ended.success());
    let output = child.wait_with_output().expect("ended");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert_eq!(as_json(&output)["ended_by"], "signal");
}

#[test]
fn marks_are_told_with_the_file_the_device_and_the_room() {
    let (_keep, folder) = outside::folder();
    let command = ["record", "--json", "marked.wav"];
    let keys = ["2:m", "3:m", "4:q"];
    let (output, screen) = takebook_typed(&folder, &noise(20 * RATE_HZ), &command, &keys);
    assert_eq!(output.status.code(), Some(0), "{screen}\n{output:?}");
    let shown = screen.lines().find(|l| l.contains("marked.wav from"));
    assert!(shown.is_some_and(|l| l.contains("GB free: ")), "{screen}");
    let (_, json) = screen.split_once('{').expect("an object");
    let told: Value = serde_json::from_str(&format!("{{{}", json.trim_end())).expect("JSON");
    assert_eq!(told["ended_by"], "key");
    let marks: Vec<f64> = told["marks_s"]
        .as_array()
        .expect("marks")
        .iter()
        .filter_map(Value::as_f64)
        .collect();
    let [first, second] = marks[..] else {
        panic!("two marks: {told}");
    };
    let length_s = told["seconds"].as_f64().expect("a length");
    assert!(0.0 < first && first < second && second < length_s, "{told}");
}

#[test]
fn what_cannot_be_recorded_is_said_in_words() {
    let (_keep, folder) = outside::folder();
    let silent = folder.join("none.conf");
    std::fs::write(&silent, "").expect("no devices");
    std::fs::write(folder.join("there.wav"), "precious").expect("a file");
    let fails = |args: &[&str], config: Option<&Path>| {
        let mut command = takebook_hearing(&folder, &noise(RATE_HZ));
        if let Some(config) = config {
            command.env("ALSA_CONFIG_PATH", config);
        }
        let output = command.args(args).output().expect("takebook runs");
        assert_eq!(output.status.code(), Some(2), "{args:?}: {output:?}");
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    let check = |args: &[&str], config: Option<&Path>, words: &str| {
        let stderr = fails(args, config);
        assert!(stderr.contains(words), "{args:?}: {stderr}");
        assert!(!stderr.contains("ALSA lib"), "{stderr}");
    };
    check(
        &["record", "a.wav"],
        Some(&silent),
        "no microphone can be opened",
    );
    check(&["listen"], Some(&silent), "no microphone can be opened");
    check(
        &["record", "--devices"],
        Some(&silent),
        "there is no input device",
    );
    check(&["record", "a.wav", "--device", "banjo"], None, "'banjo'");
    check(&["record", "a.wav", "--channel", "9"], None, "no channel 9");
    check(&["record", "a.mp3"], None, ".wav");
    check(
        &["record", "there.wav"],
        None,
        "already exists; not overwritten",
    );
    check(&["record", "no/folder.wav"], None, "cannot write");
    assert_eq!(
        std::fs::read(folder.join("there.wav")).expect("there"),
        b"precious"
    );
}
