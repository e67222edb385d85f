//! No function over 80 lines and no module over 500 in `src`, but for those listed here.

use crate::outside;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

const FUNCTION_LINES: usize = 80;
const MODULE_LINES: usize = 500;

/// Modules that are still longer: this list only gets shorter.
const LONG_MODULES: &[&str] = &[];

/// Functions that are still longer: this list only gets shorter.
const LONG_FUNCTIONS: &[&str] = &["hearing/rhythm/bars/describe.rs: describe"];

fn rust_files(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).expect("src is readable") {
        let path = entry.expect("an entry of src").path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The code of each file of `src` without its tests, by its path below it.
fn code() -> Vec<(String, String)> {
    let src = outside::root().join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    assert!(files.len() > 100, "found only {} files", files.len());
    let name = |path: &Path| {
        let inside = path.strip_prefix(&src).expect("below src");
        inside.to_string_lossy().into_owned()
    };
    let is_test = |name: &str| name.ends_with("tests.rs") || name.contains("/tests/");
    let mut all: Vec<(String, String)> = files
        .iter()
        .map(|path| {
            let text = std::fs::read_to_string(path).expect("readable");
            let code = text.split("#[cfg(test)]\nmod tests {").next();
            (name(path), code.unwrap_or("").to_owned())
        })
        .filter(|(name, _)| !is_test(name))
        .collect();
    all.sort();
    all
}

/// The functions of some code as rustfmt sets it, each with how many lines it has.
fn functions(code: &str) -> Vec<(String, usize)> {
    let lines: Vec<&str> = code.lines().collect();
    let mut all = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        let inside = line.trim_start();
        let words: Vec<&str> = inside.split_whitespace().collect();
        let before = words.iter().position(|w| *w == "fn");
        let is_fn = before.is_some_and(|at| {
            let modifier = |w: &&str| {
                w.starts_with("pub") || ["const", "async", "(in"].contains(w) || w.ends_with(')')
            };
            words[..at].iter().all(modifier)
        });
        let (true, Some(name)) = (is_fn, before.and_then(|at| words.get(at + 1))) else {
            continue;
        };
        let end = format!("{}}}", &line[..line.len() - inside.len()]);
        let length = lines[i..].iter().position(|l| *l == end);
        // one of a trait, without a body, or one on a single line
        if line.ends_with(';') || line.ends_with('}') {
            continue;
        }
        let name = name.split(['(', '<']).next().unwrap_or(name);
        all.extend(length.map(|n| (name.to_owned(), n + 1)));
    }
    all
}

/// What is too long but not listed, and what is listed but not too long.
fn check(long: BTreeSet<String>, listed: &[&str]) {
    let listed: BTreeSet<String> = listed.iter().map(|s| (*s).to_owned()).collect();
    let new: Vec<&String> = long.difference(&listed).collect();
    assert!(new.is_empty(), "too long: {new:#?}");
    let done: Vec<&String> = listed.difference(&long).collect();
    assert!(
        done.is_empty(),
        "short enough, take them off the list: {done:#?}"
    );
}

#[test]
fn no_module_is_longer_than_its_limit() {
    let long = code()
        .into_iter()
        .filter(|(_, code)| code.lines().count() > MODULE_LINES);
    check(long.map(|(name, _)| name).collect(), LONG_MODULES);
}

#[test]
fn no_function_is_longer_than_its_limit() {
    let mut n = 0;
    let mut long = BTreeSet::new();
    for (file, code) in code() {
        for (name, lines) in functions(&code) {
            n += 1;
            if lines > FUNCTION_LINES {
                long.insert(format!("{file}: {name}"));
            }
        }
    }
    assert!(n > 1000, "found only {n} functions");
    check(long, LONG_FUNCTIONS);
}
