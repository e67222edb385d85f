//! The desk's page in headless Chromium, on the real program and a real log.
//!
//! Outside judges: the browser's own sound, axe-core (WCAG 2.2 A and AA), the note
//! names and frequencies of music21 with A4 = 440 Hz (ISO 16), and `takebook show` as a second
//! program that reads what the page decided.

use crate::outside::{folder, root, takebook, tool};
use std::path::{Path, PathBuf};

/// A log of the demo take, drafted by the real program, with the take beside it.
fn demo_log(dir: &Path) -> PathBuf {
    let take = dir.join("lantern-porch.wav");
    std::fs::copy(root().join("fixtures/lantern-porch.wav"), &take).expect("copied");
    let log = dir.join("lantern.takebook");
    let output = takebook()
        .arg("draft")
        .args([&take, Path::new("-o"), &log])
        .output()
        .expect("takebook starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "drafting failed: {stderr}");
    log
}

/// Runs one scenario of `tests/outside/desk.mjs`.
#[track_caller]
fn scenario(name: &str) {
    let (_kept, dir) = folder();
    let log = demo_log(&dir);
    let output = tool("node")
        .arg(root().join("tests/outside/desk.mjs"))
        .args([name, env!("CARGO_BIN_EXE_takebook")])
        .arg(&log)
        .output()
        .expect("node starts");
    let (stdout, stderr) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    print!("{stdout}");
    assert!(output.status.success(), "{name}:\n{stdout}{stderr}");
}

#[test]
fn the_take_plays_seeks_loops_and_slows_at_pitch() {
    scenario("plays");
}

#[test]
fn what_is_decided_on_the_page_is_in_the_log_and_there_after_a_reload() {
    scenario("decides");
}

#[test]
fn chords_and_shapes_are_named_while_typed() {
    scenario("writes");
}

#[test]
fn every_format_is_delivered_as_the_command_writes_it() {
    scenario("delivers");
}

#[test]
fn two_pages_and_a_command_lose_nothing() {
    scenario("twoPages");
}

#[test]
fn a_program_killed_in_mid_edit_is_told_and_recovered_from() {
    scenario("recoversFromARestart");
}

#[test]
fn a_sound_or_log_that_vanishes_is_told_and_comes_back() {
    scenario("missesSoundAndLog");
}

#[test]
fn axe_finds_nothing_in_any_state() {
    scenario("isAccessible");
}

#[test]
fn all_of_it_works_by_keyboard() {
    scenario("worksByKeyboard");
}

#[test]
fn notes_have_their_names_and_frequencies() {
    scenario("agreesOnNotes");
}
