//! The table of rooms: which room may import which, the order of the stages of hearing, and
//! that no modules import each other in a circle.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Room, and the rooms it may import.
const TABLE: &[(&str, &[&str])] = &[
    ("theory", &[]),
    ("units", &[]),
    ("take", &[]),
    ("fretboard", &["theory"]),
    ("voice", &["units"]),
    ("audio", &["take", "units"]),
    ("backup", &["audio", "songlog"]),
    ("hearing", &["fretboard", "theory", "units"]),
    ("grading", &["theory", "units"]),
    (
        "checking",
        &[
            "songlog",
            "grading",
            "hearing",
            "fretboard",
            "theory",
            "units",
        ],
    ),
    ("songlog", &["fretboard", "take", "theory", "units"]),
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
    ("handout", &["audio", "chart", "songlog"]),
    (
        "desk",
        &[
            "audio",
            "chart",
            "checking",
            "deciding",
            "drafting",
            "foreign",
            "fretboard",
            "grading",
            "handout",
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
            "backup",
            "chart",
            "checking",
            "deciding",
            "desk",
            "drafting",
            "foreign",
            "fretboard",
            "grading",
            "handout",
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

/// A file of `src` as a module: its path below the crate, and what it imports of the crate.
struct Module {
    /// `["hearing", "notes", "events"]`; a folder's `mod.rs` is the folder.
    path: Vec<String>,
    /// Every path below `crate` that its code (not its tests) names.
    imports: Vec<Vec<String>>,
}

fn modules() -> Vec<Module> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    assert!(files.len() > 10, "found only {} files", files.len());
    let mut all = Vec::new();
    for file in &files {
        let inside = file
            .strip_prefix(&src)
            .expect("under src")
            .with_extension("");
        let parts = inside.iter().map(|p| p.to_string_lossy().into_owned());
        let mut path: Vec<String> = parts.collect();
        path.retain(|part| part != "mod");
        let is_test = path.last().is_some_and(|p| p.ends_with("tests"));
        if is_test || path == ["lib"] || path == ["main"] {
            continue;
        }
        let text = std::fs::read_to_string(file).expect("readable");
        let imports = imports(&code(&text), &path);
        all.push(Module { path, imports });
    }
    all
}

/// A file's code without comments and without its tests.
fn code(text: &str) -> String {
    let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or("");
    let lines = text
        .lines()
        .map(|line| line.split("//").next().unwrap_or(""));
    // who may see a thing is no import
    let code = lines.collect::<Vec<_>>().join("\n");
    code.replace("(in crate::", "(in ")
}

/// Every path of the crate that some code names, by `crate::` or `super::`, groups resolved.
fn imports(code: &str, of: &[String]) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        paths(&code[at + "crate::".len()..], Vec::new(), &mut all);
    }
    for (at, _) in code.match_indices("super::") {
        // a chain of them is read from its first
        if code[..at].ends_with("super::") {
            continue;
        }
        let mut rest = &code[at..];
        let mut from = of.to_vec();
        while let Some(after) = rest.strip_prefix("super::") {
            from.pop();
            rest = after;
        }
        paths(rest, from, &mut all);
    }
    all
}

/// Reads a path (`a::b::C`) or a group of them (`a::{b, c::D}`); gives what follows it.
fn paths<'a>(mut text: &'a str, mut from: Vec<String>, found: &mut Vec<Vec<String>>) -> &'a str {
    loop {
        text = text.trim_start();
        if let Some(mut rest) = text.strip_prefix('{') {
            loop {
                rest = paths(rest, from.clone(), found).trim_start();
                // `as name` says nothing of what is imported
                let end = rest.find([',', '}']).unwrap_or(rest.len());
                rest = &rest[end..];
                match rest.strip_prefix(',') {
                    Some(next) if !next.trim_start().starts_with('}') => rest = next,
                    Some(next) => return next.trim_start().strip_prefix('}').unwrap_or(""),
                    None => return rest.strip_prefix('}').unwrap_or(""),
                }
            }
        }
        let is_name = |c: char| c.is_alphanumeric() || c == '_' || c == '*';
        let end = text.find(|c| !is_name(c)).unwrap_or(text.len());
        if end == 0 {
            return text;
        }
        if &text[..end] != "self" {
            from.push(text[..end].to_owned());
        }
        match text[end..].strip_prefix("::") {
            Some(rest) => text = rest,
            None => {
                found.push(from);
                return &text[end..];
            }
        }
    }
}

#[test]
fn grouped_imports_are_seen() {
    let code = "use crate::{a::{B, c::D as E}, f::*};\nuse super::{g, h::I};\nsuper::super::k();";
    let of = ["x", "y", "z"].map(str::to_owned);
    let mut seen: Vec<String> = imports(code, &of).iter().map(|p| p.join("::")).collect();
    seen.sort();
    let expected = ["a::B", "a::c::D", "f::*", "x::k", "x::y::g", "x::y::h::I"];
    assert_eq!(seen, expected);
}

#[test]
fn imports_follow_the_table_of_rooms() {
    let mut wrong = Vec::new();
    for module in modules() {
        let room = &module.path[0];
        let (_, may) = TABLE
            .iter()
            .find(|(name, _)| name == room)
            .unwrap_or_else(|| panic!("room '{room}' is not in the table"));
        for import in &module.imports {
            let other = &import[0];
            let known = TABLE.iter().any(|(name, _)| name == other);
            if known && other != room && !may.contains(&other.as_str()) {
                wrong.push(format!("{} imports {other}", module.path.join("::")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The stages of hearing in order: each may import itself and what stands before it.
const STAGES: &[&str] = &[
    "error",
    "weight_files",
    "learned",
    "partials",
    "strum_window",
    "small_net",
    "outputs",
    "acoustic",
    "notes",
    "rhythm",
    "harmony",
    "voicing",
    "form",
    "doubts",
    "weights",
    "pipeline",
    "fitting",
    "live",
];

#[test]
fn no_stage_of_hearing_imports_a_later_one() {
    let place = |path: &[String]| {
        let stage = path.get(1)?;
        STAGES.iter().position(|s| s == stage)
    };
    let mut wrong = Vec::new();
    for module in modules().iter().filter(|m| m.path[0] == "hearing") {
        if module.path.len() == 1 {
            continue;
        }
        let name = module.path.join("::");
        let own = place(&module.path).unwrap_or_else(|| panic!("{name} is in no stage"));
        for import in module.imports.iter().filter(|i| i[0] == "hearing") {
            // without a stage it is a re-export, which hides where a thing is from
            if place(import).is_none_or(|other| other > own) {
                wrong.push(format!("{name} imports {}", import.join("::")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Rooms in which modules still import each other in a circle: this list only gets shorter.
const NOT_YET_FREE_OF_CYCLES: &[&str] = &["chart", "desk", "drafting", "foreign", "songlog"];

/// Modules that import each other, directly or by others, with those that do.
fn cycles() -> Vec<Vec<String>> {
    let modules = modules();
    let names: BTreeSet<&[String]> = modules.iter().map(|m| m.path.as_slice()).collect();
    let mut graph: BTreeMap<&[String], BTreeSet<&[String]>> = BTreeMap::new();
    for module in &modules {
        let to = graph.entry(module.path.as_slice()).or_default();
        for import in &module.imports {
            // the longest part of the path that is a file
            let file = (1..=import.len())
                .rev()
                .find_map(|n| names.get(&import[..n]));
            to.extend(file.filter(|f| **f != module.path.as_slice()));
        }
    }
    let reached = |from: &[String]| {
        let mut seen: BTreeSet<&[String]> = BTreeSet::new();
        let mut next: Vec<&[String]> = graph[from].iter().copied().collect();
        while let Some(module) = next.pop() {
            if seen.insert(module) {
                next.extend(graph[module].iter().copied());
            }
        }
        seen
    };
    let reach: BTreeMap<&[String], BTreeSet<&[String]>> =
        graph.keys().map(|m| (*m, reached(m))).collect();
    let mut circles = BTreeSet::new();
    for (module, seen) in &reach {
        if seen.contains(module) {
            let with = seen.iter().filter(|m| reach[**m].contains(module));
            circles.insert(with.map(|m| m.join("::")).collect::<Vec<_>>());
        }
    }
    circles.into_iter().collect()
}

#[test]
fn no_modules_import_each_other_in_a_circle() {
    let room = |circle: &[String]| circle[0].split("::").next().unwrap_or("").to_owned();
    let all = cycles();
    let wrong: Vec<String> = all
        .iter()
        .filter(|c| !NOT_YET_FREE_OF_CYCLES.contains(&room(c).as_str()))
        .map(|c| c.join(", "))
        .collect();
    assert!(wrong.is_empty(), "in circles:\n{}", wrong.join("\n"));
    for listed in NOT_YET_FREE_OF_CYCLES {
        let still = all.iter().any(|c| room(c) == *listed);
        assert!(still, "'{listed}' is free of cycles: take it off the list");
    }
}

/// The rooms that a cell of the table in DEVELOPERS.md names: a list, `–` for none, `all`, or
/// `all but` some.
fn named<'a>(cell: &'a str, room: &str) -> BTreeSet<&'a str> {
    let list = |text: &'a str| text.split(", ").collect::<BTreeSet<&str>>();
    let left_out = match cell {
        "–" => return BTreeSet::new(),
        "all" => BTreeSet::new(),
        _ => match cell.strip_prefix("all but ") {
            Some(rooms) => list(rooms),
            None => return list(cell),
        },
    };
    let others = TABLE.iter().map(|(name, _)| *name);
    others
        .filter(|name| *name != room && !left_out.contains(name))
        .collect()
}

#[test]
fn developers_read_the_same_table() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md");
    let text = std::fs::read_to_string(path).expect("DEVELOPERS.md");
    let rows: BTreeMap<&str, &str> = text
        .lines()
        .filter_map(|line| {
            let line = line.strip_prefix("| `")?.strip_suffix(" |")?;
            let (room, rest) = line.split_once("` | ")?;
            Some((room, rest.rsplit_once(" | ")?.1))
        })
        .collect();
    assert_eq!(rows.len(), TABLE.len(), "{rows:?}");
    for (room, allowed) in TABLE {
        let cell = rows.get(room).unwrap_or_else(|| panic!("no row {room}"));
        let allowed: BTreeSet<&str> = allowed.iter().copied().collect();
        assert_eq!(named(cell, room), allowed, "DEVELOPERS.md: {room}: {cell}");
    }
}
