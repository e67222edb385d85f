//! A folder of songs as one archive and back: nothing is lost, replaced or led astray.
//!
//! Outside judges: Python's zipfile reads what is packed and writes what is unpacked, Info-ZIP's
//! `unzip -t` and `zip` do the same.

use crate::log_sample::{run, stderr, stdout};
use crate::outside::{folder, python, root, takebook, tool};
use crate::results::fit;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

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

/// A drafted song with its recording beside it, and where they lie.
fn drafted(dir: &Path, song: &str) -> (PathBuf, PathBuf) {
    let sound = dir.join("lantern.wav");
    std::fs::copy(root().join("fixtures/lantern-porch.wav"), &sound).expect("a copy");
    let log = dir.join(song);
    ran(&["draft", text(&sound), "-o", text(&log)], 0);
    (log, sound)
}

/// The same song with its recording elsewhere, named as `file`.
fn renamed(log: &Path, to: &Path, file: &str) {
    let song = std::fs::read_to_string(log).expect("a log");
    let named = song.replace(
        "\"lantern.wav\"",
        &serde_json::to_string(file).expect("JSON"),
    );
    assert_ne!(song, named);
    std::fs::write(to, named).expect("written");
}

/// Every file below a folder with its content, the side folder left out.
fn all(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![dir.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            let name = path
                .strip_prefix(dir)
                .expect("below")
                .to_string_lossy()
                .into_owned();
            match path.is_dir() {
                true if name == ".takebook" => {}
                true => folders.push(path),
                false => drop(found.insert(name, std::fs::read(&path).expect("readable"))),
            }
        }
    }
    found
}

/// What lies in a folder, hidden files included.
fn names(dir: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(dir).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

/// A folder of songs: one beside its recording, one whose recording lies in a folder inside,
/// two that name one elsewhere, one whose recording is gone, a typed chart, a damaged song.
fn songs(dir: &Path) -> PathBuf {
    let songs = dir.join("songs");
    let elsewhere = dir.join("elsewhere");
    for folder in [&songs, &songs.join("takes"), &elsewhere] {
        std::fs::create_dir(folder).expect("made");
    }
    let (log, sound) = drafted(&songs, "lantern.takebook");
    ran(
        &[
            "lesson",
            text(&log),
            "--student",
            "Robin",
            "--practised",
            "thumbwork",
        ],
        0,
    );
    std::fs::copy(&sound, songs.join("takes/in.wav")).expect("a copy");
    renamed(&log, &songs.join("inside.takebook"), "takes/in.wav");
    std::fs::copy(
        root().join("fixtures/river-stairs.wav"),
        elsewhere.join("river.wav"),
    )
    .expect("a copy");
    renamed(
        &log,
        &songs.join("far.takebook"),
        text(&elsewhere.join("river.wav")),
    );
    renamed(&log, &songs.join("up.takebook"), "../elsewhere/river.wav");
    renamed(&log, &songs.join("gone.takebook"), "gone.wav");
    std::fs::write(songs.join("typed.txt"), "Title: Harbor Lamp\n\n| C | G |\n").expect("written");
    std::fs::write(songs.join("damaged.takebook"), "no song").expect("written");
    std::fs::write(songs.join("loose.wav"), "no song is about it").expect("written");
    songs
}

#[test]
fn a_folder_is_packed_and_unpacked_with_everything_in_place() {
    let (_keep, dir) = folder();
    let songs = songs(&dir);
    let before = all(&songs);
    let zip = dir.join("may.zip");
    let output = run(&["backup", text(&songs), "-o", text(&zip)]);
    // one recording is gone: done, but not all of it
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let said = stdout(&output);
    for words in [
        "6 songs, 4 recordings, 1 other file",
        "recordings/river.wav",
        "students' names",
        ".takebook",
    ] {
        assert!(said.contains(words), "no {words} in {said}");
    }
    assert!(stderr(&output).contains("gone.wav"), "{}", stderr(&output));
    assert_eq!(all(&songs), before, "packing changes nothing");
    // by others: Python's zipfile, and unzip -t
    let read = python("zip_read.py", &[text(&zip)]);
    let found: Value = serde_json::from_slice(&read.stdout).expect("JSON");
    let files: Vec<&String> = found["files"].as_object().expect("files").keys().collect();
    assert_eq!(files.len(), 11, "{files:?}");
    for (song, take) in [
        ("lantern", "lantern.wav"),
        ("inside", "takes/in.wav"),
        ("far", "recordings/river.wav"),
        ("up", "recordings/river.wav"),
    ] {
        assert_eq!(found["takes"][format!("{song}.takebook")], take);
    }
    let tested = tool("unzip")
        .args(["-tq", text(&zip)])
        .output()
        .expect("unzip runs");
    assert!(tested.status.success(), "{}", stdout(&tested));
    // on another machine neither the folder nor what lay elsewhere is there
    std::fs::rename(&songs, dir.join("old")).expect("moved");
    std::fs::remove_dir_all(dir.join("elsewhere")).expect("removed");
    let new = dir.join("new");
    let said = ran(&["unpack", text(&zip), text(&new)], 0);
    assert!(
        said.contains("6 songs, 4 recordings, 1 other file"),
        "{said}"
    );
    let after = all(&new);
    for (name, bytes) in &before {
        let is_rewritten = ["far.takebook", "up.takebook"].contains(&name.as_str());
        assert_eq!(after.get(name) == Some(bytes), !is_rewritten, "{name}");
    }
    for song in ["lantern", "inside", "far", "up"] {
        let log = new.join(format!("{song}.takebook"));
        let page = new.join(format!("{song}.html"));
        ran(&["chart", text(&log), "-o", text(&page), "--with-sound"], 0);
    }
    let notes = ran(&["lesson", text(&new.join("far.takebook"))], 0);
    assert!(notes.contains("thumbwork"), "{notes}");
    assert!(
        !new.join(".takebook").exists(),
        "nothing is left of the unpacking"
    );
}

#[test]
fn unpacking_again_replaces_nothing() {
    let (_keep, dir) = folder();
    let songs = dir.join("songs");
    std::fs::create_dir(&songs).expect("made");
    let (log, _) = drafted(&songs, "lantern.takebook");
    let zip = dir.join("may.zip");
    let said = ran(&["backup", text(&songs), "-o", text(&zip), "--json"], 0);
    let packed: Value = serde_json::from_str(&said).expect("JSON");
    // what is there with the same content stays; a file of one's own too
    std::fs::write(songs.join("own.txt"), "mine").expect("written");
    std::fs::remove_file(songs.join("lantern.wav")).expect("removed");
    let said = ran(&["unpack", text(&zip), text(&songs), "--json"], 0);
    let unpacked: Value = serde_json::from_str(&said).expect("JSON");
    assert_eq!(
        (&unpacked["n_there"], &unpacked["n_recordings"]),
        (&1.into(), &1.into())
    );
    // JSON Schema 2020-12 by the Python package jsonschema
    fit(&[("backup", packed), ("unpack", unpacked)]);
    ran(&["confirm", text(&log), "--title", "Another"], 0);
    let before = all(&songs);
    std::fs::remove_file(songs.join("lantern.wav")).expect("removed");
    let why = ran(&["unpack", text(&zip), text(&songs)], 2);
    assert!(
        why.contains("other files by the names lantern.takebook"),
        "{why}"
    );
    assert!(!songs.join("lantern.wav").exists(), "all or nothing");
    std::fs::write(songs.join("lantern.wav"), &before["lantern.wav"]).expect("written");
    assert_eq!(all(&songs), before);
    let why = ran(&["backup", text(&songs), "-o", text(&zip)], 2);
    assert!(why.contains("not overwritten"), "{why}");
    ran(
        &[
            "backup",
            text(&songs),
            "-o",
            text(&zip),
            "--overwrite",
            "--without-sound",
        ],
        0,
    );
    let read = python("zip_read.py", &[text(&zip)]);
    let found: Value = serde_json::from_slice(&read.stdout).expect("JSON");
    let files: Vec<&String> = found["files"].as_object().expect("files").keys().collect();
    assert_eq!(files, ["lantern.takebook", "own.txt"]);
    let new = dir.join("silent");
    let output = run(&["unpack", text(&zip), text(&new)]);
    assert!(
        stderr(&output).contains("is not in the archive"),
        "{}",
        stderr(&output)
    );
    assert_eq!(
        names(&dir),
        ["may.zip", "silent", "songs"],
        "nothing half-written"
    );
}

#[test]
fn archives_of_others_are_unpacked_and_what_is_dangerous_is_refused() {
    let (_keep, dir) = folder();
    let (log, sound) = drafted(&dir, "lantern.takebook");
    let made = dir.join("made");
    std::fs::create_dir(&made).expect("made");
    let output = python("zip_write.py", &[text(&made), text(&log), text(&sound)]);
    assert!(output.status.success(), "{}", stderr(&output));
    let songs = dir.join("by-zip");
    std::fs::create_dir(&songs).expect("made");
    for file in [&log, &sound] {
        std::fs::copy(file, songs.join(file.file_name().expect("a name"))).expect("a copy");
    }
    let output = tool("zip")
        .args(["-qr", "../made/info_zip.zip", "."])
        .current_dir(&songs)
        .output()
        .expect("zip runs");
    assert!(output.status.success(), "{}", stderr(&output));
    for name in ["plain", "stored", "hidden", "long_form", "info_zip"] {
        let to = dir.join(format!("to {name}"));
        ran(
            &["unpack", text(&made.join(format!("{name}.zip"))), text(&to)],
            0,
        );
        for file in [&log, &sound] {
            let own = to.join(file.file_name().expect("a name"));
            assert!(
                std::fs::read(own).ok() == std::fs::read(file).ok(),
                "{name}"
            );
        }
        assert!(!to.join(".takebook").exists(), "{name}");
    }
    let before = names(&dir);
    for (name, why) in [
        ("out", "'../escaped.txt' in it leads out of the folder"),
        ("out_inside", "leads out of the folder"),
        ("absolute", "a place of its own on the disk"),
        ("drive", "a place of its own on the disk"),
        ("backslash", "sign in its name"),
        ("newline", "sign in its name"),
        ("too_long", "too long a name"),
        ("twice", "two files of one name"),
        ("link", "a link or a device"),
        ("pipe", "a link or a device"),
        ("file_and_folder", "'a' in it is a file and a folder"),
        ("bomb", "more than 200 times its own length"),
        ("method", "'packed.txt' in it is packed in a way"),
        ("encrypted", "is encrypted"),
        ("damaged", "'lantern.wav' in it is damaged"),
        ("shorter", "'lantern.takebook' in it is damaged"),
        ("overlapping", "over each other"),
        ("broken_off", "no ZIP archive"),
        ("empty", "no ZIP archive"),
        ("text", "no ZIP archive"),
    ] {
        let to = dir.join("refused");
        let said = ran(
            &["unpack", text(&made.join(format!("{name}.zip"))), text(&to)],
            2,
        );
        assert!(said.contains(why), "{name}: {said}");
        assert_eq!(names(&dir), before, "{name}: nothing is left");
    }
    assert!(!Path::new("/tmp/escaped-takebook.txt").exists());
    let there = made.join("plain.zip");
    for (words, why) in [
        (
            vec!["unpack", text(&dir.join("none.zip")), "x"],
            "cannot read",
        ),
        (vec!["unpack", text(&made), "x"], "no plain file"),
        (vec!["unpack", text(&there), text(&log)], "is no folder"),
        (
            vec!["unpack", text(&there), "no/such/folder"],
            "cannot write",
        ),
        (vec!["backup", text(&log), "-o", "x.zip"], "is no folder"),
        (
            vec!["backup", text(&made), "-o", "x.zip"],
            "no song in the folder",
        ),
        (
            vec!["backup", text(&songs), "-o", "x.tar"],
            "does not end in .zip",
        ),
        (
            vec!["backup", text(&songs), "-o", "no/such/x.zip"],
            "cannot write",
        ),
    ] {
        let output = takebook()
            .args(&words)
            .current_dir(&songs)
            .output()
            .expect("it runs");
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        assert!(
            stderr(&output).contains(why),
            "{words:?}: {}",
            stderr(&output)
        );
    }
    assert_eq!(names(&songs), ["lantern.takebook", "lantern.wav"]);
}

#[cfg(unix)]
#[test]
fn links_are_not_followed_and_a_song_pulls_in_nothing_but_sound() {
    let (_keep, dir) = folder();
    let songs = dir.join("songs");
    std::fs::create_dir(&songs).expect("made");
    let (log, _) = drafted(&songs, "lantern.takebook");
    let secret = dir.join("secret.txt");
    std::fs::write(&secret, "a private letter").expect("written");
    renamed(&log, &songs.join("sly.takebook"), text(&secret));
    std::os::unix::fs::symlink(&secret, songs.join("letter.txt")).expect("a link");
    std::os::unix::fs::symlink("/dev/zero", songs.join("endless.wav")).expect("a link");
    renamed(&log, &songs.join("endless.takebook"), "endless.wav");
    let zip = dir.join("out.zip");
    let said = ran(&["backup", text(&songs), "-o", text(&zip)], 1);
    assert!(
        said.contains("secret.txt") && said.contains("endless"),
        "{said}"
    );
    let bytes = std::fs::read(&zip).expect("an archive");
    assert!(!String::from_utf8_lossy(&bytes).contains("private letter"));
    let read = python("zip_read.py", &[text(&zip)]);
    let found: Value = serde_json::from_slice(&read.stdout).expect("JSON");
    assert_eq!(
        found["files"].as_object().expect("files").len(),
        4,
        "{found}"
    );
    // a folder inside that is a link leads nowhere either
    let (made, to) = (dir.join("made"), dir.join("to"));
    for folder in [&made, &to, &dir.join("away")] {
        std::fs::create_dir(folder).expect("made");
    }
    std::os::unix::fs::symlink(dir.join("away"), to.join("takes")).expect("a link");
    std::fs::create_dir(songs.join("takes")).expect("made");
    std::fs::copy(songs.join("lantern.wav"), songs.join("takes/in.wav")).expect("a copy");
    renamed(&log, &songs.join("inside.takebook"), "takes/in.wav");
    ran(
        &["backup", text(&songs), "-o", text(&made.join("a.zip"))],
        1,
    );
    let why = ran(&["unpack", text(&made.join("a.zip")), text(&to)], 2);
    assert!(why.contains("takes/in.wav"), "{why}");
    assert!(names(&dir.join("away")).is_empty() && names(&to) == ["takes"]);
}
