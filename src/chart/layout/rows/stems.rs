//! Stems, beams and dots under a tablature: how long each pluck lasts.
//!
//! # Source
//! Gould, "Behind Bars", Faber 2011, from memory: stems below the lines, beams
//! within a beat, a half note's stem half as long, a whole note without one.

use crate::chart::layout::{Item, line};
use crate::chart::sheet::Measure;

/// From the lowest line to a stem, and a stem's length, mm.
const UNDER: f64 = 0.9;
const STEM: f64 = 2.8;
/// A beam's width, from one beam to the next, and a flag's length, mm.
const BEAM: f64 = 0.5;
const BEAMS_APART: f64 = 0.85;
const FLAG: f64 = 1.1;
/// All together, mm.
pub(super) const HEIGHT: f64 = UNDER + STEM + BEAM;

/// When something is plucked, and how long until the next, in eighths.
struct Pluck {
    at: f64,
    eighths: f64,
    beat: usize,
}

impl Pluck {
    /// Beams or flags: one for an eighth, two for a sixteenth, dotted or not.
    fn n_beams(&self) -> usize {
        match self.eighths {
            e if e < 0.9 => 2,
            e if e < 1.9 => 1,
            _ => 0,
        }
    }

    /// Whether it is half as long again as a plain value.
    fn is_dotted(&self) -> bool {
        [0.75, 1.5, 3.0, 6.0]
            .iter()
            .any(|d| (self.eighths - d).abs() < 0.01)
    }
}

fn plucks(measure: &Measure) -> Vec<Pluck> {
    // beats that are divided in three lie on no quarter of a beat
    let on_quarters = |at: f64| (at * 4.0 - (at * 4.0).round()).abs() < 0.01;
    let per_beat = match measure.tab.iter().all(|t| on_quarters(t.at)) {
        true => 2.0,
        false => 3.0,
    };
    let mut times: Vec<f64> = measure.tab.iter().map(|t| t.at).collect();
    times.dedup_by(|b, a| (*b - *a).abs() < 1e-6);
    let ends = times.iter().skip(1).copied();
    let ends = ends.chain([f64::from(measure.n_beats)]);
    times
        .iter()
        .zip(ends)
        .map(|(at, end)| Pluck {
            at: *at,
            eighths: (end - at) * per_beat,
            beat: (at + 1e-6) as usize,
        })
        .collect()
}

/// The stems of a bar; `x` is where a time in beats stands, `bottom` the lowest line, mm.
pub(super) fn stems(
    measure: &Measure,
    x: impl Fn(f64) -> f64,
    bottom: f64,
    s: f64,
    items: &mut Vec<Item>,
) {
    let plucks = plucks(measure);
    let (top, end) = (bottom + UNDER * s, bottom + (UNDER + STEM) * s);
    for (i, pluck) in plucks.iter().enumerate() {
        let here = x(pluck.at);
        if pluck.eighths > 7.9 {
            continue;
        }
        let half = pluck.eighths > 3.9;
        let from = if half { (top + end) / 2.0 } else { top };
        items.push(line((here, from), (here, end), 0.25));
        if pluck.is_dotted() {
            items.push(Item::Circle {
                center: (here + 0.9 * s, end - 0.4 * s),
                radius: 0.28 * s,
                stroke: None,
            });
        }
        let joined = |other: Option<&Pluck>, beam: usize| {
            other
                .filter(|o| o.beat == pluck.beat && o.n_beams() > beam)
                .map(|o| x(o.at))
        };
        let before = |beam| joined(i.checked_sub(1).and_then(|b| plucks.get(b)), beam);
        for beam in 0..pluck.n_beams() {
            let y = end - BEAMS_APART * s * beam as f64;
            match (joined(plucks.get(i + 1), beam), before(beam)) {
                (Some(next), _) => items.push(line((here, y), (next, y), BEAM * s)),
                (None, Some(_)) => {}
                // a short beam towards its group, or a flag
                (None, None) => {
                    let back = before(0).is_some();
                    let to = here + if back { -FLAG } else { FLAG } * s;
                    let rise = if beam == 0 { FLAG * 0.7 * s } else { 0.0 };
                    items.push(line((here, y), (to, y - rise), BEAM * 0.8 * s));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::plucks;
    use crate::chart::sheet::{Measure, TabNote};

    /// Beams and dots of plucks at these beats of a bar.
    fn values(n_beats: u8, times: &[f64]) -> Vec<(usize, bool)> {
        let tab = times.iter().map(|at| TabNote {
            at: *at,
            string: 0,
            fret: 0,
        });
        let measure = Measure {
            number: 1,
            n_beats,
            marks: Vec::new(),
            tab: tab.collect(),
            in_line: false,
            key: None,
            new_key: None,
            simile: false,
            repeat_start: false,
            repeat_end: false,
            ending: None,
            lyrics: Vec::new(),
        };
        let plucks = plucks(&measure);
        plucks
            .iter()
            .map(|p| (p.n_beams(), p.is_dotted()))
            .collect()
    }

    /// Common practice: what each value looks like.
    #[test]
    fn values_are_read_from_where_plucks_stand() {
        let (plain, eighth, sixteenth) = ((0, false), (1, false), (2, false));
        assert_eq!(values(4, &[0.0, 1.0, 2.0, 3.0]), [plain; 4]);
        assert_eq!(values(2, &[0.0, 0.5, 1.0, 1.5]), [eighth; 4]);
        assert_eq!(
            values(4, &[0.0, 1.5, 2.0, 2.25, 2.5, 3.0]),
            [(0, true), eighth, sixteenth, sixteenth, eighth, plain]
        );
        // a dotted eighth and a sixteenth
        assert_eq!(values(1, &[0.0, 0.75]), [(1, true), sixteenth]);
        // 6/8: eighths, a quarter with an eighth, two dotted quarters
        let third = 1.0 / 3.0;
        assert_eq!(
            values(2, &[0.0, third, 2.0 * third, 1.0, 1.0 + 2.0 * third]),
            [eighth, eighth, eighth, plain, eighth]
        );
        // struck together is one value
        assert_eq!(values(4, &[0.0, 0.0, 2.0]), [plain; 2]);
    }
}
