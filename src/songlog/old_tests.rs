//! Logs written by version 0.1.0 of this program are read, and mean the same.
//!
//! `fixtures/logs/version-N.takebook` was written by the program as it was when
//! the format had version N at most; `version-N.json` is what its `show --json` printed.

use super::decided::Act;
use super::{format, resolve};
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> (PathBuf, String) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/logs")
        .join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{name}: {e}"));
    (path, text)
}

#[test]
fn logs_of_each_version_are_read_and_written_alike() {
    for version in 1..=3 {
        let (path, text) = fixture(&format!("version-{version}.takebook"));
        assert!(text.contains(&format!("\"version\": {version},")));
        let log = format::read(&path, &text).unwrap_or_else(|e| panic!("{e}"));
        // byte for byte: what an older program wrote is what this one writes
        assert_eq!(format::write(&log), text, "version {version}");
    }
}

#[test]
fn songs_of_older_logs_are_what_they_were() {
    for version in 1..=3 {
        let (path, text) = fixture(&format!("version-{version}.takebook"));
        let log = format::read(&path, &text).unwrap_or_else(|e| panic!("{e}"));
        let song = resolve(&log);
        let (_, then) = fixture(&format!("version-{version}.json"));
        let then: serde_json::Value = serde_json::from_str(&then).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(then["title"], song.title);
        assert_eq!(then["capo"], song.instrument.capo);
        assert_eq!(then["key"], song.key.map(|k| k.label()).unwrap_or_default());
        let labels: Vec<String> = song.spans.iter().map(|s| s.label.label()).collect();
        let shapes: Vec<Vec<String>> = song
            .spans
            .iter()
            .map(|s| s.shapes.iter().map(|s| s.text()).collect())
            .collect();
        let chords = then["chords"]
            .as_array()
            .map(Vec::as_slice)
            .unwrap_or_default();
        assert_eq!(chords.len(), labels.len());
        for (i, chord) in chords.iter().enumerate() {
            assert_eq!(chord["label"], labels[i], "version {version}, chord {i}");
            assert_eq!(chord["shapes"], serde_json::json!(shapes[i]));
            assert_eq!(chord["notes"], serde_json::json!(song.spans[i].notes));
        }
        let bars: Vec<(u64, u64)> = song
            .bars
            .iter()
            .map(|b| (u64::from(b.number), u64::from(b.n_beats)))
            .collect();
        let bars_then = then["bars"]
            .as_array()
            .map(Vec::as_slice)
            .unwrap_or_default();
        let bars_then: Vec<(u64, u64)> = bars_then
            .iter()
            .filter_map(|b| Some((b["number"].as_u64()?, b["n_beats"].as_u64()?)))
            .collect();
        assert_eq!(bars, bars_then, "version {version}");
    }
}

#[test]
fn the_older_logs_hold_every_kind_of_act_of_their_time() {
    let mut kinds = std::collections::BTreeSet::new();
    for version in 1..=3 {
        let (path, text) = fixture(&format!("version-{version}.takebook"));
        let log = format::read(&path, &text).unwrap_or_else(|e| panic!("{e}"));
        for act in log.decided.iter().flat_map(|d| &d.acts) {
            assert!(act.version() <= version);
            let json = serde_json::to_value::<&Act>(act).unwrap_or_else(|e| panic!("{e}"));
            kinds.insert(json["act"].as_str().unwrap_or_default().to_owned());
        }
    }
    let all = "bar_beats beats capo chord downbeat join key key_from meter move note section_join \
               section_letter section_name section_split shape split tempo title tuning undo";
    let all: Vec<&str> = all.split_whitespace().collect();
    assert_eq!(kinds.iter().map(String::as_str).collect::<Vec<_>>(), all);
}
