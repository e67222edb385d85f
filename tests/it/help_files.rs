//! Manual pages by mandoc (Debian package), completions by bash itself.

use crate::log_sample::{run, stderr, stdout};
use crate::outside::{folder, tool};
use std::path::Path;

fn made(dir: &Path) -> Vec<String> {
    let output = run(&["help-files", &dir.to_string_lossy()]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    stdout(&output)
        .lines()
        .map(|l| l.strip_prefix("wrote ").expect("a file").to_owned())
        .collect()
}

/// Options that a help text names.
fn options(help: &str) -> Vec<&str> {
    let mut all: Vec<&str> = help
        .split(|c: char| c.is_whitespace() || "[]|<>,=".contains(c))
        .filter(|w| w.starts_with("--") && w.len() > 2)
        .map(|w| w.trim_end_matches(|c: char| !c.is_alphanumeric()))
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}

#[test]
fn every_command_has_a_page_that_names_all_its_options() {
    let (_keep, dir) = folder();
    let files = made(&dir);
    let help = run(&["--help"]);
    let help = stdout(&help);
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() >= 12, "{help}");
    for command in commands {
        let page = dir.join(format!("man1/takebook-{command}.1"));
        assert!(files.contains(&page.display().to_string()), "{command}");
        let lint = tool("mandoc")
            .args(["-T", "lint", "-W", "error"])
            .arg(&page)
            .output()
            .expect("mandoc runs");
        assert!(lint.status.success(), "{command}: {}", stdout(&lint));
        let shown = tool("mandoc")
            .args(["-T", "ascii", "-O", "width=200"])
            .arg(&page)
            .output()
            .expect("mandoc runs");
        // mandoc prints bold by overstriking
        let mut text = String::new();
        for c in stdout(&shown).chars() {
            if c == '\u{8}' {
                text.pop();
            } else {
                text.push(c);
            }
        }
        let help = stdout(&run(&[command, "--help"]));
        for option in options(help.split("Example").next().unwrap_or(&help)) {
            assert!(text.contains(option), "{command}: no {option} in its page");
        }
    }
}

#[test]
fn bash_completes_commands_and_options() {
    let (_keep, dir) = folder();
    made(&dir);
    let script = dir.join("completions/takebook");
    let complete = |words: &str, n: usize| -> String {
        let text = format!(
            "source '{}'; COMP_WORDS=({words}); COMP_CWORD={n}; \
             _takebook takebook \"${{COMP_WORDS[{n}]}}\" \"${{COMP_WORDS[{n}-1]}}\"; echo \"${{COMPREPLY[@]}}\"",
            script.display()
        );
        let output = tool("bash")
            .args(["--norc", "-c", &text])
            .output()
            .expect("bash");
        assert!(output.status.success(), "{}", stderr(&output));
        stdout(&output).trim().to_owned()
    };
    assert_eq!(complete("takebook dr", 1), "draft");
    assert_eq!(complete("takebook draft --json-", 2), "--json-lines");
    assert!(complete("takebook chart --page ''", 3).contains("letter"));
}

#[test]
fn the_version_tells_the_features_built_in() {
    let long = stdout(&run(&["--version"]));
    assert!(
        long.starts_with(concat!("takebook ", env!("CARGO_PKG_VERSION"), "\n")),
        "{long}"
    );
    let word = if cfg!(feature = "mic") {
        "with"
    } else {
        "without"
    };
    assert!(
        long.contains(&format!("built {word}: microphone")),
        "{long}"
    );
    let version = takebook::songlog::VERSION;
    assert!(
        long.contains(&format!("logs: version {version}\n")),
        "{long}"
    );
    assert_eq!(stdout(&run(&["-V"])).lines().count(), 1);
}
