//! The log file against its published schema, by another validator.

use crate::log_sample::{file, run, stderr};
use crate::outside::{folder, python};
use std::path::{Path, PathBuf};

/// What PyPI's jsonschema says of each log, by docs/log.schema.json.
fn validated(logs: &[PathBuf]) -> Vec<String> {
    let mut words = vec!["docs/log.schema.json".to_owned()];
    words.extend(logs.iter().map(|p| p.to_string_lossy().into_owned()));
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let output = python("validate_log.py", &words);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines().map(str::to_owned).collect()
}

fn confirm(log: &Path, words: &str) {
    let log = log.to_string_lossy();
    let mut all = vec!["confirm", &log];
    all.extend(words.split_whitespace());
    let output = run(&all);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
}

#[test]
fn logs_of_every_kind_of_decision_are_valid_by_the_schema() {
    let (_keep, dir) = folder();
    let plain = file(&dir);
    let decided = dir.join("decided.takebook");
    std::fs::copy(&plain, &decided).expect("writable");
    for words in [
        "1 --take-first",
        "2 --candidate 2",
        "10 --chord Dm7b5/Ab --shape x02010 --or-shape x-10-12-12-11-10 --note here",
        "--note everywhere",
        "1.3 --split",
        "4 --join",
        "2 --move 1.4",
        "A --name Verse",
        "B --letter C",
        "11 --section-starts",
        "5 --section-joins",
        "--title T --key F#m --meter 3/4 --tempo 96.5 --capo 3 --tuning drop-d",
        "--first-downbeat 0.5s",
        "--bar-beats 6=3 --bar-beats 8=2",
    ] {
        confirm(&decided, words);
    }
    let tapped = dir.join("tapped.takebook");
    std::fs::copy(&plain, &tapped).expect("writable");
    confirm(&tapped, "--beats 0.5,1.02,1.5,2.01,2.5");
    let undone = run(&["undo", &decided.to_string_lossy(), "1", "2"]);
    assert_eq!(undone.status.code(), Some(0), "{}", stderr(&undone));
    let empty = dir.join("empty.takebook");
    let mut log = crate::log_sample::log();
    log.heard.bars.clear();
    log.heard.beats.clear();
    log.heard.sections.clear();
    log.heard.notes.clear();
    log.heard.tempo_bpm = None;
    log.heard.meter = None;
    log.heard.key = None;
    log.heard.chords[0].bass_midi = None;
    std::fs::write(&empty, takebook::songlog::write(&log)).expect("writable");
    assert_eq!(validated(&[plain, decided, tapped, empty]), ["valid"; 4]);
}

/// The schema refuses what the program refuses.
#[test]
fn what_the_schema_refuses_the_program_refuses_too() {
    let (_keep, dir) = folder();
    let text = takebook::songlog::write(&crate::log_sample::log());
    let edits = [
        ("\"version\": 1", "\"version\": 5"),
        ("\"capo\": 0", "\"capo\": -1"),
        ("\"capo\": 0", "\"capo\": 0, \"color\": \"red\""),
        ("\"label\": \"G:maj\"", "\"label\": \"H:maj\""),
        ("\"probability\": 0.92", "\"probability\": 92"),
        ("\"frets\": \"320003\"", "\"frets\": \"3-2-o\""),
        ("\"meter\": \"4/4\"", "\"meter\": \"four\""),
        ("2031-05-02T18:30:00Z", "2nd of May"),
    ];
    let mut logs = Vec::new();
    for (i, (from, to)) in edits.iter().enumerate() {
        assert!(text.contains(from), "'{from}' is not in the log");
        let path = dir.join(format!("{i}.takebook"));
        std::fs::write(&path, text.replacen(from, to, 1)).expect("writable");
        let output = run(&["show", &path.to_string_lossy()]);
        assert_eq!(output.status.code(), Some(2), "{to}");
        logs.push(path);
    }
    let said = validated(&logs);
    assert!(said.iter().all(|s| s.starts_with("invalid at")), "{said:?}");
    assert_eq!(said.len(), edits.len());
}

#[test]
fn what_is_wrong_with_a_damaged_log_is_said_in_plain_words() {
    let text = takebook::songlog::write(&crate::log_sample::log());
    let cut = text[..text.len() / 2].to_owned();
    let torn = text.replacen("\"decided\": [", "\"decided\": (", 1);
    assert!(torn != text);
    for (damaged, words) in [
        (cut, "the file breaks off in the middle of the song"),
        (torn, "it is not JSON any more: expected value"),
    ] {
        let read = takebook::songlog::read(Path::new("evening.takebook"), &damaged);
        let said = read.expect_err("it is damaged").to_string();
        assert!(said.contains(words), "{said}");
        assert!(said.contains("evening.takebook"), "{said}");
        assert!(said.contains("at line "), "{said}");
        assert_eq!(said.matches("line ").count(), 1, "{said}");
    }
}
