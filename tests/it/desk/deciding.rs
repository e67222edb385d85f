//! Decisions by the page are those of the command line, and none is lost.

use super::Desk;
use super::client::{some_note, take_and_log};
use crate::log_sample::{run, stderr};
use crate::outside;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;
use takebook::deciding::{self, DecideError, DecisionRequest, Known, Saved};
use takebook::songlog::decided::Act;
use takebook::songlog::song::Song;
use takebook::songlog::{Log, resolve, store};

fn acts(log: &Path) -> Vec<Vec<Act>> {
    let log = store::load(log).expect("a log");
    log.decided.into_iter().map(|d| d.acts).collect()
}

/// What the page asks for, and the words for the same on the command line.
fn pairs() -> Vec<(Value, &'static str)> {
    let at = |start_s: f64, end_s: f64, what: Value| {
        let mut request = json!({"places": [{"start_s": start_s, "end_s": end_s}]});
        for (name, value) in what.as_object().expect("an object") {
            request[name] = value.clone();
        }
        request
    };
    vec![
        (at(0.0, 2.0, json!({"accept": true})), "1 --accept"),
        (
            json!({"places": ["all"], "accept": true, "at_least": 40}),
            "all --accept --at-least 40",
        ),
        (
            at(4.0, 6.0, json!({"candidate": 2, "repeats": true})),
            "3 --candidate 2 --repeats",
        ),
        (at(2.0, 4.0, json!({"chord": " D7/F# "})), "2 --chord D7/F#"),
        (at(18.0, 20.0, json!({"chord": "D7/A"})), "10 --chord D7/A"),
        (
            at(
                16.0,
                20.0,
                json!({"chord": "Am7", "shape": "x02010", "alt_shape": "5x555x", "note": "let it ring"}),
            ),
            "9-10 --chord Am7 --shape x02010 --alt-shape 5x555x --note let_it_ring",
        ),
        (
            at(0.0, 2.0, json!({"shape": "320033", "repeats": true})),
            "1 --shape 320033 --repeats",
        ),
        (json!({"note": "slow"}), "--note slow"),
        (
            json!({"places": [{"at_s": 1.0}], "split": true}),
            "1.3 --split",
        ),
        (
            json!({"places": ["1.3"], "split": true, "repeats": true}),
            "1.3 --split --repeats",
        ),
        (at(6.0, 8.0, json!({"join": true})), "4 --join"),
        (
            json!({"places": [{"at_s": 2.0}], "move_to": 1.5}),
            "2.1 --move 1.4",
        ),
        (
            json!({"places": [{"at_s": 2.0}], "move_to": 1.5, "repeats": true}),
            "2.1 --move 1.4 --repeats",
        ),
        (
            json!({"as_heard": ["tempo", "first_downbeat"]}),
            "--as-heard tempo --as-heard first-downbeat",
        ),
        (
            at(0.0, 8.0, json!({"section_name": "Verse", "repeats": true})),
            "A --section-name Verse",
        ),
        (
            at(16.0, 24.0, json!({"section_letter": "A"})),
            "B --section-letter A",
        ),
        (json!({"places": ["B"], "feel": "swung"}), "B --feel swung"),
        (
            json!({"places": ["5"], "lyric": "la|lo"}),
            "5 --lyric la|lo",
        ),
        (json!({"credit": "nobody"}), "--credit nobody"),
        (
            json!({"places": ["11"], "new_section": true}),
            "11 --new-section",
        ),
        (
            json!({"places": [{"at_s": 8.0}], "merge_section": true}),
            "5 --merge-section",
        ),
        (json!({"places": ["5"], "key": "Em"}), "5 --key Em"),
        (
            json!({"title": "Late bridge", "key": "Em", "meter": "3/4", "tempo_bpm": 90, "capo": 2, "tuning": "drop-d", "first_downbeat": 0.5}),
            "--title Late_bridge --key Em --meter 3/4 --tempo 90 --capo 2 --tuning drop-d --first-downbeat 0.5s",
        ),
        (
            json!({"beats_s": [0.5, 1.0, 1.5, 2.0, 2.5]}),
            "--beats 0.5,1.0,1.5,2,2.5",
        ),
        (
            json!({"bar_beats": [{"bar": 3, "n_beats": 2}, {"bar": 5, "n_beats": 6}]}),
            "--bar-beats 3=2 --bar-beats 5=6",
        ),
        // the names of before stay for one version
        (at(0.0, 2.0, json!({"accept": true})), "1 --take-first"),
        (
            json!({"places": ["B"], "section_letter": "A", "section_name": "Out"}),
            "B --letter A --name Out",
        ),
    ]
}

#[test]
fn what_got_no_answer_is_asked_again_and_decided_once() {
    let (_keep, dir) = outside::folder();
    let log = take_and_log(&dir);
    let desk = Desk::open(&log);
    let first = desk.json("/api/song");
    let ask = |path: &str, body: Value| desk.post(path, &body);
    let known = (&first["revision"], &first["last_decision"]);
    let body = json!({
        "revision": known.0, "after": known.1,
        "requests": [{"places": ["1"], "chord": "G6"}],
    });
    let made = ask("/api/decide", body.clone());
    assert_eq!(made.status, 200, "{}", made.text());
    // the page was killed before the answer came: the same once more
    let again = ask("/api/decide", body.clone());
    assert_eq!((again.status, &again.json()["decision"]), (200, &1.into()));
    assert_eq!(acts(&log).len(), 1);
    // another decision on a state that is gone is refused, with the song as it is
    let mut other = body;
    other["requests"][0]["chord"] = "Am".into();
    let refused = ask("/api/decide", other);
    assert_eq!(refused.status, 409, "{}", refused.text());
    assert_eq!(refused.json()["song"]["last_decision"], 1);
    // the same for undo
    let undo = json!({"after": 1});
    for _ in 0..2 {
        let undone = ask("/api/undo", undo.clone());
        assert_eq!((undone.status, &undone.json()["of"]), (200, &json!([1])));
    }
    assert_eq!(acts(&log).len(), 2);
    // "the latest" is another one when somebody decided meanwhile: the page asks, and what is
    // named is the same still
    let text = log.to_str().expect("a path");
    assert!(
        run(&["confirm", text, "--title", "theirs"])
            .status
            .success()
    );
    for path in ["/api/undo", "/api/redo"] {
        let refused = ask(path, json!({"after": 2}));
        assert_eq!(refused.status, 409, "{}", refused.text());
        assert_eq!(refused.json()["song"]["title"], "theirs");
    }
    assert_eq!(acts(&log).len(), 3);
    let named = ask("/api/undo", json!({"after": 2, "decisions": [2]}));
    assert_eq!((named.status, &named.json()["of"]), (200, &json!([2])));
}

#[test]
fn what_is_known_of_a_saved_log_is_what_its_file_says() {
    for (body, _) in pairs() {
        let (_keep, dir) = outside::folder();
        let log = take_and_log(&dir);
        let requests = [serde_json::from_value(body.clone()).expect("a request")];
        let allow = |_: &Song| Ok::<_, DecideError>(());
        let made = deciding::decide(&log, &requests, None, allow).expect("it is decided");
        is_as_read(&log, &made.saved, &body);
        let note = DecisionRequest {
            note: Some("on what is known".into()),
            ..DecisionRequest::default()
        };
        let made = deciding::decide(&log, &[note], Some(known(&made.saved)), allow);
        let made = made.expect("a note");
        is_as_read(&log, &made.saved, &body);
        let allow = |_: &Log| Ok::<_, DecideError>(());
        let undone = deciding::undo(&log, &[], Some(known(&made.saved)), allow);
        let undone = undone.expect("it is undone");
        is_as_read(&log, &undone.saved, &body);
        // what is known is no more the file: that counts
        let stale = deciding::redo(&log, Some(known(&made.saved)), allow).expect("redone");
        is_as_read(&log, &stale.saved, &body);
    }
}

fn known(saved: &Saved) -> Known<'_> {
    Known {
        text: &saved.text,
        log: &saved.log,
        song: &saved.song,
    }
}

fn is_as_read(path: &Path, saved: &Saved, body: &Value) {
    let text = std::fs::read_to_string(path).expect("a log");
    assert_eq!(saved.text, text, "{body}");
    let log = store::load(path).expect("a log");
    assert_eq!(saved.log, log, "{body}");
    assert_eq!(saved.song, resolve(&log), "{body}");
}

#[test]
fn what_is_wrong_with_a_field_is_told_in_words() {
    let (_keep, dir) = outside::folder();
    let desk = Desk::open(&take_and_log(&dir));
    let body = json!({"requests": [{"tuning": "nonsense"}]});
    let refused = desk.post("/api/decide", &body);
    let told = refused.json();
    assert_eq!(
        (refused.status, &told["at"]),
        (400, &"requests[0].tuning".into())
    );
    let error = refused.error();
    assert!(
        error.starts_with("tuning: ") && error.contains("nonsense"),
        "{error}"
    );
    assert!(
        !error.contains("[0]") && !error.contains("column"),
        "{error}"
    );
}

#[test]
fn a_decision_on_the_page_is_the_one_of_the_command() {
    for (body, words) in pairs() {
        let (_keep, here) = outside::folder();
        let (_keep, there) = outside::folder();
        let (by_page, by_command) = (take_and_log(&here), take_and_log(&there));
        let desk = Desk::open(&by_page);
        let told = desk.decide(&body);
        let words: Vec<String> = words.split(' ').map(|w| w.replace('_', " ")).collect();
        let mut all = vec!["confirm", by_command.to_str().expect("a path"), "--json"];
        all.extend(words.iter().map(String::as_str));
        let output = run(&all);
        assert!(output.status.success(), "{all:?}: {}", stderr(&output));
        assert_eq!(acts(&by_page), acts(&by_command), "{body}");
        let command: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        for field in ["decision", "acts", "hints"] {
            assert_eq!(told[field], command[field], "{body}: {field}");
        }
        assert_eq!(told["song"]["n_open"], command["n_open"], "{body}");
        // what the page shows is what show prints, and more
        let shown = run(&["show", by_page.to_str().expect("a path"), "--json"]);
        let shown: Value = serde_json::from_slice(&shown.stdout).expect("JSON");
        let song = desk.json("/api/song");
        assert_eq!(song, told["song"], "{body}");
        for (name, value) in shown.as_object().expect("an object") {
            if name != "bars" {
                assert_eq!(&song[name], value, "{body}: {name}");
            }
        }
    }
}

#[test]
fn a_repeat_takes_the_same_part_of_the_bar() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    // the first half of bar 4, and so of bar 8
    let told = desk.decide(&json!({"places": ["4.1-4.2"], "chord": "C6", "repeats": true}));
    assert_eq!(
        told["acts"],
        json!([
            "4 to 4.3: C6 (entered by you)",
            "8 to 8.3: C6 (entered by you)"
        ])
    );
    let bar = desk.json("/api/bar/8");
    assert_eq!(bar["chords"][0]["label"], "C:maj6");
    assert_eq!(bar["chords"][1]["state"], "open");
    assert_eq!(bar["repeats"][0]["bar"], 4);
    assert_eq!(bar["repeats"][0]["same"], true);
    desk.decide(&json!({"places": [{"start_s": 7.0, "end_s": 8.0}], "chord": "D9"}));
    assert_eq!(desk.json("/api/bar/8")["repeats"][0]["same"], false);
}

#[test]
fn undo_and_redo_walk_the_decisions() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    let step = |path: &str| desk.post(path, &json!({}));
    let title = || desk.json("/api/song")["title"].clone();
    let can = || {
        let song = desk.json("/api/song");
        (song["can_undo"] == true, song["can_redo"] == true)
    };
    assert_eq!(can(), (false, false));
    assert_eq!(step("/api/undo").status, 400);
    assert_eq!(step("/api/redo").status, 400);
    for name in ["one", "two", "three"] {
        desk.decide(&json!({"title": name}));
    }
    assert_eq!(can(), (true, false));
    let mut seen = Vec::new();
    for path in [
        "undo", "undo", "redo", "undo", "undo", "redo", "redo", "redo",
    ] {
        let answer = step(&format!("/api/{path}"));
        assert_eq!(answer.status, 200, "{path}: {}", answer.text());
        seen.push(title());
    }
    assert_eq!(
        seen,
        ["two", "one", "two", "one", "evening", "one", "two", "three"]
    );
    assert_eq!(can(), (true, false));
    // another decision ends what could be brought back
    step("/api/undo");
    assert_eq!(can(), (true, true));
    desk.decide(&json!({"title": "four"}));
    assert_eq!(can(), (true, false));
    assert_eq!(step("/api/redo").status, 400);
    let answer = step("/api/undo").json();
    assert_eq!(answer["acts"], json!(["title 'four'"]));
    let answer = step("/api/redo").json();
    assert_eq!(answer["acts"], json!(["title 'four'"]));
    assert_eq!(answer["song"]["title"], "four");
}

#[test]
fn what_the_page_did_not_see_is_not_decided_over() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    let revision = desk.json("/api/song")["revision"].clone();
    let body = json!({"revision": revision, "requests": [{"title": "mine"}]});
    let text = log.to_str().expect("a path");
    assert!(
        run(&["confirm", text, "--title", "theirs"])
            .status
            .success()
    );
    let answer = desk.post("/api/decide", &body);
    assert_eq!(answer.status, 409, "{}", answer.text());
    let song = &answer.json()["song"];
    assert_eq!(song["title"], "theirs");
    let body = json!({"revision": song["revision"], "requests": [{"title": "mine"}]});
    assert_eq!(
        desk.post("/api/decide", &body).json()["song"]["title"],
        "mine"
    );
    assert_eq!(acts(&log).len(), 2);
}

#[test]
fn a_thousand_rapid_edits_by_two_desks_and_a_command_are_all_kept() {
    const EACH: usize = 240;
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desks = [Desk::open(&log), Desk::open(&log)];
    let ids: Vec<u64> = std::thread::scope(|scope| {
        let pages: Vec<_> = (0..4)
            .map(|page| {
                let desk = &desks[page % 2];
                scope.spawn(move || {
                    (0..EACH)
                        .map(|n| {
                            let told = desk.decide(&some_note(1000 * page + n));
                            told["decision"].as_u64().expect("a number")
                        })
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        let text = log.to_str().expect("a path");
        let commands: Vec<u64> = (0..40)
            .map(|n| {
                let note = format!("by command {n}");
                let output = run(&["confirm", text, "--note", &note, "--json"]);
                assert!(output.status.success(), "{}", stderr(&output));
                let told: Value = serde_json::from_slice(&output.stdout).expect("JSON");
                told["decision"].as_u64().expect("a number")
            })
            .collect();
        pages
            .into_iter()
            .flat_map(|p| p.join().expect("a page"))
            .chain(commands)
            .collect()
    });
    let n = 4 * EACH + 40;
    assert_eq!(ids.len(), n);
    let different: BTreeSet<u64> = ids.into_iter().collect();
    assert_eq!(different.len(), n, "two decisions have one number");
    let kept = store::load(&log).expect("a log").decided;
    assert_eq!(kept.len(), n);
    let notes: BTreeSet<String> = kept
        .iter()
        .flat_map(|d| &d.acts)
        .map(|act| match act {
            Act::Note { text, .. } => text.clone(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(notes.len(), n, "a decision was lost or doubled");
    // both desks see all of it
    for desk in &desks {
        let song = desk.json("/api/song");
        let placed: usize = song["chords"]
            .as_array()
            .expect("chords")
            .iter()
            .map(|c| c["notes"].as_array().map_or(0, Vec::len))
            .sum();
        let whole = song["notes"].as_array().map_or(0, Vec::len);
        assert_eq!(placed + whole, n);
    }
}

#[test]
fn an_answer_can_be_what_changed_and_undo_goes_back_to_a_point() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let before = desk.json("/api/song");
    let revision = before["revision"].as_str().expect("a revision");
    let body = json!({"requests": [{"places": [{"start_s": 2.0, "end_s": 4.0}], "accept": true}]});
    let told = desk
        .post(&format!("/api/decide?since={revision}"), &body)
        .json();
    assert!(told["song"].is_null(), "not the whole song");
    // what changed, applied to the song before, is the song now
    let mut song = before.clone();
    for c in told["changes"].as_array().expect("changes") {
        let field = c["field"].as_str().expect("a field");
        if let Some(value) = c.get("value") {
            song[field] = value.clone();
            continue;
        }
        let number = |name: &str| c[name].as_u64().expect("a number") as usize;
        let (at, remove) = (number("at"), number("remove"));
        let insert = c["insert"].as_array().expect("a list").clone();
        let list = song[field].as_array_mut().expect("a list");
        list.splice(at..at + remove, insert);
    }
    assert_eq!(song, desk.json("/api/song"));
    assert_eq!(song["revision"], told["revision"]);
    // a revision that is not known any more: the whole song
    let next = json!({"requests": [{"places": [{"start_s": 4.0, "end_s": 6.0}], "accept": true}]});
    let told = desk.post("/api/decide?since=0", &next).json();
    assert_eq!(told["song"], desk.json("/api/song"));
    let listed = desk.json("/api/decisions");
    let ids: Vec<u64> = (listed["decisions"].as_array().expect("a list").iter())
        .map(|d| d["id"].as_u64().expect("a number"))
        .collect();
    assert_eq!(ids, [2, 1], "the latest first");
    let told = desk.post("/api/undo", &json!({"decisions": ids})).json();
    assert_eq!(
        told["song"]["chords"], before["chords"],
        "all of it is back"
    );
    let listed = desk.json("/api/decisions");
    assert_eq!(listed["decisions"][0]["undoes"], json!([2, 1]));
    assert_eq!(listed["decisions"][1]["holds"], false);
}
