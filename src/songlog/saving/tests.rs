//! Every step of a save as the last one before a kill or a power cut, and
//! every step failing, on a simulated file system. Taken over from "How SQLite
//! Is Tested": the exchangeable file system, failures once and from then on,
//! a loop over every step until none is left, and a look at the files each time.

use super::simulated::{Simulated, Trouble};
use super::{Disk, Failure, N_KEPT, Places, save};
use std::io::ErrorKind;
use std::path::Path;

fn places() -> Places {
    Places {
        log: "songs/evening.takebook".into(),
        folder: "songs".into(),
        side: "songs/.takebook".into(),
    }
}

/// A text that tells its number and whether it is whole; lengths differ.
fn text(n: usize) -> String {
    format!("log {n}\n{}end {n}\n", "decision\n".repeat(3 + n % 7))
}

/// The number of a whole text.
fn number(bytes: &[u8]) -> Option<usize> {
    let found = String::from_utf8(bytes.to_vec()).ok()?;
    let n = found.lines().next()?.strip_prefix("log ")?.parse().ok()?;
    (text(n) == found).then_some(n)
}

fn log_number(disk: &Simulated) -> Option<usize> {
    let bytes = disk.read(&places().log).expect("readable");
    bytes.map(|b| number(&b).expect("the log is whole"))
}

/// Numbers of the kept versions, latest first; every one must be whole.
fn kept(disk: &Simulated) -> Vec<usize> {
    (1..=N_KEPT)
        .filter_map(|n| disk.read(&places().kept(n)).expect("readable"))
        .map(|b| number(&b).expect("a kept version is whole"))
        .collect()
}

fn n_unfinished(disk: &Simulated) -> usize {
    let names = disk.names(Path::new("songs/.takebook")).expect("readable");
    let open = |n: &std::ffi::OsString| n.to_string_lossy().contains("ing-");
    names.iter().filter(|n| open(n)).count()
}

/// A disk on which `n` texts were saved.
fn saved(n: usize) -> Simulated {
    let disk = Simulated::default();
    for i in 1..=n {
        save(&disk, &places(), &text(i)).expect("saved");
    }
    disk
}

/// What must hold of a disk when `sure` was saved and `next` was being saved.
#[track_caller]
fn holds(disk: &Simulated, sure: usize, next: usize, what: &str) {
    let now = log_number(disk);
    assert!(
        now == Some(sure) || now == Some(next) || (now.is_none() && sure == 0),
        "{what}: the log is {now:?}, {sure} was saved"
    );
    let old = kept(disk);
    // the log as it was, or its predecessors, without a hole in what is kept
    let latest = old.first().copied().unwrap_or(0);
    assert!(latest + 2 >= sure, "{what}: kept {old:?} of {sure}");
    let expected = latest.min(N_KEPT - 1);
    assert!(old.len() >= expected, "{what}: kept only {old:?}");
    assert!(
        old.windows(2).all(|w| w[0] > w[1]),
        "{what}: kept {old:?} in another order"
    );
}

/// Saving goes on from here, and tidies up.
#[track_caller]
fn goes_on(disk: &Simulated, next: usize, what: &str) {
    save(disk, &places(), &text(next)).unwrap_or_else(|e| panic!("{what}: {e:?}"));
    assert_eq!(log_number(disk), Some(next), "{what}");
    assert_eq!(n_unfinished(disk), 0, "{what}");
}

#[test]
fn five_versions_are_kept_in_order() {
    let disk = saved(9);
    assert_eq!(log_number(&disk), Some(9));
    assert_eq!(kept(&disk), [8, 7, 6, 5, 4]);
}

#[test]
fn a_kill_or_a_power_cut_at_any_step_loses_nothing_that_was_saved() {
    let mut n_states = 0;
    for before in [0, 1, 2, 5, 8] {
        for at in 0.. {
            let disk = saved(before);
            let next = before + 1;
            disk.plan(at, Trouble::Stop);
            let done = save(&disk, &places(), &text(next)).is_ok();
            let what = format!("{before} saved, stopped at step {at}");
            let sure = if done { next } else { before };
            let mut found = vec![disk.after_kill()];
            found.extend(disk.after_power_cut());
            for state in &found {
                holds(state, sure, next, &what);
                goes_on(state, next + 1, &what);
                n_states += 1;
            }
            if done {
                break;
            }
            assert!(at < 40, "a save has no end");
        }
    }
    assert!(n_states > 300, "only {n_states} states");
}

#[test]
fn a_second_stop_while_tidying_up_after_the_first_loses_nothing_either() {
    for first in 0..20 {
        for second in 0..20 {
            let disk = saved(6);
            disk.plan(first, Trouble::Stop);
            if save(&disk, &places(), &text(7)).is_ok() {
                return;
            }
            for state in disk.after_power_cut() {
                state.plan(second, Trouble::Stop);
                let done = save(&state, &places(), &text(8)).is_ok();
                let what = format!("stopped at step {first}, again at {second}");
                for last in state.after_power_cut() {
                    let now = log_number(&last);
                    let allowed: &[usize] = if done { &[8] } else { &[6, 7, 8] };
                    assert!(now.is_some_and(|n| allowed.contains(&n)), "{what}: {now:?}");
                    kept(&last);
                    goes_on(&last, 9, &what);
                }
            }
        }
    }
}

#[test]
fn any_step_may_fail_once_or_for_good() {
    use ErrorKind::{PermissionDenied, QuotaExceeded, ReadOnlyFilesystem, StorageFull};
    let kinds = [
        StorageFull,
        PermissionDenied,
        ReadOnlyFilesystem,
        QuotaExceeded,
    ];
    for kind in kinds {
        for trouble in [Trouble::FailOnce(kind), Trouble::FailOn(kind)] {
            for at in 0..40 {
                let disk = saved(6);
                let start = disk.n_steps();
                disk.plan(at, trouble);
                let result = save(&disk, &places(), &text(7));
                let what = format!("{trouble:?} at step {at}");
                match &result {
                    Ok(()) => assert_eq!(log_number(&disk), Some(7), "{what}"),
                    Err(Failure::Untouched(error)) => {
                        assert_eq!(error.kind(), kind, "{what}");
                        assert_eq!(log_number(&disk), Some(6), "{what}");
                    }
                    Err(Failure::Unsure(_)) => assert_eq!(log_number(&disk), Some(7), "{what}"),
                }
                disk.calm();
                holds(&disk, if result.is_ok() { 7 } else { 6 }, 7, &what);
                goes_on(&disk, 8, &what);
                let tried = disk.n_steps() - start;
                assert!(tried > 5, "{what}: only {tried} steps");
            }
        }
    }
}

#[test]
fn saving_again_and_again_on_a_full_disk_keeps_the_old_versions() {
    for at in 0..12 {
        let disk = saved(7);
        let before = kept(&disk);
        for _ in 0..10 {
            disk.plan(at, Trouble::FailOnce(ErrorKind::StorageFull));
            if save(&disk, &places(), &text(8)).is_ok() {
                break;
            }
            disk.calm();
        }
        let after = kept(&disk);
        let both = after.iter().filter(|n| before.contains(n)).count();
        assert!(both >= N_KEPT - 1, "step {at}: {before:?}, then {after:?}");
    }
}

#[test]
fn a_rename_that_fails_as_on_a_network_drive_leaves_the_log_and_says_so() {
    // a save with all versions kept renames six times
    for nth in 0..6 {
        let disk = saved(7);
        // create, write, sync, twice, come before the first rename
        disk.plan(
            6 + nth,
            Trouble::FailOnce(ErrorKind::StaleNetworkFileHandle),
        );
        let result = save(&disk, &places(), &text(8));
        let Err(Failure::Untouched(error)) = result else {
            panic!("rename {nth}: {result:?}");
        };
        assert_eq!(error.kind(), ErrorKind::StaleNetworkFileHandle);
        assert_eq!(log_number(&disk), Some(7));
        assert_eq!(n_unfinished(&disk), 0);
        goes_on(&disk, 9, "after the failed rename");
        assert_eq!(kept(&disk)[0], 7);
    }
}
