//! Files added to a folder at a desk: copied whole or not at all, never over another, analysed in
//! their order; what may not be added is refused in words.

use super::Desk;
use super::client::{Answer, send, take_and_log};
use crate::outside;
use serde_json::{Value, json};
use std::path::Path;
use takebook::songlog::{resolve, store};

/// Four bars that a teacher typed.
const TYPED: &str = "Ferry Lights\n============\nKey: G\nTempo: 96\n\nVerse\n| G | C | D | G |\n";

/// The sound of half a minute.
fn sound() -> Vec<u8> {
    let (_keep, folder) = outside::folder();
    take_and_log(&folder);
    std::fs::read(folder.join("evening.wav")).expect("a take")
}

/// Sends a file as the page does, with this head instead of what follows from it.
fn sent(desk: &Desk, name: &str, length: usize, kind: &str, cookie: &str, body: &[u8]) -> Answer {
    let head = format!(
        "POST /api/add?name={name} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {cookie}\r\nOrigin: {}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n",
        desk.port,
        desk.origin(),
    );
    let all = [head.as_bytes(), body].concat();
    send(desk.port, &all).unwrap_or_else(|e| panic!("{e}: {head}"))
}

const BYTES: &str = "application/octet-stream";

fn add(desk: &Desk, name: &str, body: &[u8]) -> Answer {
    sent(desk, name, body.len(), BYTES, &desk.cookie, body)
}

/// The entry of a file, once it is done or failed.
fn ended(desk: &Desk, id: &Value) -> Value {
    let mut events = desk.events();
    loop {
        let told = events.wait_for("adding");
        let entries = told["entries"].as_array().expect("entries");
        let at_once = entries.iter().filter(|e| e["stage"] == "analysing");
        assert!(at_once.count() <= 2, "{told}");
        let own = entries.iter().find(|e| e["id"] == *id);
        let own = own.unwrap_or_else(|| panic!("no {id} in {told}"));
        if own["stage"] == "done" || own["stage"] == "failed" {
            return own.clone();
        }
    }
}

/// The list once it holds what is expected.
fn listed(desk: &Desk, is_there: impl Fn(&Value) -> bool) -> Value {
    let mut events = desk.events();
    loop {
        let told = desk.json("/api/songs");
        if told["n_unread"] == 0 && is_there(&told) {
            return told;
        }
        events.wait_for("songs");
    }
}

fn names_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .filter(|name| name != ".takebook")
        .collect();
    names.sort();
    names
}

#[test]
fn added_files_become_songs_and_no_file_is_replaced() {
    let (_keep, folder) = outside::folder();
    let sound = sound();
    let desk = Desk::open(&folder);
    let answer = add(&desk, "Evening%20at%20home.wav", &sound);
    assert_eq!(answer.status, 200, "{}", answer.text());
    let end = ended(&desk, &answer.json()["id"]);
    assert_eq!(end["stage"], "done", "{end}");
    assert_eq!(end["song"], "Evening at home.takebook");
    let take = folder.join("Evening at home.wav");
    assert!(
        std::fs::read(&take).expect("copied") == sound,
        "its own bytes"
    );
    let log = store::load(&folder.join("Evening at home.takebook")).expect("a song");
    assert_eq!(log.take.file, "Evening at home.wav");
    assert_eq!(end["n_chords"], resolve(&log).n_chords());
    assert!(resolve(&log).n_chords() > 0);
    let told = listed(&desk, |told| {
        told["files"] == json!(["Evening at home.takebook"])
    });
    assert_eq!(told["without_song"], json!([]));

    // the same again; another of the same name; one whose song has a name that is taken
    let again = add(&desk, "Evening%20at%20home.wav", &sound);
    assert_eq!(again.status, 409);
    assert!(again.error().contains("same content"), "{}", again.error());
    let other = add(
        &desk,
        "Evening%20at%20home.wav",
        &[&sound[..], &[0; 8]].concat(),
    );
    assert_eq!(other.json()["file"], "Evening at home 2.wav");
    assert_eq!(other.json()["song"], "Evening at home 2.takebook");
    let typed = add(&desk, "Evening%20at%20home.txt", TYPED.as_bytes());
    assert_eq!(typed.json()["song"], "Evening at home 3.takebook");
    let end = ended(&desk, &typed.json()["id"]);
    assert_eq!(
        (&end["n_chords"], &end["n_unconfirmed"]),
        (&json!(4), &json!(0))
    );
    let song = std::fs::read(folder.join("Evening at home 3.takebook")).expect("a song");
    let end = ended(&desk, &other.json()["id"]);
    assert_eq!(end["stage"], "done", "{end}");
    assert!(
        std::fs::read(&take).expect("there") == sound,
        "never replaced"
    );

    // a song file is added as it is
    let answer = add(&desk, "Ferry.takebook", &song);
    assert_eq!(answer.json()["song"], "Ferry.takebook");
    let told = listed(&desk, |told| {
        told["files"].as_array().is_some_and(|f| f.len() == 4)
    });
    assert_eq!(told["without_song"], json!([]));
    let own = told["songs"]
        .as_array()
        .expect("songs")
        .iter()
        .find(|s| s["file"] == "Ferry.takebook");
    assert_eq!(own.expect("listed")["title"], "Ferry Lights");
}

#[test]
fn what_fails_keeps_its_file_and_what_is_cancelled_leaves_no_song() {
    let (_keep, folder) = outside::folder();
    let sound = sound();
    std::fs::write(folder.join("mine.wav"), &sound).expect("written");
    let mut desk = Desk::open(&folder);
    let answer = add(&desk, "hiss.wav", b"this is no sound");
    let end = ended(&desk, &answer.json()["id"]);
    assert_eq!(end["stage"], "failed", "{end}");
    let why = end["why"].as_str().expect("a reason");
    assert!(why.starts_with("'hiss.wav' is not a sound file"), "{why}");
    let told = listed(&desk, |told| {
        told["without_song"]
            .as_array()
            .is_some_and(|w| w.len() == 2)
    });
    assert_eq!(
        told["without_song"][0],
        json!({"file": "hiss.wav", "bytes": 16, "checked": false, "cut_short": false})
    );
    // tried again in the same place
    let again = desk.post("/api/draft", &json!({"file": "hiss.wav"}));
    assert_eq!(again.status, 200, "{}", again.text());
    assert_eq!(ended(&desk, &again.json()["id"])["stage"], "failed");
    assert_eq!(
        desk.json("/api/adding")["entries"].as_array().map(Vec::len),
        Some(1)
    );

    // `ended` sees at most two analysed at a time; the third is cancelled
    let add_again = |n: usize| {
        let longer = [&sound[..], &vec![0; 4 * n]].concat();
        add(&desk, &format!("take{n}.wav"), &longer).json()
    };
    let all: Vec<Value> = (1..=3).map(add_again).collect();
    let gone = desk.post("/api/adding/remove", &json!({"id": all[2]["id"]}));
    assert_eq!(gone.json()["was_there"], true);
    for entry in &all[..2] {
        assert_eq!(ended(&desk, &entry["id"])["stage"], "done");
    }
    let is_loose = |told: &Value| told["without_song"][2]["file"] == "take3.wav";
    let told = listed(&desk, |told| {
        told["files"] == json!(["take1.takebook", "take2.takebook"]) && is_loose(told)
    });
    assert_eq!(told["without_song"][1]["file"], "mine.wav");

    // killed while a file comes in and another is analysed: the next desk finds both whole or not at all
    desk.post("/api/draft", &json!({"file": "mine.wav"}));
    let mut half = std::net::TcpStream::connect(("127.0.0.1", desk.port)).expect("it listens");
    let head = format!(
        "POST /api/add?name=half.wav HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nOrigin: {}\r\nContent-Type: {BYTES}\r\nContent-Length: {}\r\n\r\n",
        desk.port,
        desk.cookie,
        desk.origin(),
        sound.len(),
    );
    std::io::Write::write_all(&mut half, &[head.as_bytes(), &sound[..100_000]].concat())
        .expect("sent");
    let parts = || {
        let side = std::fs::read_dir(folder.join(".takebook")).expect("a folder");
        let names = side.map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        });
        names.filter(|name| name.ends_with(".part")).count()
    };
    while parts() == 0 {
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    desk.kill();
    assert_eq!(parts(), 1);
    let desk = Desk::open(&folder);
    assert_eq!(parts(), 0, "what was not whole is removed");
    assert!(!folder.join("half.wav").exists());
    listed(&desk, |told| {
        let without = told["without_song"].as_array();
        without.is_some_and(|w| w.iter().any(|r| r["file"] == "take3.wav"))
    });
    let answer = desk.post("/api/draft", &json!({"file": "take3.wav"}));
    assert_eq!(ended(&desk, &answer.json()["id"])["song"], "take3.takebook");
}

#[test]
fn what_may_not_be_added_is_refused_in_words_and_leaves_nothing() {
    let (_keep, outer) = outside::folder();
    let folder = outer.join("songs");
    std::fs::create_dir(&folder).expect("a folder");
    let desk = Desk::open(&folder);
    let long = format!("{}.wav", "x".repeat(300));
    for name in [
        "",
        "..",
        "..%2Fout.wav",
        "%2Ftmp%2Fout.wav",
        "..%5Cout.wav",
        ".hidden.wav",
        "a%00.wav",
        "a%0A.wav",
        "%1B%5B2J.wav",
        "%FF.wav",
        &long,
    ] {
        let answer = add(&desk, name, b"RIFF");
        assert_eq!(answer.status, 400, "{name}: {}", answer.text());
        assert!(!answer.error().is_empty());
    }
    for (name, body, status, words) in [
        ("a.exe", &b"MZ"[..], 415, "neither a recording"),
        ("a", b"x", 415, "neither a recording"),
        ("a.wav", b"", 409, "is empty"),
        ("a.mid", b"no notes", 409, "MIDI"),
        ("a.txt", b"only words", 409, "'a.txt' is not added"),
        ("a.jams", b"{", 409, "'a.jams' is not added"),
        (
            "a.takebook",
            b"{\"format\": \"takebook log\"",
            409,
            "'a.takebook'",
        ),
        ("b.takebook", b"hello", 409, "'b.takebook' is not a log"),
    ] {
        let answer = add(&desk, name, body);
        assert_eq!(answer.status, status, "{name}: {}", answer.text());
        assert!(answer.error().contains(words), "{name}: {}", answer.error());
        assert!(!answer.error().contains(".part"), "{}", answer.error());
    }
    // by its announced size, before any of it is kept; by its real size
    let huge = sent(&desk, "a.wav", 3 << 30, BYTES, &desk.cookie, b"RIFF");
    assert_eq!(huge.status, 413, "{}", huge.text());
    assert!(huge.error().contains("2048 MiB"), "{}", huge.error());
    let large = vec![b' '; (32 << 20) + 1];
    let answer = add(&desk, "a.txt", &large);
    assert_eq!(answer.status, 413, "{}", answer.text());
    let unannounced = format!(
        "POST /api/add?name=a.txt HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nOrigin: {}\r\nContent-Type: {BYTES}\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n{:x}\r\n",
        desk.port,
        desk.cookie,
        desk.origin(),
        large.len(),
    );
    let chunked = [unannounced.as_bytes(), &large, b"\r\n0\r\n\r\n"].concat();
    let answer = send(desk.port, &chunked).expect("an answer");
    assert_eq!(answer.status, 413, "{}", answer.text());
    // another kind of request, no cookie, another page
    for (kind, cookie, status) in [
        ("text/plain", &desk.cookie[..], 415),
        ("application/json", &desk.cookie, 415),
        (BYTES, "", 403),
        (BYTES, "desk-1=x", 403),
    ] {
        let answer = sent(&desk, "a.wav", 4, kind, cookie, b"RIFF");
        assert_eq!(answer.status, status, "{kind} {cookie}: {}", answer.text());
    }
    // a file without an end
    let cut = send(
        desk.port,
        format!(
            "POST /api/add?name=a.wav HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nOrigin: {}\r\nContent-Type: {BYTES}\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n4\r\nRIFF\r\nno number\r\n",
            desk.port,
            desk.cookie,
            desk.origin(),
        )
        .as_bytes(),
    );
    assert!(cut.is_err() || cut.is_ok_and(|answer| answer.status == 400));
    for (path, body, status) in [
        ("/api/draft", json!({"file": "../a.wav"}), 404),
        ("/api/draft", json!({"file": "/etc/passwd"}), 404),
        ("/api/draft", json!({}), 400),
        ("/api/adding/remove", json!({"id": -1}), 400),
    ] {
        assert_eq!(desk.post(path, &body).status, status, "{path} {body}");
    }
    let gone = desk.post("/api/adding/remove", &json!({"id": 99}));
    assert_eq!(gone.json()["was_there"], false);
    assert_eq!(names_in(&folder), [""; 0]);
    assert_eq!(names_in(&outer), ["songs"]);
    let side = std::fs::read_dir(folder.join(".takebook")).expect("a folder");
    assert_eq!(side.count(), 0, "nothing half-written is left");
}

#[cfg(unix)]
#[test]
fn links_lead_no_file_out_of_the_folder() {
    let (_keep, outer) = outside::folder();
    let folder = outer.join("songs");
    std::fs::create_dir(&folder).expect("a folder");
    let link = |to: &Path, name: &str| {
        std::os::unix::fs::symlink(to, folder.join(name)).expect("a link");
    };
    std::fs::write(outer.join("secret.wav"), "RIFF").expect("written");
    link(&outer.join("secret.wav"), "secret.wav");
    link(&outer.join("not there.wav"), "ferry.txt");
    let desk = Desk::open(&folder);
    let told = listed(&desk, |_| true);
    assert_eq!(told["without_song"], json!([]), "a link is not offered");
    let answer = desk.post("/api/draft", &json!({"file": "secret.wav"}));
    assert_eq!(answer.status, 404, "{}", answer.text());
    // a name that leads to nothing yet is taken too
    let answer = add(&desk, "ferry.txt", TYPED.as_bytes());
    assert_eq!(answer.json()["file"], "ferry 2.txt", "{}", answer.text());
    assert_eq!(ended(&desk, &answer.json()["id"])["stage"], "done");
    assert_eq!(names_in(&outer), ["secret.wav", "songs"]);
    // the folder of what need not be seen is one, or nothing is written
    std::fs::rename(folder.join(".takebook"), folder.join("side")).expect("moved");
    link(&outer, ".takebook");
    let answer = add(&desk, "other.txt", TYPED.as_bytes());
    assert_eq!(answer.status, 500, "{}", answer.text());
    assert!(
        answer.error().contains("is no folder"),
        "{}",
        answer.error()
    );
    assert_eq!(names_in(&outer), ["secret.wav", "songs"]);
}

#[test]
fn every_request_of_the_page_finds_the_song_it_is_about() {
    // below /song/NAME/ an address that begins with / leads to the folder instead
    let page = outside::root().join("src/desk/page");
    let mut n_seen = 0;
    for entry in std::fs::read_dir(page).expect("the page") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|e| e != "js") {
            continue;
        }
        let code = std::fs::read_to_string(&path).expect("readable");
        let by = [
            "get(",
            "post(",
            "asked(",
            "bytes(",
            "address(",
            "at(",
            "send(",
            "path: ",
            "== ",
            "startsWith(",
        ];
        for sign in ["\"/api/", "'/api/", "`/api/"] {
            for (at, _) in code.match_indices(sign) {
                n_seen += 1;
                let before = &code[..at];
                assert!(
                    by.iter().any(|asked| before.ends_with(asked)),
                    "{}: an address goes to the folder, not the song: …{}",
                    path.display(),
                    &code[at..code.len().min(at + 40)]
                );
            }
        }
    }
    assert!(n_seen > 20, "only {n_seen} requests were found");
}

#[test]
fn recordings_that_were_checked_and_folders_inside_are_told() {
    let (_keep, folder) = outside::folder();
    let sound = sound();
    take_and_log(&folder);
    for name in ["student.wav", "new song.wav"] {
        std::fs::write(folder.join(name), &sound).expect("written");
    }
    for name in ["2025", ".hidden", "2024"] {
        std::fs::create_dir(folder.join(name)).expect("a folder");
    }
    let desk = Desk::open(&folder);
    let told = listed(&desk, |told| told["folders"] != json!([]));
    assert_eq!(told["folders"], json!(["2024", "2025"]));
    let checked = |told: &Value| -> Vec<(String, bool)> {
        let all = told["without_song"].as_array().expect("a list").iter();
        let each = |r: &Value| Some((r["file"].as_str()?.to_owned(), r["checked"].as_bool()?));
        all.filter_map(each).collect()
    };
    let expected = |student| {
        vec![
            ("new song.wav".into(), false),
            ("student.wav".into(), student),
        ]
    };
    assert_eq!(checked(&told), expected(false));
    let answer = desk.post(
        "/song/evening.takebook/api/check",
        &json!({"file": "student.wav"}),
    );
    assert_eq!(answer.status, 200, "{}", answer.text());
    let told = listed(&desk, |told| told["without_song"][1]["checked"] == true);
    assert_eq!(checked(&told), expected(true));
}

#[test]
fn a_typed_song_misses_no_sound() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&folder);
    let answer = add(&desk, "ferry.txt", TYPED.as_bytes());
    ended(&desk, &answer.json()["id"]);
    let song = desk.json("/song/ferry.takebook/api/song");
    assert_eq!(song["take"]["is_sound"], false);
    assert_eq!(
        (&song["take"]["present"], &song["take"]["why_absent"]),
        (&json!(false), &Value::Null)
    );
    let practice = desk.get("/song/ferry.takebook/api/practice?format=html");
    assert_eq!(practice.status, 404, "{}", practice.text());
    assert!(practice.error().contains("no recording"));
    std::fs::remove_file(folder.join("ferry.txt")).expect("removed");
    assert_eq!(
        desk.json("/song/ferry.takebook/api/song")["take"]["why_absent"],
        Value::Null
    );
}

#[test]
fn a_page_to_practise_with_is_the_one_that_the_command_writes() {
    let (_keep, folder) = outside::folder();
    take_and_log(&folder);
    let desk = Desk::open(&folder);
    let at = "/song/evening.takebook/api/practice?format=html&capo=2";
    let page = desk.get(at);
    assert_eq!(page.status, 200, "{}", page.text());
    let way = page.header("content-disposition").expect("a name");
    assert!(
        way.starts_with("attachment") && way.contains("practice.html"),
        "{way}"
    );
    // never shown in place: it runs a script
    let inline = desk.get(&format!("{at}&inline=1"));
    assert!(
        inline
            .header("content-disposition")
            .is_some_and(|w| w.starts_with("attachment"))
    );
    let written = folder.join("practice.html");
    let log = folder.join("evening.takebook");
    let ran = outside::takebook()
        .arg("chart")
        .arg(&log)
        .args(["--capo", "2", "--with-sound", "-o"])
        .arg(&written)
        .output()
        .expect("takebook runs");
    assert!(ran.status.success(), "{ran:?}");
    assert!(std::fs::read(&written).expect("a page") == page.body);
    let other = desk.get("/song/evening.takebook/api/practice?format=pdf");
    assert_eq!(other.status, 400, "{}", other.text());
    std::fs::remove_file(folder.join("evening.wav")).expect("removed");
    assert_eq!(desk.get(at).status, 404);
}
