//! What can keep a song from being delivered.

/// Errors of the `chart` room: an option that does not fit the song, or text a font cannot draw.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum ChartError {
    /// The song has no chords; draft a take first.
    Empty,
    /// A file ending that names no format.
    UnknownFormat {
        /// The ending, without its dot.
        ending: String,
    },
    /// A key or degrees were asked for, but the song's key is not known.
    NoKey {
        /// The option that needs it.
        option: &'static str,
    },
    /// The wanted key is minor and the song major, or the other way round.
    OtherMode {
        /// The song's key.
        song: String,
        /// The wanted key.
        wanted: String,
    },
    /// A capo beyond the first half of the neck.
    CapoRange {
        /// The fret asked for.
        fret: u8,
    },
    /// Two options of which only one makes sense.
    Exclusive {
        /// One.
        one: &'static str,
        /// The other.
        other: &'static str,
    },
    /// A page that the chart does not have.
    NoPage {
        /// The page asked for, from 1.
        page: usize,
        /// How many there are.
        n: usize,
    },
    /// The page's font has no such character.
    MissingGlyph {
        /// The character.
        character: char,
        /// The text it stands in.
        text: String,
    },
    /// Notes of lessons were asked for in a format without a place for notes.
    NoPlaceForNotes,
    /// Notes of lessons were asked for, and the song has none.
    NoLessonNotes {
        /// Of this student.
        student: Option<String>,
    },
    /// The font inside the program cannot be used; the build is broken.
    Font {
        /// What is wrong with it.
        reason: String,
    },
    /// A value that the format cannot hold.
    Unwritable {
        /// Which format.
        format: &'static str,
        /// Why.
        reason: String,
    },
}

impl std::fmt::Display for ChartError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(
                f,
                "the song has no chords, so there is nothing to chart (draft a take with sound in it first)"
            ),
            Self::UnknownFormat { ending } => {
                let known: Vec<_> = super::FORMATS.iter().map(|(e, _)| *e).collect();
                write!(
                    f,
                    "'{ending}' is not a format takebook writes (it writes {})",
                    known.join(", ")
                )
            }
            Self::NoKey { option } => write!(
                f,
                "{option} needs the song's key, which is open (confirm the key in the log first)"
            ),
            Self::OtherMode { song, wanted } => write!(
                f,
                "cannot move a song in {song} to {wanted}: one is major, the other minor (give a key of the same mode)"
            ),
            Self::CapoRange { fret } => crate::fretboard::FretboardError::CapoRange {
                fret: fret.to_string(),
            }
            .fmt(f),
            Self::Exclusive { one, other } => write!(f, "{one} and {other} exclude each other"),
            Self::NoPage { page, n } => write!(
                f,
                "there is no page {page}: the chart has {n} (--only-page 1 gives the first)"
            ),
            Self::NoPlaceForNotes => write!(
                f,
                "this format has no place for notes of lessons (a page has, such as .pdf, .html or .txt)"
            ),
            Self::NoLessonNotes { student: None } => {
                write!(f, "the song has no notes of lessons to print")
            }
            Self::NoLessonNotes {
                student: Some(student),
            } => write!(
                f,
                "the song has no notes of lessons of '{student}' to print"
            ),
            Self::MissingGlyph { character, text } => write!(
                f,
                "the page font has no '{character}' (U+{:04X}) for '{text}' (write .html instead, or change the text)",
                u32::from(*character)
            ),
            Self::Font { reason } => write!(f, "the built-in font cannot be used: {reason}"),
            Self::Unwritable { format, reason } => write!(f, "cannot write {format}: {reason}"),
        }
    }
}

impl std::error::Error for ChartError {}
