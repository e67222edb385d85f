//! Logs and takes that change, vanish or break under an open page; a desk that is killed.

use super::Desk;
use super::client::{some_note, take_and_log};
use crate::log_sample::run;
use crate::outside;
use serde_json::json;
use std::time::Duration;
use takebook::songlog::store;

#[test]
fn a_page_is_told_what_others_decide_and_what_vanishes() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let (desk, other) = (Desk::open(&log), Desk::open(&log));
    let text = log.to_str().expect("a path");
    let mut events = desk.events();
    let revision = desk.json("/api/song")["revision"].clone();
    assert_eq!(
        events.next(),
        ("song".into(), json!({"revision": revision}))
    );
    // another desk, then a command
    let told = other.decide(&json!({"title": "theirs"}));
    assert_eq!(events.next().1["revision"], told["song"]["revision"]);
    assert!(
        run(&["confirm", log.to_str().expect("a path"), "--note", "x"])
            .status
            .success()
    );
    let next = events.next();
    assert_eq!(next.0, "song");
    assert_eq!(next.1["revision"], desk.json("/api/song")["revision"]);
    // the sound goes and comes back
    let (wav, away) = (folder.join("evening.wav"), folder.join("away.wav"));
    std::fs::rename(&wav, &away).expect("moved");
    let why = events.wait_for("gone")["why"].to_string();
    assert!(why.contains("evening.wav"), "{why}");
    let song = desk.json("/api/song");
    assert_eq!(song["take"]["present"], false);
    let why = song["take"]["why_absent"].as_str().expect("a sentence");
    assert!(why.contains("put it back"), "{why}");
    let answer = desk.get("/api/take");
    assert_eq!(answer.status, 404);
    assert!(answer.error().contains("evening.wav"));
    // deciding goes on, and so does the rest of the evidence
    desk.decide(&json!({"note": "without sound"}));
    let evidence = desk.json("/api/evidence?from=0&to=2&columns=4");
    assert_eq!(evidence["wave"], json!([null, null, null, null]));
    assert_eq!(evidence["notes"].as_array().map(Vec::len), Some(3));
    // and what others decide is still told
    assert!(
        run(&["confirm", text, "--title", "others"])
            .status
            .success()
    );
    let others = desk.json("/api/song")["revision"].clone();
    while events.wait_for("song")["revision"] != others {}
    std::fs::rename(&away, &wav).expect("moved back");
    events.wait_for("song");
    assert_eq!(desk.get("/api/take").status, 200);
    // the log goes and comes back
    let safe = folder.join("safe");
    std::fs::rename(&log, &safe).expect("moved");
    let why = events.wait_for("gone")["why"].to_string();
    assert!(why.contains("there is no log"), "{why}");
    for answer in [
        desk.get("/api/song"),
        desk.get("/api/bar/1"),
        desk.post("/api/decide", &json!({"requests": [some_note(1)]})),
        desk.post("/api/undo", &json!({})),
    ] {
        assert_eq!(answer.status, 404, "{}", answer.text());
        assert!(answer.error().contains("there is no log"));
    }
    assert!(!log.exists(), "a desk must not make a log anew");
    std::fs::rename(&safe, &log).expect("moved back");
    events.wait_for("song");
    desk.decide(&some_note(2));
    assert_eq!(store::load(&log).expect("a log").decided.len(), 5);
}

#[test]
fn a_broken_log_is_told_and_left_alone() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    let good = std::fs::read(&log).expect("a log");
    let newer = String::from_utf8_lossy(&good).replacen("\"version\": 1", "\"version\": 99", 1);
    for (bad, part) in [
        (b"{\"half\": ".as_slice(), "not a log"),
        (&good[..good.len() / 2], "damaged"),
        (b"\xff\xfe\x00", "not text"),
        (b"", "not a log"),
        (newer.as_bytes(), "newer"),
    ] {
        std::fs::write(&log, bad).expect("written");
        for answer in [
            desk.get("/api/song"),
            desk.post("/api/decide", &json!({"requests": [some_note(1)]})),
        ] {
            assert_eq!(answer.status, 500, "{part}: {}", answer.text());
            let error = answer.error();
            assert!(error.contains(part), "{part}: {error}");
        }
        assert_eq!(std::fs::read(&log).expect("a file"), bad, "{part}");
        // the page itself still comes, to say so
        assert_eq!(desk.get("/").status, 200);
    }
    std::fs::write(&log, &good).expect("written");
    desk.decide(&some_note(1));
}

#[test]
fn a_draft_under_an_open_page_keeps_what_was_decided() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    desk.decide(&json!({"title": "kept"}));
    let before = desk.json("/api/song");
    let wav = folder.join("evening.wav");
    let output = run(&[
        "draft",
        wav.to_str().expect("a path"),
        "-o",
        log.to_str().expect("a path"),
        "--tempo",
        "120",
    ]);
    assert!(output.status.code().is_some_and(|c| c < 2), "{output:?}");
    let song = desk.json("/api/song");
    assert_ne!(song["revision"], before["revision"]);
    assert_ne!(song["chords"], before["chords"]);
    assert_eq!(song["title"], "kept");
}

#[test]
fn what_is_no_sound_is_not_served() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    // a log from elsewhere that names a secret as its take
    let secret = folder.join("secret.txt");
    std::fs::write(&secret, "a secret, and no sound at all").expect("written");
    let text = std::fs::read_to_string(&log).expect("a log");
    let named = secret.display().to_string();
    std::fs::write(
        &log,
        text.replace("\"evening.wav\"", &format!("\"{named}\"")),
    )
    .expect("written");
    let desk = Desk::open(&log);
    let answer = desk.get("/api/take");
    assert_eq!(answer.status, 404);
    assert!(!answer.text().contains("a secret"), "{}", answer.text());
    assert!(answer.error().contains("secret.txt"));
    // nor a folder
    std::fs::write(&log, text.replace("\"evening.wav\"", "\"..\"")).expect("written");
    assert_eq!(desk.get("/api/take").status, 404);
}

#[test]
fn a_desk_that_is_killed_in_mid_edit_loses_nothing() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let mut acknowledged = 0;
    for round in 0..5 {
        let mut desk = Desk::open(&log);
        let song = desk.json("/api/song");
        assert!(
            song["notes"].as_array().map_or(0, Vec::len) >= acknowledged,
            "{song}"
        );
        let (port, origin, cookie) = (desk.port, desk.origin(), desk.cookie.clone());
        let edits = std::thread::spawn(move || {
            let mut n = 0;
            loop {
                let body = format!("{{\"requests\": [{{\"note\": \"{round} {n}\"}}]}}");
                let request = format!(
                    "POST /api/decide HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\nOrigin: {origin}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
                    body.len()
                );
                match super::client::send(port, request.as_bytes()) {
                    Ok(answer) if answer.status == 200 => n += 1,
                    _ => return n,
                }
            }
        });
        std::thread::sleep(Duration::from_millis(300 + 37 * round));
        desk.kill();
        acknowledged += edits.join().expect("the edits");
        let kept = store::load(&log).expect("a whole log").decided.len();
        // one may have been saved whose answer never came
        assert!(
            (acknowledged..=acknowledged + 1 + round as usize).contains(&kept),
            "{acknowledged} acknowledged, {kept} kept"
        );
    }
    assert!(acknowledged > 5, "only {acknowledged} edits were made");
}

#[test]
fn a_desk_that_cannot_open_says_why() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let refuses = |words: &[&str], part: &str| {
        let output = run(words);
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(text.contains(part), "{words:?}: {text}");
        assert!(output.stdout.is_empty());
    };
    refuses(&["desk", "nowhere.takebook"], "there is no log");
    let wav = folder.join("evening.wav");
    refuses(&["desk", wav.to_str().expect("a path")], "is not a log");
    let desk = Desk::open(&log);
    let port = desk.port.to_string();
    let text = log.to_str().expect("a path");
    refuses(
        &["desk", text, "--no-open", "--port", &port],
        "name another with --port",
    );
}

#[cfg(unix)]
#[test]
fn told_to_end_it_ends_well() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    for signal in ["-INT", "-TERM"] {
        let mut child = outside::takebook()
            .args(["desk", "--no-open", "--json"])
            .arg(&log)
            .stdout(std::process::Stdio::piped())
            .spawn()
            .expect("it starts");
        let mut line = String::new();
        let stdout = child.stdout.take().expect("a pipe");
        std::io::BufRead::read_line(&mut std::io::BufReader::new(stdout), &mut line)
            .expect("a line");
        let told: serde_json::Value = serde_json::from_str(&line).expect("JSON");
        assert!(
            told["url"].as_str().is_some_and(|u| u.contains("/?key=")),
            "{told}"
        );
        crate::results::fit(&[("desk", told)]);
        let killed = outside::tool("kill")
            .args([signal, &child.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(killed.success());
        assert_eq!(child.wait().expect("it ends").code(), Some(0), "{signal}");
    }
}
