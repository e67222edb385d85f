//! What every command prints with `--json`, against its published schema, by
//! another validator. (`name`, `imply` and `shapes`: `naming.rs`; `record` and
//! `listen`: `record.rs`, `listen.rs`; the desk: `desk`.)

use crate::log_sample::{file, stderr, stdout};
use crate::outside::{folder, root, takebook};
use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

/// Holds documents against their definitions in docs/results.schema.json.
///
/// Reference: JSON Schema 2020-12 by the Python package jsonschema; it also
/// sees that a document with a field dropped, added or of another type is refused.
#[track_caller]
pub(crate) fn fit(documents: &[(&str, Value)]) {
    let python = root().join(".venv/bin/python3");
    assert!(python.exists(), "no .venv/bin/python3: run tests/setup");
    let mut child = Command::new(python)
        .arg(root().join("tests/outside/validate_results.py"))
        .arg(root().join("docs/results.schema.json"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("python starts");
    let mut lines = child.stdin.take().expect("a pipe");
    for (name, document) in documents {
        writeln!(lines, "{}", json!([name, document])).expect("it reads");
    }
    drop(lines);
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "{}", stderr(&output));
    let told: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert!(told["n_spoiled"].as_u64() > Some(0), "{told}");
}

/// Runs in a folder; gives what was printed, by lines of JSON.
#[track_caller]
fn printed(dir: &Path, words: &str) -> Vec<Value> {
    let output = takebook()
        .args(words.split_whitespace())
        .current_dir(dir)
        .output()
        .expect("the program starts");
    let text = stdout(&output);
    assert!(!text.is_empty(), "{words}: {}", stderr(&output));
    if let Ok(one) = serde_json::from_str(&text) {
        return vec![one];
    }
    text.lines()
        .map(|l| serde_json::from_str(l).unwrap_or_else(|e| panic!("{words}: {e}: {l}")))
        .collect()
}

#[test]
fn drafts_and_checks_print_what_their_schema_says() {
    let (_keep, dir) = folder();
    for name in ["lantern-porch.wav", "river-stairs.wav"] {
        std::fs::copy(root().join("fixtures").join(name), dir.join(name)).expect("a copy");
    }
    std::fs::write(dir.join("broken.wav"), "no sound").expect("writable");
    std::fs::write(dir.join("chords.lab"), "0 2 C\n2 4 G:7/3\n4 6 N\n").expect("writable");
    let mut all: Vec<(&str, Value)> = Vec::new();
    let mut add = |name: &'static str, words: &str| {
        let documents = printed(&dir, words);
        all.extend(documents.iter().map(|d| (name, d.clone())));
        documents
    };
    add("draft", "draft lantern-porch.wav chords.lab --json");
    // one up to date, one fresh, one that fails
    let lines = add("draft_line", "draft . --json-lines");
    let mut states: Vec<&str> = lines.iter().filter_map(|l| l["state"].as_str()).collect();
    states.sort_unstable();
    assert_eq!(states, ["drafted", "failed", "up to date"], "{lines:?}");
    // open chords to remark, and none
    let read = add("check_chart", "check river-stairs.takebook --json");
    assert_eq!(read[0]["well"], false);
    add("confirm", "confirm chords.takebook all --take-first --json");
    // its own take, and another
    let own = add(
        "check_take",
        "check lantern-porch.takebook lantern-porch.wav --json",
    );
    assert!(own[0]["recognized"].is_boolean(), "{own:?}");
    let other = add(
        "check_take",
        "check lantern-porch.takebook river-stairs.wav --json",
    );
    assert_eq!(other[0]["as_written"], false, "{other:?}");
    fit(&all);
}

#[test]
fn decisions_charts_and_grades_print_what_their_schema_says() {
    let (_keep, dir) = folder();
    let log = file(&dir);
    let name = log.file_name().and_then(|n| n.to_str()).expect("a name");
    std::fs::write(dir.join("a.lab"), "0 2 C:maj\n2 4 G:7\n").expect("writable");
    std::fs::write(dir.join("b.lab"), "0 2 C:maj\n2 5 G:maj\n").expect("writable");
    let mut all: Vec<(&str, Value)> = Vec::new();
    for (definition, words) in [
        ("confirm", format!("confirm {name} 1 --take-first --json")),
        ("undo", format!("undo {name} --json")),
        ("decisions", format!("undo {name} --list --json")),
        ("show", format!("show {name} --json")),
        ("show_bar", format!("show {name} --bar 2 --json")),
        ("chart", format!("chart {name} -o one.txt --json")),
        ("binder", "chart . -o all.pdf --json".into()),
        ("grade", "grade a.lab b.lab --json".into()),
        ("help_files", "help-files pages --json".into()),
    ] {
        let documents = printed(&dir, &words);
        assert_eq!(documents.len(), 1, "{words}");
        all.extend(documents.into_iter().map(|d| (definition, d)));
    }
    fit(&all);
}

/// A definition that no test holds against a real document would prove nothing.
#[test]
fn every_definition_is_held_against_what_a_command_prints() {
    let text = std::fs::read_to_string(root().join("docs/results.schema.json")).expect("a schema");
    let schema: Value = serde_json::from_str(&text).expect("JSON");
    let mut tests = String::new();
    for file in [
        "results.rs",
        "record.rs",
        "listen.rs",
        "playback.rs",
        "desk/trouble.rs",
    ] {
        tests += &std::fs::read_to_string(root().join("tests/it").join(file)).expect("a test");
    }
    for one in schema["anyOf"].as_array().expect("a list") {
        let name = one["$ref"]
            .as_str()
            .and_then(|r| r.strip_prefix("#/$defs/"));
        let name = name.expect("a reference");
        assert!(
            tests.contains(&format!("\"{name}\"")),
            "{name} is not tried"
        );
    }
}
