//! Every file of learned numbers says what it was made of, and suites do not overlap.

use crate::outside;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use takebook::hearing::WEIGHT_FILES;
use takebook::theory::Quality;

fn json(path: &Path) -> Value {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Every weights file below `src`, any folder called `weights`.
fn weights_files() -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![outside::root().join("src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder of the sources") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if folder.ends_with("weights")
                && !path.to_string_lossy().ends_with(".manifest.json")
                // the record that export_songs.py leaves; its manifests repeat it
                && !path.ends_with("songs.json")
                && path.extension().is_none_or(|e| e != "rs")
            {
                found.push(path);
            }
        }
    }
    found.sort();
    assert!(
        found.len() >= 19,
        "only {} weights files found",
        found.len()
    );
    found
}

fn manifest_of(weights: &Path) -> PathBuf {
    let name = weights.file_name().expect("a name").to_string_lossy();
    weights.with_file_name(format!("{name}.manifest.json"))
}

/// By coreutils, so that nothing of ours stands between.
fn sha256(path: &Path) -> String {
    let output = outside::tool("sha256sum")
        .arg(path)
        .output()
        .expect("sha256sum runs");
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    text.split(' ')
        .next()
        .expect("a sum")
        .trim_start_matches('\\')
        .to_owned()
}

/// The parts that the one command can rebuild.
fn parts() -> Vec<String> {
    let output = outside::tool("python3")
        .arg(outside::root().join("docs/training/rebuild.py"))
        .arg("--list")
        .output()
        .expect("Python runs");
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    let heads = text.lines().filter(|line| line.contains(": needs "));
    heads
        .filter_map(|line| line.split(':').next())
        .map(str::to_owned)
        .collect()
}

/// What stands before the command of weights that it did not make.
const BEFORE: &str = "made before this chain; the command that would remake it is ";
/// What stands before the reason why weights have no command.
const NO_COMMAND: &str = "no command remakes it: ";
const COMMAND: &str = "python3 docs/training/rebuild.py ";

#[test]
fn every_weights_file_is_known_to_the_program() {
    let found = weights_files().into_iter().filter_map(|path| {
        let hearing = path.parent()?.ends_with("hearing/weights");
        hearing.then(|| path.file_name().map(|n| n.to_string_lossy().into_owned()))?
    });
    let mut known: Vec<String> = WEIGHT_FILES.iter().map(|n| (*n).to_owned()).collect();
    known.sort();
    assert_eq!(found.collect::<Vec<_>>(), known);
}

#[test]
#[expect(
    clippy::print_stdout,
    reason = "with --nocapture it lists what no command made"
)]
fn every_weights_file_has_a_manifest_that_fits_it() {
    let parts = parts();
    let (mut before, mut without) = (Vec::new(), Vec::new());
    for weights in weights_files() {
        let path = manifest_of(&weights);
        assert!(
            path.exists(),
            "{} has no manifest: python3 docs/training/rebuild.py writes one with the weights",
            weights.display()
        );
        let manifest = json(&path);
        let name = weights
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        assert_eq!(
            manifest["sha256"].as_str(),
            Some(&*sha256(&weights)),
            "{name} is not the file that its manifest describes"
        );
        for field in [
            "file",
            "part",
            "suites",
            "seeds",
            "commit",
            "settings",
            "metrics",
            "data_date",
            "rebuild",
        ] {
            assert!(
                manifest.get(field).is_some(),
                "{}: no '{field}'",
                path.display()
            );
        }
        let rebuild = manifest["rebuild"].as_str().expect("rebuild is text");
        if let Some(why) = rebuild.strip_prefix(NO_COMMAND) {
            assert!(why.len() > 10, "{}: no reason", path.display());
            without.push(format!("{name}: {why}"));
            continue;
        }
        let command = match rebuild.strip_prefix(BEFORE).map(|r| r.split_once(": ")) {
            Some(Some((command, how))) => {
                assert!(how.len() > 10, "{}: not how it was made", path.display());
                before.push(format!("{name}: {how}"));
                command
            }
            Some(None) => panic!("{}: not how it was made", path.display()),
            None => rebuild,
        };
        let part = command.strip_prefix(COMMAND).unwrap_or("");
        assert!(
            parts.iter().any(|p| p == part),
            "{}: '{command}' is no command of this repository",
            path.display()
        );
        assert_eq!(manifest["part"], part, "{}", path.display());
        if command == rebuild {
            for field in ["suites", "seeds"] {
                assert!(
                    manifest[field].as_array().is_some_and(|a| !a.is_empty()),
                    "{}: '{field}' is empty",
                    path.display()
                );
            }
        }
    }
    println!(
        "made before this chain: {}, without a command: {}",
        before.len(),
        without.len()
    );
    for line in before.into_iter().chain(without) {
        println!("  {line}");
    }
}

#[test]
fn training_reads_the_vocabulary_of_the_program() {
    let rows = Quality::of_net().into_iter().map(|quality| {
        let degrees = quality.degrees.iter().map(|d| d.semitones().rem_euclid(12));
        let semitones: BTreeSet<i32> = degrees.collect();
        let list: Vec<String> = semitones.iter().map(i32::to_string).collect();
        let (label, list) = (quality.harte, list.join(", "));
        format!(" {{\"label\": \"{label}\", \"semitones\": [{list}]}}")
    });
    let now = format!("[\n{}\n]\n", rows.collect::<Vec<_>>().join(",\n"));
    let path = outside::root().join("docs/training/qualities.json");
    if std::env::var_os("UPDATE_DOCS").is_some() {
        std::fs::write(&path, &now).expect("written");
    }
    let text = std::fs::read_to_string(&path).expect("readable");
    assert_eq!(text, now, "run with UPDATE_DOCS=1");
}

/// A suite as docs/training/suites.json has it.
struct Suite {
    name: String,
    purpose: String,
    maker: String,
    seeds: (u64, u64),
    sounds: Vec<String>,
}

fn suites() -> Vec<Suite> {
    let table = json(&outside::root().join("docs/training/suites.json"));
    let text = |v: &Value| v.as_str().expect("text").to_owned();
    let all = table["suites"].as_array().expect("a list of suites").iter();
    all.map(|s| Suite {
        name: text(&s["name"]),
        purpose: text(&s["purpose"]),
        maker: text(&s["maker"]),
        seeds: (
            s["seeds"][0].as_u64().expect("a first seed"),
            s["seeds"][1].as_u64().expect("a seed behind the last"),
        ),
        sounds: s["sounds"]
            .as_array()
            .expect("sounds")
            .iter()
            .map(text)
            .collect(),
    })
    .collect()
}

#[test]
fn suites_are_disjoint_by_seeds_and_by_sounds() {
    let table = json(&outside::root().join("docs/training/suites.json"));
    let held_out: Vec<&str> = table["held_out_sounds"]
        .as_array()
        .expect("held_out_sounds")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert!(held_out.contains(&"TimGM6mb") && held_out.contains(&"recorded-nylon"));
    let all = suites();
    for purpose in ["train", "fit", "grade"] {
        assert!(
            all.iter().any(|s| s.purpose == purpose),
            "no suite to {purpose}"
        );
    }
    for (i, one) in all.iter().enumerate() {
        assert!(
            ["train", "fit", "grade"].contains(&&*one.purpose),
            "{}: purpose {}",
            one.name,
            one.purpose
        );
        assert!(one.seeds.0 < one.seeds.1, "{}: no seeds", one.name);
        let version = one.name.rsplit('-').next().unwrap_or("");
        assert!(
            version.parse::<u32>().is_ok(),
            "{}: no version at its end",
            one.name
        );
        if one.purpose != "grade" {
            let kept = one.sounds.iter().find(|s| held_out.contains(&s.as_str()));
            assert_eq!(
                kept, None,
                "{} is made with a sound kept for grading",
                one.name
            );
        }
        for other in &all[i + 1..] {
            assert_ne!(one.name, other.name, "two suites of one name");
            let apart = one.seeds.1 <= other.seeds.0 || other.seeds.1 <= one.seeds.0;
            assert!(
                apart || one.maker != other.maker,
                "{} and {} share seeds of {}",
                one.name,
                other.name,
                one.maker
            );
        }
    }
}

#[test]
fn manifests_name_suites_that_exist_for_their_purpose() {
    let purposes: BTreeMap<String, String> =
        suites().into_iter().map(|s| (s.name, s.purpose)).collect();
    for weights in weights_files() {
        let manifest = json(&manifest_of(&weights));
        for suite in manifest["suites"].as_array().expect("suites") {
            let name = suite["name"].as_str().expect("a suite's name");
            assert_eq!(
                suite["sha256"].as_str().map(str::len),
                Some(64),
                "{name}: no hash"
            );
            let purpose = purposes
                .get(name)
                .unwrap_or_else(|| panic!("no suite {name}"));
            assert!(
                suite["graded_on"].as_bool() == Some(true) || purpose != "grade",
                "{}: learned from {name}, which is kept for grading",
                weights.display()
            );
        }
    }
}
