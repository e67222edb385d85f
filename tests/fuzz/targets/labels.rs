//! Any text as a timeline: imported, held against itself and against half of itself.
#![no_main]

mod imports;

use libfuzzer_sys::fuzz_target;
use takebook::foreign::Kind;
use takebook::grading::{grade_chords, parse_lab};

fuzz_target!(|text: &str| {
    imports::read_back(Kind::Lab, text.as_bytes());
    let Ok(timeline) = parse_lab(text) else {
        return;
    };
    if timeline.spans().len() > 200 {
        return;
    }
    if let Ok(grades) = grade_chords(&timeline, &timeline) {
        for (strictness, with_bass, recall) in &grades.recalls {
            let ratio = recall.ratio().unwrap_or(1.0);
            assert!(
                ratio > 0.999,
                "{strictness:?} {with_bass}: {ratio} against itself"
            );
        }
    }
    let half: String = text
        .lines()
        .take(text.lines().count() / 2)
        .flat_map(|l| [l, "\n"])
        .collect();
    if let Ok(half) = parse_lab(&half) {
        let _ = grade_chords(&half, &timeline);
    }
});
