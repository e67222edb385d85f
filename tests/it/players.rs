//! Hands that brush, play figures, push, and a voice beside them: the song's chord stays what a
//! lead sheet says. Rendered by FluidSynth with a sound font that no net was trained on, heard by
//! the real program, graded by mir_eval (Raffel et al., ISMIR 2014).

use crate::outside;
use serde_json::{Value, json};
use std::path::Path;
use takebook::songlog::store;

/// Least of each measure on each take; `few_changes` is true changes for each written.
const FLOORS: [(&str, f64); 4] = [
    ("majmin", 0.95),
    // one loud brush in eight chords is still taken for a bass that is meant
    ("majmin_inv", 0.85),
    ("seg", 0.94),
    ("few_changes", 0.9),
];

#[test]
#[expect(clippy::print_stdout, reason = "the table is wanted with --nocapture")]
fn the_songs_chord_is_heard_from_untidy_hands() {
    outside::tool("fluidsynth");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("players");
    std::fs::create_dir_all(&folder).expect("a folder for the takes");
    outside::python("render_players.py", &[&folder.to_string_lossy()]);
    for name in ["brushed", "boogie", "pushed", "sung"] {
        let (take, log) = (
            folder.join(format!("{name}.wav")),
            folder.join(format!("{name}.takebook")),
        );
        let _ = std::fs::remove_file(&log);
        let output = outside::takebook()
            .arg("draft")
            .arg(&take)
            .arg("-o")
            .arg(&log)
            .output()
            .expect("takebook runs");
        assert!(output.status.code() != Some(2), "{name}: {output:?}");
        let heard = store::load(&log).expect("a log").heard;
        let chords: Vec<Value> = heard
            .chords
            .iter()
            .map(|c| json!([c.start_s, c.end_s, c.candidates[0].label.label()]))
            .collect();
        let est = json!({ "chords": chords }).to_string();
        std::fs::write(folder.join(format!("{name}.est.json")), est).expect("written");
    }
    let graded = outside::python("grade_players.py", &[&folder.to_string_lossy()]);
    let mut wrong = Vec::new();
    for line in String::from_utf8_lossy(&graded.stdout).lines() {
        println!("{line}");
        let scores: Value = serde_json::from_str(line).expect("JSON");
        wrong.extend(outside::under_floors(&scores, &FLOORS));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
