//! Reads the plain text of a labelled timeline: a start, an end and a label a line.
//!
//! Columns are divided by blanks or tabs, times are seconds. Lines that start
//! with `#` and empty lines are skipped; line ends may be of either kind.

use super::{GradingError, LabelledSpan, Timeline};

/// The most lines that are read: a chord every 10 ms for 16 minutes.
pub const MAX_LINES: usize = 100_000;

/// Reads a timeline from text; labels are kept as written.
///
/// # Errors
/// * [`GradingError::TooLong`] over [`MAX_LINES`] lines.
/// * [`GradingError::Columns`], [`GradingError::Time`] for a line that cannot be read.
/// * As [`Timeline::new`] for spans that do not follow each other.
///
/// # Example
/// ```
/// let text = "# made by hand\n0.0\t2.5\tG:maj\r\n2.5 4 N\n";
/// let take = takebook::grading::parse_lab(text).unwrap();
/// assert_eq!(take.spans()[1].label, "N");
/// ```
pub fn parse_lab(text: &str) -> Result<Timeline, GradingError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.lines().count() > MAX_LINES {
        return Err(GradingError::TooLong { most: MAX_LINES });
    }
    let spans = text
        .lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'))
        .map(|(number, line)| span(number, line))
        .collect::<Result<Vec<_>, _>>()?;
    Timeline::new(spans)
}

fn span(line: usize, text: &str) -> Result<LabelledSpan, GradingError> {
    let columns = || GradingError::Columns {
        line,
        found: text.chars().take(60).collect(),
    };
    let (start, rest) = text.split_once(char::is_whitespace).ok_or_else(columns)?;
    let (end, label) = rest
        .trim_start()
        .split_once(char::is_whitespace)
        .ok_or_else(columns)?;
    Ok(LabelledSpan {
        start_s: time(line, start)?,
        end_s: time(line, end)?,
        label: label.trim().into(),
        line,
    })
}

fn time(line: usize, text: &str) -> Result<f64, GradingError> {
    text.parse::<f64>()
        .ok()
        .filter(|t| t.is_finite() && *t >= 0.0)
        .ok_or_else(|| GradingError::Time {
            line,
            found: text.chars().take(60).collect(),
        })
}
