//! All of the week: every student's versions as files, by student and song.

use crate::log_sample::{run, stderr, stdout};
use crate::outside::{folder, root, tool};
use crate::results::fit;
use std::path::Path;

fn text(path: &Path) -> &str {
    path.to_str().expect("a path in Unicode")
}

#[track_caller]
fn ran(words: &[&str], code: i32) -> String {
    let output = run(words);
    assert_eq!(
        output.status.code(),
        Some(code),
        "{words:?} {}",
        stderr(&output)
    );
    match code {
        0 => stdout(&output),
        _ => stderr(&output),
    }
}

/// A song with a recording for Robin and Kim, a typed one for Robin, one for nobody.
fn songs(dir: &Path) -> std::path::PathBuf {
    let songs = dir.join("songs");
    std::fs::create_dir(&songs).expect("made");
    let sound = songs.join("lantern.wav");
    std::fs::copy(root().join("fixtures/lantern-porch.wav"), &sound).expect("a copy");
    let typed = songs.join("typed.txt");
    std::fs::write(
        &typed,
        "Title: Harbor Lamp\nKey: G\nTempo: 96\n\nVerse\n| G | C | D | G |\n",
    )
    .expect("written");
    for file in [&sound, &typed] {
        ran(&["draft", text(file)], 0);
    }
    let save = |song: &str, name: &str, student: &str| {
        let log = songs.join(song);
        let words = ["chart", text(&log), "--easy", "--save-version", name];
        let more: &[&str] = if student.is_empty() {
            &[]
        } else {
            &["--student", student]
        };
        ran(&[&words[..], more].concat(), 0);
    };
    save("lantern.takebook", "Beginner", "Robin");
    save("lantern.takebook", "Duo", "Kim");
    save("lantern.takebook", "Band", "");
    save("typed.takebook", "a/b", "robin");
    ran(
        &[
            "lesson",
            text(&songs.join("lantern.takebook")),
            "--student",
            "Kim",
            "--practised",
            "palmwork",
        ],
        0,
    );
    songs
}

/// The files below a folder, by name.
fn files(dir: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for student in std::fs::read_dir(dir).expect("a folder") {
        let student = student.expect("an entry").path();
        for file in std::fs::read_dir(&student).expect("a folder") {
            let path = file.expect("an entry").path();
            found.push(
                path.strip_prefix(dir)
                    .expect("below")
                    .to_string_lossy()
                    .into_owned(),
            );
        }
    }
    found.sort();
    found
}

#[test]
fn every_student_gets_a_pdf_and_a_page_of_each_song() {
    let (_keep, dir) = folder();
    let songs = songs(&dir);
    let week = dir.join("week");
    let output = run(&[
        "chart",
        text(&songs),
        "--for-everyone",
        "--with-sound",
        "-o",
        text(&week),
    ]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(
        stdout(&output).contains("2 students, 3 charts, 2 pages to practise with"),
        "{}",
        stdout(&output)
    );
    let said = stderr(&output);
    assert!(
        said.contains("typed.takebook: it was made without a recording"),
        "{said}"
    );
    assert!(said.contains("1 versions are for no student"), "{said}");
    let expected = [
        "Kim/lantern - Duo.html",
        "Kim/lantern - Duo.pdf",
        "Robin/Harbor Lamp - a-b.pdf",
        "Robin/lantern - Beginner.html",
        "Robin/lantern - Beginner.pdf",
    ];
    assert_eq!(files(&week), expected);
    // Poppler reads it; no note of a lesson is in it unless asked
    let read = |name: &str| {
        let output = tool("pdftotext")
            .args([text(&week.join(name)), "-"])
            .output()
            .expect("it runs");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    assert!(read("Robin/Harbor Lamp - a-b.pdf").contains("Harbor Lamp"));
    assert!(!read("Kim/lantern - Duo.pdf").contains("palmwork"));
    let own = songs.join("robin.pdf");
    let lantern = songs.join("lantern.takebook");
    ran(
        &[
            "chart",
            text(&lantern),
            "--for",
            "Beginner",
            "-o",
            text(&own),
        ],
        0,
    );
    assert_eq!(
        std::fs::read(own).ok(),
        std::fs::read(week.join("Robin/lantern - Beginner.pdf")).ok()
    );
    // as one archive, by Info-ZIP; with the notes of each student's own lessons
    let zip = dir.join("week.zip");
    let words = [
        "chart",
        text(&songs),
        "--for-everyone",
        "--with-lesson-notes",
        "-o",
        text(&zip),
        "--json",
    ];
    let json = serde_json::from_str(&ran(&words, 0)).expect("JSON");
    // JSON Schema 2020-12 by the Python package jsonschema
    fit(&[("week", json)]);
    let again = dir.join("again");
    let output = tool("unzip")
        .args(["-q", text(&zip), "-d", text(&again)])
        .output()
        .expect("unzip runs");
    assert!(output.status.success(), "{}", stderr(&output));
    let pdfs: Vec<&str> = expected
        .into_iter()
        .filter(|n| n.ends_with(".pdf"))
        .collect();
    assert_eq!(files(&again), pdfs);
    let with_notes = tool("pdftotext")
        .args([text(&again.join("Kim/lantern - Duo.pdf")), "-"])
        .output();
    assert!(stdout(&with_notes.expect("it runs")).contains("palmwork"));
}

#[test]
fn nothing_is_replaced_and_nothing_half_written() {
    let (_keep, dir) = folder();
    let songs = songs(&dir);
    let (used, zip, empty) = (dir.join("used"), dir.join("used.zip"), dir.join("empty"));
    std::fs::create_dir(&used).expect("made");
    std::fs::write(used.join("own.txt"), "mine").expect("written");
    std::fs::write(&zip, "mine").expect("written");
    std::fs::create_dir(&empty).expect("made");
    let everyone = ["chart", text(&songs), "--for-everyone", "-o"];
    for (to, why) in [
        (text(&used), "is not an empty folder"),
        (text(&zip), "not overwritten"),
        ("no/such/week", "cannot write"),
        ("no/such/week.zip", "no folder"),
    ] {
        let said = ran(&[&everyone[..], &[to]].concat(), 2);
        assert!(said.contains(why), "{to}: {said}");
    }
    ran(&[&everyone[..], &[text(&empty)]].concat(), 0);
    assert_eq!(files(&empty).len(), 3);
    let lantern = songs.join("lantern.takebook");
    let nobody = dir.join("nobody");
    for name in ["Beginner", "Duo"] {
        ran(&["confirm", text(&lantern), "--remove-version", name], 0);
    }
    let words = [
        "chart",
        text(&lantern),
        "--for-everyone",
        "-o",
        text(&nobody),
    ];
    let said = ran(&words, 2);
    assert!(
        said.contains("none of these songs has a version for a student"),
        "{said}"
    );
    let said = ran(&[&words[..], &["--for", "Robin"]].concat(), 2);
    assert!(said.contains("cannot be used with"), "{said}");
    let mut left: Vec<String> = std::fs::read_dir(&dir)
        .expect("a folder")
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    left.sort();
    assert_eq!(left, ["empty", "songs", "used", "used.zip"]);
    assert_eq!(std::fs::read(&zip).expect("a file"), b"mine");
}
