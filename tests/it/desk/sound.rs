//! What the page draws and plays: the wave, the sound of other formats, plucked proposals, naming.

use super::Desk;
use super::client::{take_and_log, write_wav};
use crate::outside;
use serde_json::{Value, json};
use std::time::{Duration, Instant};

/// Asks until the wave is whole.
fn evidence(desk: &Desk, path: &str) -> Value {
    let start = Instant::now();
    loop {
        let value = desk.json(path);
        if value["wave_done"] == true {
            return value;
        }
        assert!(
            start.elapsed() < Duration::from_secs(20),
            "the wave never comes"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn the_wave_is_the_lowest_and_highest_sample_of_each_column() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    // a second of each: silence, half, whole, below zero only; columns of 256 samples fall within
    let level = |t: usize| match t / 44_100 {
        1 => [0.5, -0.25],
        2 => [1.0, -1.0],
        3 => [0.0, -0.75],
        _ => [0.0, 0.0],
    };
    let samples: Vec<f32> = (0..4 * 44_100).map(|t| level(t)[t % 2]).collect();
    write_wav(&folder.join("evening.wav"), &samples);
    let desk = Desk::open(&log);
    let value = evidence(&desk, "/api/evidence?from=0&to=8&columns=8");
    let wave = value["wave"].as_array().expect("a wave");
    let near = |column: &Value, low: f64, high: f64| {
        let pair = [
            column[0].as_f64().expect("low"),
            column[1].as_f64().expect("high"),
        ];
        // drawn in 254 steps and told with two decimals
        (pair[0] - low).abs() < 0.011 && (pair[1] - high).abs() < 0.011
    };
    // a column may share a stretch of 5.8 ms with its neighbor: look inside
    let inside = evidence(&desk, "/api/evidence?from=0.1&to=0.9&columns=3");
    assert!(near(&inside["wave"][1], 0.0, 0.0), "{inside}");
    let inside = evidence(&desk, "/api/evidence?from=1.1&to=1.9&columns=3");
    assert!(near(&inside["wave"][1], -0.25, 0.5), "{inside}");
    let inside = evidence(&desk, "/api/evidence?from=3.1&to=3.9&columns=3");
    assert!(near(&inside["wave"][1], -0.75, 0.0), "{inside}");
    assert!(near(&wave[2], -1.0, 1.0), "{wave:?}");
    // the log says 24 s, the sound has four
    assert!(wave[5..].iter().all(Value::is_null), "{wave:?}");
    // finer than the wave is kept: the same stretch in several columns
    let fine = evidence(&desk, "/api/evidence?from=2.5&to=2.501&columns=10");
    assert!(
        fine["wave"]
            .as_array()
            .expect("a wave")
            .iter()
            .all(|c| near(c, -1.0, 1.0))
    );
}

#[test]
fn evidence_is_what_was_heard_there() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let value = evidence(&desk, "/api/evidence?from=6.5&to=7.5&columns=10");
    let notes: Vec<_> = value["notes"]
        .as_array()
        .expect("notes")
        .iter()
        .map(|n| {
            (
                n["midi"].as_u64(),
                n["start_s"].as_f64(),
                n["lowest"].as_bool(),
            )
        })
        .collect();
    let note = |midi, start_s| (Some(midi), Some(start_s), Some(midi == 43));
    assert_eq!(
        notes,
        [
            note(43, 6.01),
            note(50, 6.01),
            note(55, 6.01),
            note(43, 7.01),
            note(50, 7.01),
            note(55, 7.01)
        ]
    );
    assert_eq!(
        value["beats"],
        json!([{"time_s": 6.5, "place": 2}, {"time_s": 7.0, "place": 3}])
    );
    let chroma = value["chroma"].as_array().expect("chroma");
    assert_eq!(chroma.len(), 2);
    assert_eq!(chroma[0]["values"].as_array().map(Vec::len), Some(12));
    let bar = desk.json("/api/bar/4");
    assert_eq!(bar["struck"][0]["name"], "G2");
    assert_eq!(bar["struck"][0]["string"], "E");
    let shape = &bar["chords"][0]["shapes_drawn"][0];
    assert_eq!(shape["frets"], json!([3, 2, 0, 0, 0, 3]));
    assert_eq!(shape["midi"], json!([43, 47, 50, 55, 59, 67]));
    assert_eq!(shape["first_fret"], 1);
    assert_eq!(shape["decided"], false);
}

/// What a browser seeks in only roughly comes as WAV, on the clock of the log.
/// ffmpeg (Debian) codes and reads it.
#[test]
fn other_formats_come_decoded_and_in_time() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let wav = folder.join("evening.wav");
    let text = std::fs::read_to_string(&log).expect("a log");
    for (name, same) in [
        ("evening.flac", true),
        ("evening.mp3", false),
        ("evening.ogg", false),
        ("evening.m4a", false),
    ] {
        let coded = folder.join(name);
        let output = outside::tool("ffmpeg")
            .args(["-loglevel", "error", "-y", "-i"])
            .args([&wav, &coded])
            .output()
            .expect("ffmpeg runs");
        assert!(output.status.success(), "{output:?}");
        let here = folder.join(format!("{name}.takebook"));
        std::fs::write(&here, text.replace("evening.wav", name)).expect("written");
        let desk = Desk::open(&here);
        let answer = desk.get("/api/take");
        assert_eq!(answer.status, 200, "{name}: {}", answer.text());
        if same {
            assert_eq!(answer.header("content-type"), Some("audio/flac"));
            assert!(
                answer.body == std::fs::read(&coded).expect("a file"),
                "{name}"
            );
            continue;
        }
        assert_eq!(answer.header("content-type"), Some("audio/wav"));
        let served = folder.join(format!("{name}.wav"));
        std::fs::write(&served, &answer.body).expect("written");
        let (first, second) = (onsets(&wav), onsets(&served));
        assert_eq!(first.len(), 12, "{first:?}");
        assert_eq!(second.len(), 12, "{name}: {second:?}");
        // AAC comes up to 1,024 frames late (its priming is not always told)
        let late_s = if name.ends_with("m4a") { 0.03 } else { 0.012 };
        for (a, b) in first.iter().zip(&second) {
            assert!(
                (a - b).abs() < late_s,
                "{name}: struck at {a} s, comes at {b} s"
            );
        }
        // a range of it, as a seek asks for
        let part = desk.request("GET", "/api/take", &[("Range", "bytes=100000-100099")]);
        assert_eq!(part.status, 206);
        assert!(part.body == answer.body[100_000..=100_099]);
    }
}

/// Times at which a WAV gets loud after a second of quieter sound.
fn onsets(path: &std::path::Path) -> Vec<f64> {
    let mut reader = hound::WavReader::open(path).expect("a WAV");
    let spec = reader.spec();
    let per_s = usize::from(spec.channels) * spec.sample_rate as usize;
    let samples: Vec<f32> = reader
        .samples::<i16>()
        .map(|s| f32::from(s.expect("a sample")) / 32_768.0)
        .collect();
    let mut found: Vec<f64> = Vec::new();
    for (i, x) in samples.iter().enumerate() {
        let at_s = i as f64 / per_s as f64;
        if x.abs() > 0.2 && found.last().is_none_or(|last| at_s - last > 1.5) {
            found.push(at_s);
        }
    }
    found
}

/// ISO 16:1975: A4 is 440 Hz; equal temperament gives the others.
#[test]
fn a_plucked_proposal_sounds_its_own_notes() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    for (query, sounding, silent) in [
        // x02210: A2 E3 A3 C4 E4
        (
            "label=A:min&shape=x02210",
            vec![45, 52, 57, 60, 64],
            vec![46, 49, 50, 61],
        ),
        // the shape of the song: 320003
        (
            "label=G:maj",
            vec![43, 47, 50, 55, 59, 67],
            vec![44, 48, 53],
        ),
        ("label=Bb", vec![46, 53, 58], vec![47, 52, 57]),
    ] {
        let answer = desk.get(&format!("/api/plucked?{query}&seconds=1.5"));
        assert_eq!(answer.status, 200, "{query}: {}", answer.text());
        assert_eq!(answer.header("content-type"), Some("audio/wav"));
        let mut reader = hound::WavReader::new(answer.body.as_slice()).expect("a WAV");
        let rate = f64::from(reader.spec().sample_rate);
        let samples: Vec<f64> = reader
            .samples::<i16>()
            .map(|s| f64::from(s.expect("a sample")))
            .collect();
        assert_eq!(samples.len(), 66_150);
        let power = |midi: i32| {
            let hz = 440.0 * 2f64.powf(f64::from(midi - 69) / 12.0);
            let step = std::f64::consts::TAU * hz / rate;
            let n = samples.len() as f64;
            let (re, im) = samples
                .iter()
                .enumerate()
                .fold((0.0, 0.0), |(re, im), (i, x)| {
                    let window = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n).cos();
                    let angle = step * i as f64;
                    (re + window * x * angle.cos(), im + window * x * angle.sin())
                });
            re.hypot(im)
        };
        let least = sounding.iter().map(|m| power(*m)).fold(f64::MAX, f64::min);
        let most = silent.iter().map(|m| power(*m)).fold(0.0, f64::max);
        assert!(least > 4.0 * most, "{query}: {least} against {most}");
    }
}

#[test]
fn what_is_typed_is_named_at_once() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let ask = |text: &str| desk.json(&format!("/api/complete?text={text}&at_s=0.5"));
    let texts = |value: &Value| -> Vec<String> {
        let all = value["suggestions"].as_array().expect("suggestions");
        all.iter()
            .map(|s| s["text"].as_str().expect("a text").to_owned())
            .collect()
    };
    let value = ask("C%23m7b5");
    assert_eq!(
        (&value["kind"], &value["label"], &value["symbol"]),
        (&json!("chord"), &json!("C#:hdim7"), &json!("C♯m7♭5"))
    );
    let shapes = value["shapes"].as_array().expect("shapes");
    assert!(!shapes.is_empty());
    // half-typed
    let value = ask("Am7");
    assert!(texts(&value).starts_with(&["Am7".into()]), "{value}");
    assert!(texts(&value).contains(&"Am7b5".into()), "{value}");
    let value = ask("bb");
    assert_eq!(texts(&value)[0], "Bb", "{value}");
    // nothing typed: what was heard there comes first, then the key's own chords
    let value = ask("");
    assert_eq!(value["kind"], "none");
    assert_eq!(texts(&value)[..2], ["G", "Em"], "{value}");
    for text in texts(&value) {
        let read = ask(&text.replace('#', "%23"));
        assert_eq!(read["kind"], "chord", "{text} does not read back");
    }
    // a fingering is named as `takebook name` names it
    let value = ask("x79987");
    assert_eq!(
        (&value["kind"], &value["symbol"]),
        (&json!("shape"), &json!("Em"))
    );
    let named = crate::log_sample::run(&["name", "x79987", "--key", "G", "--json"]);
    let named: Value = serde_json::from_slice(&named.stdout).expect("JSON");
    let names: Vec<_> = named["items"][0]["names"]
        .as_array()
        .expect("names")
        .iter()
        .map(|n| &n["symbol"])
        .collect();
    let told: Vec<_> = value["names"]
        .as_array()
        .expect("names")
        .iter()
        .map(|n| &n["symbol"])
        .collect();
    assert_eq!(told, names);
    assert_eq!(value["shapes"][0]["frets"], json!([null, 7, 9, 9, 8, 7]));
    // not yet, or never
    for text in ["x0", "H", "x999999", "A/", "%00", "%F0%9F%8E%B8"] {
        let value = ask(text);
        assert_eq!(value["kind"], "none", "{text}: {value}");
        assert!(value["error"].is_string(), "{text}: {value}");
    }
    assert_eq!(ask("N")["symbol"], "N.C.");
}
