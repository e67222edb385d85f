//! Drafting as a user does it: one take, folders, again, and what goes wrong.

use crate::log_sample::{run, stderr, stdout};
use crate::outside::{folder, takebook};
use std::path::{Path, PathBuf};
use takebook::songlog::store;

/// A mono 16-bit WAV at 22 050 Hz of one decaying tone each half second.
fn take(dir: &Path, name: &str, seconds: f64, hz: f64) -> PathBuf {
    let path = dir.join(name);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 22_050,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("writable");
    for i in 0..(seconds * 22_050.0) as usize {
        let t = i as f64 / 22_050.0;
        let x = 0.4 * (std::f64::consts::TAU * hz * t).sin() * (-4.0 * (t % 0.5)).exp();
        writer
            .write_sample((x * 32_767.0) as i16)
            .expect("writable");
    }
    writer.finalize().expect("writable");
    path
}

/// Runs in a folder; gives exit code, stdout, stderr.
fn run_in(dir: &Path, words: &str) -> (i32, String, String) {
    let output = takebook()
        .args(words.split_whitespace())
        .current_dir(dir)
        .output()
        .expect("the program starts");
    let code = output.status.code().expect("it was not killed");
    (code, stdout(&output), stderr(&output))
}

#[track_caller]
fn fails(dir: &Path, words: &str, part: &str) {
    let (code, _, err) = run_in(dir, words);
    assert_eq!(code, 2, "{words}: {err}");
    assert!(err.contains(part), "{words}: {err}");
    assert!(!err.contains("panicked"), "{err}");
}

#[test]
fn a_draft_writes_a_log_beside_the_take() {
    let (_keep, dir) = folder();
    take(&dir, "evening.wav", 2.0, 110.0);
    let (code, out, err) = run_in(
        &dir,
        "draft evening.wav --capo 2 --title Evening --meter 3/4",
    );
    assert!(code != 2 && err.is_empty(), "{err}");
    assert!(
        out.starts_with("evening.wav -> evening.takebook\n"),
        "{out}"
    );
    let log = store::load(&dir.join("evening.takebook")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(log.take.file, "evening.wav");
    assert_eq!(log.heard.instrument.capo, 2);
    assert_eq!(log.heard.settings, ["capo=2", "meter=3/4"]);
    assert!((log.heard.duration_s - 2.0).abs() < 1e-3);
    assert_eq!(takebook::songlog::resolve(&log).title, "Evening");
    let seen: Vec<String> = std::fs::read_dir(&dir)
        .expect("readable")
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    assert_eq!(seen.len(), 3, "{seen:?}"); // the take, the log, the side folder
}

#[test]
fn a_second_draft_keeps_every_decision_and_setting() {
    let (_keep, dir) = folder();
    take(&dir, "evening.wav", 2.0, 110.0);
    run_in(&dir, "draft evening.wav --tuning drop-d");
    let (code, _, err) = run_in(&dir, "confirm evening.takebook all --chord Dm7");
    assert_eq!(code, 0, "{err}");
    run_in(&dir, "draft evening.wav --key Dm");
    let log = store::load(&dir.join("evening.takebook")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(log.heard.settings, ["tuning=drop D", "key=D:min"]);
    assert_eq!(log.decided.len(), 3);
    let (code, out, _) = run_in(&dir, "show evening.takebook");
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("| Dm7"), "{out}");
    assert!(dir.join(".takebook/evening.takebook~1").exists());
}

#[test]
fn a_log_of_another_take_is_not_overwritten() {
    let (_keep, dir) = folder();
    take(&dir, "evening.wav", 2.0, 110.0);
    take(&dir, "morning.wav", 2.0, 196.0);
    run_in(&dir, "draft evening.wav");
    let before = std::fs::read(dir.join("evening.takebook")).expect("a log");
    fails(
        &dir,
        "draft morning.wav -o evening.takebook",
        "is about another take ('evening.wav', 2.0 s",
    );
    assert!(before == std::fs::read(dir.join("evening.takebook")).expect("a log"));
    let (code, ..) = run_in(&dir, "draft evening.wav -o evening.takebook");
    assert_ne!(code, 2);
}

#[test]
fn folders_are_drafted_in_parallel_and_what_is_new_only() {
    let (_keep, dir) = folder();
    for i in 0..5 {
        take(
            &dir,
            &format!("take{i}.wav"),
            1.0,
            110.0 + 10.0 * f64::from(i),
        );
    }
    std::fs::write(dir.join("notes.txt"), "not a take").expect("writable");
    let (code, out, err) = run_in(&dir, "draft . --jobs 2");
    assert!(code != 2 && err.is_empty(), "{err}");
    let takes: Vec<&str> = out.lines().filter(|l| l.contains(" -> ")).collect();
    assert_eq!(takes.len(), 5, "{out}");
    assert!(takes.is_sorted(), "{out}");
    take(&dir, "take9.wav", 1.0, 220.0);
    let (_, out, _) = run_in(&dir, "draft .");
    assert_eq!(
        out.matches("unchanged since its last draft, skipped")
            .count(),
        5,
        "{out}"
    );
    assert_eq!(out.matches(" -> ").count(), 1, "{out}");
}

#[test]
fn one_bad_take_among_several_spoils_no_other() {
    let (_keep, dir) = folder();
    take(&dir, "a.wav", 1.0, 110.0);
    std::fs::write(dir.join("b.wav"), "").expect("writable");
    take(&dir, "c.wav", 1.0, 110.0);
    fails(
        &dir,
        "draft a.wav b.wav c.wav",
        "1 of 3 takes could not be drafted:\n  b.wav: 'b.wav' is empty",
    );
    assert!(dir.join("a.takebook").exists() && dir.join("c.takebook").exists());
    assert!(!dir.join("b.takebook").exists());
    let (code, out, _) = run_in(&dir, "draft a.wav b.wav --json");
    assert_eq!(code, 2);
    let json: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(json["drafts"][0]["state"], "drafted");
    assert_eq!(json["drafts"][1]["state"], "failed");
}

#[test]
fn the_folder_for_the_logs_of_several_takes_is_made() {
    let (_keep, dir) = folder();
    take(&dir, "a.wav", 1.0, 110.0);
    take(&dir, "b.wav", 1.0, 110.0);
    let (code, out, err) = run_in(&dir, "draft a.wav b.wav -o logs");
    assert!(code != 2 && err.is_empty(), "{err}");
    assert!(out.contains("a.wav -> logs/a.takebook\n"), "{out}");
    assert!(dir.join("logs/b.takebook").is_file());
    // a folder of takes has one log each, though it holds one take today
    std::fs::create_dir(dir.join("takes")).expect("writable");
    take(&dir, "takes/c.wav", 1.0, 110.0);
    let (code, _, err) = run_in(&dir, "draft takes -o later");
    assert!(code != 2 && err.is_empty(), "{err}");
    assert!(dir.join("later/c.takebook").is_file());
    fails(
        &dir,
        "draft a.wav b.wav -o gone/logs",
        "cannot make the folder",
    );
}

#[test]
fn a_name_that_would_steer_the_terminal_is_spelled_out() {
    let (_keep, dir) = folder();
    let odd = "two\nlines \u{1b}[31mred";
    let spelled = r"two\nlines \u{1b}[31mred";
    let take = take(&dir, &format!("{odd}.wav"), 1.0, 110.0);
    let log = dir.join(format!("{odd}.takebook"));
    let chart = dir.join(format!("{odd}.txt"));
    let ways: [&[&Path]; 6] = [
        &[Path::new("draft"), &take],
        &[Path::new("show"), &log],
        &[Path::new("chart"), &log, Path::new("-o"), &chart],
        &[Path::new("chart"), &log, Path::new("-o"), &chart],
        &[Path::new("draft"), &take, Path::new("none.wav")],
        &[Path::new("show"), &take],
    ];
    for (i, words) in ways.iter().enumerate() {
        let output = takebook()
            .args(*words)
            .current_dir(&dir)
            .output()
            .expect("starts");
        let said = stdout(&output) + &stderr(&output);
        assert!(said.contains(spelled), "{i}: {said}");
        assert!(!said.contains('\u{1b}'), "{i}: {said:?}");
        assert!(!said.contains("two\n"), "{i}: {said:?}");
    }
}

#[test]
fn a_pipe_a_device_or_a_folder_is_no_log() {
    let (_keep, dir) = folder();
    take(&dir, "a.wav", 1.0, 110.0);
    run_in(&dir, "draft a.wav");
    let made = std::process::Command::new("mkfifo")
        .args(["pipe.takebook", "pipe.mid"])
        .current_dir(&dir)
        .status();
    assert!(made.expect("mkfifo runs").success());
    std::fs::create_dir(dir.join("folder.takebook")).expect("writable");
    // nobody writes to the pipe: a program that opened it would never come back
    for words in [
        "show LOG",
        "confirm LOG all --take-first",
        "undo LOG",
        "check LOG",
        "chart LOG -o x.txt",
        "listen --play LOG -o x.wav",
    ] {
        fails(
            &dir,
            &words.replace("LOG", "pipe.takebook"),
            "it is a pipe or a device",
        );
        fails(
            &dir,
            &words.replace("LOG", "/dev/null"),
            "it is a pipe or a device",
        );
        if !words.starts_with("chart") {
            fails(
                &dir,
                &words.replace("LOG", "folder.takebook"),
                "it is a folder",
            );
        }
    }
    fails(
        &dir,
        "draft a.wav -o pipe.takebook",
        "it is a pipe or a device",
    );
    fails(
        &dir,
        "draft pipe.mid -o x.takebook",
        "it is a folder, a pipe or a device",
    );
    fails(
        &dir,
        "grade pipe.takebook a.takebook",
        "it is a pipe or a device",
    );
}

#[test]
fn what_cannot_be_drafted_is_refused_with_the_way_out() {
    let (_keep, dir) = folder();
    take(&dir, "a.wav", 1.0, 110.0);
    take(&dir, "b.wav", 1.0, 110.0);
    std::fs::copy(dir.join("a.wav"), dir.join("a.wave")).expect("writable");
    std::fs::create_dir(dir.join("nothing")).expect("writable");
    std::fs::write(dir.join("words.takebook"), "Verse: G D").expect("writable");
    fails(&dir, "draft none.wav", "cannot read 'none.wav'");
    fails(
        &dir,
        "draft nothing",
        "there is no sound file in the folder 'nothing'",
    );
    fails(
        &dir,
        "draft a.wav -o a.wav/a.takebook",
        "cannot write the log",
    );
    fails(
        &dir,
        "draft a.wav -o gone/a.takebook",
        "there is no folder 'gone'",
    );
    fails(
        &dir,
        "draft a.wav -o words.takebook",
        "is not a log of takebook",
    );
    fails(
        &dir,
        "draft a.wav b.wav -o one.takebook",
        "-o names a folder, and 'one.takebook' is none",
    );
    fails(
        &dir,
        "draft a.wav a.wave",
        "would share the log 'a.takebook'",
    );
    fails(
        &dir,
        "draft a.wav b.wav --title X",
        "--title is for one take",
    );
    fails(&dir, "draft a.wav a.wav", "'a.wav' is named twice");
    let made = std::process::Command::new("mkfifo")
        .arg(dir.join("pipe.wav"))
        .status();
    assert!(made.expect("mkfifo runs").success());
    fails(&dir, "draft pipe.wav", "it is a pipe or a device");
    fails(&dir, "draft words.takebook", "is a log, not a take");
    fails(&dir, "draft a.wav --tempo 5000", "5000 is not a tempo");
    fails(&dir, "draft a.wav --key H", "'H' is not a key");
    fails(
        &dir,
        "draft a.wav --tuning loose",
        "'loose' is not a tuning",
    );
    fails(&dir, "draft", "TAKE");
}

#[test]
fn silence_half_a_second_and_nothing_heard_end_with_1() {
    let (_keep, dir) = folder();
    for (name, seconds, hz) in [("silence.wav", 2.0, 0.0), ("short.wav", 0.5, 0.0)] {
        take(&dir, name, seconds, hz);
        let (code, out, err) = run_in(&dir, &format!("draft {name}"));
        assert_eq!(code, 1, "{out}{err}");
        assert!(out.contains("no chord was heard"), "{out}");
        assert!(out.contains("the take is silent"), "{out}");
    }
}

#[test]
fn nothing_is_printed_of_progress_when_piped() {
    let (_keep, dir) = folder();
    let path = take(&dir, "a.wav", 1.0, 110.0);
    let output = run(&["draft", &path.to_string_lossy()]);
    assert_eq!(stderr(&output), "");
    assert!(!stdout(&output).contains('\u{1b}'));
}

#[test]
fn a_log_that_is_being_written_is_waited_for_and_then_refused() {
    let (_keep, dir) = folder();
    let path = crate::log_sample::file(&dir);
    let held = store::lock(&path).unwrap_or_else(|e| panic!("{e}"));
    fails(
        &dir,
        "confirm evening.takebook 1 --take-first",
        "is being written by another takebook",
    );
    drop(held);
    let (code, _, err) = run_in(&dir, "confirm evening.takebook 1 --take-first");
    assert_eq!(code, 0, "{err}");
}

#[test]
fn many_writers_at_once_lose_no_decision() {
    let (_keep, dir) = folder();
    crate::log_sample::file(&dir);
    // what a killed writer leaves is cleared away by the next
    std::fs::create_dir(dir.join(".takebook")).expect("writable");
    let left = dir.join(".takebook/evening.takebook.saving-x1");
    std::fs::write(left, "{").expect("writable");
    let children: Vec<_> = (0..8)
        .map(|i| {
            takebook()
                .args([
                    "confirm",
                    "evening.takebook",
                    "--note",
                    &format!("note {i}"),
                ])
                .current_dir(&dir)
                .stdout(std::process::Stdio::null())
                .spawn()
                .expect("the program starts")
        })
        .collect();
    for mut child in children {
        assert!(child.wait().expect("it ends").success());
    }
    let log = store::load(&dir.join("evening.takebook")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(log.decided.len(), 8);
    let kept = std::fs::read_dir(dir.join(".takebook"))
        .expect("readable")
        .count();
    assert_eq!(kept, 6); // the lock and five versions, nothing half-written
}

#[test]
fn a_list_names_takes_and_what_is_up_to_date_is_skipped() {
    let (_keep, dir) = folder();
    take(&dir, "a.wav", 1.0, 110.0);
    take(&dir, "b.wav", 1.0, 220.0);
    std::fs::create_dir(dir.join("more")).expect("writable");
    take(&dir.join("more"), "c.wav", 1.0, 330.0);
    let list = "# this week\na.wav\n\nb.wav\nmore\n";
    std::fs::write(dir.join("takes.txt"), list).expect("writable");
    let (code, out, err) = run_in(&dir, "draft --list takes.txt");
    assert!(code != 2 && err.is_empty(), "{err}");
    assert_eq!(out.matches(" -> ").count(), 3, "{out}");
    let (_, out, _) = run_in(&dir, "draft --list takes.txt");
    assert_eq!(out.matches("skipped").count(), 3, "{out}");
    let (_, out, _) = run_in(&dir, "draft a.wav b.wav --changed");
    assert_eq!(out.matches("skipped").count(), 2, "{out}");
    let (_, out, _) = run_in(&dir, "draft a.wav");
    assert_eq!(out.matches(" -> ").count(), 1, "{out}");
    std::fs::write(dir.join("none.txt"), "# nothing\n").expect("writable");
    fails(&dir, "draft --list none.txt", "names no take");
    fails(
        &dir,
        "draft --list gone.txt",
        "cannot read the list 'gone.txt'",
    );
}

#[test]
fn json_lines_tell_each_take_once_by_itself() {
    let (_keep, dir) = folder();
    for i in 0..4 {
        take(&dir, &format!("t{i}.wav"), 1.0, 110.0 + 20.0 * f64::from(i));
    }
    std::fs::write(dir.join("t9.wav"), "no sound").expect("writable");
    let (code, out, err) = run_in(&dir, "draft . --json-lines --jobs 3");
    assert_eq!(code, 2, "{err}");
    let mut states: Vec<(String, String)> = out
        .lines()
        .map(|line| {
            let json: serde_json::Value = serde_json::from_str(line).expect("JSON in each line");
            let text = |name: &str| json[name].as_str().expect("a text").to_owned();
            (text("take"), text("state"))
        })
        .collect();
    states.sort();
    let seen: Vec<&str> = states.iter().map(|s| s.1.as_str()).collect();
    assert_eq!(seen, ["drafted", "drafted", "drafted", "drafted", "failed"]);
    let (_, out, _) = run_in(&dir, "draft t0.wav --changed --json-lines");
    assert!(out.contains(r#""state":"up to date""#), "{out}");
}

/// A log without the moment of its draft.
fn timeless(path: &Path) -> String {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(text.contains("\"drafted\": "));
    text.lines()
        .filter(|l| !l.trim_start().starts_with("\"drafted\": "))
        .collect()
}

#[test]
fn a_draft_is_the_same_to_the_byte_on_any_number_of_threads() {
    let (_keep, dir) = folder();
    let names = ["attic-letters", "river-stairs"];
    for name in names {
        let take = crate::outside::root().join("fixtures").join(name);
        std::fs::copy(take.with_extension("wav"), dir.join(format!("{name}.wav"))).expect("copied");
    }
    take(&dir, "tone.wav", 3.0, 146.8);
    let mut first: Option<Vec<String>> = None;
    for (threads, jobs) in [("1", "1"), ("2", "2"), ("5", "5"), ("5", "1"), ("1", "3")] {
        let output = takebook()
            .args([
                "draft",
                "attic-letters.wav",
                "river-stairs.wav",
                "tone.wav",
                "--jobs",
                jobs,
            ])
            .env("RAYON_NUM_THREADS", threads)
            .env("RTEN_NUM_THREADS", threads)
            .current_dir(&dir)
            .output()
            .expect("it runs");
        assert!(output.status.code() != Some(2), "{}", stderr(&output));
        let logs: Vec<String> = ["attic-letters", "river-stairs", "tone"]
            .map(|name| timeless(&dir.join(format!("{name}.takebook"))))
            .to_vec();
        let same = first.get_or_insert_with(|| logs.clone());
        assert!(*same == logs, "{threads} threads, {jobs} jobs: another log");
    }
}

/// Ctrl-C at random moments of a draft of many takes, then the rest of them.
#[test]
fn an_interrupted_draft_leaves_nothing_half_done_and_goes_on_later() {
    use std::os::unix::process::ExitStatusExt;
    const TAKES: usize = 6;
    let (_keep, dir) = folder();
    for i in 0..TAKES {
        take(&dir, &format!("t{i}.wav"), 1.0, 110.0 + 20.0 * i as f64);
    }
    let log = |i: usize| dir.join(format!("t{i}.takebook"));
    let (whole, ..) = run_in(&dir, "draft .");
    let truth: Vec<String> = (0..TAKES).map(|i| timeless(&log(i))).collect();
    let mut n_stopped = 0;
    for round in 0..40usize {
        for i in 0..TAKES {
            // whether it is there depends on the round before
            let _ = std::fs::remove_file(log(i));
        }
        let mut child = takebook()
            .args(["draft", ".", "--jobs", "2"])
            .current_dir(&dir)
            .stdout(std::process::Stdio::null())
            .spawn()
            .expect("it starts");
        // a state, not a time: however busy the machine, it is stopped on its way
        let n_logs = || (0..TAKES).filter(|i| log(*i).exists()).count();
        while n_logs() < round % TAKES && child.try_wait().expect("its state").is_none() {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        std::thread::sleep(std::time::Duration::from_millis((round / TAKES) as u64));
        if child.try_wait().expect("its state").is_none() {
            let id = child.id().to_string();
            let sent = std::process::Command::new("sh")
                .args(["-c", "kill -INT $1", "sh", &id])
                .status();
            assert!(sent.expect("a shell").success());
        }
        let status = child.wait().expect("it ends");
        assert!(
            status.signal() == Some(2) || status.code() == Some(whole),
            "round {round}: {status}"
        );
        n_stopped += usize::from(status.signal() == Some(2));
        for entry in std::fs::read_dir(dir.join(".takebook"))
            .into_iter()
            .flatten()
        {
            let name = entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned();
            assert!(!name.contains("ing-"), "round {round}: {name} is left");
        }
        for i in (0..TAKES).filter(|i| log(*i).exists()) {
            assert!(timeless(&log(i)) == truth[i], "round {round}: take {i}");
        }
    }
    assert!(n_stopped > 10, "only {n_stopped} of 40 were stopped");
    let (code, _, err) = run_in(&dir, "draft .");
    assert!(code != 2, "{err}");
    for (i, truth) in truth.iter().enumerate() {
        assert!(timeless(&log(i)) == *truth, "take {i} drafted later");
    }
}

/// Numbers of two logs that are not the same, by the name of their field, and
/// how far they lie apart; all else must be the same.
fn apart(a: &serde_json::Value, b: &serde_json::Value, name: &str, found: &mut Vec<(String, f64)>) {
    use serde_json::Value;
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => {
            assert_eq!(a.len(), b.len(), "{name}");
            for (key, value) in a.iter().filter(|(key, _)| *key != "drafted") {
                apart(value, &b[key], key, found);
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{name}");
            for (a, b) in a.iter().zip(b) {
                apart(a, b, name, found);
            }
        }
        (Value::Number(x), Value::Number(y)) if x != y => {
            let number = |n: &serde_json::Number| n.as_f64().expect("a number");
            found.push((name.into(), (number(x) - number(y)).abs()));
        }
        (a, b) => assert_eq!(a, b, "{name}"),
    }
}

/// The same program on a processor of 2003 (SSE2 and no wider registers, no
/// fused multiplication) by QEMU's user mode (Debian package qemu-user).
#[test]
#[cfg(target_arch = "x86_64")]
fn a_processor_without_wide_registers_hears_the_same() {
    /// How far numbers of a log may lie apart: two steps of their rounding.
    const TOLERANCE: f64 = 2.1e-4;
    let (_keep, dir) = folder();
    let full = crate::outside::root().join("fixtures/river-stairs.wav");
    let mut reader = hound::WavReader::open(full).expect("a fixture");
    let (spec, n) = (reader.spec(), 5 * reader.spec().sample_rate as usize);
    let mut writer = hound::WavWriter::create(dir.join("a.wav"), spec).expect("writable");
    for sample in reader.samples::<i16>().take(n) {
        writer
            .write_sample(sample.expect("a sample"))
            .expect("writable");
    }
    writer.finalize().expect("writable");
    run_in(&dir, "draft a.wav -o here.takebook");
    let output = crate::outside::tool("qemu-x86_64")
        .args(["-cpu", "qemu64", env!("CARGO_BIN_EXE_takebook")])
        .args(["draft", "a.wav", "-o", "there.takebook", "--jobs", "1"])
        .env("RTEN_NUM_THREADS", "1")
        .current_dir(&dir)
        .output()
        .expect("it runs");
    assert!(output.status.code() != Some(2), "{}", stderr(&output));
    let read = |name: &str| -> serde_json::Value {
        let text = std::fs::read_to_string(dir.join(name)).expect("a log");
        serde_json::from_str(&text).expect("JSON")
    };
    let (here, there) = (read("here.takebook"), read("there.takebook"));
    assert!(
        here["heard"]["chords"]
            .as_array()
            .is_some_and(|c| c.len() > 2)
    );
    let mut found = Vec::new();
    apart(&here, &there, "log", &mut found);
    found.retain(|(_, by)| *by > TOLERANCE);
    assert!(found.is_empty(), "{found:?}");
}

/// A chord of the project's own string, 2.5 s.
fn strummed(dir: &Path, name: &str, lowest: u8) {
    use takebook::units::{SampleRate, Seconds};
    use takebook::voice::{Stroke, perform, strum};
    let chord: Vec<(usize, u8)> = [0, 7, 12, 16]
        .iter()
        .map(|up| lowest + up)
        .enumerate()
        .collect();
    let mut strikes = strum(&chord, Stroke::Down, 0.3, 1.2, 0.012, 0.8);
    strikes.extend(strum(&chord, Stroke::Up, 1.3, 2.4, 0.012, 0.8));
    let samples = perform(&strikes, 0.5, Seconds(2.5), SampleRate(22_050));
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 22_050,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(dir.join(name), spec).expect("writable");
    for x in samples {
        writer
            .write_sample((x * 32_767.0) as i16)
            .expect("writable");
    }
    writer.finalize().expect("writable");
}

/// Takes beyond any number of threads in one run: each is heard as it is alone,
/// on several threads at a time, and what is up to date is left.
#[test]
fn hundreds_of_takes_are_heard_as_each_alone() {
    const N: usize = 200;
    const KINDS: usize = 4;
    let (_keep, dir) = folder();
    std::fs::create_dir(dir.join("many")).expect("a folder");
    for kind in 0..KINDS {
        strummed(&dir, &format!("kind{kind}.wav"), 43 + 2 * kind as u8);
    }
    for i in 0..N {
        let from = dir.join(format!("kind{}.wav", i % KINDS));
        std::fs::copy(from, dir.join(format!("many/t{i:03}.wav"))).expect("a copy");
    }
    let (code, _, err) = run_in(
        &dir,
        "draft kind0.wav kind1.wav kind2.wav kind3.wav --jobs 1",
    );
    assert_eq!((code, err.as_str()), (0, ""));
    let told = |words: &str| -> Vec<String> {
        let (code, out, err) = run_in(&dir, words);
        assert_eq!((code, err.as_str()), (0, ""), "{words}");
        out.lines().map(str::to_owned).collect()
    };
    let n = |lines: &[String], state: &str| {
        let wanted = format!("\"state\":\"{state}\"");
        lines.iter().filter(|l| l.contains(&wanted)).count()
    };
    let lines = told("draft many --jobs 7 --json-lines");
    assert_eq!((lines.len(), n(&lines, "drafted")), (N, N));
    let but_names = |path: PathBuf, name: &str| timeless(&path).replace(name, "NAME");
    for i in 0..N {
        let (kind, name) = (format!("kind{}", i % KINDS), format!("t{i:03}"));
        let alone = but_names(dir.join(format!("{kind}.takebook")), &kind);
        let among = but_names(dir.join(format!("many/{name}.takebook")), &name);
        assert!(alone == among, "{name} is not heard as {kind}");
    }
    std::fs::remove_file(dir.join("many/t100.takebook")).expect("there");
    let lines = told("draft many --json-lines");
    assert_eq!((n(&lines, "drafted"), n(&lines, "up to date")), (1, N - 1));
    let lines = told("draft many --json-lines");
    assert_eq!(n(&lines, "up to date"), N);
}
