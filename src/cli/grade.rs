//! `takebook grade`: how well one labelled timeline matches another.

use super::{CliError, Outcome};
use crate::grading::{
    ChordGrades, GradingError, STRICTNESSES, Strictness, Timeline, grade_chords, parse_lab,
};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Larger files are no labelled timelines.
const MAX_BYTES: u64 = 16 * 1024 * 1024;

/// Grades chords against a reference, by the field's measures.
///
/// Both are labelled timelines: text with a start, an end (s) and a chord
/// label a line. Recall is the part of the compared time in which the chord is
/// right; what a strictness does not compare is left out of it. `with bass`
/// asks for the right bass note too.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  takebook grade mine.lab fixtures/truth/lantern-porch.lab")]
pub(crate) struct Grade {
    /// The timeline to be graded (.lab).
    estimate: PathBuf,
    /// The timeline that is taken as true (.lab).
    reference: PathBuf,
    /// Prints one JSON object instead (docs/grading.md).
    #[arg(long)]
    json: bool,
}

impl Grade {
    pub(crate) fn run(self, out: &mut dyn Write) -> Result<Outcome, CliError> {
        let estimate = read(&self.estimate)?;
        let reference = read(&self.reference)?;
        let grades = grade_chords(&estimate, &reference).map_err(|error| {
            let side = match error {
                GradingError::Label { line, .. } if is_of(&estimate, line, &error) => {
                    &self.estimate
                }
                _ => &self.reference,
            };
            in_file(side, &error)
        })?;
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &as_json(&grades, &estimate, &reference))
                .map_err(std::io::Error::from)?;
            writeln!(out)?;
        } else {
            write!(out, "{}", as_table(&grades, &estimate, &reference))?;
        }
        Ok(Outcome::Done)
    }
}

/// Whether a wrong label stands in this timeline.
fn is_of(timeline: &Timeline, line: usize, error: &GradingError) -> bool {
    let GradingError::Label { found, .. } = error else {
        return false;
    };
    timeline
        .spans()
        .iter()
        .any(|s| s.line == line && s.label.starts_with(found.as_str()))
}

fn in_file(path: &Path, error: &dyn std::fmt::Display) -> CliError {
    CliError::new(format!("{}: {error}", path.display()))
}

/// Reads a timeline; the ending says in which format.
fn read(path: &Path) -> Result<Timeline, CliError> {
    let size = std::fs::metadata(path)
        .map_err(|e| in_file(path, &format!("cannot be read: {e}")))?
        .len();
    if size > MAX_BYTES {
        let words = format!("{size} bytes, no timeline is longer than {MAX_BYTES}");
        return Err(in_file(path, &words));
    }
    let bytes = std::fs::read(path).map_err(|e| in_file(path, &format!("cannot be read: {e}")))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        in_file(
            path,
            &"is not a text (expected lines of a start, an end and a label)",
        )
    })?;
    parse_lab(&text).map_err(|e| in_file(path, &e))
}

fn as_json(grades: &ChordGrades, estimate: &Timeline, reference: &Timeline) -> serde_json::Value {
    let recalls: Vec<_> = grades
        .recalls
        .iter()
        .map(|(strictness, with_bass, recall)| {
            serde_json::json!({
                "strictness": strictness.name(),
                "with_bass": with_bass,
                "recall": recall.ratio(),
                "compared_s": recall.compared_s,
                "right_s": recall.right_s,
            })
        })
        .collect();
    serde_json::json!({
        "version": 1,
        "graded_s": grades.graded_s,
        "recalls": recalls,
        "overseg": grades.overseg,
        "underseg": grades.underseg,
        "seg": grades.seg(),
        "estimate_gaps_s": estimate.gaps(),
        "reference_gaps_s": reference.gaps(),
    })
}

fn as_table(grades: &ChordGrades, estimate: &Timeline, reference: &Timeline) -> String {
    let mut text = format!(
        "Chords, graded over {:.1} s of the reference. Recall in % of the time compared.\n\n",
        grades.graded_s
    );
    text.push_str("            recall  with bass   compared\n");
    for (strictness, also_bass) in STRICTNESSES {
        text.push_str(&row(grades, strictness, also_bass));
    }
    text.push('\n');
    text.push_str(&percent_row("changes", grades.seg(), ""));
    text.push_str(&percent_row(
        " too many",
        grades.overseg,
        "low if the estimate changes where the reference does not",
    ));
    text.push_str(&percent_row(
        " too few",
        grades.underseg,
        "low if it misses changes",
    ));
    text.push('\n');
    for (strictness, _) in STRICTNESSES {
        let words = format!("{}: {}", strictness.name(), strictness.ignores());
        text.push_str(&folded(&words, 78));
    }
    for (whose, timeline) in [("estimate", estimate), ("reference", reference)] {
        let gaps = timeline.gaps();
        if let Some((from, to)) = gaps.first() {
            text.push_str(&folded(
                &format!(
                    "note: the {whose} says nothing in {} place(s), first at {from:.2} to {to:.2} s; the label before it counts on there",
                    gaps.len()
                ),
                78,
            ));
        }
    }
    text
}

fn row(grades: &ChordGrades, strictness: Strictness, also_bass: bool) -> String {
    let percent = |with_bass| {
        grades
            .recall(strictness, with_bass)
            .and_then(|r| r.ratio())
            .map_or_else(|| "-".to_owned(), |r| format!("{:.1}", 100.0 * r))
    };
    let compared_s = grades
        .recall(strictness, false)
        .map_or(0.0, |r| r.compared_s);
    format!(
        "{:<10}{:>8}{:>11}{:>9.1} s\n",
        strictness.name(),
        percent(false),
        if also_bass {
            percent(true)
        } else {
            String::new()
        },
        compared_s
    )
}

fn percent_row(name: &str, ratio: f64, words: &str) -> String {
    format!("{name:<10}{:>8.1}   {words}", 100.0 * ratio)
        .trim_end()
        .to_owned()
        + "\n"
}

/// Folds words to lines of at most `width` characters, later lines set in by two.
fn folded(words: &str, width: usize) -> String {
    let mut text = String::new();
    let mut length = 0;
    for word in words.split(' ') {
        let n = word.chars().count();
        if length > 0 && length + 1 + n > width {
            text.push_str("\n  ");
            length = 2;
        } else if length > 0 {
            text.push(' ');
            length += 1;
        }
        text.push_str(word);
        length += n;
    }
    text + "\n"
}
