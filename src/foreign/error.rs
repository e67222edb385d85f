//! What can keep a file of another program from being taken in.

/// Errors of the `foreign` room. The caller adds the file's name; each says the place and the way out.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum ForeignError {
    /// The file is larger than any song; cut it, or check that it is what its name says.
    TooLarge {
        /// Its size, bytes.
        bytes: u64,
        /// The most that is read, bytes.
        most: u64,
    },
    /// Not a file of its kind at all.
    NotOfKind {
        /// What was expected, in words.
        expected: &'static str,
        /// What is wrong with it.
        reason: String,
    },
    /// Something in it cannot be read.
    Wrong {
        /// Where: `line 4`, `measure 12`, `annotations[0].data[3].value`.
        place: String,
        /// What is wrong there, and what was expected.
        reason: String,
    },
    /// A sound file of its kind with nothing to take in.
    Empty {
        /// What is missing, and the way out.
        reason: String,
    },
}

impl std::fmt::Display for ForeignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooLarge { bytes, most } => write!(
                f,
                "{bytes} bytes, no song takes more than {most} (is it what its name says?)"
            ),
            Self::NotOfKind { expected, reason } => {
                write!(f, "is not {expected}: {reason}")
            }
            Self::Wrong { place, reason } => write!(f, "{place}: {reason}"),
            Self::Empty { reason } => f.write_str(reason),
        }
    }
}

impl std::error::Error for ForeignError {}
