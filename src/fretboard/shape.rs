//! A shape: one fret (or none) for each string.

use super::FretboardError;

/// The highest fret that a shape may name.
pub(crate) const HIGHEST_FRET: u8 = 24;

/// A fingering: for each string, low to high as written, its fret from the capo, or muted.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Shape {
    frets: Vec<Option<u8>>,
}

impl Shape {
    /// A shape from frets; `None` is a muted string.
    ///
    /// # Errors
    /// * [`FretboardError::FretRange`] for a fret over 24.
    pub fn new(frets: Vec<Option<u8>>) -> Result<Self, FretboardError> {
        match frets.iter().flatten().find(|f| **f > HIGHEST_FRET) {
            Some(f) => Err(FretboardError::FretRange {
                fret: u32::from(*f),
                highest: HIGHEST_FRET,
            }),
            None => Ok(Self { frets }),
        }
    }

    /// Frets, low string first.
    pub fn frets(&self) -> &[Option<u8>] {
        &self.frets
    }

    /// `x02210`, or with dashes if a fret has two digits: `x-10-12-12-11-10`.
    pub fn text(&self) -> String {
        let wide = self.frets.iter().flatten().any(|f| *f > 9);
        let parts: Vec<String> = self
            .frets
            .iter()
            .map(|f| f.map_or_else(|| "x".into(), |f| f.to_string()))
            .collect();
        parts.join(if wide { "-" } else { "" })
    }
}

impl Shape {
    /// The signs of a text divided into `n` frets of one hand, some of two digits:
    /// `8x8910x` as `8-x-8-9-10-x`; the division whose frets lie nearest together.
    pub(super) fn divided(text: &str, n: usize) -> Option<Self> {
        let is_long = text.len() > n && text.len() <= 2 * n;
        let width = |frets: &Vec<Option<u8>>| {
            let pressed = || frets.iter().flatten().filter(|f| **f > 0);
            Some(pressed().max()? - pressed().min()?)
        };
        divisions(text.as_bytes(), n)
            .into_iter()
            .filter_map(|frets| Some((width(&frets)?, frets)))
            .filter(|(width, _)| is_long && *width <= WIDEST)
            .min_by_key(|(width, _)| *width)
            .and_then(|(_, frets)| Self::new(frets).ok())
    }
}

/// Frets that a hand still reaches, for guesses at what was meant.
const WIDEST: u8 = 5;

/// All ways to read signs as `n` frets of one or two digits or `x`.
fn divisions(signs: &[u8], n: usize) -> Vec<Vec<Option<u8>>> {
    let mut found = Vec::new();
    if signs.is_empty() && n == 0 {
        return vec![Vec::new()];
    }
    if signs.len() < n || signs.len() > 2 * n {
        return found;
    }
    for digits in [1, 2] {
        let Some(fret) = signs.get(..digits) else {
            continue;
        };
        let fret = match fret {
            b"x" | b"X" => None,
            [b'1' | b'2', b'0'..=b'9'] | [b'0'..=b'9'] => {
                Some(fret.iter().fold(0, |sum, d| 10 * sum + (d - b'0')))
            }
            _ => continue,
        };
        for mut rest in divisions(&signs[digits..], n - 1) {
            rest.insert(0, fret);
            found.push(rest);
        }
    }
    found
}

impl std::fmt::Display for Shape {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text())
    }
}

impl std::str::FromStr for Shape {
    type Err = FretboardError;

    /// One sign a string (`x02210`), or frets divided by dashes, dots, commas or blanks (`x-10-12-12-11-10`).
    fn from_str(text: &str) -> Result<Self, FretboardError> {
        let text = text.trim();
        let bad = |part: &str| FretboardError::ShapeText {
            text: text.chars().take(40).collect(),
            part: part.chars().take(20).collect(),
        };
        let divided = text.contains(['-', '.', ',', ' ']);
        let parts: Vec<&str> = if divided {
            text.split(['-', '.', ',', ' ']).collect()
        } else {
            text.split("").filter(|p| !p.is_empty()).collect()
        };
        if parts.len() < 2 || parts.len() > 12 {
            return Err(bad(text));
        }
        let frets = parts
            .into_iter()
            .map(|p| match p {
                "x" | "X" => Ok(None),
                digits if !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()) => {
                    let fret: u32 = digits.parse().map_err(|_| bad(digits))?;
                    u8::try_from(fret)
                        .ok()
                        .filter(|f| *f <= HIGHEST_FRET)
                        .map(Some)
                        .ok_or(FretboardError::FretRange {
                            fret,
                            highest: HIGHEST_FRET,
                        })
                }
                other => Err(bad(other)),
            })
            .collect::<Result<Vec<_>, _>>()?;
        Self::new(frets)
    }
}
