//! What the program is built from, by `cargo metadata`: licences, sources, and
//! nothing that opens a connection. `.ci/deny.toml` is the list; cargo-deny reads
//! it too, with the advisories where there is a network.

use crate::outside::{root, tool};
use serde_json::Value;

/// The texts of a list in the file: `name = [` to `]`, comments left out.
fn list(file: &str, name: &str) -> Vec<String> {
    let (_, after) = file.split_once(&format!("\n{name} = [")).expect("the list");
    let (inside, _) = after.split_once("\n]").expect("its end");
    inside
        .lines()
        .map(str::trim)
        .filter(|l| !l.starts_with('#'))
        .filter_map(|l| l.split('"').nth(1).map(str::to_owned))
        .collect()
}

/// Whether one of the choices of a licence expression (SPDX, and the older `/`) is allowed.
fn is_allowed(expression: &str, allowed: &[String]) -> bool {
    expression.split(" AND ").all(|part| {
        part.trim_matches(['(', ')'])
            .replace('/', " OR ")
            .split(" OR ")
            .any(|one| allowed.iter().any(|a| a == one.trim()))
    })
}

#[test]
fn licences_are_read_as_they_are_written() {
    let allowed = ["MIT".to_owned(), "Unicode-3.0".to_owned()];
    assert!(is_allowed("MIT/Apache-2.0", &allowed));
    assert!(is_allowed("(MIT OR Apache-2.0) AND Unicode-3.0", &allowed));
    assert!(!is_allowed("MIT AND GPL-3.0", &allowed));
    assert!(!is_allowed("GPL-3.0 OR LGPL-2.1", &allowed));
}

#[test]
fn everything_built_in_is_licensed_known_and_without_a_network() {
    let output = tool("cargo")
        .args(["metadata", "--locked", "--offline", "--format-version", "1"])
        .args([
            "--filter-platform",
            "x86_64-unknown-linux-gnu",
            "--all-features",
        ])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let file = std::fs::read_to_string(root().join(".ci/deny.toml")).expect(".ci/deny.toml");
    let (allowed, denied) = (list(&file, "allow"), list(&file, "deny"));
    assert!(
        allowed.len() > 5 && denied.len() >= 3,
        "{allowed:?} {denied:?}"
    );
    let (mut n, mut wrong) = (0, Vec::new());
    for package in metadata["packages"].as_array().expect("packages") {
        let name = package["name"].as_str().expect("a name");
        let licence = package["license"].as_str().unwrap_or("none");
        let source = package["source"].as_str();
        n += 1;
        if !is_allowed(licence, &allowed) {
            wrong.push(format!("{name}: licence {licence}"));
        }
        if denied.iter().any(|d| d == name) {
            wrong.push(format!("{name} is banned"));
        }
        if source.is_some_and(|s| s != "registry+https://github.com/rust-lang/crates.io-index") {
            wrong.push(format!("{name}: from {source:?}"));
        }
    }
    assert!(n > 100, "only {n} packages");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
