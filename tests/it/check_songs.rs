//! `takebook check` knows the wrong song: pairs of songs that share key, tempo,
//! meter and way of playing, rendered at test time by FluidSynth with the sound
//! fonts FluidR3_GM and TimGM6mb (Debian packages).

use crate::check::{check, log_from};
use crate::outside;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Pairs of songs. Ten are measured by the example `check_pairs`; four are enough to see a
/// verdict break, in a fraction of the time.
const N_PAIRS: usize = 4;
/// Takes of a song against its own chart that may be judged otherwise, of 40.
const MOST_WRONG_OWN: usize = 1;

/// Takes in another key or of one part that may be named otherwise, of 40: a last
/// chord that rings on may count as one bar more.
const MOST_MISNAMED: usize = 3;

struct Pair {
    /// The two songs.
    songs: [Value; 2],
    /// The first song played otherwise.
    shifted: Vec<Value>,
    part: Vec<Value>,
}

/// The folder of the takes, rendered once.
fn takes() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        outside::tool("fluidsynth");
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("songs-{N_PAIRS}"));
        if !folder.join(format!("{}.json", N_PAIRS - 1)).exists() {
            let words = [folder.to_string_lossy().into_owned(), N_PAIRS.to_string()];
            outside::python(
                "render_other_songs.py",
                &words.each_ref().map(String::as_str),
            );
        }
        folder
    })
}

fn pairs() -> (&'static Path, Vec<Pair>) {
    let folder = takes();
    let read = |pair: usize| {
        let path = folder.join(format!("{pair}.json"));
        let text = std::fs::read_to_string(path).expect("truth");
        let mut truth: Value = serde_json::from_str(&text).expect("JSON");
        let mut list = |name: &str| -> Vec<Value> {
            serde_json::from_value(truth[name].take()).expect("a list")
        };
        let songs = list("songs").try_into().expect("two songs");
        let (shifted, part) = (list("shifted"), list("part"));
        Pair {
            songs,
            shifted,
            part,
        }
    };
    let all = (0..N_PAIRS).map(read).collect();
    (folder, all)
}

fn files(song: &Value) -> Vec<&str> {
    let list = song["files"].as_array().expect("files");
    list.iter().filter_map(Value::as_str).collect()
}

/// Each song's takes against its own chart, and against the other song's.
#[test]
#[expect(
    clippy::print_stdout,
    reason = "the figures are wanted with --nocapture"
)]
fn songs_of_the_same_key_tempo_and_meter_are_told_apart() {
    let (folder, pairs) = pairs();
    let (mut n_own, mut wrong_own, mut n_other) = (0, Vec::new(), 0);
    for pair in &pairs {
        for chart in 0..2 {
            let (_keep, logs) = outside::folder();
            let log = log_from(&pair.songs[chart], &logs);
            for file in files(&pair.songs[chart]) {
                let (code, seen) = check(&log, Some(&folder.join(file)));
                n_own += 1;
                assert_eq!(code == 0, seen["verdict"] == "as written", "{file}");
                if seen["verdict"] != "as written" {
                    wrong_own.push(format!("{file}: {}", seen["summary"]));
                }
            }
            for file in files(&pair.songs[1 - chart]) {
                let (code, seen) = check(&log, Some(&folder.join(file)));
                n_other += 1;
                assert_eq!(code, 1, "{file}");
                let verdict = (&seen["verdict"], &seen["recognized"]);
                let words = format!("{file} against the other song: {}", seen["summary"]);
                assert_eq!(verdict, (&json!("another song"), &json!(false)), "{words}");
            }
        }
    }
    println!(
        "own: {} of {n_own} as written; other: {n_other} of {n_other} told apart",
        n_own - wrong_own.len()
    );
    let most = MOST_WRONG_OWN * n_own / 40;
    assert!(wrong_own.len() <= most, "{}", wrong_own.join("\n"));
}

#[test]
#[expect(
    clippy::print_stdout,
    reason = "the figures are wanted with --nocapture"
)]
fn another_key_and_a_part_alone_are_named_as_such() {
    let (folder, pairs) = pairs();
    let (mut n, mut wrong) = (0, Vec::new());
    for pair in &pairs {
        let (_keep, logs) = outside::folder();
        let log = log_from(&pair.songs[0], &logs);
        let mut hold = |take: &Value, expected: Value| {
            let file = take["file"].as_str().expect("a file");
            let (_, seen) = check(&log, Some(&folder.join(file)));
            n += 1;
            let told = json!([seen["verdict"], seen["semitones"], seen["left_out"]]);
            if told != expected {
                wrong.push(format!("{file}: {told} {}", seen["summary"]));
            }
        };
        for take in &pair.shifted {
            hold(take, json!(["transposed", take["semitones"], []]));
        }
        for take in &pair.part {
            let before = json!({"first_bar": 1, "last_bar": 8});
            let after = json!({"first_bar": 13, "last_bar": 16});
            hold(take, json!(["part only", 0, [before, after]]));
        }
    }
    println!(
        "another key or a part alone: {} of {n} named as such",
        n - wrong.len()
    );
    let most = MOST_MISNAMED * n / 40;
    assert!(wrong.len() <= most, "{}", wrong.join("\n"));
}
