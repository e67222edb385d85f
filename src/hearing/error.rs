//! What can go wrong while hearing.

/// Errors of the `hearing` room. Odd music is no error: it gives a result and
/// a warning.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum HearingError {
    /// The take has no sample; nothing can be heard.
    Empty,
    /// Whoever was told how far it is said to end.
    Cancelled,
    /// The built-in acoustic model could not be loaded or run: a broken build.
    Model {
        /// What the inference library said.
        reason: String,
    },
}

impl std::fmt::Display for HearingError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => f.write_str("the take has no samples"),
            Self::Cancelled => f.write_str("cancelled"),
            Self::Model { reason } => write!(
                f,
                "the built-in acoustic model cannot be used: {reason} (this build of takebook is broken; build it again)"
            ),
        }
    }
}

impl std::error::Error for HearingError {}
