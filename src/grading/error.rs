//! What can be wrong with a timeline.

/// Errors of the `grading` room: a timeline that cannot be read or measured.
///
/// `line` counts from 1; 0 means that the timeline did not come from a text.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum GradingError {
    /// A line without start, end and label.
    Columns {
        /// Where.
        line: usize,
        /// What stands there, cut to 60 characters.
        found: String,
    },
    /// A time that is not a number of seconds from 0.
    Time {
        /// Where.
        line: usize,
        /// What stands there.
        found: String,
    },
    /// A span that ends where it starts, or before.
    Backwards {
        /// Where.
        line: usize,
        /// Start, s.
        start_s: f64,
        /// End, s.
        end_s: f64,
    },
    /// A span that starts before the one above it ends.
    Overlap {
        /// Where.
        line: usize,
        /// Start, s.
        start_s: f64,
        /// End of the span above, s.
        before_end_s: f64,
    },
    /// Not a chord label in the published syntax.
    Label {
        /// Where.
        line: usize,
        /// What stands there, cut to 60 characters.
        found: String,
        /// The label that was probably meant, if it reads as a trade symbol.
        meant: Option<String>,
    },
    /// More lines than are read.
    TooLong {
        /// How many are read at most.
        most: usize,
    },
    /// A reference without a single span: nothing can be graded.
    EmptyReference,
    /// Beats or notes out of order, negative or not finite.
    Events {
        /// The first value that is wrong, s.
        at_s: f64,
    },
}

impl std::fmt::Display for GradingError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Self::Columns { line, .. }
        | Self::Time { line, .. }
        | Self::Backwards { line, .. }
        | Self::Overlap { line, .. }
        | Self::Label { line, .. } = self
            && *line > 0
        {
            write!(f, "line {line}: ")?;
        }
        match self {
            Self::Columns { found, .. } => write!(
                f,
                "'{found}' is not a start, an end and a label (expected for example '0.5 2.9 G:maj')"
            ),
            Self::Time { found, .. } => write!(
                f,
                "'{found}' is not a time (expected seconds from 0, for example 2.9)"
            ),
            Self::Backwards { start_s, end_s, .. } => write!(
                f,
                "the span starts at {start_s} s and ends at {end_s} s (it must end later than it starts)"
            ),
            Self::Overlap {
                start_s,
                before_end_s,
                ..
            } => write!(
                f,
                "the span starts at {start_s} s, before the one above it ends at {before_end_s} s (spans must be in order and not overlap)"
            ),
            Self::Label { found, meant, .. } => {
                write!(f, "'{found}' is not a chord label in the published syntax ")?;
                match meant {
                    Some(label) => write!(f, "(did you mean '{label}'?)"),
                    None => f.write_str("(expected for example G:maj, A:min7, D:maj/3, N)"),
                }
            }
            Self::TooLong { most } => write!(f, "more than {most} lines (split the file)"),
            Self::EmptyReference => {
                f.write_str("the reference holds no span, so nothing can be graded")
            }
            Self::Events { at_s } => write!(
                f,
                "the time {at_s} s is out of order, negative or not a number (expected rising seconds from 0)"
            ),
        }
    }
}

impl std::error::Error for GradingError {}
