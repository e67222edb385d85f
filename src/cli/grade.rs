//! `takebook grade`: how well one labelled timeline matches another.

use super::{CliError, Outcome};
use crate::foreign::Kind;
use crate::grading::{
    ChordGrades, Difference, GradingError, STRICTNESSES, Strictness, Timeline, differences,
    grade_chords, parse_lab,
};
use crate::songlog::resolve::Settings;
use crate::songlog::{resolve, store};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Larger files are no labelled timelines.
const MAX_BYTES: u64 = 16 * 1024 * 1024;

/// Grades chords against a reference, by the field's measures.
///
/// Both are labelled timelines: text with a start, an end (s) and a chord
/// label a line, a JAMS, MusicXML or MIDI file, or a log, whose chords are taken
/// as they stand. Recall is the part of the compared time in which the chord is
/// right; what a strictness does not compare is left out of it. `with bass`
/// asks for the right bass note too.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  takebook grade mine.lab fixtures/truth/lantern-porch.lab")]
pub(crate) struct Grade {
    /// The timeline to be graded (.lab .jams .musicxml .mid, or a log).
    estimate: PathBuf,
    /// The timeline that is taken as true (.lab .jams .musicxml .mid, or a log).
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
        let compared = Compared {
            differences: differences(&estimate, &reference, Strictness::Tetrads, true)
                .map_err(|error| in_file(&self.reference, &error))?,
            grades,
            estimate_gaps_s: estimate.gaps(),
            reference_gaps_s: reference.gaps(),
        };
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &compared.as_json())
                .map_err(std::io::Error::from)?;
            writeln!(out)?;
        } else {
            write!(out, "{}", compared.as_table())?;
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
    if path.extension().is_some_and(|e| e == store::ENDING) {
        return read_log(path);
    }
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
    if let Some(kind) = Kind::by_ending(ending).filter(|k| *k != Kind::Lab) {
        return read_foreign(path, kind);
    }
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

/// The chords of a log as it stands: heard plus decided.
fn read_log(path: &Path) -> Result<Timeline, CliError> {
    let log = store::load(path).map_err(|e| CliError::new(e.to_string()))?;
    let spans = resolve(&log).spans;
    let labels: Vec<String> = spans.iter().map(|s| s.label.label()).collect();
    let parts = spans.iter().zip(&labels);
    Timeline::from_parts(parts.map(|(s, label)| (s.start_s, s.end_s, label.as_str())))
        .map_err(|e| in_file(path, &e))
}

/// The first candidates of a file that is taken in.
fn read_foreign(path: &Path, kind: Kind) -> Result<Timeline, CliError> {
    let taken = crate::drafting::read_import(path, kind, &Settings::default())?;
    let chords = &taken.heard.chords;
    let labels: Vec<String> = chords
        .iter()
        .map(|c| c.candidates[0].label.label())
        .collect();
    let parts = chords.iter().zip(&labels);
    Timeline::from_parts(parts.map(|(c, label)| (c.start_s, c.end_s, label.as_str())))
        .map_err(|e| in_file(path, &e))
}

/// What is printed, in either form.
struct Compared {
    grades: ChordGrades,
    differences: Vec<Difference>,
    estimate_gaps_s: Vec<(f64, f64)>,
    reference_gaps_s: Vec<(f64, f64)>,
}

/// The table lists so many differences, the longest ones.
const N_SHOWN: usize = 5;

impl Compared {
    fn as_json(&self) -> serde_json::Value {
        let recalls: Vec<_> = self
            .grades
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
        let differences: Vec<_> = self
            .differences
            .iter()
            .map(|d| {
                serde_json::json!({
                    "start_s": d.start_s,
                    "end_s": d.end_s,
                    "reference": d.reference,
                    "estimate": d.estimate,
                })
            })
            .collect();
        serde_json::json!({
            "version": 1,
            "graded_s": self.grades.graded_s,
            "recalls": recalls,
            "overseg": self.grades.overseg,
            "underseg": self.grades.underseg,
            "seg": self.grades.seg(),
            "differences": differences,
            "estimate_gaps_s": self.estimate_gaps_s,
            "reference_gaps_s": self.reference_gaps_s,
        })
    }

    fn as_table(&self) -> String {
        let grades = &self.grades;
        let mut text = format!(
            "Chords, graded over {:.1} s of the reference. Recall in % of the time compared.\n\n",
            grades.graded_s
        );
        text.push_str("            recall  with bass   compared\n");
        for (strictness, also_bass) in STRICTNESSES {
            text.push_str(&row(grades, strictness, also_bass));
        }
        text.push('\n');
        let changes = [
            ("changes", grades.seg(), ""),
            (
                " too many",
                grades.overseg,
                "low if the estimate changes where the reference does not",
            ),
            (" too few", grades.underseg, "low if it misses changes"),
        ];
        for (name, ratio, words) in changes {
            text.push_str(&percent_row(name, ratio, words));
        }
        text.push_str(&self.longest_differences());
        text.push('\n');
        for (strictness, _) in STRICTNESSES {
            let words = format!("{}: {}", strictness.name(), strictness.ignores());
            text.push_str(&folded(&words, 78));
        }
        for (whose, gaps) in [
            ("estimate", &self.estimate_gaps_s),
            ("reference", &self.reference_gaps_s),
        ] {
            if let Some((from, to)) = gaps.first() {
                let words = format!(
                    "note: the {whose} says nothing in {} place(s), first at {from:.2} to {to:.2} s; the label before it counts on there",
                    gaps.len()
                );
                text.push_str(&folded(&words, 78));
            }
        }
        text
    }

    fn longest_differences(&self) -> String {
        let n = self.differences.len();
        if n == 0 {
            return "\nNo difference at tetrads with bass.\n".into();
        }
        let mut longest: Vec<&Difference> = self.differences.iter().collect();
        longest.sort_by(|a, b| (b.end_s - b.start_s).total_cmp(&(a.end_s - a.start_s)));
        longest.truncate(N_SHOWN);
        longest.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        let mut text = if n > N_SHOWN {
            format!("\nThe {N_SHOWN} longest of {n} differences at tetrads with bass:\n")
        } else {
            "\nDifferences at tetrads with bass:\n".to_owned()
        };
        text.push_str("      from         to  reference             estimate\n");
        for d in longest {
            // labels of any length, lines of at most 80 characters
            let cut = |label: &str| label.chars().take(27).collect::<String>();
            let (reference, estimate) = (cut(&d.reference), cut(&d.estimate));
            text.push_str(&format!(
                "{:>8.2} s {:>8.2} s  {reference:<21} {estimate}\n",
                d.start_s, d.end_s
            ));
        }
        text
    }
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
