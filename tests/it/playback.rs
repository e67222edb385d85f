//! A take's bars to be heard again, written to a file and through the real sound system.

use crate::log_sample;
use crate::outside;
use std::path::{Path, PathBuf};
#[cfg(feature = "mic")]
use std::process::Command;
use std::process::Output;
use takebook::audio::decode;
use takebook::playback::{Beside, MOST_PEAK, ToHear, passage};
use takebook::songlog::resolve;
use takebook::units::midi_to_hz;

const RATE_HZ: u32 = 44_100;

/// The sample log with its take: bar n of 2 s sounds as a sine of MIDI 48 + n.
fn log_and_take(folder: &Path) -> PathBuf {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(folder.join("evening.wav"), spec).expect("a file");
    for i in 0..24 * RATE_HZ {
        let t = f64::from(i) / f64::from(RATE_HZ);
        let hz = midi_to_hz(49.0 + (t / 2.0).floor());
        let x = 0.1 * (std::f64::consts::TAU * hz * t).sin();
        wav.write_sample((x * 32_767.0) as i16).expect("a sample");
    }
    wav.finalize().expect("a file");
    log_sample::file(folder)
}

fn listen(folder: &Path, words: &[&str]) -> Output {
    outside::takebook()
        .args(["listen", "--play", "evening.takebook"])
        .args(words)
        .current_dir(folder)
        .output()
        .expect("the program starts")
}

/// Rising zero crossings a second.
fn crossings_hz(samples: &[f32]) -> f64 {
    let n = samples
        .windows(2)
        .filter(|w| w[0] < 0.0 && w[1] >= 0.0)
        .count();
    n as f64 * f64::from(RATE_HZ) / samples.len() as f64
}

#[test]
fn bars_are_written_at_half_speed_and_at_their_pitch() {
    let (_keep, folder) = outside::folder();
    log_and_take(&folder);
    for (bars, slow, seconds, midi) in [("5", "100", 2.0, 53.0), ("3", "50", 4.0, 51.0)] {
        let words = [
            "--bar",
            bars,
            "--slow",
            slow,
            "-o",
            "again.wav",
            "--overwrite",
        ];
        let output = listen(&folder, &words);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let again = decode(&folder.join("again.wav")).expect("a WAV file");
        let n = again.samples.len();
        assert!(
            (n as f64 / f64::from(RATE_HZ) - seconds).abs() < 1e-3,
            "{n}"
        );
        let hz = crossings_hz(&again.samples[n / 4..n / 4 * 3]);
        let cents = 1200.0 * (hz / midi_to_hz(midi)).log2();
        // a crossing more or less in a second of 140 Hz is 12 cents
        assert!(cents.abs() < 13.0, "bar {bars} at {slow} %: {hz} Hz");
        assert!(again.facts.peak <= MOST_PEAK && again.facts.peak > 0.05);
    }
    let again = listen(&folder, &["--bar", "5", "-o", "again.wav"]);
    assert_eq!(again.status.code(), Some(2), "written over: {again:?}");
}

#[test]
fn the_chords_sound_after_the_take_together_with_it_or_alone() {
    let (_keep, folder) = outside::folder();
    log_and_take(&folder);
    let song = resolve(&log_sample::log());
    let make = |beside, n_times| {
        let wanted = ToHear {
            stretches_s: vec![(2.0, 4.0)],
            speed: 0.5,
            beside,
            n_times,
        };
        passage(&song, &folder.join("evening.wav"), &wanted).expect("a passage")
    };
    let seconds = |beside, n_times| make(beside, n_times).seconds();
    assert!((seconds(Beside::TakeAlone, 1) - 4.0).abs() < 1e-3);
    assert!((seconds(Beside::ChordsAlone, 2) - 8.5).abs() < 1e-3);
    assert!((seconds(Beside::After, 1) - 8.5).abs() < 1e-3);
    let together = make(Beside::Together, 1);
    assert!((together.seconds() - 4.0).abs() < 1e-3);
    let sides = [0, 1].map(|i| -> Vec<f32> { together.frames.iter().map(|f| f[i]).collect() });
    let energy = sides
        .each_ref()
        .map(|s| s.iter().map(|x| x * x).sum::<f32>());
    assert!(energy[0] > 1.0 && energy[1] > 1.0 && sides[0] != sides[1]);
    let all = sides.iter().flatten();
    assert!(all.fold(0.0f32, |p, x| p.max(x.abs())) <= MOST_PEAK);
    // without the take the chords can be heard all the same, and only they
    std::fs::remove_file(folder.join("evening.wav")).expect("gone");
    let alone = listen(
        &folder,
        &["--bar", "2", "--chords", "alone", "-o", "c.wav", "--json"],
    );
    assert_eq!(alone.status.code(), Some(0), "{alone:?}");
    let told = serde_json::from_slice(&alone.stdout).expect("JSON");
    crate::results::fit(&[("listen_log", told)]);
    let missing = listen(&folder, &["--bar", "2", "-o", "d.wav"]);
    assert_eq!(missing.status.code(), Some(2));
    let stderr = log_sample::stderr(&missing);
    assert!(
        stderr.contains("evening.wav") && stderr.contains("--chords alone"),
        "{stderr}"
    );
    assert!(!folder.join("d.wav").exists());
}

/// A sound system whose loudspeaker writes float samples to `out.raw`; its
/// microphone is silent.
#[cfg(feature = "mic")]
fn loudspeaker(folder: &Path, command: &mut Command) {
    let config = folder.join("out.conf");
    std::fs::write(folder.join("mic.raw"), vec![0u8; 8 * 48_000]).expect("silence");
    let text = format!(
        "pcm.!default {{ type asym
            playback.pcm {{ type file slave.pcm {{ type null }} file \"{0}/out.raw\" format \"raw\" }}
            capture.pcm {{ type file slave.pcm {{ type null }} file \"/dev/null\" infile \"{0}/mic.raw\" format \"raw\" }} }}\n",
        folder.display()
    );
    std::fs::write(&config, text).expect("a configuration");
    command.env("ALSA_CONFIG_PATH", config).current_dir(folder);
}

/// The frames that came out of the loudspeaker.
#[cfg(feature = "mic")]
fn sounded(folder: &Path) -> Vec<[f32; 2]> {
    let bytes = std::fs::read(folder.join("out.raw")).expect("something was played");
    let side = |b: &[u8]| f32::from_le_bytes([b[0], b[1], b[2], b[3]]);
    bytes
        .chunks_exact(8)
        .map(|b| [side(b), side(&b[4..])])
        .collect()
}

#[cfg(feature = "mic")]
#[test]
fn what_is_played_is_what_is_written_to_the_last_bit() {
    let (_keep, folder) = outside::folder();
    log_and_take(&folder);
    let words = ["--bar", "3-4", "--slow", "80", "--chords", "together"];
    let written = listen(&folder, &[&words[..], &["-o", "w.wav"]].concat());
    assert_eq!(written.status.code(), Some(0), "{written:?}");
    let mut command = outside::takebook();
    command
        .args(["listen", "--play", "evening.takebook"])
        .args(words);
    loudspeaker(&folder, &mut command);
    let output = command.output().expect("the program starts");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let mut wav = hound::WavReader::open(folder.join("w.wav")).expect("a WAV file");
    let file: Vec<f32> = wav
        .samples::<i32>()
        .map(|x| x.expect("a sample") as f32 / 8_388_608.0)
        .collect();
    let played = sounded(&folder);
    assert!(
        played.len() >= file.len() / 2,
        "{} frames played",
        played.len()
    );
    assert!(
        played.iter().flatten().zip(&file).all(|(a, b)| a == b),
        "samples differ"
    );
    assert!(played[file.len() / 2..].iter().flatten().all(|x| *x == 0.0));
}

#[cfg(feature = "mic")]
#[test]
fn without_a_loudspeaker_it_says_so_in_a_sentence() {
    let (_keep, folder) = outside::folder();
    log_and_take(&folder);
    let config = folder.join("none.conf");
    std::fs::write(&config, "").expect("no devices");
    let output = outside::takebook()
        .args(["listen", "--play", "evening.takebook", "--bar", "1"])
        .env("ALSA_CONFIG_PATH", config)
        .current_dir(&folder)
        .output()
        .expect("the program starts");
    assert_eq!(output.status.code(), Some(2));
    let stderr = log_sample::stderr(&output);
    assert!(stderr.contains("no sound can be played") && stderr.contains("-o FILE.wav"));
    assert!(
        !stderr.contains("ALSA lib") && !stderr.contains("panicked"),
        "{stderr}"
    );
}

/// The count-in as it leaves the program: clicks at the tempo, by the device's own clock.
#[cfg(feature = "mic")]
#[test]
fn counted_bars_click_at_the_tempo() {
    let (_keep, folder) = outside::folder();
    let mut command = outside::takebook();
    command.args(["record", "after.wav", "--seconds", "0.5"]);
    command.args(["--count-in", "2", "--tempo", "90", "--meter", "3/4"]);
    loudspeaker(&folder, &mut command);
    let output = command.output().expect("the program starts");
    // the microphone of this test is silent, which is told by 1
    assert!(matches!(output.status.code(), Some(0 | 1)), "{output:?}");
    let played = sounded(&folder);
    let mut clicks: Vec<usize> = Vec::new();
    for (i, frame) in played.iter().enumerate() {
        if frame[0].abs() > 0.01 && clicks.last().is_none_or(|last| i - last > 8_000) {
            clicks.push(i);
        }
    }
    assert_eq!(clicks.len(), 6, "{clicks:?}");
    // rates that devices usually start with; 90 beats a minute are 2/3 s apart
    let apart: Vec<usize> = clicks.windows(2).map(|w| w[1] - w[0]).collect();
    let rate_hz = apart.iter().sum::<usize>() as f64 / 5.0 * 1.5;
    let usual = [44_100.0, 48_000.0];
    assert!(
        usual.iter().any(|r| (r - rate_hz).abs() < 10.0),
        "{rate_hz} {apart:?}"
    );
    let mean = apart.iter().sum::<usize>() as f64 / 5.0;
    assert!(
        apart
            .iter()
            .all(|a| (*a as f64 - mean).abs() < 0.002 * rate_hz),
        "{apart:?}"
    );
    assert!(played.iter().flatten().all(|x| x.abs() < 0.13));
}
