//! A check of a take as JSON, for files, programs and the desk alike.

use super::outcome::TakeCheck;
use crate::theory::Label;
use serde_json::{Value, json};

/// A check of a take, as `docs/checking.md` describes it.
pub fn check_json(check: &TakeCheck) -> Value {
    let runs = |list: &[(u32, u32)]| -> Vec<Value> {
        list.iter()
            .map(|(a, b)| json!({"first_bar": a, "last_bar": b}))
            .collect()
    };
    let bars: Vec<Value> = check
        .bars
        .iter()
        .map(|b| {
            let findings: Vec<Value> = b
                .findings
                .iter()
                .map(|f| {
                    json!({
                        "departure": f.departure.name(),
                        "beat": f.beat,
                        "written": f.written.label(),
                        "heard": f.heard.as_ref().map(Label::label),
                        "certainty": f.certainty,
                        "words": f.words,
                    })
                })
                .collect();
            json!({
                "bar": b.number,
                "start_s": b.start_s,
                "end_s": b.end_s,
                "as_written": b.findings.is_empty(),
                "findings": findings,
                "remarks": b.remarks,
            })
        })
        .collect();
    json!({
        "version": 1,
        "as_written": check.as_written(),
        "verdict": check.verdict().name(),
        "recognized": check.recognized,
        "semitones": check.semitones,
        "summary": check.summary,
        "tempo_ratio": check.tempo_ratio,
        "left_out": runs(&check.left_out),
        "played_again": runs(&check.again),
        "bars": bars,
    })
}
