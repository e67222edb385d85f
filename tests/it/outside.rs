//! Programs and libraries that check this project from outside.
//!
//! A missing tool fails the test and says how to install it; nothing is skipped.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The project's root.
pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs `tests/outside/SCRIPT` with the Python that `tests/setup` made.
///
/// # Panics
/// If that Python is missing, or the script fails; its stderr is the message.
#[track_caller]
pub(crate) fn python(script: &str, args: &[&str]) -> Output {
    let python = root().join(".venv/bin/python3");
    assert!(
        python.exists(),
        "no .venv/bin/python3 in the project: run tests/setup"
    );
    let output = Command::new(python)
        .arg(root().join("tests/outside").join(script))
        .args(args)
        .current_dir(root())
        .output()
        .expect("python starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "{script} failed{}:\n{stderr}",
        if stderr.contains("ModuleNotFoundError") {
            " for want of a package: run tests/setup"
        } else {
            ""
        }
    );
    output
}

/// Measures that lie under their floors, each in words; `scores` is one take's, by name.
pub(crate) fn under_floors(scores: &serde_json::Value, floors: &[(&str, f64)]) -> Vec<String> {
    let under = |(what, least): &(&str, f64)| {
        let reached = scores[*what].as_f64().expect("a measure");
        (reached < *least)
            .then(|| format!("{}: {what} {reached:.3}, at least {least}", scores["take"]))
    };
    floors.iter().filter_map(under).collect()
}

/// A program from the system's packages, ready to be given arguments.
///
/// # Panics
/// If it is not on the PATH.
#[track_caller]
pub(crate) fn tool(name: &str) -> Command {
    let found = std::env::var_os("PATH")
        .iter()
        .flat_map(std::env::split_paths)
        .any(|dir| dir.join(name).is_file());
    assert!(found, "'{name}' is not installed: run tests/setup");
    Command::new(name)
}

/// The takebook program of this build.
pub(crate) fn takebook() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_takebook"));
    command.current_dir(root());
    command
}

/// A folder of this test's own, gone when dropped.
#[track_caller]
pub(crate) fn folder() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().expect("a folder for the test");
    let path = dir.path().to_owned();
    (dir, path)
}
