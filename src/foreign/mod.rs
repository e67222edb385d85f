//! Files of other programs taken in: labels, annotations, scores and notes as a log's proposals.
//!
//! A teacher also starts from someone's file. [`read`] is a function from bytes
//! to what a draft would have heard: nothing of it is decided, and the file is
//! named as the reason. Titles, section names and the like, which no draft
//! hears, come as acts that one decision can hold, so that one undo takes them
//! back. Not here: opening files (`cli`), and writing these formats (`chart`).

mod assemble;
mod error;
mod jams;
mod lab;
mod letters;
mod log;
mod midi;
mod musicxml;
mod notes;
#[cfg(test)]
mod tests;
mod typed;

pub use error::ForeignError;

use crate::songlog::decided::Act;
use crate::songlog::heard::Heard;
use crate::songlog::resolve::Settings;

/// The largest file that is read, bytes: a score of a thousand pages.
pub const MAX_BYTES: u64 = 32 * 1024 * 1024;
/// The most bars a song may have once its repeats are played.
pub const MAX_BARS: usize = 10_000;
/// The most notes that are read.
pub const MAX_NOTES: usize = 500_000;

/// A kind of file that can be imported.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Start, end and label a line.
    Lab,
    /// JAMS annotations.
    Jams,
    /// MusicXML, partwise.
    MusicXml,
    /// Standard MIDI File.
    Midi,
    /// A chart typed as plain text.
    Typed,
}

/// File endings (lower case, without the dot) and what they are.
pub const ENDINGS: [(&str, Kind); 8] = [
    ("lab", Kind::Lab),
    ("jams", Kind::Jams),
    ("musicxml", Kind::MusicXml),
    ("xml", Kind::MusicXml),
    ("mxl", Kind::MusicXml),
    ("mid", Kind::Midi),
    ("midi", Kind::Midi),
    ("txt", Kind::Typed),
];

impl Kind {
    /// The kind by a file's ending (any case, without the dot).
    pub fn by_ending(ending: &str) -> Option<Self> {
        let lower = ending.to_ascii_lowercase();
        ENDINGS
            .iter()
            .find(|(name, _)| *name == lower)
            .map(|(_, kind)| *kind)
    }

    /// In words, for the log and the screen.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Lab => "labels in time",
            Self::Jams => "JAMS",
            Self::MusicXml => "MusicXML",
            Self::Midi => "Standard MIDI File",
            Self::Typed => "typed chart",
        }
    }
}

/// An imported file.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// What a draft would have heard.
    pub heard: Heard,
    /// Title and section names, as the file has them.
    pub acts: Vec<Act>,
}

/// Imports a file.
///
/// Chords become proposals: with the file's confidence where it has one, else
/// certain, since the file says no doubt; chords named from notes come with the
/// other names they may have. A gap between chords becomes "no chord". Without
/// beats in the file, a given tempo lays a grid; without either there are none. What the user
/// set (`given`) wins over what the file says: tuning and capo, key, tempo, meter, first downbeat.
///
/// # Errors
/// * [`ForeignError::TooLarge`] over [`MAX_BYTES`].
/// * [`ForeignError::NotOfKind`] if it is something else than `kind`.
/// * [`ForeignError::Wrong`] with the place that cannot be read.
/// * [`ForeignError::Empty`] if it holds neither chords nor notes.
///
/// # Example
/// ```
/// use takebook::foreign::{Kind, read};
/// use takebook::songlog::resolve::Settings;
/// let taken = read(Kind::Lab, b"0.0 2.0 G:maj\n2.0 4.0 D:maj/3\n", &Settings::default()).unwrap();
/// assert_eq!(taken.heard.chords[1].candidates[0].label.symbol(), "D/F♯");
/// ```
pub fn read(kind: Kind, bytes: &[u8], given: &Settings) -> Result<Imported, ForeignError> {
    let size = bytes.len() as u64;
    if size > MAX_BYTES {
        return Err(ForeignError::TooLarge {
            bytes: size,
            most: MAX_BYTES,
        });
    }
    let raw = match kind {
        Kind::Lab => lab::read(text(bytes, "a text of labels (start, end, label)")?)?,
        Kind::Jams => jams::read(text(bytes, "a JAMS document")?)?,
        Kind::MusicXml => musicxml::read(&musicxml::decode(bytes)?, given)?,
        Kind::Midi => midi::read(bytes, given)?,
        Kind::Typed => typed::read(text(bytes, "a text of chords in bars")?, given)?,
    };
    assemble::assemble(raw, given)
}

fn text<'a>(bytes: &'a [u8], expected: &'static str) -> Result<&'a str, ForeignError> {
    let text = std::str::from_utf8(bytes).map_err(|e| ForeignError::NotOfKind {
        expected,
        reason: format!("byte {} is no UTF-8 text", e.valid_up_to()),
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}
