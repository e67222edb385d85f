//! Notes of lessons: written, changed, read, undone, and in no exported file unless asked for.

use crate::log_sample::{file, run, stderr, stdout};
use crate::outside::{folder, python, tool};
use crate::results::fit;
use serde_json::Value;
use std::path::{Path, PathBuf};

fn ran(words: &[&str]) -> String {
    let output = run(words);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{words:?} {}",
        stderr(&output)
    );
    stdout(&output)
}

fn refused(words: &[&str]) -> String {
    let output = run(words);
    assert_eq!(output.status.code(), Some(2), "{words:?}");
    stderr(&output)
}

fn json(words: &[&str]) -> Value {
    serde_json::from_str(&ran(words)).expect("JSON")
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a path in Unicode")
}

/// A song with a note of a lesson of Robin and one of Kim.
fn song(dir: &Path) -> PathBuf {
    let log = file(dir);
    for (student, date, practised, tempo, goal) in [
        ("Robin", "2031-05-09", "thumbwork", "72", "quietpulse"),
        ("Kim", "2031-05-02", "palmrest", "60", "brightstrum"),
    ] {
        let words = [
            "--student",
            student,
            "--date",
            date,
            "--practised",
            practised,
        ];
        let more = ["--tempo", tempo, "--next-goal", goal];
        ran(&[&["lesson", text(&log)], &words[..], &more[..]].concat());
    }
    log
}

/// Each note's number, student and next goal, as `show --json` has them.
fn notes(log: &Path) -> Vec<(u64, String, String)> {
    let shown = json(&["show", text(log), "--json"]);
    let of = |note: &Value, name: &str| note[name].as_str().unwrap_or_default().to_owned();
    let all = shown["lesson_notes"].as_array().expect("a list");
    all.iter()
        .map(|n| {
            (
                n["number"].as_u64().expect("a number"),
                of(n, "student"),
                of(n, "next_goal"),
            )
        })
        .collect()
}

#[test]
fn notes_are_written_changed_removed_and_brought_back() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let read = ran(&["lesson", text(&log)]);
    let kim = "note 2, 2 May 2031, Kim: practised palmrest; tempo reached 60 bpm; next goal:";
    assert!(read.contains(kim), "{read}");
    let numbers = |log: &Path| notes(log).iter().map(|n| n.0).collect::<Vec<_>>();
    assert_eq!(numbers(&log), [2, 1], "in order of their days");
    ran(&[
        "lesson",
        text(&log),
        "--change",
        "2",
        "--tempo",
        "66",
        "--next-goal",
        "",
    ]);
    let read = ran(&["lesson", text(&log), "--student", "kim"]);
    assert!(
        read.contains("practised palmrest; tempo reached 66 bpm\n"),
        "{read}"
    );
    ran(&["lesson", text(&log), "--change", "2", "--no-tempo"]);
    assert!(!ran(&["lesson", text(&log)]).contains("66 bpm"));
    ran(&["lesson", text(&log), "--remove", "2"]);
    assert_eq!(numbers(&log), [1]);
    // what is written now takes no number from what undo brings back
    ran(&[
        "lesson",
        text(&log),
        "--practised",
        "scales",
        "--date",
        "2031-07-01",
    ]);
    assert_eq!(numbers(&log), [1, 3]);
    let history = ran(&["undo", text(&log), "--list"]);
    assert!(history.contains("lesson note 2 removed"), "{history}");
    ran(&["undo", text(&log), "5"]);
    ran(&["undo", text(&log), "6"]);
    assert_eq!(numbers(&log), [2, 1]);
    let show = ran(&["show", text(&log)]);
    assert!(
        show.contains("lesson 1, 9 May 2031, Robin: practised thumbwork"),
        "{show}"
    );
    let log_text = std::fs::read_to_string(&log).expect("readable");
    assert!(log_text.contains("\"version\": 4") || log_text.contains("\"version\":4"));
    let output = python("validate_log.py", &["docs/log.schema.json", text(&log)]);
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), "valid");
    // JSON Schema 2020-12 by the Python package jsonschema
    fit(&[
        ("show", json(&["show", text(&log), "--json"])),
        (
            "lessons",
            json(&["lesson", text(&dir), "--student", "Robin", "--json"]),
        ),
        (
            "confirm",
            json(&["lesson", text(&log), "--tempo", "80", "--json"]),
        ),
    ]);
}

#[test]
fn what_makes_no_note_is_refused_and_changes_nothing() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let before = std::fs::read(&log).expect("a log");
    let long = "x".repeat(2001);
    for (words, why) in [
        (
            vec!["--student", "Robin", "--date", "2031-05-02"],
            "needs what was practised",
        ),
        (
            vec!["--practised", "x", "--date", "2031-02-30"],
            "is not a day",
        ),
        (
            vec!["--practised", "x", "--date", "2.5.2031"],
            "as in 2031-05-02",
        ),
        (vec!["--tempo", "9"], "10 to 600 bpm"),
        (vec!["--tempo", "nan"], "10 to 600 bpm"),
        (
            vec!["--change", "7", "--tempo", "80"],
            "no lesson note 7: there is 2 (2 May 2031, Kim)",
        ),
        (vec!["--remove", "0"], "no lesson note 0"),
        (
            vec![
                "--change",
                "1",
                "--practised",
                "",
                "--next-goal",
                "",
                "--no-tempo",
            ],
            "needs what",
        ),
        (vec!["--practised", &long], "at most 2000"),
        (vec!["--practised", "a\u{7}b"], "a text"),
        (vec!["--practised", "x", "--student", "A\nB"], "one line"),
        (
            vec!["--remove", "1", "--practised", "x"],
            "cannot be used with",
        ),
    ] {
        let said = refused(&[&["lesson", text(&log)], &words[..]].concat());
        assert!(said.contains(why), "{words:?}: {said}");
    }
    let said = refused(&["lesson", text(&dir), "--practised", "x"]);
    assert!(said.contains("is a folder"), "{said}");
    assert_eq!(std::fs::read(&log).expect("a log"), before);
    let none = ran(&["lesson", text(&log), "--student", "Nobody"]);
    assert_eq!(none, "no notes of lessons of Nobody\n");
}

#[test]
fn no_exported_file_has_a_note_unless_it_was_asked_for() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let saved = ["--easy", "--save-version", "Beginner", "--student", "Robin"];
    ran(&[&["chart", text(&log)], &saved[..]].concat());
    let private = [
        "thumbwork",
        "quietpulse",
        "palmrest",
        "brightstrum",
        "Robin",
        "Kim",
    ];
    let charted = |ending: &str, words: &[&str]| -> String {
        let to = dir.join(format!("own.{ending}"));
        let to = text(&to);
        ran(&[&["chart", text(&log), "-o", to, "--overwrite"], words].concat());
        match ending {
            // Poppler reads what is in it
            "pdf" => {
                let output = tool("pdftotext").args([to, "-"]).output().expect("it runs");
                String::from_utf8_lossy(&output.stdout).into_owned()
            }
            _ => String::from_utf8_lossy(&std::fs::read(to).expect("written")).into_owned(),
        }
    };
    for ending in [
        "txt", "html", "pdf", "musicxml", "jams", "json", "vtt", "lab", "mid",
    ] {
        for words in [&[][..], &["--for", "Robin"][..]] {
            let chart = charted(ending, words);
            let found = private.iter().find(|p| chart.contains(**p));
            assert_eq!(found, None, "{ending} {words:?}");
        }
    }
    for ending in ["txt", "html", "pdf", "musicxml", "json"] {
        let all = charted(ending, &["--with-lesson-notes"]);
        assert!(private.iter().all(|p| all.contains(p)), "{ending}: {all}");
        // one student's alone, without the name
        for words in [
            &["--with-lesson-notes=robin"][..],
            &["--for", "Beginner", "--with-lesson-notes"][..],
        ] {
            let own = charted(ending, words);
            assert!(
                own.contains("thumbwork") && own.contains("quietpulse"),
                "{ending}"
            );
            let others = ["palmrest", "brightstrum", "Kim", "Robin"];
            assert!(!others.iter().any(|o| own.contains(o)), "{ending}: {own}");
        }
    }
    let to = dir.join("none.pdf");
    for (words, why) in [
        (
            vec!["-o", text(&to), "--with-lesson-notes=Nobody"],
            "no notes of lessons of 'Nobody'",
        ),
        (
            vec!["-o", text(&dir.join("x.mid")), "--with-lesson-notes"],
            "no place for notes",
        ),
        (
            vec!["--save-version", "X", "--with-lesson-notes"],
            "--with-lesson-notes is no setting",
        ),
    ] {
        let said = refused(&[&["chart", text(&log)], &words[..]].concat());
        assert!(said.contains(why), "{words:?}: {said}");
    }
    let said = refused(&[
        "chart",
        text(&dir),
        "-o",
        text(&to),
        "--with-lesson-notes=Nobody",
    ]);
    assert!(said.contains("none of these songs"), "{said}");
    assert!(!to.exists());
}
