//! One song, delivered in many formats: pages to play from, files that other programs open.
//!
//! [`write()`] is a function from a song and options to bytes: it opens no file
//! and reads no clock, so the same song gives the same bytes. Pages (text,
//! HTML, SVG, PDF, PNG) and MusicXML start from the [`sheet`], the lead sheet as
//! bars, rows, repeats and a legend; SVG, PDF and PNG draw the same laid-out
//! [`layout`]. The other formats start from the song's own timeline.
//!
//! Not here: what the chords are (`songlog` resolves that) and how shapes are
//! found (`fretboard`).

mod binder;
mod diagram;
mod draw;
mod easy;
mod error;
mod font;
mod html;
mod jams;
mod json;
mod lab;
pub mod layout;
mod lessons;
mod midi;
mod musicxml;
mod packed;
mod pdf;
mod png;
mod practice;
pub mod sheet;
mod svg;
#[cfg(test)]
mod tests;
mod transpose;
mod txt;
mod versions;
mod vtt;
mod xml;

pub use binder::{binder, binder_of_versions};
pub use error::ChartError;
pub use json::{FORMAT_NAME, FORMAT_VERSION};
pub use lessons::LessonNotes;
pub use practice::{Sound, practice};
pub use transpose::prepare;

use crate::fretboard::Tuning;
use crate::songlog::song::Song;
use crate::theory::Key;

/// Said at the foot of every page and in files with room for it. Common practice, no source.
pub const PERMISSION: &str = "A chart of someone's song is for your own study; \
sharing or selling copies needs the owner's permission, and local law decides.";

/// A delivery format.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Plain text, 80 columns.
    Txt,
    /// One self-contained page that prints.
    Html,
    /// Pages drawn as outlines.
    Svg,
    /// Pages to print.
    Pdf,
    /// Pages as a picture.
    Png,
    /// MusicXML 4.0, partwise.
    MusicXml,
    /// The same, compressed.
    Mxl,
    /// Standard MIDI File, type 1.
    Midi,
    /// WebVTT captions.
    Vtt,
    /// Tab-separated labels in time.
    Lab,
    /// JAMS annotations.
    Jams,
    /// The project's own JSON.
    Json,
}

/// Each format with its file ending, in the order help lists them.
pub const FORMATS: [(&str, Format); 12] = [
    ("txt", Format::Txt),
    ("html", Format::Html),
    ("pdf", Format::Pdf),
    ("svg", Format::Svg),
    ("png", Format::Png),
    ("musicxml", Format::MusicXml),
    ("mxl", Format::Mxl),
    ("mid", Format::Midi),
    ("vtt", Format::Vtt),
    ("lab", Format::Lab),
    ("jams", Format::Jams),
    ("json", Format::Json),
];

impl Format {
    /// Its file ending, without a dot.
    pub fn ending(self) -> &'static str {
        let row = FORMATS.iter().find(|(_, format)| *format == self);
        row.map_or("", |(ending, _)| ending)
    }

    /// The format of a file ending (without its dot, any case).
    ///
    /// # Errors
    /// * [`ChartError::UnknownFormat`] for another ending.
    pub fn by_ending(ending: &str) -> Result<Self, ChartError> {
        let lower = ending.to_ascii_lowercase();
        FORMATS
            .iter()
            .find(|(name, _)| *name == lower)
            .map(|(_, format)| *format)
            .ok_or_else(|| ChartError::UnknownFormat {
                ending: ending.into(),
            })
    }
}

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inches.
    Letter,
    /// 148 by 210 mm (ISO 216).
    A5,
}

impl Page {
    /// Width and height, mm.
    pub const fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
            Self::A5 => (148.0, 210.0),
        }
    }
}

/// How a song is to be delivered.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// Paper of the printed formats.
    pub page: Page,
    /// Move the song to this key (same mode).
    pub key: Option<Key>,
    /// Count frets from a capo at this fret; what sounds stays.
    pub capo: Option<u8>,
    /// Degrees of the key instead of chord symbols, on pages.
    pub degrees: bool,
    /// Degrees of the key under chord symbols, on pages.
    pub degrees_under: bool,
    /// Mirror the chord boxes for a left-handed player.
    pub left_handed: bool,
    /// A quarter larger, on pages.
    pub large: bool,
    /// A fifth smaller, on pages, for a binder.
    pub compact: bool,
    /// The paper's long side across.
    pub landscape: bool,
    /// A second shape to pick from, where a chord has one, on pages.
    pub alternatives: bool,
    /// With a capo, names that say what sounds instead of the shape that is played, on pages.
    pub concert: bool,
    /// Outlines instead of black discs and bars, on pages.
    pub save_ink: bool,
    /// Chords simplified until a beginner's open shape plays them; each is said in the notes.
    pub easy: bool,
    /// A binder printed on both sides: songs of several pages begin on the left.
    pub two_sided: bool,
    /// Shapes found anew for this tuning.
    pub tuning: Option<Tuning>,
    /// Every repeat written out, no repeat signs.
    pub written_out: bool,
    /// Each section once, and the order in which they come.
    pub short: bool,
    /// One tempo throughout in MIDI, instead of the take's own.
    pub steady: bool,
    /// Added to every time in captions, s.
    pub offset_s: f64,
    /// One page alone, from 1, of the formats with pages.
    pub only_page: Option<usize>,
    /// Notes of lessons among the other notes; none unless they are asked for.
    pub lesson_notes: Option<LessonNotes>,
    /// Dots an inch of pictures; 200 where none is given.
    pub dpi: Option<u16>,
}

impl Options {
    /// Whether no two options contradict each other.
    ///
    /// # Errors
    /// * [`ChartError::Exclusive`] for two of which only one makes sense.
    pub fn check(&self) -> Result<(), ChartError> {
        let pairs = [
            ("large", self.large, "compact", self.compact),
            ("written_out", self.written_out, "short", self.short),
            ("degrees", self.degrees, "degrees_under", self.degrees_under),
        ];
        match pairs.iter().find(|(_, a, _, b)| *a && *b) {
            Some((one, _, other, _)) => Err(ChartError::Exclusive { one, other }),
            None => Ok(()),
        }
    }

    /// Width and height of a page as it is held, mm.
    pub fn size_mm(&self) -> (f64, f64) {
        let (width, height) = self.page.size_mm();
        if self.landscape {
            (height, width)
        } else {
            (width, height)
        }
    }
}

/// Delivers a song.
///
/// # Errors
/// * [`ChartError::Empty`] for a song without chords.
/// * [`ChartError::Exclusive`] for options that contradict each other.
/// * [`ChartError::NoKey`], [`ChartError::OtherMode`], [`ChartError::CapoRange`]
///   if an option does not fit the song.
/// * [`ChartError::NoPage`] for a page that the chart does not have.
/// * [`ChartError::MissingGlyph`] from SVG, PDF and PNG, for text that the page's font cannot draw.
pub fn write(song: &Song, format: Format, options: &Options) -> Result<Vec<u8>, ChartError> {
    let song = prepare(song, options)?;
    Ok(match format {
        Format::Txt => {
            let sheet = sheet::Sheet::new(&song, options)?;
            txt::write(&song, &sheet, options).into_bytes()
        }
        Format::Html => html::write(&sheet::Sheet::new(&song, options)?, options).into_bytes(),
        Format::Svg => svg::write(&laid(&song, options)?)?.into_bytes(),
        Format::Pdf => pdf::write(&laid(&song, options)?)?,
        Format::Png => png::write(
            &laid(&song, options)?,
            options.dpi.unwrap_or(png::USUAL_DPI),
        )?,
        Format::MusicXml => musicxml::write(&song, options)?.into_bytes(),
        Format::Mxl => packed::write(&musicxml::write(&song, options)?)?,
        Format::Midi => midi::write(&song, options)?,
        Format::Vtt => vtt::write(&song, options).into_bytes(),
        Format::Lab => lab::write(&song).into_bytes(),
        Format::Jams => jams::write(&song)?.into_bytes(),
        Format::Json => json::write(&song)?.into_bytes(),
    })
}

/// The pages that are asked for.
fn laid(song: &Song, options: &Options) -> Result<layout::Laid, ChartError> {
    let mut laid = layout::lay_out(&sheet::Sheet::new(song, options)?, options)?;
    if let Some(page) = options.only_page {
        let n = laid.pages.len();
        if page == 0 || page > n {
            return Err(ChartError::NoPage { page, n });
        }
        laid.pages = vec![laid.pages.swap_remove(page - 1)];
    }
    Ok(laid)
}
