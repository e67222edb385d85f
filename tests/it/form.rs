//! Beats, bars and form of long takes against outside truth: Standard MIDI
//! Files with a tempo map, rendered by FluidSynth, heard by the real program,
//! graded by mir_eval; librosa's beat tracker is the peer.

use crate::outside;
use serde_json::{Value, json};
use std::path::Path;
use takebook::songlog::{Log, form, resolve, store};

/// What each take must reach: beats, downbeats, boundaries at 0.5 s and 3 s, letters.
/// Set under what was measured when the floors were last raised.
const FLOORS: [(&str, f64); 5] = [
    ("beats", 0.96),
    ("downbeats", 0.93),
    ("sections_0.5", 0.80),
    ("sections_3", 0.88),
    ("letters", 0.88),
];

fn hear(wav: &Path) -> (Log, String) {
    let (_keep, folder) = outside::folder();
    let path = folder.join("take.takebook");
    let run = |words: &[&str]| {
        let output = outside::takebook().args(words).output();
        let output = output.expect("takebook runs");
        assert!(output.status.code() != Some(2), "{output:?}");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let log = path.to_string_lossy();
    run(&["draft", &wav.to_string_lossy(), "-o", &log]);
    let shown = run(&["show", &log]);
    (store::load(&path).expect("a log"), shown)
}

fn estimate(log: &Log) -> Value {
    let song = resolve(log);
    let beats = &log.heard.beats;
    let sections: Vec<Value> = song
        .sections
        .iter()
        .map(|s| {
            let bars = form::whole_bars(&song, s);
            let (first, last) = (bars[0], bars[bars.len() - 1]);
            json!([first.start_s, last.end_s, s.letter])
        })
        .collect();
    json!({
        "beats_s": beats.iter().map(|b| b.time_s).collect::<Vec<_>>(),
        "downbeats_s": beats.iter().filter(|b| b.place == 1).map(|b| b.time_s).collect::<Vec<_>>(),
        "tempo_bpm": song.tempo_bpm,
        "sections": sections,
    })
}

/// Whether the changed ending of a section is named with its bars.
fn names_ending(log: &Log, section: usize, first: u64, last: u64) -> bool {
    let song = resolve(log);
    song.sections.get(section).is_some_and(|s| {
        let bars = if first == last {
            format!("bar {first} is")
        } else {
            format!("bars {first} to {last} are")
        };
        s.differs.contains(&bars)
    })
}

#[test]
#[expect(clippy::print_stdout, reason = "the table is wanted with --nocapture")]
fn long_takes_are_counted_and_divided_as_their_midi_files_say() {
    outside::tool("fluidsynth");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("forms");
    std::fs::create_dir_all(&folder).expect("a folder for the takes");
    outside::python("render_forms.py", &[&folder.to_string_lossy()]);
    let mut wrong = Vec::new();
    for name in ["orchard-gate", "mill-waltz", "tide-lamp"] {
        let (log, shown) = hear(&folder.join(format!("{name}.wav")));
        let text = estimate(&log).to_string();
        std::fs::write(folder.join(format!("{name}.est.json")), text).expect("written");
        let truth = std::fs::read_to_string(folder.join(format!("{name}.json")));
        let truth: Value = serde_json::from_str(&truth.expect("a truth")).expect("JSON");
        for ending in truth["endings"].as_array().expect("endings") {
            let number = |i: usize| ending[i].as_u64().expect("a number");
            if !names_ending(&log, number(0) as usize, number(1), number(2)) {
                wrong.push(format!("{name}: ending {ending} is not named in\n{shown}"));
            }
        }
    }
    let graded = outside::python("grade_forms.py", &[&folder.to_string_lossy()]);
    for line in String::from_utf8_lossy(&graded.stdout).lines() {
        println!("{line}");
        let scores: Value = serde_json::from_str(line).expect("JSON");
        if scores["by"] != "takebook" {
            continue;
        }
        for (what, least) in FLOORS {
            let reached = scores[what].as_f64().expect("a measure");
            if reached < least {
                wrong.push(format!(
                    "{}: {what} {reached:.3}, at least {least}",
                    scores["take"]
                ));
            }
        }
        let tempo = scores["tempo"].as_f64().expect("a measure");
        if (tempo - 1.0).abs() > 0.04 {
            wrong.push(format!(
                "{}: tempo {tempo:.2} of the true one",
                scores["take"]
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
