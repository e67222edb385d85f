//! The table of rooms: which room may import which.

use std::path::Path;

/// Room, and the rooms it may import.
const TABLE: &[(&str, &[&str])] = &[
    ("theory", &[]),
    ("units", &[]),
    ("fretboard", &["theory"]),
    ("voice", &["units"]),
    ("audio", &["units"]),
    ("hearing", &["fretboard", "theory", "units"]),
    ("grading", &["theory", "units"]),
    (
        "checking",
        &["songlog", "grading", "fretboard", "theory", "units"],
    ),
    ("songlog", &["fretboard", "theory", "units"]),
    (
        "foreign",
        &["songlog", "grading", "fretboard", "theory", "units"],
    ),
    ("chart", &["songlog", "fretboard", "theory", "units"]),
    ("deciding", &["songlog", "fretboard", "theory", "units"]),
    (
        "drafting",
        &[
            "audio",
            "deciding",
            "foreign",
            "hearing",
            "songlog",
            "fretboard",
            "theory",
            "units",
        ],
    ),
    (
        "playback",
        &["audio", "fretboard", "songlog", "theory", "units", "voice"],
    ),
    (
        "desk",
        &[
            "audio",
            "chart",
            "checking",
            "deciding",
            "drafting",
            "fretboard",
            "grading",
            "hearing",
            "playback",
            "songlog",
            "theory",
            "units",
            "voice",
        ],
    ),
    (
        "cli",
        &[
            "audio",
            "chart",
            "checking",
            "deciding",
            "desk",
            "drafting",
            "foreign",
            "fretboard",
            "grading",
            "hearing",
            "playback",
            "songlog",
            "theory",
            "units",
            "voice",
        ],
    ),
];

fn rust_files(dir: &Path, found: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(dir).expect("src is readable") {
        let path = entry.expect("an entry of src").path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn imports_follow_the_table_of_rooms() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    assert!(files.len() > 10, "found only {} files", files.len());
    let mut wrong = Vec::new();
    for file in &files {
        let inside = file.strip_prefix(&src).expect("under src");
        let first = inside.iter().next().expect("a name").to_string_lossy();
        let room = first.trim_end_matches(".rs");
        if matches!(room, "lib" | "main") {
            continue;
        }
        let (_, may) = TABLE
            .iter()
            .find(|(name, _)| *name == room)
            .unwrap_or_else(|| panic!("room '{room}' is not in the table"));
        let text = std::fs::read_to_string(file).expect("readable");
        for (n, line) in text.lines().enumerate() {
            if line.trim_start().starts_with("//") {
                continue;
            }
            for part in line.split("crate::").skip(1) {
                let other: String = part
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                let known = TABLE.iter().any(|(name, _)| *name == other);
                if known && other != room && !may.contains(&other.as_str()) {
                    wrong.push(format!(
                        "{}:{}: {room} imports {other}",
                        inside.display(),
                        n + 1
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
