//! What can be wrong with a typed shape, tuning or capo.

use super::HIGHEST_CAPO;

/// What is wrong with a fingering that sounds nothing.
pub(super) const SILENT: &str = "no string sounds";

/// Errors of the `fretboard` room: always a text or a number that does not fit an instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum FretboardError {
    /// Not a shape; the caller can show the accepted form.
    ShapeText {
        /// What was typed.
        text: String,
        /// The part that could not be read.
        part: String,
    },
    /// A shape for another number of strings than the instrument has.
    StringCount {
        /// What was typed.
        text: String,
        /// Strings in the text.
        found: usize,
        /// Strings of the instrument.
        expected: usize,
        /// The shape that may be meant, with its frets divided.
        meant: Option<String>,
    },
    /// A fret beyond the neck.
    FretRange {
        /// The fret asked for.
        fret: u32,
        /// The highest fret there is.
        highest: u8,
    },
    /// A string that the instrument does not have.
    StringName {
        /// What was typed.
        text: String,
        /// The strings there are.
        strings: String,
    },
    /// One string asked to sound two frets.
    TwiceOnString {
        /// What was typed.
        text: String,
        /// The string.
        string: String,
    },
    /// Neither a fingering nor notes.
    Played {
        /// What was typed.
        text: String,
        /// The part that could not be read.
        part: String,
    },
    /// Limits that contradict each other or the instrument.
    Limits {
        /// What contradicts what.
        reason: String,
    },
    /// A capo so high that too little neck is left.
    CapoRange {
        /// The fret asked for, as typed.
        fret: String,
    },
    /// Not a fret for a capo.
    CapoText {
        /// What was typed.
        text: String,
    },
    /// Not a tuning.
    TuningText {
        /// What was typed.
        text: String,
        /// Why not.
        reason: String,
    },
}

impl std::fmt::Display for FretboardError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::ShapeText { text, part } => write!(
                f,
                "'{text}' is not a shape: '{part}' is not understood (expected one sign a string, low to high, x for muted, as x02210 or x-10-12-12-11-10)"
            ),
            Self::StringCount {
                text,
                found,
                expected,
                meant,
            } => write!(
                f,
                "'{text}' names {found} strings, the instrument has {expected}{}",
                meant.as_ref().map_or_else(String::new, |meant| format!(
                    " (frets above 9 need dashes: {meant})"
                ))
            ),
            Self::FretRange { fret, highest } => {
                write!(f, "fret {fret} is beyond the neck (0 to {highest})")
            }
            Self::StringName { text, strings } => write!(
                f,
                "'{text}' is not a string of this instrument (its strings are {strings}, or numbers from the highest, 1 to {})",
                strings.split(' ').count()
            ),
            Self::TwiceOnString { text, string } => {
                write!(f, "'{text}' names string {string} twice")
            }
            Self::Played { text, part } if part == SILENT => {
                write!(f, "'{text}': {SILENT} (every string is muted)")
            }
            Self::Played { text, part } => write!(
                f,
                "'{text}' is neither a fingering nor notes: '{part}' is not understood (expected for example x02210, A6 B4 e5 for strings with frets, D# A or B3 G4 for notes)"
            ),
            Self::Limits { reason } => f.write_str(reason),
            Self::CapoRange { fret } => write!(
                f,
                "a capo at fret {fret} leaves too little neck (expected 0 to {HIGHEST_CAPO})"
            ),
            Self::CapoText { text } => write!(
                f,
                "'{text}' is no fret for a capo (expected 0 to {HIGHEST_CAPO})"
            ),
            Self::TuningText { text, reason } => write!(
                f,
                "'{text}' is not a tuning: {reason} (expected a name as standard, \"drop D\", \"open G\", \"half a step down\", ukulele, the letters of the strings low to high as DADGBE, or their notes as \"D2 A2 D3 G3 B3 E4\")"
            ),
        }
    }
}

impl std::error::Error for FretboardError {}
