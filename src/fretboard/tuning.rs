//! Tunings and the capo.

use super::FretboardError;
use crate::theory::{midi_name, parse_midi_name};

/// Pitches of the open strings as MIDI note numbers, in the order a shape is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tuning {
    open: Vec<u8>,
}

/// Tunings by name. Common practice, no source.
const NAMED: [(&str, [u8; 6]); 6] = [
    ("standard", [40, 45, 50, 55, 59, 64]),
    ("half-down", [39, 44, 49, 54, 58, 63]),
    ("whole-down", [38, 43, 48, 53, 57, 62]),
    ("drop-d", [38, 45, 50, 55, 59, 64]),
    ("open-g", [38, 43, 50, 55, 59, 62]),
    ("dadgad", [38, 45, 50, 55, 57, 62]),
];

impl Tuning {
    /// E2 A2 D3 G3 B3 E4.
    pub fn standard() -> Self {
        Self {
            open: NAMED[0].1.to_vec(),
        }
    }

    /// A tuning from the open strings' MIDI notes, four to eight strings.
    ///
    /// # Errors
    /// * [`FretboardError::TuningText`] for another number of strings or notes
    ///   outside 20 to 90.
    pub fn new(open: Vec<u8>) -> Result<Self, FretboardError> {
        let text = || {
            open.iter()
                .map(|m| midi_name(*m))
                .collect::<Vec<_>>()
                .join(" ")
        };
        if !(4..=8).contains(&open.len()) {
            return Err(FretboardError::TuningText {
                text: text(),
                reason: format!("{} strings, 4 to 8 are possible", open.len()),
            });
        }
        if let Some(odd) = open.iter().find(|m| !(20..=90).contains(*m)) {
            return Err(FretboardError::TuningText {
                text: text(),
                reason: format!("no string sounds {}", midi_name(*odd)),
            });
        }
        Ok(Self { open })
    }

    /// MIDI note of each open string.
    pub fn open(&self) -> &[u8] {
        &self.open
    }

    /// Number of strings.
    pub fn n_strings(&self) -> usize {
        self.open.len()
    }

    /// Its name, or its notes: `standard`, `D2 A2 D3 F♯3 A3 D4`.
    pub fn text(&self) -> String {
        match NAMED.iter().find(|(_, open)| open[..] == self.open[..]) {
            Some((name, _)) => (*name).into(),
            None => self
                .open
                .iter()
                .map(|m| midi_name(*m))
                .collect::<Vec<_>>()
                .join(" "),
        }
    }
}

impl std::str::FromStr for Tuning {
    type Err = FretboardError;

    /// A name (`standard`, `drop-d`, …) or notes low to high (`D2 A2 D3 G3 B3 E4`).
    fn from_str(text: &str) -> Result<Self, FretboardError> {
        let text = text.trim();
        if let Some((_, open)) = NAMED
            .iter()
            .find(|(name, _)| name.eq_ignore_ascii_case(text))
        {
            return Ok(Self {
                open: open.to_vec(),
            });
        }
        let open = text
            .split([' ', ','])
            .filter(|t| !t.is_empty())
            .map(parse_midi_name)
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| FretboardError::TuningText {
                text: text.into(),
                reason: e.to_string(),
            })?;
        Self::new(open)
    }
}

/// Highest fret of a capo: it leaves ten frets of the usual neck to play on (ours).
pub const HIGHEST_CAPO: u8 = 12;

/// Whether a capo can sit at a fret.
///
/// # Errors
/// * [`FretboardError::CapoRange`] above [`HIGHEST_CAPO`].
pub fn check_capo(fret: u8) -> Result<u8, FretboardError> {
    if fret <= HIGHEST_CAPO {
        Ok(fret)
    } else {
        Err(FretboardError::CapoRange {
            fret: fret.to_string(),
        })
    }
}

/// Reads the fret of a capo, 0 for none.
///
/// # Errors
/// * [`FretboardError::CapoText`] for what is no whole number.
/// * [`FretboardError::CapoRange`] above [`HIGHEST_CAPO`].
pub fn read_capo(text: &str) -> Result<u8, FretboardError> {
    let text = text.trim();
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(FretboardError::CapoText { text: text.into() });
    }
    let fret = text.parse().map_err(|_| FretboardError::CapoRange {
        fret: text.chars().take(20).collect(),
    })?;
    check_capo(fret)
}

/// A tuned instrument with its capo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instrument {
    /// Its open strings without the capo.
    pub tuning: Tuning,
    /// Fret of the capo, 0 for none.
    pub capo: u8,
    /// Highest fret, counted from the nut.
    pub highest_fret: u8,
}

impl Default for Instrument {
    /// A guitar in standard tuning, no capo, 22 frets.
    fn default() -> Self {
        Self {
            tuning: Tuning::standard(),
            capo: 0,
            highest_fret: 22,
        }
    }
}

impl Instrument {
    /// Semitones that it sounds above the names of its shapes: the capo, less a
    /// tuning that is lower as a whole than the standard one.
    pub fn above_shapes(&self) -> i32 {
        let standard = Tuning::standard();
        let pairs = self.tuning.open.iter().zip(standard.open());
        let mut off = pairs.map(|(own, usual)| i32::from(*own) - i32::from(*usual));
        let first = off.next().unwrap_or(0);
        let whole = self.tuning.n_strings() == standard.n_strings() && off.all(|o| o == first);
        i32::from(self.capo) + if whole { first } else { 0 }
    }

    /// MIDI note of a string at a fret counted from the capo; `None` beyond the strings there are.
    pub fn midi(&self, string: usize, fret: u8) -> Option<u8> {
        self.tuning
            .open
            .get(string)
            .and_then(|o| o.checked_add(self.capo)?.checked_add(fret))
    }

    /// MIDI notes that a shape sounds, `None` for muted strings.
    pub fn sounding(&self, shape: &super::Shape) -> Vec<Option<u8>> {
        shape
            .frets()
            .iter()
            .enumerate()
            .map(|(s, f)| f.and_then(|f| self.midi(s, f)))
            .collect()
    }
}
