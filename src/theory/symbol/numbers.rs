//! Numbers of a symbol: sevenths, extensions, and alterations with a sign before or behind.

use super::Reading;
use crate::theory::Degree;

impl Reading {
    /// Reads one word, number or alteration; gives what follows.
    pub(super) fn token<'a>(&mut self, text: &'a str) -> Option<&'a str> {
        if let Some(rest) = self.word(text) {
            return rest;
        }
        // a zero typed for the sign of a diminished chord
        if let Some(rest) = text.strip_prefix('0').filter(|_| !self.any) {
            self.diminished = true;
            return Some(rest);
        }
        let signed = text.trim_start_matches(['#', 'b', '+', '-']);
        let signs = &text[..text.len() - signed.len()];
        let end = signed
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(signed.len());
        let (digits, rest) = signed.split_at(end);
        let number: u8 = digits.parse().ok().filter(|_| digits.len() < 3)?;
        let (signs, rest) = match behind(number, rest) {
            Some((sign, rest)) if signs.is_empty() && (self.any || number == 5) => (sign, rest),
            _ => (signs, rest),
        };
        match signs {
            "" => self.number(number)?,
            "#" | "+" => self.alteration(number, 1)?,
            "b" | "-" => self.alteration(number, -1)?,
            _ => return None,
        }
        self.after_sus = false;
        Some(rest)
    }

    fn number(&mut self, number: u8) -> Option<()> {
        match number {
            2 if !self.any || self.minor => self.tensions.push(Degree::new(9, 0)),
            4 if !self.any || self.may_suspend() => self.sus.push(Degree::new(4, 0)),
            5 if !self.any => self.power = true,
            // `aug5`
            5 if self.fifths == [Degree::new(5, 1)] => {}
            // `9/6`, the other way round
            6 if self.stack == 9 && self.seventh == Some(-1) && !self.minor => {
                (self.seventh, self.stack, self.sixth) = (None, 0, true);
                self.tensions.push(Degree::new(9, 0));
            }
            6 if self.seventh.is_some() => self.tensions.push(Degree::new(13, 0)),
            6 | 69 if !self.sixth && !self.diminished && !self.half_diminished => {
                self.sixth = true;
                if number == 69 {
                    self.tensions.push(Degree::new(9, 0));
                }
            }
            9 if self.sixth => self.tensions.push(Degree::new(9, 0)),
            7 if self.half_diminished && self.seventh.is_none() => self.seventh = Some(-1),
            7 | 9 | 11 | 13 if self.seventh.is_none() && !self.sixth && !self.power => {
                self.seventh = Some(if self.major {
                    0
                } else if self.diminished {
                    -2
                } else {
                    -1
                });
                self.stack = number;
            }
            9 | 11 | 13 if self.seventh.is_some() && number > self.stack => {
                self.tensions.push(Degree::new(number, 0));
            }
            _ => return None,
        }
        Some(())
    }

    /// Whether a fourth behind a seventh is a suspension: `A7/4`.
    fn may_suspend(&self) -> bool {
        let third = self.minor || self.diminished || self.half_diminished;
        self.seventh == Some(-1) && self.sus.is_empty() && !third
    }

    fn alteration(&mut self, number: u8, alter: i8) -> Option<()> {
        let degree = Degree::new(number, alter);
        match (number, alter) {
            (5, _) if !self.power && !self.diminished && !self.half_diminished => {
                self.fifths.push(degree);
            }
            (9, _) | (11, 1) | (13, -1) => {
                // `maj#11` leaves open whether a seventh is meant
                if self.major && self.seventh.is_none() && !self.triangle && !self.sixth {
                    return None;
                }
                self.tensions.push(degree);
            }
            (6, -1) if self.seventh.is_some() => self.tensions.push(Degree::new(13, -1)),
            (6, -1) => self.tensions.push(degree),
            (4, 1) => self.tensions.push(Degree::new(11, 1)),
            _ => return None,
        }
        Some(())
    }
}

/// A sign that stands behind the number it alters, `E7/9+`, and what follows.
fn behind(number: u8, rest: &str) -> Option<(&'static str, &str)> {
    let sign = match rest.chars().next()? {
        '+' => "+",
        '-' => "-",
        _ => return None,
    };
    let after = &rest[1..];
    let ends = after.is_empty() || after.starts_with([')', ',', '/', ' ']);
    (matches!(number, 5 | 9 | 11 | 13) && ends).then_some((sign, after))
}
