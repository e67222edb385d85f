//! What can be wrong with a typed note, label or key.

/// Errors of the `theory` room: always a text that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum TheoryError {
    /// Not a note name; the caller can show the accepted form.
    NoteName {
        /// What was typed.
        text: String,
    },
    /// Not a chord label or symbol.
    ChordLabel {
        /// What was typed.
        text: String,
        /// The part that could not be read.
        part: String,
        /// The nearest spelling that reads, if one is near.
        nearest: Option<String>,
    },
    /// Not a scale degree such as `b7`.
    Degree {
        /// What was typed.
        text: String,
    },
    /// Not a key.
    Key {
        /// What was typed.
        text: String,
    },
}

impl std::fmt::Display for TheoryError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoteName { text } => write!(
                f,
                "'{text}' is not a note name (expected a letter A to G, then # or b, for example F# or Bb)"
            ),
            Self::ChordLabel {
                text,
                nearest: Some(nearest),
                ..
            } => write!(f, "'{text}' is not a chord; did you mean {nearest}?"),
            Self::ChordLabel { text, part, .. } if part.is_empty() || part == text => write!(
                f,
                "'{text}' is not a chord (expected for example Am7, D/F#, C#m7b5, N for no chord)"
            ),
            Self::ChordLabel { text, part, .. } => write!(
                f,
                "'{text}' is not a chord: '{part}' is not understood (expected for example Am7, D/F#, C#m7b5, N for no chord)"
            ),
            Self::Degree { text } => write!(
                f,
                "'{text}' is not a degree (expected a number 1 to 13 with # or b before it, for example b7)"
            ),
            Self::Key { text } => write!(
                f,
                "'{text}' is not a key (expected for example G, Am, F# minor)"
            ),
        }
    }
}

impl std::error::Error for TheoryError {}
