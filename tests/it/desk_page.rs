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
fn a_recording_is_checked_on_the_page_as_the_command_checks_it() {
    scenario("checksRecordings");
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

/// A minute of C, G, A minor, D, as a microphone delivers it.
#[cfg(feature = "mic")]
fn four_chords() -> Vec<f32> {
    use crate::microphone::RATE_HZ;
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
    mono.iter().flat_map(|x| [*x, *x]).collect()
}

#[cfg(feature = "mic")]
#[test]
fn a_take_is_recorded_named_and_analysed_on_the_page_of_a_folder() {
    use crate::microphone::{RealTime, configure};
    use std::time::Duration;

    let (_kept, outer) = folder();
    let songs = outer.join("songs");
    std::fs::create_dir(&songs).expect("a folder");
    let microphone = RealTime::new(&outer, four_chords(), Duration::from_secs(30));
    let mut node = tool("node");
    node.env("ALSA_CONFIG_PATH", configure(&outer, &microphone.pipe));
    run("recordsATake", &songs, &mut node, &[]);
}

#[test]
fn a_week_is_worked_through_by_keyboard_and_by_touch() {
    for how in ["keyboard", "touch"] {
        let (_kept, dir) = folder();
        run("worksThroughAWeek", &dir, &mut tool("node"), &[how]);
    }
}

#[cfg(feature = "mic")]
#[test]
fn the_microphone_is_heard_on_the_page_and_a_moment_kept() {
    use crate::microphone::{RealTime, configure};
    use std::time::Duration;

    let (_kept, dir) = folder();
    let log = demo_log(&dir);
    let microphone = RealTime::new(&dir, four_chords(), Duration::from_secs(30));
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

#[test]
fn enter_at_any_pace_confirms_the_next_chord_and_skips_none() {
    let (_kept, dir) = folder();
    let log = demo_log(&dir);
    lengthen(&log, 17);
    run("neverSkips", &log, &mut tool("node"), &[]);
}

/// The demo song over and over: some ten minutes.
fn lengthen(log: &Path, times: u32) {
    use takebook::songlog::store;
    let mut song = store::load(log).expect("a log");
    let (once, length_s) = (song.heard.clone(), song.heard.duration_s);
    let n_bars = once.bars.len() as u32;
    for turn in 1..times {
        let by = f64::from(turn) * length_s;
        let mut more = once.clone();
        for bar in &mut more.bars {
            (bar.start_s, bar.end_s) = (bar.start_s + by, bar.end_s + by);
            bar.number += turn * n_bars;
        }
        for chord in &mut more.chords {
            (chord.start_s, chord.end_s) = (chord.start_s + by, chord.end_s + by);
        }
        for beat in &mut more.beats {
            beat.time_s += by;
        }
        for section in &mut more.sections {
            section.first_bar += turn * n_bars;
            section.last_bar += turn * n_bars;
        }
        let heard = &mut song.heard;
        if let (Some(last), Some(first)) = (heard.bars.last_mut(), more.bars.first()) {
            last.end_s = first.start_s;
        }
        heard.bars.extend(more.bars);
        heard.chords.extend(more.chords);
        heard.beats.extend(more.beats);
        heard.sections.extend(more.sections);
    }
    song.heard.duration_s = f64::from(times) * length_s;
    std::fs::write(log, takebook::songlog::write(&song)).expect("written");
}

#[test]
fn the_playhead_stays_where_it_is_put_and_loops_are_dragged() {
    scenario("playsFromHere");
}

#[test]
fn the_take_is_analysed_again_from_the_page_and_no_decision_is_lost() {
    scenario("analysesAgain");
}

#[test]
fn what_got_no_answer_is_saved_once() {
    scenario("savesOnce");
}

#[test]
fn many_chords_are_confirmed_at_once_and_the_button_is_in_view_at_every_size() {
    scenario("confirmsMany");
}

#[test]
fn songs_of_a_folder_are_found_opened_confirmed_and_bound() {
    let (_kept, dir) = folder();
    demo_log(&dir);
    run("worksThroughAFolder", &dir, &mut tool("node"), &[]);
}

#[test]
fn files_are_added_to_a_folder_analysed_cancelled_and_tried_again() {
    let (_kept, dir) = folder();
    run("addsFiles", &dir, &mut tool("node"), &[]);
}

#[test]
fn lessons_are_noted_in_private_and_the_week_is_made_from_the_list() {
    let (_kept, dir) = folder();
    demo_log(&dir);
    run("keepsLessons", &dir, &mut tool("node"), &[]);
}
