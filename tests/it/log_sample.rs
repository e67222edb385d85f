//! A log as a draft would write it, for tests of what comes after: twelve bars
//! of 2 s in sections A A B, one bar with two chords, invented.

use std::path::{Path, PathBuf};
use std::process::Output;
use takebook::fretboard::Instrument;
use takebook::songlog::heard::*;
use takebook::songlog::{Log, Take, write};

/// First and second candidate of each half bar; `-` goes on from the half before.
const HALVES: [&str; 24] = [
    "G", "-", "D/F#", "-", "Em7", "-", "C", "D", //
    "G", "-", "D/F#", "-", "Em7", "-", "C", "D", //
    "Am7", "-", "-", "-", "C#m7b5", "-", "G", "-",
];

/// How sure the first candidate is, in order of the chords.
const SURE: [f64; 13] = [
    0.92, 0.81, 0.55, 0.97, 0.9, 0.88, 0.4, 0.66, 0.71, 0.93, 0.83, 0.31, 0.99,
];

fn chord(text: &str, start_s: f64, sure: f64) -> HeardChord {
    let candidate = |text: &str, probability, reason: &str| Candidate {
        label: text.parse().expect("a chord of the sample"),
        probability,
        reason: reason.into(),
    };
    let shape = if text == "Em7" { "020030" } else { "320003" };
    HeardChord {
        start_s,
        end_s: 0.0,
        candidates: vec![
            candidate(
                text,
                sure,
                "root, third and fifth heard, the root is the lowest",
            ),
            candidate(
                "Em",
                (1.0 - sure) * 0.4,
                "third and fifth heard; the seventh may be the string before it still ringing",
            ),
        ],
        shapes: vec![FittedShape {
            shape: shape.parse().expect("a shape of the sample"),
            fit: 0.9,
        }],
        bass_midi: Some(43),
        chroma: [0.1; 12],
        fragment: false,
    }
}

/// The log in memory.
pub(crate) fn log() -> Log {
    let mut chords: Vec<HeardChord> = Vec::new();
    for (i, name) in HALVES.iter().enumerate() {
        if *name != "-" {
            let sure = SURE[chords.len()];
            chords.push(chord(name, i as f64, sure));
        }
    }
    for i in 0..chords.len() {
        chords[i].end_s = chords.get(i + 1).map_or(24.0, |c| c.start_s);
    }
    let section = |letter: &str, first_bar, differs: &str| HeardSection {
        letter: letter.into(),
        first_bar,
        last_bar: first_bar + 3,
        differs: differs.into(),
    };
    Log {
        take: Take {
            file: "evening.wav".into(),
            kind: "Waveform Audio File Format".into(),
            rate_hz: 44_100,
            channels: 1,
            bytes: 2_116_844,
            fingerprint: None,
            tags: Default::default(),
        },
        drafted: "2031-05-02T18:30:00Z".into(),
        heard: Heard {
            by_version: "0.1.0".into(),
            settings: vec![],
            duration_s: 24.0,
            tuning_cents: -3.0,
            instrument: Instrument::default(),
            tempo_bpm: Some(120.0),
            meter: Some((4, 4)),
            key: "G".parse().ok(),
            key_changes: Vec::new(),
            beats: (0..48)
                .map(|i| HeardBeat {
                    time_s: 0.5 * f64::from(i),
                    place: (i % 4 + 1) as u8,
                })
                .collect(),
            bars: (0..12)
                .map(|i| Bar {
                    number: i + 1,
                    start_s: 2.0 * f64::from(i),
                    end_s: 2.0 * f64::from(i + 1),
                    n_beats: 4,
                })
                .collect(),
            sections: vec![
                section("A", 1, ""),
                section("A", 5, ""),
                section("B", 9, ""),
            ],
            detail: vec![],
            choices: vec![],
            strums: vec![],
            notes: chords
                .iter()
                .flat_map(|c| {
                    [43, 50, 55].map(|midi| HeardNote {
                        start_s: c.start_s + 0.01,
                        end_s: c.end_s,
                        midi,
                        probability: 0.9,
                    })
                })
                .collect(),
            chords,
            warnings: vec![],
        },
        decided: vec![],
    }
}

/// Writes the log into a folder and gives its path.
pub(crate) fn file(folder: &Path) -> PathBuf {
    let path = folder.join("evening.takebook");
    std::fs::write(&path, write(&log())).expect("the folder of a test can be written");
    path
}

/// Runs the program with these words.
pub(crate) fn run(words: &[&str]) -> Output {
    crate::outside::takebook()
        .args(words)
        .output()
        .expect("the program starts")
}

/// Standard output as text.
pub(crate) fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Standard error as text.
pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}
