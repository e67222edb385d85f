//! `takebook desk FOLDER`: every song listed, each opened at its own address, nothing outside.

use super::Desk;
use super::client::take_and_log;
use crate::outside::{self, tool};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use takebook::songlog::store;

const EVENING: &str = "evening.takebook";
/// A name with what addresses are made of.
const ODD: &str = "50% of a & b?.takebook";

/// A folder with a song and its take, a copy under an odd name, and a damaged one.
fn songs(folder: &Path) {
    let log = take_and_log(folder);
    let mut other = store::load(&log).expect("a log");
    other.decide(
        "2031-05-02T18:30:00Z".into(),
        vec![takebook::songlog::decided::Act::Title {
            text: "<b>Second</b>".into(),
        }],
    );
    std::fs::write(folder.join(ODD), takebook::songlog::write(&other)).expect("written");
    std::fs::write(folder.join("cut.takebook"), "{\"format\": \"takebook log\"").expect("written");
}

/// The list once everything is read.
fn listed(desk: &Desk) -> Value {
    let mut events = desk.events();
    loop {
        let told = desk.json("/api/songs");
        if told["n_unread"] == 0 {
            return told;
        }
        events.wait_for("songs");
    }
}

fn by_name<'a>(told: &'a Value, name: &str) -> &'a Value {
    let songs = told["songs"].as_array().expect("songs");
    let found = songs.iter().find(|s| s["file"] == name);
    found.unwrap_or_else(|| panic!("no {name} in {told}"))
}

/// Every file below a folder with what is in it.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        match path.is_dir() {
            true => all.extend(contents(&path)),
            false => {
                all.insert(path.clone(), std::fs::read(&path).expect("a file"));
            }
        }
    }
    all
}

#[test]
fn songs_of_a_folder_are_listed_and_opened_and_the_folder_stays_as_it_is() {
    let (_keep, folder) = outside::folder();
    songs(&folder);
    let before = contents(&folder);
    let desk = Desk::open(&folder);
    let told = listed(&desk);
    assert_eq!(told["files"], json!([ODD, "cut.takebook", EVENING]));
    let evening = by_name(&told, EVENING);
    let log = store::load(&folder.join(EVENING)).expect("a log");
    let song = takebook::songlog::resolve(&log);
    for (field, expected) in [
        ("title", json!(song.title)),
        ("n_chords", json!(song.n_chords())),
        ("n_confirmed", json!(song.n_chords() - song.n_open())),
        ("duration_s", json!(24.0)),
        ("recording", json!("present")),
        ("touched", json!(log.drafted)),
        ("trouble", Value::Null),
    ] {
        assert_eq!(evening[field], expected, "{field}");
    }
    let cut = by_name(&told, "cut.takebook")["trouble"].to_string();
    assert!(cut.contains("damaged"), "{cut}");
    assert_eq!(by_name(&told, ODD)["touched"], "2031-05-02T18:30:00Z");
    // each at its own address, with its sound
    let odd = "/song/50%25%20of%20a%20%26%20b%3F.takebook";
    assert_eq!(
        desk.json(&format!("{odd}/api/song"))["title"],
        "<b>Second</b>"
    );
    assert_eq!(desk.json(&format!("{odd}/api/bar/2"))["bar"]["number"], 2);
    let page = desk.get(&format!("{odd}/"));
    assert!(page.text().contains("desk/desk.js"), "{}", page.text());
    let to_page = desk.get(odd);
    let to = to_page.header("location").map(str::to_owned);
    assert_eq!((to_page.status, to), (303, Some(format!("{odd}/"))));
    let sound = desk.request(
        "GET",
        "/song/evening.takebook/api/take",
        &[("Range", "bytes=0-3")],
    );
    assert_eq!((sound.status, &sound.body[..]), (206, &b"RIFF"[..]));
    let chart = desk.get("/song/evening.takebook/api/chart?format=html&inline=1");
    assert_eq!(chart.header("x-frame-options"), Some("SAMEORIGIN"));
    assert_eq!(contents(&folder), before, "looking changes nothing");
}

#[test]
fn the_list_follows_decisions_and_files_that_come_and_go() {
    let (_keep, folder) = outside::folder();
    songs(&folder);
    let desk = Desk::open(&folder);
    let told = listed(&desk);
    let confirmed = |told: &Value| by_name(told, EVENING)["n_confirmed"].clone();
    assert_eq!(confirmed(&told), 0);
    let mut revision = told["revision"].as_u64().expect("a number");
    let mut events = desk.events();
    // what changed since is told, and nothing else
    let mut next = || loop {
        events.wait_for("songs");
        let told = desk.json(&format!("/api/songs?since={revision}"));
        let now = told["revision"].as_u64().expect("a number");
        if now != revision && told["n_unread"] == 0 {
            revision = now;
            return told;
        }
    };
    let request = json!({"requests": [{"places": ["1"], "accept": true}]});
    let answer = desk.post("/song/evening.takebook/api/decide", &request);
    assert_eq!(answer.status, 200, "{}", answer.text());
    let told = next();
    assert_eq!(told["songs"].as_array().map(Vec::len), Some(1), "{told}");
    assert_eq!(confirmed(&told), 1);
    std::fs::copy(folder.join(EVENING), folder.join("new.takebook")).expect("copied");
    assert_eq!(by_name(&next(), "new.takebook")["n_confirmed"], 1);
    std::fs::rename(folder.join("evening.wav"), folder.join("away.wav")).expect("moved");
    while by_name(&listed(&desk), EVENING)["recording"] != "missing" {}
    std::fs::remove_file(folder.join("new.takebook")).expect("removed");
    while next()["files"] != json!([ODD, "cut.takebook", EVENING]) {}
    let gone = desk.get("/song/new.takebook/api/song");
    assert_eq!(gone.status, 404);
    assert!(
        gone.error().contains("no song 'new.takebook'"),
        "{}",
        gone.error()
    );
}

#[cfg(unix)]
#[test]
fn nothing_outside_the_folder_is_reached() {
    let (_keep, outer) = outside::folder();
    let folder = outer.join("songs");
    std::fs::create_dir(&folder).expect("a folder");
    songs(&folder);
    std::fs::copy(folder.join(EVENING), outer.join("secret.takebook")).expect("copied");
    let link = |to: &Path, name: &str| {
        std::os::unix::fs::symlink(to, folder.join(name)).expect("a link");
    };
    link(&outer.join("secret.takebook"), "out.takebook");
    link(Path::new("/etc/passwd"), "passwd.takebook");
    let desk = Desk::open(&folder);
    let told = listed(&desk);
    for name in ["out.takebook", "passwd.takebook"] {
        let trouble = by_name(&told, name)["trouble"].to_string();
        assert!(trouble.contains("leads out of this folder"), "{trouble}");
        let answer = desk.get(&format!("/song/{name}/api/song"));
        assert_eq!(answer.status, 403, "{}", answer.text());
        let set = format!("/api/set?songs=%5B%22{name}%22%5D");
        assert_eq!(desk.get(&set).status, 403);
    }
    for name in [
        "..%2Fsecret.takebook",
        "%2E%2E%2Fsecret.takebook",
        "..%5Csecret.takebook",
        "..",
        "%2Fetc%2Fpasswd",
        "evening.wav",
        ".takebook",
        "evening.takebook%00",
        "%FF",
    ] {
        let answer = desk.get(&format!("/song/{name}/api/song"));
        assert!(
            [400, 404].contains(&answer.status),
            "{name}: {}",
            answer.text()
        );
    }
    // a song that is open and then becomes a link out
    assert_eq!(desk.get("/song/evening.takebook/api/song").status, 200);
    std::fs::remove_file(folder.join(EVENING)).expect("removed");
    link(&outer.join("secret.takebook"), EVENING);
    assert_eq!(desk.get("/song/evening.takebook/api/song").status, 403);
    // without the cookie nothing at all
    let bare = desk.send(&format!(
        "GET /song/evening.takebook/api/song HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
        desk.port
    ));
    assert_eq!(bare.status, 403);
    // a change needs its origin, kind and size, as at a desk of one song
    let decide = "/song/50%25%20of%20a%20%26%20b%3F.takebook/api/decide";
    assert_eq!(desk.post_text(decide, "text/plain", "{}").status, 415);
    let long = format!("{{\"revision\": \"{}\"}}", "x".repeat(70_000));
    assert_eq!(
        desk.post_text(decide, "application/json", &long).status,
        413
    );
}

#[test]
fn a_set_list_has_its_songs_in_the_order_given() {
    let (_keep, folder) = outside::folder();
    songs(&folder);
    let desk = Desk::open(&folder);
    // pdftotext (Poppler) reads what is in it
    let text_of = |query: &str| {
        let answer = desk.get(&format!("/api/set?{query}"));
        assert_eq!(answer.status, 200, "{}", answer.text());
        let pdf = folder.join("set.pdf");
        std::fs::write(&pdf, &answer.body).expect("written");
        let read = tool("pdftotext").arg(&pdf).arg("-").output();
        let text = String::from_utf8_lossy(&read.expect("it runs").stdout).into_owned();
        (answer, text)
    };
    let both = "songs=%5B%2250%25%20of%20a%20%26%20b%3F.takebook%22,%22evening.takebook%22%5D";
    let (answer, text) = text_of(&format!("{both}&title=Friday%20lessons&two_sided=1"));
    let name = answer.header("content-disposition").unwrap_or_default();
    assert!(name.contains("Friday lessons.pdf"), "{name}");
    let at = |words: &str| {
        let found = text.find(words);
        found.unwrap_or_else(|| panic!("no '{words}' in:\n{text}"))
    };
    assert!(at("Friday lessons") < at("Second"));
    assert!(at("Second") < at("evening"));
    // a student's versions of them, each as its settings say
    let log = folder.join(EVENING);
    let log = log.to_string_lossy();
    for words in [
        [
            "--capo",
            "2",
            "--save-version",
            "Beginner",
            "--student",
            "Robin",
        ],
        ["--page", "a5", "--save-version", "Duo", "--student", "Kim"],
    ] {
        let saved = outside::takebook()
            .args(["chart", &log])
            .args(words)
            .output();
        assert!(saved.expect("it runs").status.success());
    }
    let told = loop {
        let told = listed(&desk);
        if by_name(&told, EVENING)["versions"] != json!([]) {
            break told;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    };
    assert_eq!(
        by_name(&told, EVENING)["versions"][0],
        json!({"name": "Beginner", "student": "Robin"})
    );
    let (_, theirs) = text_of(&format!("{both}&student=robin&title=Robin"));
    assert!(theirs.contains("Capo at fret 2"), "{theirs}");
    assert!(!theirs.contains("Second"), "{theirs}");
    for (query, words) in [
        (&format!("{both}&student=nobody")[..], "none of these songs"),
        (&format!("{both}&large=1&compact=1"), "exclude each other"),
        ("songs=%5B%5D", "needs a song"),
        ("songs=evening", "JSON list"),
        ("songs=%5B%22none.takebook%22%5D", "no song"),
        ("songs=%5B%22cut.takebook%22%5D", "damaged"),
        ("songs=%5B%22evening.takebook%22%5D&paper=b4", "paper"),
    ] {
        let answer = desk.get(&format!("/api/set?{query}"));
        assert!(answer.status >= 400, "{query}");
        assert!(
            answer.error().contains(words),
            "{query}: {}",
            answer.error()
        );
    }
}
