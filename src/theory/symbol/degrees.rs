//! What was read as degrees, and degrees as a chord.

use super::Reading;
use crate::theory::{Chord, Degree, QUALITIES, Spelled};

impl Reading {
    /// The degrees that were named, and the numbers that were left out; `None` if they make no chord.
    pub(super) fn degrees(mut self) -> Option<(Vec<Degree>, Vec<u8>)> {
        if self.altered {
            self.seventh.get_or_insert(-1);
            self.fifths = vec![Degree::new(5, 1)];
            self.tensions
                .extend([Degree::new(9, -1), Degree::new(9, 1)]);
        }
        if self.triangle {
            self.seventh.get_or_insert(0);
        }
        if self.half_diminished {
            self.seventh.get_or_insert(-1);
        }
        if self.minor && self.major && self.seventh != Some(0) {
            return None;
        }
        let mut degrees = vec![Degree::ROOT];
        let flat_third = self.minor || self.diminished || self.half_diminished;
        if self.sus.is_empty() && !self.power && !self.single {
            degrees.push(Degree::new(3, if flat_third { -1 } else { 0 }));
        }
        degrees.extend(&self.sus);
        if self.fifths.is_empty() && !self.single {
            let flat = self.diminished || self.half_diminished;
            self.fifths.push(Degree::new(5, if flat { -1 } else { 0 }));
        }
        degrees.extend(&self.fifths);
        if self.sixth {
            degrees.push(Degree::new(6, 0));
        }
        degrees.extend(self.seventh.map(|alter| Degree::new(7, alter)));
        // the project's thirteenths leave the eleventh out, as players do
        let stacked: &[u8] = match self.stack {
            9 => &[9],
            11 => &[9, 11],
            13 => &[9, 13],
            _ => &[],
        };
        let replaced = |n: u8| {
            self.tensions
                .iter()
                .any(|t| t.number() == n && t.alter() != 0)
        };
        let kept = stacked.iter().filter(|n| !replaced(**n));
        degrees.extend(kept.map(|n| Degree::new(*n, 0)));
        for omit in &self.omitted {
            let is_it =
                |d: &Degree| d.number() == omit.number() && (omit.alter() == 0 || d == omit);
            let n = degrees.len();
            degrees.retain(|d| !is_it(d));
            let said_twice = self.power && omit.number() == 3;
            if degrees.len() == n && !said_twice {
                return None;
            }
        }
        let has_third = degrees.iter().any(|d| d.number() == 3);
        let one_fourth = self.sus == [Degree::new(4, 0)] && self.seventh.is_none();
        for tension in self.tensions.iter().chain(&self.added) {
            let degree = match (tension.number(), tension.alter()) {
                // a fourth with a second is one suspension
                (2, 0) if one_fourth => Degree::new(2, 0),
                (2, a) => Degree::new(9, a),
                (4, a) if has_third => Degree::new(11, a),
                (6, a) if self.seventh.is_some() => Degree::new(13, a),
                _ => *tension,
            };
            if !degrees.contains(&degree) {
                degrees.push(degree);
            }
        }
        Some((degrees, self.omitted.iter().map(|d| d.number()).collect()))
    }
}

/// The chord with exactly these degrees: under the row that has them, else under the one that
/// needs least added and left out.
pub(super) fn of_degrees(root: Spelled, degrees: &[Degree], omitted: &[u8]) -> Chord {
    let altered_fifth = degrees.iter().any(|d| d.number() == 5 && d.alter() != 0);
    let best = QUALITIES
        .iter()
        .filter_map(|q| {
            let missing: Vec<Degree> = q
                .degrees
                .iter()
                .filter(|d| !degrees.contains(d))
                .copied()
                .collect();
            let may_lack = |d: &Degree| {
                omitted.contains(&d.number()) || (altered_fifth && *d == Degree::new(5, 0))
            };
            let added: Vec<Degree> = degrees
                .iter()
                .filter(|d| !q.degrees.contains(d))
                .copied()
                .collect();
            missing.iter().all(may_lack).then_some((q, missing, added))
        })
        .min_by_key(|(_, missing, added)| {
            2 * missing.len() + 2 * added.len() - usize::from(!missing.is_empty())
        });
    let Some((quality, missing, added)) = best else {
        return Chord::new(root, &QUALITIES[0]);
    };
    Chord {
        added,
        omitted: missing,
        ..Chord::new(root, quality)
    }
    .canonical()
}
