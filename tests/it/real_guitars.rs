//! Hearing on guitars that somebody built and a microphone caught.
//!
//! - PyPI's guitarsounds (MIT) ships each open string of two guitars (one of
//!   wood, one of carbon), named by its pitch: `tests/outside/real_takes.py`
//!   strums and picks fourteen bars of open chords with them.
//! - Debian's sonic-pi-samples (CC0) ships a recorded chord that its file name
//!   says is E minor 9.
//!
//! Nothing of hearing was trained or fitted on them.

use crate::outside;
use crate::rendered::hear;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use takebook::grading::{NoteEvent, ONSET_WINDOW_S, Strictness, grade_chords, note_f, parse_lab};

/// Set a little under what was measured when the floor was last raised.
struct Floor {
    take: &'static str,
    sevenths: f64,
    with_bass: f64,
    note_f: f64,
    note_recall: f64,
}

// Measured (sevenths, majmin with bass, notes F, notes found):
// Wood-strummed    0.993 0.993 0.994 1.000
// Carbon-strummed  0.980 0.980 0.994 0.994
// Wood-picked      0.995 0.995 0.982 1.000
// Carbon-picked    0.985 0.985 0.991 1.000
const FLOORS: [Floor; 4] = [
    Floor {
        take: "Wood-strummed",
        sevenths: 0.97,
        with_bass: 0.97,
        note_f: 0.98,
        note_recall: 0.98,
    },
    Floor {
        take: "Carbon-strummed",
        sevenths: 0.97,
        with_bass: 0.97,
        note_f: 0.98,
        note_recall: 0.98,
    },
    Floor {
        take: "Wood-picked",
        sevenths: 0.97,
        with_bass: 0.97,
        note_f: 0.965,
        note_recall: 0.98,
    },
    Floor {
        take: "Carbon-picked",
        sevenths: 0.97,
        with_bass: 0.97,
        note_f: 0.965,
        note_recall: 0.98,
    },
];

fn takes() -> &'static PathBuf {
    static TAKES: OnceLock<PathBuf> = OnceLock::new();
    TAKES.get_or_init(|| {
        let sdist = outside::root().join(".venv/sdists/guitarsounds-1.2.0.tar.gz");
        assert!(sdist.is_file(), "no {}: run tests/setup", sdist.display());
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("real-guitars");
        let arguments = [&sdist, &folder].map(|p| p.to_string_lossy().into_owned());
        let arguments = [arguments[0].as_str(), arguments[1].as_str()];
        outside::python("real_takes.py", &arguments);
        folder
    })
}

fn notes_of(take: &Path) -> Vec<NoteEvent> {
    let text = std::fs::read_to_string(take.with_extension("json")).expect("the take's notes");
    let told: Value = serde_json::from_str(&text).expect("JSON");
    let number = |v: &Value| v.as_f64().expect("a number");
    let notes = told["notes"].as_array().expect("notes").iter();
    let event = |n: &Value| NoteEvent {
        start_s: number(&n[0]),
        end_s: number(&n[1]),
        midi: number(&n[2]),
    };
    notes.map(event).collect()
}

#[test]
#[expect(
    clippy::print_stdout,
    reason = "the figures are wanted with --nocapture"
)]
fn chords_of_real_strings() {
    let mut below = Vec::new();
    for floor in &FLOORS {
        let take = takes().join(floor.take);
        let heard = hear(&take);
        let lab = std::fs::read_to_string(take.with_extension("lab")).expect("the truth");
        let grades = grade_chords(&heard.chords, &parse_lab(&lab).expect("a timeline"));
        let grades = grades.expect("grades");
        let ratio = |strictness, with_bass| {
            let recall = grades.recall(strictness, with_bass).expect("measured");
            recall.ratio().expect("something was compared")
        };
        let notes = note_f(&heard.notes, &notes_of(&take), ONSET_WINDOW_S).expect("notes");
        let figures = [
            (
                "sevenths",
                ratio(Strictness::Sevenths, false),
                floor.sevenths,
            ),
            (
                "with bass",
                ratio(Strictness::MajMin, true),
                floor.with_bass,
            ),
            ("notes", notes.f, floor.note_f),
            ("notes found", notes.recall, floor.note_recall),
        ];
        for (what, reached, least) in figures {
            println!(
                "{:<16}{what:<12}{reached:.3} (at least {least:.2})",
                floor.take
            );
            if reached < least {
                below.push(format!(
                    "{}: {what} {reached:.3}, at least {least:.2}",
                    floor.take
                ));
            }
        }
    }
    assert!(below.is_empty(), "{}", below.join("\n"));
}

#[test]
fn each_open_string_is_its_note() {
    for guitar in ["Wood", "Carbon"] {
        let take = takes().join(format!("{guitar}-open"));
        let heard = hear(&take);
        let found = note_f(&heard.notes, &notes_of(&take), ONSET_WINDOW_S).expect("notes");
        assert!(found.recall > 0.99, "{guitar}: {found:?}");
        assert!(found.precision >= 0.9, "{guitar}: {found:?}");
    }
}

#[test]
fn a_recorded_e_minor_ninth_is_named_so() {
    let sample = Path::new("/usr/share/sonic-pi/samples/guit_em9.flac");
    assert!(
        sample.is_file(),
        "Debian's sonic-pi-samples is not installed: run tests/setup"
    );
    let (_keep, folder) = outside::folder();
    let log = folder.join("chord.takebook");
    let output = outside::takebook()
        .arg("draft")
        .arg(sample)
        .arg("-o")
        .arg(&log)
        .output()
        .expect("takebook runs");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let log = takebook::songlog::store::load(&log).expect("a log");
    // the longest of the first seconds; it fades for ten
    let chord = log
        .heard
        .chords
        .iter()
        .filter(|c| c.start_s < 2.0)
        .max_by(|a, b| (a.end_s - a.start_s).total_cmp(&(b.end_s - b.start_s)))
        .expect("a chord");
    let names: Vec<String> = chord
        .candidates
        .iter()
        .take(3)
        .map(|c| c.label.label())
        .collect();
    assert!(
        names.iter().any(|n| n.starts_with("E:min9")),
        "heard {names:?}"
    );
}
