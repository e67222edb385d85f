//! A bar as the search for sections sees it, and what sections cost.

use crate::hearing::learned;
use crate::hearing::weight_files::SECTIONS;

/// Slots of a bar that its chord is noted for.
pub(crate) const SLOTS: usize = 8;

/// A chord as the search sees it, its bass left out: inversions come and go between repeats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Sounding {
    /// Pitch class of the root.
    pub(crate) root: u8,
    /// A number for the triad.
    pub(crate) triad: u8,
    /// A number for the quality.
    pub(crate) quality: u8,
}

/// A bar as the search sees it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Sketch {
    /// What sounds in each slot; none for no chord.
    pub(crate) chords: [Option<Sounding>; SLOTS],
    /// How much is struck on each division of its beats, 0 to 1.
    pub(crate) rhythm: Vec<f32>,
}

/// Longest section, bars.
pub(crate) const LONGEST: usize = 32;
/// Costs of the search; a new bar of music costs 1.
#[derive(Debug, Clone, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct SectionWeights {
    /// Of a section of new music.
    pub letter: f64,
    /// Of a section that comes again.
    pub again: f64,
    /// The same after the section that it came after before.
    pub known: f64,
    /// Of a bar that copies an earlier one of its section, and that much for its difference.
    pub copy: f64,
    /// Of a bar of a repeat that differs wholly.
    pub differs: f64,
    /// The same in the last quarter of a repeat.
    pub ending: f64,
    /// Of a bar that a repeat has too many or too few.
    pub length: f64,
    /// Of playing a section in another key.
    pub moved: f64,
    /// Gain where the playing changes wholly at the start of a section.
    pub rhythm: f64,
    /// Weight of the playing in the difference of two bars.
    pub playing: f64,
    /// Gain where a section starts on the tonic.
    pub tonic: f64,
    /// Gain where a section starts after a bar that ends on the fifth degree.
    pub half_close: f64,
    /// Of new sections of 8, 16, 12, 4, other multiples of 4, other even and of odd numbers of bars.
    pub lengths: [f64; 7],
    /// Of a section shorter than four bars, beyond that.
    pub short: f64,
    /// Of each bar beyond sixteen.
    pub long: f64,
    /// Of a section that lasts twice or half as long as usual; grows with the square.
    pub duration: f64,
    /// How long a section usually lasts, s.
    pub usual_s: f64,
    /// Of each bar beyond eight of new music that comes back to nothing before it in its section.
    pub wanders: f64,
    /// Of a section of up to six bars right after itself: it is rather one of twice the length.
    pub twice: f64,
    /// Of new music of another length than all sections before it.
    pub odd_one: f64,
    /// Gain where a section starts after a bar that rests on the tonic.
    pub close: f64,
}

impl Default for SectionWeights {
    fn default() -> Self {
        learned::read(&SECTIONS)
    }
}

/// How far two bars agree in chords if the second lies `shift` semitones higher, 0 to 1.
pub(crate) fn agreement(low: &Sketch, high: &Sketch, shift: u8) -> f64 {
    let alike = |a: &Option<Sounding>, b: &Option<Sounding>| match (a, b) {
        (None, None) => 1.0,
        (Some(a), Some(b)) if (a.root + shift) % 12 == b.root => {
            if a.quality == b.quality {
                1.0
            } else if a.triad == b.triad {
                0.8
            } else {
                0.2
            }
        }
        _ => 0.0,
    };
    let sum: f64 = low
        .chords
        .iter()
        .zip(&high.chords)
        .map(|(a, b)| alike(a, b))
        .sum();
    sum / SLOTS as f64
}
