//! What lies on laid-out pages: texts, lines and circles with their places, in groups.

use super::Style;

/// The color of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// As everything else.
    Black,
    /// Not confirmed by anyone.
    Gray,
    /// On a black disc.
    White,
}

impl Ink {
    /// How light it is, 0 for black to 255 for white.
    pub(in crate::chart) fn level(self) -> u8 {
        match self {
            Self::Black => 0,
            Self::Gray => 0x66,
            Self::White => 0xff,
        }
    }
}

/// What a line is drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pen {
    /// Its ends are cut straight.
    Flat,
    /// Its ends are round.
    Round,
    /// It is a row of dots.
    Dots,
}

/// One thing drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// Text from its left end on its baseline.
    Text {
        /// Left, mm.
        x: f64,
        /// Baseline, mm.
        y: f64,
        /// Font size, mm.
        size: f64,
        /// Face.
        style: Style,
        /// The characters.
        text: String,
        /// Its color.
        ink: Ink,
    },
    /// A straight line.
    Line {
        /// From, mm.
        from: (f64, f64),
        /// To, mm.
        to: (f64, f64),
        /// Width, mm.
        width: f64,
        /// What it is drawn with.
        pen: Pen,
    },
    /// A circle.
    Circle {
        /// Center, mm.
        center: (f64, f64),
        /// Radius, mm.
        radius: f64,
        /// Line width, mm; none for a black disc.
        stroke: Option<f64>,
    },
}

/// What a group of items is to a reader who cannot see it.
#[derive(Debug, Clone, PartialEq)]
pub enum Role {
    /// The title.
    Title,
    /// A heading.
    Heading,
    /// A paragraph.
    Paragraph,
    /// A row of bars, with what it says in words.
    Row(String),
    /// A drawing, with what it shows in words.
    Figure(String),
    /// Running foot: not part of the content.
    Foot,
}

/// Items that are read together.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// What it is.
    pub role: Role,
    /// What is drawn, in reading order.
    pub items: Vec<Item>,
}

/// The laid-out chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// Title, for the file's properties.
    pub title: String,
    /// Width and height of a page, mm.
    pub size_mm: (f64, f64),
    /// Pages in order, each a list of groups.
    pub pages: Vec<Vec<Group>>,
    /// Songs of a binder with the page (from 0) each starts on; empty for a single song.
    pub outline: Vec<(String, usize)>,
    /// Whether two pages lie open side by side, the first one on the left.
    pub facing: bool,
}

/// A number as written in files: three decimals at most, no needless zeros.
pub(in crate::chart) fn number(value: f64) -> String {
    let thousandths = (value * 1000.0).round() as i64;
    let sign = if thousandths < 0 { "-" } else { "" };
    let (whole, part) = (
        thousandths.unsigned_abs() / 1000,
        thousandths.unsigned_abs() % 1000,
    );
    match part {
        0 => format!("{sign}{whole}"),
        _ => format!("{sign}{whole}.{part:03}")
            .trim_end_matches('0')
            .into(),
    }
}
