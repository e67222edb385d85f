//! The desk's page in headless Chromium, on the real program and a real log.
//!
//! Outside judges: the browser's own sound, axe-core (WCAG 2.2 A and AA), the note
//! names and frequencies of music21 with A4 = 440 Hz (ISO 16), and `takebook show` as a second
//! program that reads what the page decided.

use crate::outside::{folder, root, takebook, tool};
use std::path::{Path, PathBuf};
use std::process::Command;

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
    run(name, &log, &mut tool("node"), &[]);
}

#[track_caller]
fn run(name: &str, log: &Path, node: &mut Command, rest: &[&str]) {
    let output = node
        .arg(root().join("tests/outside/desk.mjs"))
        .args([name, env!("CARGO_BIN_EXE_takebook")])
        .arg(log)
        .args(rest)
        .output()
        .expect("node starts");
    let (stdout, stderr) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
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
fn a_new_key_stands_over_the_line_it_begins() {
    scenario("showsKeys");
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

#[cfg(feature = "mic")]
#[test]
fn the_microphone_is_heard_on_the_page_and_a_moment_kept() {
    use crate::microphone::{RATE_HZ, RealTime, configure};
    use std::time::Duration;
    use takebook::units::{SampleRate, Seconds};
    use takebook::voice::{Stroke, perform, strum};

    // C, G, A minor, D, four seconds each, again and again
    let chords: [&[(usize, u8)]; 4] = [
        &[(1, 48), (2, 52), (3, 55), (4, 60), (5, 64)],
        &[(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)],
        &[(1, 45), (2, 52), (3, 57), (4, 60), (5, 64)],
        &[(2, 50), (3, 57), (4, 62), (5, 66)],
    ];
    let strikes: Vec<_> = (0..60)
        .flat_map(|second| {
            let on_s = f64::from(second);
            let notes = chords[(second / 4 % 4) as usize];
            strum(notes, Stroke::Down, on_s, on_s + 1.0, 0.01, 0.8)
        })
        .collect();
    let mono = perform(&strikes, 0.5, Seconds(60.0), SampleRate(RATE_HZ as u32));
    let (_kept, dir) = folder();
    let log = demo_log(&dir);
    let sound = mono.iter().flat_map(|x| [*x, *x]).collect();
    let microphone = RealTime::new(&dir, sound, Duration::from_secs(30));
    let mut node = tool("node");
    node.env("ALSA_CONFIG_PATH", configure(&dir, &microphone.pipe));
    run("listens", &log, &mut node, &["C,G,Am,D"]);
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
