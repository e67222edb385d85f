//! Labels in time: start, end and a chord label a line.

use super::ForeignError;
use super::assemble::{ImportedChord, ImportedScore};
use crate::grading::parse_lab;
use crate::theory::Label;

/// Reads the text.
pub(super) fn read(text: &str) -> Result<ImportedScore, ForeignError> {
    let timeline = parse_lab(text).map_err(|e| ForeignError::NotOfKind {
        expected: "a list of labels in time",
        reason: e.to_string(),
    })?;
    let chords = timeline
        .spans()
        .iter()
        .map(|span| {
            let label: Label = span.label.parse().map_err(|e| ForeignError::Wrong {
                place: format!("line {}", span.line),
                reason: format!("{e} (expected a chord such as C#:min7 or C♯m7, N for none)"),
            })?;
            Ok(ImportedChord::named(span.start_s, span.end_s, label, 1.0))
        })
        .collect::<Result<Vec<_>, ForeignError>>()?;
    Ok(ImportedScore {
        duration_s: timeline.end_s().unwrap_or(0.0),
        chords,
        ..ImportedScore::default()
    })
}
