//! `takebook imply` against facts of the trade.

use std::process::Command;

fn imply(args: &[&str]) -> serde_json::Value {
    let output = Command::new(env!("CARGO_BIN_EXE_takebook"))
        .arg("imply")
        .args(args)
        .arg("--json")
        .output()
        .expect("takebook starts");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Best reading's symbols, one a fragment.
fn chords(value: &serde_json::Value) -> Vec<String> {
    value["readings"][0]["chords"]
        .as_array()
        .expect("chords")
        .iter()
        .flat_map(|c| {
            let n = c["last"].as_u64().expect("last") - c["first"].as_u64().expect("first") + 1;
            let symbol = c["symbol"].as_str().expect("a symbol").to_owned();
            std::iter::repeat_n(symbol, n as usize)
        })
        .collect()
}

/// Common practice, no source: in A major these plucks imply D, E, F♯ minor
/// and a borrowed D minor, though each pair is also two notes of another chord.
#[test]
fn plucked_pairs_slid_along_the_neck() {
    let value = imply(&["--key", "A", "D7 B7", "D9 B9", "D11 B10", "D7 B6"]);
    assert_eq!(chords(&value), ["D", "E", "F♯m", "Dm"]);
    let first = &value["readings"][0]["chords"][0];
    assert_eq!(
        first["origin"],
        "fifth and major third of the A-shaped chord at fret 5"
    );
    let last = &value["readings"][0]["chords"][3];
    assert!(
        last["reason"]
            .as_str()
            .expect("a reason")
            .contains("borrowed"),
        "{last}"
    );
}

/// Common practice, no source: D and B string of an A-minor-shaped chord.
#[test]
fn the_form_on_the_neck_is_told() {
    let value = imply(&["--key", "G", "D9 B8", "D7 B7"]);
    assert_eq!(chords(&value)[0], "Em");
    assert_eq!(
        value["readings"][0]["chords"][0]["origin"],
        "fifth and minor third of the Am-shaped chord at fret 7"
    );
}

#[test]
fn bars_join_and_a_bass_decides() {
    let value = imply(&["--key", "G", "|", "G4 B0", "D0 B3"]);
    assert_eq!(chords(&value), ["G", "G"]);
    let value = imply(&["--key", "C", "C4 E4 / A", "--notes"]);
    assert_eq!(chords(&value), ["Am"]);
    assert!(value["keys"][0]["key"] == "C:maj");
}
