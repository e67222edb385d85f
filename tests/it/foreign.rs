//! Files of other programs taken in: our own back again, and what other libraries write.

use crate::chart::demo_log;
use crate::outside::{folder, python, takebook};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Output;

fn text(path: &Path) -> &str {
    path.to_str().expect("a text path")
}

#[track_caller]
fn ran(args: &[&str], code: i32) -> Output {
    let output = takebook().args(args).output().expect("takebook starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{args:?}: {stderr}");
    output
}

/// The song of a log as our own JSON.
#[track_caller]
fn song(log: &Path) -> Value {
    let output = ran(&["chart", text(log), "-o", "-", "--format", "json"], 0);
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Takes a file in; gives the log.
#[track_caller]
fn taken_in(file: &Path) -> PathBuf {
    let log = file.with_extension("back.takebook");
    ran(&["draft", text(file), "-o", text(&log)], 0);
    log
}

/// `start=label` of each chord, times in ms from the first.
fn labels(song: &Value) -> Vec<String> {
    let chords = song["chords"].as_array().expect("chords");
    let first = chords[0]["start_s"].as_f64().expect("a time");
    chords
        .iter()
        .map(|c| {
            let start = c["start_s"].as_f64().expect("a time") - first;
            format!("{start:.3}={}", c["label"].as_str().expect("a label"))
        })
        .collect()
}

/// What a chart says of its form: number and beats of each bar, letter, name and bars of each section.
fn form(song: &Value) -> String {
    let bars: Vec<String> = song["bars"]
        .as_array()
        .expect("bars")
        .iter()
        .map(|b| format!("{}:{}", b["number"], b["n_beats"]))
        .collect();
    let sections: Vec<String> = song["sections"]
        .as_array()
        .expect("sections")
        .iter()
        .map(|s| {
            format!(
                "{}{}{}-{}",
                s["letter"], s["name"], s["first_bar"], s["last_bar"]
            )
        })
        .collect();
    format!(
        "{} {} {} {} {}",
        bars.join(" "),
        sections.join(" "),
        song["meter"],
        song["key"],
        song["tempo_bpm"]
    )
}

fn first_shapes(song: &Value) -> Vec<Value> {
    song["chords"]
        .as_array()
        .expect("chords")
        .iter()
        .map(|c| c["shapes"][0]["frets"].clone())
        .collect()
}

#[test]
fn our_own_files_come_back_as_the_same_song() {
    let (_keep, dir) = folder();
    let log = demo_log(&dir);
    let original = song(&log);
    for ending in ["lab", "jams", "musicxml", "mid"] {
        let file = dir.join(format!("demo.{ending}"));
        ran(&["chart", text(&log), "-o", text(&file)], 0);
        let back = song(&taken_in(&file));
        assert_eq!(labels(&back), labels(&original), "{ending}");
        if ending == "lab" {
            continue;
        }
        assert_eq!(form(&back), form(&original), "{ending}");
        if ending != "jams" {
            assert_eq!(first_shapes(&back), first_shapes(&original), "{ending}");
        }
        assert_eq!(back["title"], original["title"], "{ending}");
        let n = back["chords"].as_array().expect("chords").len();
        assert_eq!(back["n_open"], n, "{ending}: nothing is decided by a file");
    }
}

/// The demo log with so many seconds of silence before its first bar, and its
/// last chord ringing on for 1.1 s behind its last bar.
fn late_log(dir: &Path, silence_s: f64) -> PathBuf {
    let demo = demo_log(dir);
    let text = std::fs::read_to_string(&demo).expect("the demo log");
    let mut log = takebook::songlog::read(&demo, &text).expect("a log");
    let heard = &mut log.heard;
    let mut silence = heard.chords[0].clone();
    silence.candidates.truncate(1);
    silence.candidates[0].label = takebook::theory::Label::NoChord;
    silence.shapes.clear();
    (silence.start_s, silence.end_s) = (0.0, silence_s);
    heard.chords.iter_mut().for_each(|c| {
        c.start_s += silence_s;
        c.end_s += silence_s;
    });
    heard.notes.clear();
    heard.beats.iter_mut().for_each(|b| b.time_s += silence_s);
    heard.bars.iter_mut().for_each(|b| {
        b.start_s += silence_s;
        b.end_s += silence_s;
    });
    heard
        .key_changes
        .iter_mut()
        .for_each(|c| c.at_s += silence_s);
    heard.chords.insert(0, silence);
    heard.duration_s += silence_s + 1.1;
    if let Some(last) = heard.chords.last_mut() {
        last.end_s = heard.duration_s;
    }
    log.decided.clear();
    let path = dir.join("late.takebook");
    std::fs::write(&path, takebook::songlog::write(&log)).expect("written");
    path
}

#[test]
fn silence_before_the_first_bar_and_a_last_chord_that_rings_make_no_bars() {
    // half a beat, an upbeat's length, bars of it, and more beats than a meter can have
    for silence_s in [0.25, 0.5, 5.5, 30.0] {
        let (_keep, dir) = folder();
        let log = late_log(&dir, silence_s);
        let original = song(&log);
        let file = dir.join("late.mid");
        ran(&["chart", text(&log), "-o", text(&file)], 0);
        let back = song(&taken_in(&file));
        let bars = |song: &Value| -> Vec<String> {
            let all = song["bars"].as_array().expect("bars").iter();
            all.map(|b| format!("{} {:.2}", b["n_beats"], b["start_s"].as_f64().expect("s")))
                .collect()
        };
        assert_eq!(bars(&back), bars(&original), "{silence_s} s");
        assert_eq!(labels(&back), labels(&original), "{silence_s} s");
        assert_eq!(back["tempo_bpm"], original["tempo_bpm"], "{silence_s} s");
        assert_eq!(back["n_open"], original["n_open"], "{silence_s} s");
    }
}

/// Reference: music21, pretty_midi, mido and jams write; `foreign_write.py` prints what they wrote.
#[test]
fn what_other_libraries_write_is_read() {
    let (_keep, dir) = folder();
    let output = python("foreign_write.py", &[text(&dir)]);
    let truth = String::from_utf8(output.stdout).expect("text");
    assert_eq!(truth.lines().count(), 6, "{truth}");
    for line in truth.lines() {
        let mut words = line.split(' ');
        let name = words.next().expect("a name");
        let expected: Vec<&str> = words.collect();
        let log = taken_in(&dir.join(name));
        let song = song(&log);
        let found: Vec<String> = song["chords"]
            .as_array()
            .expect("chords")
            .iter()
            .map(|c| {
                let start = c["start_s"].as_f64().expect("a time");
                format!("{start:.3}={}", c["label"].as_str().expect("a label"))
            })
            // silence before the first chord
            .skip_while(|c| c == "0.000=N")
            .collect();
        assert_eq!(found, expected, "{name}");
        match name {
            "score.musicxml" | "packed.mxl" => {
                assert_eq!(song["title"], "Paper Moon & Sons <live>");
                assert_eq!(
                    form(&song),
                    "0:1 1:4 2:4 3:4 4:4 5:4 6:4 \
                     \"A\"\"Verse\"0-2 \"A\"\"Verse\"3-4 \"B\"\"Chorus\"5-6 \"4/4\" \"G:maj\" 100.0"
                );
            }
            "strums.mid" => {
                assert_eq!(song["meter"], "3/4");
                assert_eq!(song["tempo_bpm"], 90.0);
            }
            "broken.mid" => {
                assert_eq!(song["meter"], "6/8");
                assert_eq!(song["bars"][0]["n_beats"], 2);
            }
            "notes.jams" => {
                assert_eq!(song["meter"], "3/4");
                assert_eq!(song["key"], "F:maj");
                assert_eq!(song["chords"][0]["certainty"], 0.5);
                assert_eq!(song["sections"][1]["name"], "chorus");
                let warnings = song["warnings"].to_string();
                assert!(warnings.contains("2 annotations"), "{warnings}");
            }
            _ => {}
        }
    }
}

#[test]
fn files_of_any_kind_are_graded_against_each_other() {
    let (_keep, dir) = folder();
    let log = demo_log(&dir);
    let file = |ending: &str| dir.join(format!("demo.{ending}"));
    for ending in ["lab", "jams", "musicxml", "mid"] {
        ran(&["chart", text(&log), "-o", text(&file(ending))], 0);
    }
    for ending in ["jams", "musicxml", "mid"] {
        let output = ran(
            &["grade", text(&file(ending)), text(&file("lab")), "--json"],
            0,
        );
        let graded: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        for recall in graded["recalls"].as_array().expect("recalls") {
            assert_eq!(recall["recall"], 1.0, "{ending}: {recall}");
        }
    }
}

#[test]
fn taking_in_again_loses_no_decision_and_repeats_no_title() {
    let (_keep, dir) = folder();
    let lab = dir.join("mine.lab");
    std::fs::write(&lab, "0 2 G\n2 4 D7\n").expect("written");
    let log = dir.join("mine.takebook");
    ran(&["draft", text(&lab), "--title", "Mine"], 0);
    ran(&["confirm", text(&log), "2", "--chord", "D9"], 0);
    std::fs::write(&lab, "0 2 Gmaj7\n2 4 D7\n").expect("written");
    ran(&["draft", text(&lab)], 0);
    let song = song(&log);
    assert_eq!(labels(&song), ["0.000=G:maj7", "2.000=D:9"]);
    assert_eq!(song["title"], "Mine");
}

#[test]
fn errors_name_the_file_the_place_and_the_way_out() {
    let (_keep, dir) = folder();
    let write = |name: &str, bytes: &[u8]| {
        let path = dir.join(name);
        std::fs::write(&path, bytes).expect("written");
        path
    };
    for (file, says) in [
        (write("a.lab", b"0 1 G\n1 2 Hm7\n"), "line 2"),
        (write("b.jams", b"[1, 2"), "JAMS"),
        (write("c.mxl", b"PK\x03\x04"), "damaged"),
        (write("d.mid", b"MThd"), "Standard MIDI File"),
        (dir.join("none.jams"), "cannot be read"),
    ] {
        for args in [
            vec!["draft", text(&file)],
            vec!["grade", text(&file), "fixtures/truth/lantern-porch.lab"],
        ] {
            let output = ran(&args, 2);
            let stderr = String::from_utf8_lossy(&output.stderr);
            let name = file.file_name().expect("a name").to_string_lossy();
            assert!(stderr.contains(name.as_ref()), "{stderr}");
            assert!(stderr.contains(says), "no '{says}' in {stderr}");
        }
        assert!(
            !file.with_extension("takebook").exists(),
            "nothing is written"
        );
    }
    // a log of a recording is not replaced by a file of chords
    let log = dir.join("take.takebook");
    let wav = "fixtures/attic-letters.wav";
    ran(&["draft", wav, "-o", text(&log)], 0);
    let lab = write("e.lab", b"0 1 G\n");
    let output = ran(&["draft", text(&lab), "-o", text(&log)], 2);
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(stderr.contains("attic-letters.wav"), "{stderr}");
}
