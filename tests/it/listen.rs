//! `takebook listen` through the real sound system, on the project's own plucked string.

use crate::microphone::{RATE_HZ, takebook_hearing, takebook_typed};
use crate::outside;
use serde_json::Value;
use takebook::drafting::Moments;
use takebook::hearing::Given;
use takebook::songlog::heard::HeardChord;
use takebook::songlog::{resolve, store};
use takebook::units::{SampleRate, Seconds};
use takebook::voice::{Stroke, perform, strum};

/// C, G, A minor, D: two seconds each, strummed each second; then silence. Stereo.
fn four_chords(silence_s: f64) -> Vec<f32> {
    let chords: [&[(usize, u8)]; 4] = [
        &[(1, 48), (2, 52), (3, 55), (4, 60), (5, 64)],
        &[(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)],
        &[(1, 45), (2, 52), (3, 57), (4, 60), (5, 64)],
        &[(2, 50), (3, 57), (4, 62), (5, 66)],
    ];
    let mut strikes = Vec::new();
    for (i, notes) in chords.iter().enumerate() {
        for half in 0..2 {
            let on_s = 2.0 * i as f64 + f64::from(half);
            strikes.extend(strum(notes, Stroke::Down, on_s, on_s + 1.0, 0.01, 0.8));
        }
    }
    let mono = perform(
        &strikes,
        0.5,
        Seconds(8.0 + silence_s),
        SampleRate(RATE_HZ as u32),
    );
    mono.iter().flat_map(|x| [*x, *x]).collect()
}

#[test]
fn the_chords_that_are_played_are_told_and_the_last_is_held() {
    let (_keep, folder) = outside::folder();
    let output = takebook_hearing(&folder, &four_chords(3.0))
        .args(["listen", "--json", "--seconds", "10.5"])
        .output()
        .expect("takebook runs");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let text = String::from_utf8_lossy(&output.stdout);
    let mut lines: Vec<Value> = text
        .lines()
        .map(|l| serde_json::from_str(l).unwrap_or_else(|e| panic!("{e}: {l}")))
        .collect();
    let end = lines.pop().expect("an end");
    assert_eq!(end["kept"], 0);
    let mut documents: Vec<(&str, Value)> = vec![("listen_end", end)];
    documents.extend(lines.iter().map(|l| ("listen_line", l.clone())));
    crate::results::fit(&documents);
    let label = |v: &Value| {
        v["candidates"][0]["label"]
            .as_str()
            .expect("a label")
            .to_owned()
    };
    // a second and a half into each chord
    for (time_s, expected) in [
        (1.5, "C:maj"),
        (3.5, "G:maj"),
        (5.5, "A:min"),
        (7.5, "D:maj"),
    ] {
        let line = lines
            .iter()
            .rev()
            .find(|v| v["t_s"].as_f64() <= Some(time_s));
        assert_eq!(
            label(line.expect("an answer")),
            expected,
            "at {time_s}\n{text}"
        );
    }
    let last = lines.last().expect("answers");
    assert_eq!(last["held"], true, "{text}");
    assert_eq!(label(last), "D:maj");
    let delay_s = last["delay_s"].as_f64().expect("a delay");
    assert!((0.05..0.15).contains(&delay_s), "{delay_s}");
}

#[test]
fn a_line_for_each_change_fits_the_terminal() {
    let (_keep, folder) = outside::folder();
    let output = takebook_hearing(&folder, &four_chords(1.0))
        .args(["listen", "--seconds", "8"])
        .output()
        .expect("takebook runs");
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(text.lines().count() >= 4, "{text}");
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
}

#[test]
fn a_moment_is_kept_with_its_sound_and_the_screen_fits() {
    let (_keep, folder) = outside::folder();
    let keys = [
        "7:k", "10:m", "14:k", "14.2:1", "15:l", "15.5:p", "15.7:p", "16:d", "17:f", "17.5:t",
        "18:q",
    ];
    let command = ["listen", "--keep", "ideas.takebook", "--tempo", "96"];
    let (output, screen) = takebook_typed(&folder, &four_chords(30.0), &command, &keys);
    let log = folder.join("ideas.takebook");
    assert_eq!(output.status.code(), Some(0), "{screen}\n{output:?}");
    assert!(
        screen.contains("paused") && screen.contains("Marks at"),
        "{screen}"
    );
    for line in screen.split(['\n', '\r']) {
        let shown = line.split('\u{1b}').map(|part| {
            // what follows an escape up to its letter moves the cursor
            part.strip_prefix('[').map_or(part, |p| {
                p.trim_start_matches(|c: char| c.is_ascii_digit())
                    .get(1..)
                    .unwrap_or("")
            })
        });
        let n: usize = shown.map(|part| part.chars().count()).sum();
        assert!(
            n < 40,
            "{n} columns, a narrow terminal would scroll: {line}"
        );
    }
    assert!(screen.contains("██  "), "no large letters: {screen}");
    // the beats of the metronome, one after the other
    for bar in ["●···  96 bpm", "·●··", "··●·", "···●"] {
        assert!(screen.contains(bar), "no beat {bar}: {screen}");
    }
    let place = screen
        .lines()
        .find(|l| l.contains("keeps   in ideas.takebook"));
    assert!(place.is_some_and(|l| l.contains(" GB")), "{screen}");
    let take = store::load(&folder.join("ideas-take-1.takebook")).expect("the take is drafted");
    assert!(take.heard.duration_s > 10.0, "{}", take.heard.duration_s);
    assert!(!take.heard.chords.is_empty() && take.take.file == "ideas-take-1.wav");
    let kept = store::load(&log).expect("a log");
    let wav = hound::WavReader::open(store::take_path(&log, &kept)).expect("its sound");
    let length_s = f64::from(wav.duration()) / f64::from(wav.spec().sample_rate);
    assert!((kept.heard.duration_s - length_s).abs() < 1e-3);
    // two moments of 3 s or more, and the last ten seconds
    assert!(length_s >= 16.0, "{length_s} s kept: {screen}");
    let labels: Vec<String> = resolve(&kept)
        .spans
        .iter()
        .map(|s| s.label.label())
        .collect();
    assert!(
        labels.iter().any(|l| l == "D:maj" || l == "A:min"),
        "{labels:?}"
    );
}

#[test]
fn moments_that_end_between_the_steps_of_the_log_join() {
    let (_keep, folder) = outside::folder();
    let log = folder.join("ideas.takebook");
    let rate_hz = RATE_HZ as u32;
    let sound = four_chords(0.0);
    // 3 s and two samples: the log rounds that to a tenth of a millisecond, the sound goes on
    // where it really ended
    let moment = &sound[..2 * (3 * RATE_HZ + 2)];
    for n in 1..=3 {
        let mut moments = Moments::new(&log, rate_hz, Given::default(), 60.0);
        moments.push(moment, 2);
        moments.keep_last(60.0).expect("it is kept");
        let kept = store::load(&log).expect("a log that is whole");
        let end_s = f64::from(n) * (3.0 + 2.0 / RATE_HZ as f64);
        assert!((kept.heard.duration_s - end_s).abs() < 1e-3, "{n}");
        let silent = |c: &&HeardChord| c.candidates[0].reason == "not heard";
        assert_eq!(kept.heard.chords.iter().filter(silent).count(), 0, "{n}");
    }
}

#[test]
fn a_device_that_comes_back_is_heard_again() {
    let (_keep, folder) = outside::folder();
    let command = ["listen", "--keep", "ideas.takebook"];
    // nothing for longer than a device is believed to be there
    let keys = ["pause=3:10", "17:m", "17.5:q"];
    let (output, screen) = takebook_typed(&folder, &four_chords(30.0), &command, &keys);
    assert_eq!(output.status.code(), Some(0), "{screen}\n{output:?}");
    let (_, after) = screen.split_once("delivers nothing").expect(&screen);
    let (_, marked) = screen.split_once("Marks at 0:").expect(&screen);
    let at_s: f64 = marked[..4].parse().expect(&screen);
    // what the pause was is not counted: only what was heard
    assert!(
        after.contains("hearing") || after.contains("quiet"),
        "{screen}"
    );
    assert!((4.0..16.0).contains(&at_s), "{at_s}: {screen}");
}
