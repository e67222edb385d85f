//! Nothing decided is ever lost: writers killed at hundreds of random points,
//! a full disk, a folder without permission, two writers, a jumping clock.
//!
//! In the manner of "How SQLite Is Tested" (sqlite.org): a child process does
//! the work and dies, the parent then looks at the files; failures of the disk
//! are tried on the real one where the system lets us make one. What that
//! document does with an exchangeable file system (power cuts, every step
//! failing) is done in `src/songlog/saving/tests.rs`.

use crate::log_sample::{file, run, stderr};
use crate::outside::{folder, takebook, tool};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use takebook::songlog::decided::Act;
use takebook::songlog::{Log, store};

/// Where the child finds its log.
const LOG: &str = "TAKEBOOK_TEST_CRASH_LOG";
/// How often a writer is killed; set TAKEBOOK_TEST_KILLS to try more.
const N_KILLS: usize = 300;

/// Random numbers that are the same on every run: xorshift64* (Marsaglia 2003,
/// Vigna 2016; from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % n
    }
}

/// Not a check: the child of the tests below, which start it with a log. It
/// decides without end and tells each decision once it is saved.
#[test]
#[ignore = "the child process of the crash tests"]
fn child_that_decides_until_it_is_killed() {
    let Some(path) = std::env::var_os(LOG).map(PathBuf::from) else {
        return;
    };
    let mut out = std::io::stdout();
    loop {
        let locked = store::lock(&path).unwrap_or_else(|e| panic!("{e}"));
        let mut log = locked.load().unwrap_or_else(|e| panic!("{e}"));
        let id = log.next_id();
        log.decide(store::now(), vec![note(&format!("from the child: {id}"))]);
        locked.save(&log).unwrap_or_else(|e| panic!("{e}"));
        writeln!(out, "saved {id}")
            .and_then(|()| out.flush())
            .expect("the parent listens");
    }
}

fn note(text: &str) -> Act {
    Act::Note {
        start_s: None,
        end_s: None,
        text: text.into(),
    }
}

fn child(log: &Path) -> Child {
    Command::new(std::env::current_exe().expect("a test program"))
        .args([
            "crash::child_that_decides_until_it_is_killed",
            "--exact",
            "--ignored",
            "--nocapture",
        ])
        .env(LOG, log)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the child starts")
}

/// Ids told as saved in a child's output.
fn told(text: &str) -> Vec<u32> {
    text.lines()
        .filter_map(|l| l.rsplit_once("saved ")?.1.parse().ok())
        .collect()
}

/// The log, and every kept version, must be whole; gives the log.
#[track_caller]
fn all_whole(path: &Path) -> Log {
    for n in 1..=5 {
        let name = format!("evening.takebook~{n}");
        let old = path.with_file_name(".takebook").join(name);
        if old.exists() {
            store::load(&old).unwrap_or_else(|e| panic!("a kept version: {e}"));
        }
    }
    store::load(path).unwrap_or_else(|e| panic!("{e}"))
}

/// Files that a killed writer left unfinished.
fn n_unfinished(path: &Path) -> usize {
    let side = path.with_file_name(".takebook");
    let names = std::fs::read_dir(side).expect("readable");
    names
        .filter(|e| {
            let name = e.as_ref().expect("an entry").file_name();
            name.to_string_lossy().contains("ing-")
        })
        .count()
}

#[test]
#[expect(clippy::print_stdout, reason = "the count is wanted with --nocapture")]
fn every_decision_told_as_saved_is_there_after_a_kill_at_any_moment() {
    let n_kills = std::env::var("TAKEBOOK_TEST_KILLS")
        .map_or(N_KILLS, |n| n.parse().expect("a number of kills"));
    let (_keep, dir) = folder();
    let path = file(&dir);
    let mut dice = Dice(20_261_125);
    let (mut n_told, mut n_within) = (0, 0);
    let mut sure: Vec<u32> = Vec::new();
    for round in 0..n_kills {
        let mut child = child(&path);
        let mut out = BufReader::new(child.stdout.take().expect("a pipe"));
        let (mut text, wanted) = (String::new(), dice.below(8) as usize);
        let wait = Duration::from_micros(dice.below(3_000));
        while told(&text).len() < wanted {
            let n = out.read_line(&mut text).expect("the child tells");
            assert!(n > 0, "round {round}: the child ended by itself: {text}");
        }
        std::thread::sleep(wait);
        child.kill().expect("it is killed"); // SIGKILL: it cannot tidy up
        child.wait().expect("it is gone");
        out.read_to_string(&mut text).expect("what it still told");
        let now = told(&text);
        n_told += now.len();
        sure.extend(now);
        n_within += usize::from(n_unfinished(&path) > 0);
        let log = all_whole(&path);
        let found: Vec<u32> = log.decided.iter().map(|d| d.id).collect();
        let lost: Vec<&u32> = sure.iter().filter(|id| !found.contains(id)).collect();
        assert!(lost.is_empty(), "round {round}: lost {lost:?}");
        // a decision may be saved and its telling be cut off, no more
        assert!(found.len() <= sure.len() + round + 1, "round {round}");
        assert!(found.is_sorted() && found.len() == log.next_id() as usize - 1);
    }
    println!("{n_kills} kills, {n_told} decisions told, {n_within} kills within a save");
    // the test is worth nothing if no kill hits a save
    assert!(n_told > n_kills && n_within > n_kills / 20);
    // the next save tidies up
    let output = run(&["confirm", &path.to_string_lossy(), "--note", "after all"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(n_unfinished(&path), 0);
}

#[test]
fn a_command_killed_at_any_moment_has_decided_wholly_or_not_at_all() {
    let (_keep, dir) = folder();
    let path = file(&dir);
    let mut dice = Dice(77);
    let (mut n_done, mut n_killed) = (0, 0);
    for _ in 0..80 {
        let before = all_whole(&path).decided.len();
        let mut child = takebook()
            .arg("confirm")
            .arg(&path)
            .args(["--note", "from the command"])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        std::thread::sleep(Duration::from_micros(500 + dice.below(12_000)));
        child.kill().expect("killed, or ended already");
        let status = child.wait().expect("it is gone");
        let after = all_whole(&path).decided.len();
        match status.code() {
            Some(0) => assert_eq!(after, before + 1),
            Some(code) => panic!("exit code {code}"),
            None => assert!(after == before || after == before + 1),
        }
        n_done += usize::from(status.success());
        n_killed += usize::from(!status.success());
    }
    assert!(n_killed > 5, "{n_killed} killed, {n_done} done");
}

#[test]
fn two_writers_at_once_lose_nothing_and_a_dead_one_holds_no_lock() {
    let (_keep, dir) = folder();
    let path = file(&dir);
    let mut children = [child(&path), child(&path)];
    let mut n_commands = 0;
    for i in 0..10 {
        let output = run(&[
            "confirm",
            &path.to_string_lossy(),
            "--note",
            &format!("command {i}"),
        ]);
        // waiting for a lock is not first come, first served
        match output.status.code() {
            Some(0) => n_commands += 1,
            _ => assert!(
                stderr(&output).contains("is being written by another takebook"),
                "{}",
                stderr(&output)
            ),
        }
    }
    let mut all = Vec::new();
    for child in &mut children {
        child.kill().expect("killed");
        child.wait().expect("gone");
        let mut text = String::new();
        let mut out = child.stdout.take().expect("a pipe");
        out.read_to_string(&mut text).expect("told");
        all.extend(told(&text));
    }
    assert!(all.len() > 10, "the children decided {} times", all.len());
    let n = all.len();
    all.sort_unstable();
    all.dedup();
    assert_eq!(all.len(), n, "two writers had the same number");
    let log = all_whole(&path);
    assert!(all.iter().all(|id| log.decided.iter().any(|d| d.id == *id)));
    let of_commands = log.decided.iter().filter(|d| {
        let mut acts = d.acts.iter();
        acts.any(|a| matches!(a, Act::Note { text, .. } if text.starts_with("command")))
    });
    assert_eq!(of_commands.count(), n_commands);
    // the killed writers' lock is free at once
    drop(store::lock(&path).unwrap_or_else(|e| panic!("{e}")));
}

/// Runs a shell script with `$1` the program, `$2` a log, `$3` an empty folder.
fn shell(script: &str, log: &Path, empty: &Path) -> (i32, String) {
    let output = Command::new("sh")
        .args(["-c", script, "sh"])
        .arg(env!("CARGO_BIN_EXE_takebook"))
        .arg(log)
        .arg(empty)
        .output()
        .expect("a shell");
    let text = String::from_utf8_lossy(&output.stdout).into_owned() + &stderr(&output);
    (output.status.code().unwrap_or(-1), text)
}

/// Decides with long notes until it fails; ends with `saved N, exit code C`.
const UNTIL_FULL: &str = "
    words=$(printf 'a long note %0900d' 7)
    n=0
    while \"$1\" confirm \"$log\" --note \"$words\" >/dev/null; do
        n=$((n + 1)); [ $n -lt 2000 ] || exit 9
    done
    \"$1\" confirm \"$log\" --note again >/dev/null; code=$?
    echo \"saved $n, exit code $code\"";

/// Whether this system lets us mount a small disk of our own.
fn may_mount() -> bool {
    tool("unshare")
        .args(["-m", "mount", "-t", "tmpfs", "tmpfs", "/mnt"])
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|s| s.success())
}

/// Checks what [`UNTIL_FULL`] left and said.
#[track_caller]
fn nothing_lost(path: &Path, text: &str, reason: &str) {
    let (_, end) = text
        .rsplit_once("saved ")
        .unwrap_or_else(|| panic!("{text}"));
    let n: usize = end
        .split(',')
        .next()
        .and_then(|n| n.parse().ok())
        .unwrap_or_else(|| panic!("{text}"));
    assert!(n > 3, "{text}");
    assert!(end.contains("exit code 2"), "{text}");
    assert!(text.contains(reason), "{text}");
    assert!(
        text.contains("what was there before is untouched"),
        "{text}"
    );
    assert_eq!(all_whole(path).decided.len(), n, "{text}");
    assert_eq!(n_unfinished(path), 0, "{text}");
}

#[test]
#[expect(clippy::print_stdout, reason = "says which way the disk was filled")]
fn a_full_disk_loses_nothing_and_says_so() {
    let (_keep, dir) = folder();
    let path = file(&dir);
    let copy = dir.join("copy");
    if may_mount() {
        println!("full disk: a tmpfs of 300 KiB");
        let script = format!(
            "mkdir \"$3\" && mkdir \"$3.disk\" &&
            exec unshare -m sh -c '
                mount -t tmpfs -o size=300k tmpfs \"$3.disk\" && cp \"$2\" \"$3.disk/\" || exit 8
                log=\"$3.disk/evening.takebook\"
                {}
                cp -r \"$3.disk/.\" \"$3\"
            ' sh \"$1\" \"$2\" \"$3\"",
            UNTIL_FULL.replace('\'', "'\\''")
        );
        let (code, text) = shell(&script, &path, &copy);
        assert_eq!(code, 0, "{text}");
        nothing_lost(
            &copy.join("evening.takebook"),
            &text,
            "No space left on device",
        );
    } else {
        println!("full disk: no disk can be mounted here; a limit on the size of files instead");
        size_limit(&path);
    }
}

/// Lets no file grow over 32 KiB (POSIX `ulimit -f`, in blocks of 512 bytes).
fn size_limit(path: &Path) {
    let script = format!("trap '' XFSZ; ulimit -f 64; log=$2; {UNTIL_FULL}");
    let (code, text) = shell(&script, path, path);
    assert_eq!(code, 0, "{text}");
    nothing_lost(path, &text, "File too large");
}

#[test]
fn a_limit_on_the_size_of_files_loses_nothing_and_says_so() {
    let (_keep, dir) = folder();
    size_limit(&file(&dir));
}

#[test]
fn a_log_in_a_folder_without_permission_is_left_alone() {
    use std::os::unix::fs::PermissionsExt;
    let (_keep, dir) = folder();
    let path = file(&dir);
    let before = std::fs::read(&path).expect("readable");
    let set =
        |mode| std::fs::set_permissions(&dir, std::fs::Permissions::from_mode(mode)).expect("ours");
    // root may write anywhere: it becomes somebody else first, with its own copy of the program
    let is_root = Command::new("id").arg("-u").output().expect("id").stdout == b"0\n";
    let program = dir.join("takebook");
    std::fs::copy(env!("CARGO_BIN_EXE_takebook"), &program).expect("copied");
    set(0o555);
    let mut command = if is_root {
        let mut command = tool("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
        command.arg(&program);
        command
    } else {
        Command::new(&program)
    };
    let output = command
        .arg("confirm")
        .arg(&path)
        .args(["--note", "no"])
        .output()
        .expect("it runs");
    set(0o755);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("Permission denied"), "{said}");
    assert!(
        said.contains("what was there before is untouched"),
        "{said}"
    );
    assert_eq!(std::fs::read(&path).expect("readable"), before);
    assert!(!dir.join(".takebook").exists());
}

#[test]
fn a_log_that_only_its_owner_may_read_stays_so() {
    use std::os::unix::fs::PermissionsExt;
    let (_keep, dir) = folder();
    let path = file(&dir);
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).expect("ours");
    for _ in 0..2 {
        let output = run(&["confirm", &path.to_string_lossy(), "--note", "private"]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    }
    for path in [path.clone(), dir.join(".takebook/evening.takebook~1")] {
        let mode = std::fs::metadata(&path)
            .expect("there")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600, "{}", path.display());
    }
}

/// With libfaketime (Debian package faketime), far ahead and then far back.
#[test]
fn a_clock_that_jumps_changes_no_order_and_undoes_the_latest() {
    let (_keep, dir) = folder();
    let path = file(&dir);
    let at = |moment: &str, words: &[&str]| {
        let output = tool("faketime")
            .arg(moment)
            .arg(env!("CARGO_BIN_EXE_takebook"))
            .args(words)
            .output()
            .expect("it runs");
        assert_eq!(
            output.status.code(),
            Some(0),
            "{moment}: {}",
            stderr(&output)
        );
    };
    let log = path.to_string_lossy();
    at(
        "2049-01-01 00:00:00",
        &["confirm", &log, "--title", "First"],
    );
    at(
        "1971-01-01 00:00:00",
        &["confirm", &log, "--title", "Second"],
    );
    at(
        "2035-01-01 00:00:00",
        &["confirm", &log, "--title", "Third"],
    );
    at("1972-01-01 00:00:00", &["undo", &log]);
    let log = all_whole(&path);
    assert_eq!(takebook::songlog::resolve(&log).title, "Second");
    let years: Vec<&str> = log.decided.iter().map(|d| &d.at[..4]).collect();
    assert_eq!(years, ["2049", "1971", "2035", "1972"]);
}
