//! What comes of holding a take against a chart.

use super::judge::Finding;

/// One bar as played.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedBar {
    /// The chart's bar number.
    pub number: u32,
    /// From, in the take, s.
    pub start_s: f64,
    /// To, in the take, s.
    pub end_s: f64,
    /// Departures from the chart; empty: as written.
    pub findings: Vec<Finding>,
    /// What is worth knowing but departs from nothing: another shape of the chord.
    pub remarks: Vec<String>,
}

/// What came of holding a take against the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeCheck {
    /// Bars in the order played.
    pub bars: Vec<PlayedBar>,
    /// First and last number of each run of bars that was not played.
    pub left_out: Vec<(u32, u32)>,
    /// First and last number of each run of bars that was played again.
    pub again: Vec<(u32, u32)>,
    /// Tempo of the take as a multiple of the chart's.
    pub tempo_ratio: f64,
    /// Whether the take plays this chart at all.
    pub recognized: bool,
    /// How many semitones above the chart the take sounds, below 0 for under it:
    /// another capo, tuning or recording speed.
    pub semitones: i8,
    /// How far the take is the chart's.
    pub fit: Fit,
    /// In words: what matters most in the first sentence.
    pub summary: String,
}

impl TakeCheck {
    /// Whether all is as written.
    pub fn as_written(&self) -> bool {
        self.recognized
            && self.semitones == 0
            && self.left_out.is_empty()
            && self.again.is_empty()
            && self.bars.iter().all(|b| b.findings.is_empty())
    }
}

/// What a take is to a chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It plays the whole chart as written.
    AsWritten,
    /// It plays the chart, with departures, or bars left out or played again.
    Differences,
    /// It plays one run of the chart's bars and nothing else.
    PartOnly,
    /// It plays the chart higher or lower.
    Transposed,
    /// It does not play the chart.
    AnotherSong,
}

impl Verdict {
    /// The name in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::AsWritten => "as written",
            Self::Differences => "differences",
            Self::PartOnly => "part only",
            Self::Transposed => "transposed",
            Self::AnotherSong => "another song",
        }
    }
}

/// How far a take is that of a chart.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fit {
    /// Share of the take's sound that is lined up with a bar of the chart, 0 to 1.
    pub take_share: f64,
    /// Share of the chart's bars that are played, 0 to 1.
    pub chart_share: f64,
    /// Share of the bars played that are as written, 0 to 1.
    pub as_written_share: f64,
    /// Jumps from bar to bar that the chart does not have, for each bar played.
    pub jumps_per_bar: f64,
    /// What the order of the bars explains of the take, of what it could: about
    /// 1 for a take of the chart, about 0 for another song in the same key;
    /// none where the bars are too much alike to tell.
    pub order: Option<f64>,
}
