//! Any request of the desk's page: its method and address in the first line, its body behind it.
//!
//! The log lies in memory and is put back after each decision, so that no input depends on the
//! ones before it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::path::PathBuf;
use std::sync::LazyLock;
use takebook::desk::{Answering, Desk};

/// The song that is decided on.
const LOG: &str = include_str!("../seeds/log/decided.json");

struct Table {
    /// Removed when the program ends.
    _folder: tempfile::TempDir,
    log: PathBuf,
    desk: Answering,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| {
    let memory = PathBuf::from("/dev/shm");
    let folder = match memory.is_dir() {
        true => tempfile::tempdir_in(memory),
        false => tempfile::tempdir(),
    };
    let folder = folder.expect("a folder in memory");
    let log = folder.path().join("fuzzed.takebook");
    std::fs::write(&log, LOG).expect("a log");
    let desk = Desk::open(log.clone(), Some(0), Box::new(|_| {})).expect("a desk");
    Table {
        _folder: folder,
        log,
        desk: desk.answering().expect("its page"),
    }
});

fuzz_target!(|data: &[u8]| {
    let end = data.iter().position(|b| *b == b'\n').unwrap_or(data.len());
    let body = data.get(end + 1..).unwrap_or_default();
    let Some((method, target)) = std::str::from_utf8(&data[..end])
        .ok()
        .and_then(|head| head.split_once(' '))
    else {
        return;
    };
    let Some(answer) = TABLE.desk.answer(method, target, body.to_vec()) else {
        return;
    };
    let said = String::from_utf8_lossy(&answer.body);
    assert!(answer.status != 500, "{method} {target}: {said}");
    // what is refused is refused in a sentence
    if answer.status >= 400 && target.starts_with("/api/") && method != "HEAD" {
        let error: serde_json::Value = serde_json::from_slice(&answer.body).expect("JSON");
        assert!(error["error"].as_str().is_some_and(|e| !e.is_empty()), "{said}");
    }
    if method == "POST" && answer.status == 200 {
        // a log that was decided on can be read again
        let log = std::fs::read_to_string(&TABLE.log).expect("the log");
        takebook::songlog::read(&TABLE.log, &log).unwrap_or_else(|e| panic!("{e}\n{log}"));
        std::fs::write(&TABLE.log, LOG).expect("a log");
    }
});
