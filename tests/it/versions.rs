//! Versions of a chart for students: saved, charted, removed, and never on the chart itself.

use crate::log_sample::{file, run, stderr, stdout};
use crate::outside::{folder, python, tool};
use crate::results::fit;
use serde_json::Value;
use std::path::{Path, PathBuf};

fn ran(words: &[&str]) -> String {
    let output = run(words);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    stdout(&output)
}

fn refused(words: &[&str]) -> String {
    let output = run(words);
    assert_eq!(output.status.code(), Some(2), "{words:?}");
    stderr(&output)
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a path in Unicode")
}

/// A song with Robin's version for beginners, and one of a band.
fn song(dir: &Path) -> PathBuf {
    let log = file(dir);
    let beginner = "--capo 2 --easy --large --page a5 --save-version Beginner --student Robin";
    let words: Vec<&str> = beginner.split(' ').collect();
    let said = ran(&[&["chart", text(&log)], &words[..]].concat());
    assert!(
        said.contains("'Beginner' for Robin: capo at fret 2, easy chords, large print, A5"),
        "{said}"
    );
    ran(&[
        "chart",
        text(&log),
        "--degrees=under",
        "--save-version",
        "Band",
    ]);
    log
}

fn charted(log: &Path, to: &Path, words: &[&str]) -> Vec<u8> {
    let all = [&["chart", text(log), "-o", text(to), "--overwrite"], words].concat();
    ran(&all);
    std::fs::read(to).expect("it was written")
}

#[test]
fn a_version_is_the_chart_with_its_settings_and_follows_the_song() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let to = dir.join("chart.txt");
    let asked = ["--capo", "2", "--easy", "--large", "--page", "a5"];
    for wanted in ["Beginner", "beginner", "Robin"] {
        let version = charted(&log, &to, &["--for", wanted]);
        assert_eq!(version, charted(&log, &to, &asked), "{wanted}");
    }
    let svg = dir.join("chart.svg");
    let large = charted(&log, &svg, &["--for", "Robin"]);
    // what stands beside it comes first, and takes away what it excludes
    let compact = charted(&log, &svg, &["--for", "Robin", "--compact", "--capo", "0"]);
    let as_asked = ["--capo", "0", "--easy", "--compact", "--page", "a5"];
    assert_ne!(large, compact);
    assert_eq!(compact, charted(&log, &svg, &as_asked));
    let before = charted(&log, &to, &["--for", "Band"]);
    ran(&["confirm", text(&log), "2", "--chord", "Bb7"]);
    let after = charted(&log, &to, &["--for", "Band"]);
    let has = |chart: &[u8]| {
        let text = String::from_utf8_lossy(chart).replace("♭", "b");
        text.contains("Bb7")
    };
    assert!(!has(&before) && has(&after));
}

#[test]
fn versions_are_shown_undone_and_replaced_only_when_asked() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let show = ran(&["show", text(&log)]);
    assert!(show.contains("version 'Beginner' for Robin: "), "{show}");
    let again = ["chart", text(&log), "--save-version", "BEGINNER"];
    let why = refused(&again);
    assert!(why.contains("'Beginner' for Robin already"), "{why}");
    ran(&[&again[..], &["--overwrite"]].concat());
    let json = |words: &[&str]| -> Value { serde_json::from_str(&ran(words)).expect("JSON") };
    let shown = json(&["show", text(&log), "--json"]);
    let names = |shown: &Value| -> Vec<String> {
        let all = shown["versions"].as_array().expect("a list");
        all.iter()
            .map(|v| v["name"].as_str().unwrap_or_default().to_owned())
            .collect()
    };
    assert_eq!(names(&shown), ["BEGINNER", "Band"]);
    let saved = json(&["chart", text(&log), "--save-version", "Duo", "--json"]);
    let removed = json(&["confirm", text(&log), "--remove-version", "band", "--json"]);
    // JSON Schema 2020-12 by the Python package jsonschema
    fit(&[("show", shown), ("confirm", saved), ("confirm", removed)]);
    assert_eq!(
        names(&json(&["show", text(&log), "--json"])),
        ["BEGINNER", "Duo"]
    );
    ran(&["undo", text(&log)]);
    assert_eq!(
        names(&json(&["show", text(&log), "--json"])),
        ["BEGINNER", "Band", "Duo"]
    );
    let output = python("validate_log.py", &["docs/log.schema.json", text(&log)]);
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), "valid");
}

#[test]
fn what_cannot_be_a_version_is_refused_and_changes_nothing() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let before = std::fs::read(&log).expect("a log");
    let chart = ["chart", text(&log)];
    let to = dir.join("x.txt");
    for (words, why) in [
        (vec!["--save-version", "  "], "needs a name"),
        (vec!["--save-version", "Moved", "--key", "Am"], "major"),
        (vec!["--save-version", "A\nB"], "one line"),
        (vec!["--save-version", "X", "--dpi", "100"], "--dpi"),
        (
            vec!["--student", "Robin", "-o", text(&to)],
            "cannot be used with",
        ),
        (
            vec!["--for", "Kim", "-o", text(&to)],
            "there is 'Beginner' for Robin, 'Band'",
        ),
        (vec![], "--output"),
    ] {
        let said = refused(&[&chart[..], &words].concat());
        assert!(said.contains(why), "{words:?}: {said}");
    }
    let said = refused(&["confirm", text(&log), "--remove-version", "Kim"]);
    assert!(said.contains("no version 'Kim'"), "{said}");
    assert!(!to.exists());
    assert_eq!(std::fs::read(&log).expect("a log"), before);
}

#[test]
fn a_folder_is_bound_for_a_student_and_no_chart_names_anyone() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let other = dir.join("other.takebook");
    std::fs::copy(&log, &other).expect("writable");
    ran(&["confirm", text(&other), "--title", "Harbor Lamp"]);
    ran(&["confirm", text(&other), "--remove-version", "Beginner"]);
    let pdf = dir.join("robin.pdf");
    let said = ran(&["chart", text(&dir), "--for", "Robin", "-o", text(&pdf)]);
    assert!(
        said.contains("1 songs") || said.contains("1 song"),
        "{said}"
    );
    // Poppler reads what is in it, and how large its pages are: A5 as the version says
    let read = |name: &str, words: &[&str]| {
        let output = tool(name).args(words).output().expect("it runs");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let page = read("pdftotext", &[text(&pdf), "-"]);
    assert!(!page.contains("Harbor Lamp"), "{page}");
    let size = read("pdfinfo", &[text(&pdf)]);
    assert!(size.contains("419.5"), "148 mm are 419.5 points: {size}");
    let none = dir.join("none.pdf");
    let why = refused(&["chart", text(&dir), "--for", "Kim", "-o", text(&none)]);
    assert!(why.contains("none of these songs"), "{why}");
    assert!(!none.exists());
    // the name of a student is private: it is in no format
    for ending in ["txt", "html", "svg", "musicxml", "jams", "json", "vtt"] {
        let to = dir.join(format!("own.{ending}"));
        let bytes = charted(&log, &to, &["--for", "Robin"]);
        let written = String::from_utf8_lossy(&bytes).into_owned();
        assert!(!written.contains("Robin"), "{ending}");
        assert!(!written.contains("Beginner"), "{ending}");
    }
}

#[test]
fn what_a_version_has_on_is_switched_off_beside_it() {
    let (_keep, dir) = folder();
    let log = song(&dir);
    let to = dir.join("chart.txt");
    let version = ["--for", "Beginner"];
    let as_it_is = charted(&log, &to, &version);
    let off = ["--for", "Beginner", "--no-easy", "--no-large"];
    let plain = charted(&log, &to, &off);
    assert_ne!(plain, as_it_is);
    assert_eq!(plain, charted(&log, &to, &["--capo", "2", "--page", "a5"]));
    assert_eq!(
        charted(&log, &to, &["--for", "Band", "--no-degrees"]),
        charted(&log, &to, &[])
    );
    // the last of two that exclude each other counts
    let both = charted(&log, &to, &["--for", "Beginner", "--no-easy", "--easy"]);
    assert_eq!(both, as_it_is);
    let both = ["--for", "Beginner", "--easy", "--no-easy", "--no-large"];
    assert_eq!(charted(&log, &to, &both), plain);
    // a binder of one song
    let pdf = dir.join("one.pdf");
    let songs = dir.join("songs");
    std::fs::create_dir(&songs).expect("a folder");
    std::fs::copy(&log, songs.join("a.takebook")).expect("copied");
    let said = ran(&["chart", text(&songs), "-o", text(&pdf)]);
    assert!(said.ends_with("one.pdf: 1 song\n"), "{said}");
}
