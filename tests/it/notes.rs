//! Which notes are heard of the project's own plucked strings: what the judge
//! of notes must keep apart. What it reaches on guitars that are not ours is
//! in `rendered.rs`.

use crate::outside::{folder, python, takebook};
use takebook::hearing::{Given, Listener, Weights, interpret};
use takebook::units::{SampleRate, Seconds};
use takebook::voice::{Strike, perform};

const BRIGHTNESS: f64 = 0.6;
/// Onsets are right within this, s (MIREX note tracking, from memory).
const NEAR_S: f64 = 0.05;

/// String, MIDI note, time: rings until its string is struck again.
fn strike(string: usize, midi: u8, on_s: f64) -> Strike {
    Strike {
        string,
        midi,
        on_s,
        off_s: 60.0,
        velocity: 0.8,
    }
}

/// Holds the notes heard against those struck, all of them.
fn check(what: &str, strikes: &[Strike]) {
    let end_s = strikes.iter().map(|s| s.on_s).fold(0.0, f64::max) + 1.5;
    let samples = perform(strikes, BRIGHTNESS, Seconds(end_s), SampleRate(22_050));
    let mut listener = Listener::new();
    listener.push(&samples);
    let sound = listener.finish(&|_| true).expect("heard");
    let notes = interpret(&sound, &Given::default(), &Weights::default()).notes;
    let mut heard: Vec<(u8, f64)> = notes.iter().map(|n| (n.midi, n.start_s)).collect();
    let mut struck: Vec<(u8, f64)> = strikes.iter().map(|s| (s.midi, s.on_s)).collect();
    let by_pitch = |a: &(u8, f64), b: &(u8, f64)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1));
    heard.sort_by(by_pitch);
    struck.sort_by(by_pitch);
    let agree = heard.len() == struck.len()
        && heard
            .iter()
            .zip(&struck)
            .all(|(h, s)| h.0 == s.0 && (h.1 - s.1).abs() <= NEAR_S);
    assert!(agree, "{what}: struck {struck:.2?}, heard {heard:.2?}");
}

#[test]
fn a_lone_string_is_one_note() {
    for (string, midi) in [(0, 40), (1, 45), (2, 50), (3, 55), (4, 59), (5, 64)] {
        check("a lone string", &[strike(string, midi, 0.8)]);
    }
}

#[test]
fn an_octave_that_is_struck_is_a_note_of_its_own() {
    check(
        "E and its octave after it",
        &[strike(0, 40, 0.8), strike(2, 52, 1.4)],
    );
    check(
        "A and its octave after it",
        &[strike(1, 45, 0.8), strike(3, 57, 1.4)],
    );
}

#[test]
fn a_string_that_rings_on_is_not_struck_again() {
    let over = [
        (3, 55),
        (4, 59),
        (5, 64),
        (4, 59),
        (3, 55),
        (4, 59),
        (5, 64),
    ];
    let mut strikes = vec![strike(0, 40, 0.8)];
    for (i, (string, midi)) in over.into_iter().enumerate() {
        strikes.push(strike(string, midi, 1.3 + 0.5 * i as f64));
    }
    check("a bass under plucks", &strikes);
}

#[test]
fn a_string_struck_again_while_it_rings_is_heard_again() {
    let strikes: Vec<Strike> = (0..6)
        .map(|i| strike(1, 45, 0.8 + 0.6 * f64::from(i)))
        .collect();
    check("one string again and again", &strikes);
}

/// A chromatic line, in which no chord lies: up and down four frets of the highest string.
fn line() -> Vec<f32> {
    let strikes: Vec<Strike> = (0..28u8)
        .map(|i| {
            let on_s = 0.5 + 0.4 * f64::from(i);
            let midi = 64 + [0, 1, 2, 3, 4, 3, 2, 1][usize::from(i % 8)];
            Strike {
                off_s: on_s + 0.3,
                ..strike(5, midi, on_s)
            }
        })
        .collect();
    perform(&strikes, BRIGHTNESS, Seconds(13.0), SampleRate(22_050))
}

#[test]
fn a_line_of_single_notes_is_not_taken_for_silence() {
    let mut listener = Listener::new();
    listener.push(&line());
    let sound = listener.finish(&|_| true).expect("heard");
    let heard = interpret(&sound, &Given::default(), &Weights::default());
    let said = heard.warnings.join("\n");
    assert!(said.contains("single notes and no chord from"), "{said}");
    assert!(!said.contains("no guitar"), "{said}");
    assert!(heard.notes.len() >= 26, "{} notes", heard.notes.len());
}

/// Reference: the MusicXML 4.0 schema and music21, which reads the tablature.
#[test]
fn a_line_of_single_notes_is_delivered_as_tablature() {
    let (_keep, dir) = folder();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 22_050,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(dir.join("line.wav"), spec).expect("writable");
    for x in line() {
        wav.write_sample((x * 32_767.0) as i16).expect("writable");
    }
    wav.finalize().expect("writable");
    let run = |args: &[&str]| {
        let output = takebook()
            .args(args)
            .current_dir(&dir)
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert_eq!(output.status.code(), Some(0), "{args:?}: {said}");
        said
    };
    let said = run(&["draft", "line.wav"]);
    assert!(
        said.contains("single notes: charts show them as tablature"),
        "{said}"
    );
    run(&["chart", "line.takebook", "-o", "line.musicxml"]);
    let score = dir.join("line.musicxml");
    let read = python("chart_tab.py", &[&score.to_string_lossy()]).stdout;
    let read = String::from_utf8_lossy(&read);
    let (n, first) = read.split_once(" measures with notes; ").expect("its line");
    assert!(n.parse::<u32>().expect("a number") >= 4, "{read}");
    assert!(first.starts_with("E4 F4 F#4"), "{read}");
}
