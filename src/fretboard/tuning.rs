//! Tunings and the capo.

use super::FretboardError;
use crate::theory::{PitchClass, Spelled, midi_name, parse_midi_name};

/// Pitches of the open strings as MIDI note numbers, in the order a shape is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tuning {
    open: Vec<u8>,
}

/// A tuning with its names: the first is printed, the others are read as well.
struct Named {
    names: &'static [&'static str],
    open: &'static [u8],
}

const fn named(names: &'static [&'static str], open: &'static [u8]) -> Named {
    Named { names, open }
}

/// Tunings by name. Common practice, no source. A twelve-string guitar is
/// fingered as one with six: its doubled strings are one here.
const NAMED: [Named; 29] = [
    named(
        &[
            "standard",
            "guitar",
            "12-string",
            "12-string guitar",
            "twelve-string",
        ],
        &[40, 45, 50, 55, 59, 64],
    ),
    named(
        &[
            "half a step down",
            "half-down",
            "half step down",
            "E flat",
            "Eb",
            "Eb standard",
        ],
        &[39, 44, 49, 54, 58, 63],
    ),
    named(
        &[
            "a whole step down",
            "whole-down",
            "whole step down",
            "D standard",
        ],
        &[38, 43, 48, 53, 57, 62],
    ),
    named(&["drop D"], &[38, 45, 50, 55, 59, 64]),
    named(&["double drop D"], &[38, 45, 50, 55, 59, 62]),
    named(&["drop C"], &[36, 43, 48, 53, 57, 62]),
    named(&["drop C♯", "drop D flat"], &[37, 44, 49, 54, 58, 63]),
    named(&["drop B"], &[35, 42, 47, 52, 56, 61]),
    named(&["open G"], &[38, 43, 50, 55, 59, 62]),
    named(&["open D"], &[38, 45, 50, 54, 57, 62]),
    named(&["open E"], &[40, 47, 52, 56, 59, 64]),
    named(&["open A"], &[40, 45, 52, 57, 61, 64]),
    named(&["open C"], &[36, 43, 48, 55, 60, 64]),
    named(&["open D minor", "open Dm"], &[38, 45, 50, 53, 57, 62]),
    named(&["open E minor", "open Em"], &[40, 47, 52, 55, 59, 64]),
    named(&["open G minor", "open Gm"], &[38, 43, 50, 55, 58, 62]),
    named(&["open A minor", "open Am"], &[40, 45, 52, 57, 60, 64]),
    named(&["open C minor", "open Cm"], &[36, 43, 48, 55, 60, 63]),
    named(&["open C6"], &[36, 45, 48, 55, 60, 64]),
    named(&["DADGAD"], &[38, 45, 50, 55, 57, 62]),
    named(&["all fourths"], &[40, 45, 50, 55, 60, 65]),
    named(&["baritone", "baritone guitar"], &[35, 40, 45, 50, 54, 59]),
    named(
        &["7-string", "7-string guitar", "seven-string"],
        &[35, 40, 45, 50, 55, 59, 64],
    ),
    named(
        &["8-string", "8-string guitar", "eight-string"],
        &[30, 35, 40, 45, 50, 55, 59, 64],
    ),
    named(&["bass", "bass guitar", "4-string bass"], &[28, 33, 38, 43]),
    named(&["5-string bass"], &[23, 28, 33, 38, 43]),
    named(&["ukulele", "uke"], &[67, 60, 64, 69]),
    named(&["ukulele with low G", "low G ukulele"], &[55, 60, 64, 69]),
    named(&["baritone ukulele"], &[50, 55, 59, 64]),
];

/// A name without case, blanks, dashes and the words that say nothing.
fn plain_name(text: &str) -> String {
    text.to_lowercase()
        .replace('♭', "b")
        .replace('♯', "#")
        .split(|c: char| c.is_whitespace() || matches!(c, '-' | '_'))
        .filter(|word| !matches!(*word, "a" | "the" | "tuning"))
        .collect()
}

/// Letters without octaves, `EADGBE` or `Eb Ab Db Gb Bb Eb`, as pitch classes;
/// written small, a `b` may be the string and not a flat.
fn letters(text: &str) -> Vec<Vec<PitchClass>> {
    let compact: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, ',' | '-'))
        .collect();
    let read = |flats: bool| -> Option<Vec<PitchClass>> {
        let mut found: Vec<PitchClass> = Vec::new();
        for c in compact.chars() {
            let letter = c.to_ascii_uppercase();
            match (c, found.last_mut()) {
                ('#' | '♯', Some(last)) => *last = last.up(1),
                ('♭', Some(last)) => *last = last.up(-1),
                ('b', Some(last)) if flats => *last = last.up(-1),
                _ => found.push(letter.to_string().parse::<Spelled>().ok()?.pitch_class()),
            }
        }
        Some(found)
    };
    let small = compact.starts_with(|c: char| c.is_ascii_lowercase());
    let order = if small { [false, true] } else { [true, false] };
    order.into_iter().filter_map(read).collect()
}

/// The tuning that open strings without octaves mean: one that has a name, or the
/// nearest pitches to the usual strings of a guitar with as many.
fn from_letters(text: &str) -> Option<Vec<u8>> {
    let choices = letters(text);
    let classes = |open: &[u8]| -> Vec<PitchClass> {
        let pc = |midi: &u8| PitchClass::new(i32::from(*midi));
        open.iter().map(pc).collect()
    };
    let named = choices
        .iter()
        .find_map(|found| NAMED.iter().find(|n| classes(n.open) == *found));
    if let Some(named) = named {
        return Some(named.open.to_vec());
    }
    choices.iter().find_map(|found| {
        let usual = match found.len() {
            6 => NAMED[0].open,
            7 | 8 => NAMED.iter().find(|n| n.open.len() == found.len())?.open,
            _ => return None,
        };
        let near = |usual: &u8, pc: &PitchClass| {
            let up = pc.above(PitchClass::new(i32::from(*usual)));
            (i32::from(*usual) + if up > 6 { up - 12 } else { up }) as u8
        };
        Some(usual.iter().zip(found).map(|(u, pc)| near(u, pc)).collect())
    })
}

/// An instrument whose lowest string is at least this high (G3) has no bass, MIDI note.
const LOWEST_WITHOUT_BASS: u8 = 55;

impl Tuning {
    /// E2 A2 D3 G3 B3 E4.
    pub fn standard() -> Self {
        Self {
            open: NAMED[0].open.to_vec(),
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

    /// Its name, or its notes: `standard`, `open G`, `D2 A2 D3 F♯3 A3 C4`.
    pub fn text(&self) -> String {
        match NAMED.iter().find(|named| named.open == self.open) {
            Some(named) => named.names[0].into(),
            None => self
                .open
                .iter()
                .map(|m| midi_name(*m))
                .collect::<Vec<_>>()
                .join(" "),
        }
    }

    /// Whether the lowest note of a shape is heard as its bass: not on a ukulele,
    /// whose strings lie high and whose first may be higher than the next (common
    /// practice, no source).
    pub fn has_bass(&self) -> bool {
        let lowest = self.open.iter().min().copied().unwrap_or(0);
        lowest < LOWEST_WITHOUT_BASS && self.open.windows(2).all(|pair| pair[0] <= pair[1])
    }
}

impl std::str::FromStr for Tuning {
    type Err = FretboardError;

    /// A name (`standard`, `drop D`, `open-g`, `half a step down`), the letters of the
    /// open strings low to high (`DADGBE`, `Eb Ab Db Gb Bb Eb`), or their notes
    /// (`D2 A2 D3 G3 B3 E4`).
    fn from_str(text: &str) -> Result<Self, FretboardError> {
        let text = text.trim();
        let own = plain_name(text);
        let named = NAMED
            .iter()
            .find(|named| named.names.iter().any(|name| plain_name(name) == own));
        if let Some(named) = named {
            return Ok(Self {
                open: named.open.to_vec(),
            });
        }
        let has_octaves = text.contains(|c: char| c.is_ascii_digit());
        if !has_octaves && let Some(open) = from_letters(text) {
            return Self::new(open);
        }
        let open = text
            .split([' ', ','])
            .filter(|t| !t.is_empty())
            .map(parse_midi_name)
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| FretboardError::TuningText {
                text: text.into(),
                reason: match has_octaves {
                    true => e.to_string(),
                    false => "no tuning has this name".to_owned(),
                },
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
