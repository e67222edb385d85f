//! Beats moved from the grid of fine frames onto the strokes' own clock.
//!
//! The search for beats counts in steps of 11.6 ms and keeps its beat length as
//! long as it can: a beat lasts 37 steps or 38, where the player's lasts 37.4, and
//! beats drift off the strokes until the length jumps. Here every beat is drawn
//! to the stroke it meets, and the row is kept as even as a player is.
//!
//! # Source
//! Least squares with a penalty on second differences: Whittaker, "On a new
//! method of graduation", Proc. Edinburgh Math. Soc. 41 (1923). Weights that fall
//! to nothing at a distance: Beaton and Tukey, Technometrics 16 (1974). The
//! numbers are ours: chosen on three sets of rendered takes, tried on seven others.

use crate::hearing::acoustic::strokes::Stroke;
use crate::hearing::learned;
use crate::hearing::rhythm::grid::median;
use crate::hearing::weight_files::CLOCK;
use std::sync::LazyLock;

/// Weights of the fit.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ClockWeights {
    /// Weight of a second difference beside that of a stroke on its beat: a hand is
    /// some 8 ms off its clock, and a clock turns by some 2.5 ms from beat to beat.
    even: f64,
    /// How far from a beat a stroke can be its own, s.
    reach_s: f64,
    /// And at most so much of a beat.
    reach_beats: f64,
    /// Shares of that from pass to pass, as the beats come nearer to their strokes.
    passes: [f64; 4],
    /// Where the search itself lets a beat's length jump by more than this (a natural
    /// logarithm), the row may bend.
    jump: f64,
    /// Weight of a beat's place before: it holds rows that meet no stroke.
    held: f64,
}

static WEIGHTS: LazyLock<ClockWeights> = LazyLock::new(|| learned::read(&CLOCK));

/// The beats (s, rising) on the clock of strokes in order of time; as they are
/// where too few are there to tell a clock.
pub(crate) fn on_strokes(beats_s: &[f64], strokes: &[Stroke]) -> Vec<f64> {
    let w = &*WEIGHTS;
    let n = beats_s.len();
    if n < 5 {
        return beats_s.to_vec();
    }
    let gaps: Vec<f64> = beats_s.windows(2).map(|w| w[1] - w[0]).collect();
    let reach_s = w.reach_s.min(w.reach_beats * median(gaps.clone()));
    let even: Vec<f64> = gaps
        .windows(2)
        .map(|g| w.jump / (g[1] / g[0]).ln().abs().max(w.jump))
        .map(|part| w.even * part * part)
        .collect();
    let mut moved = beats_s.to_vec();
    for pass in w.passes {
        let mut system = Banded::new(n);
        for (i, at_s) in moved.iter().enumerate() {
            let (weight, stroke_s) = own_stroke(*at_s, strokes, reach_s * pass);
            system.draw(i, weight, stroke_s);
            system.draw(i, w.held, beats_s[i]);
        }
        for (i, weight) in even.iter().enumerate() {
            system.straighten(i, *weight);
        }
        moved = system.solved();
    }
    let rises = moved
        .windows(2)
        .zip(&gaps)
        .all(|(w, g)| w[1] - w[0] > 0.5 * g);
    if rises && moved[0] >= 0.0 {
        moved
    } else {
        beats_s.to_vec()
    }
}

/// The stroke that is most a beat's own: how much, 0 to 1, and when it begins.
fn own_stroke(at_s: f64, strokes: &[Stroke], reach_s: f64) -> (f64, f64) {
    let from = strokes.partition_point(|s| s.time_s <= at_s - reach_s);
    let near = strokes[from..].iter();
    near.take_while(|s| s.time_s < at_s + reach_s)
        .map(|s| {
            let off = (s.time_s - at_s) / reach_s;
            let near = 1.0 - off * off;
            (f64::from(s.strength).min(1.0) * near * near, s.time_s)
        })
        .fold((0.0, at_s), |a, b| if b.0 > a.0 { b } else { a })
}

/// Normal equations of a least-squares fit in which each unknown meets the two after it.
struct Banded {
    /// For each unknown: itself, and with the next two.
    rows: Vec<[f64; 3]>,
    right: Vec<f64>,
}

impl Banded {
    fn new(n: usize) -> Self {
        Self {
            rows: vec![[0.0; 3]; n],
            right: vec![0.0; n],
        }
    }

    /// Adds `weight × (x[i] - to)²`.
    fn draw(&mut self, i: usize, weight: f64, to: f64) {
        self.rows[i][0] += weight;
        self.right[i] += weight * to;
    }

    /// Adds `weight × (x[i] - 2 x[i + 1] + x[i + 2])²`.
    fn straighten(&mut self, i: usize, weight: f64) {
        const PARTS: [f64; 3] = [1.0, -2.0, 1.0];
        for (a, first) in PARTS.iter().enumerate() {
            for (b, second) in PARTS.iter().enumerate().skip(a) {
                self.rows[i + a][b - a] += weight * first * second;
            }
        }
    }

    /// The least squares: symmetric elimination, then back.
    fn solved(mut self) -> Vec<f64> {
        let n = self.rows.len();
        for i in 0..n {
            let [pivot, next, after] = self.rows[i];
            for (step, part) in [(1, next / pivot), (2, after / pivot)] {
                if i + step >= n {
                    continue;
                }
                self.right[i + step] -= part * self.right[i];
                for k in step..3 {
                    self.rows[i + step][k - step] -= part * self.rows[i][k];
                }
            }
        }
        let mut x = self.right;
        for i in (0..n).rev() {
            for step in 1..3 {
                if i + step < n {
                    x[i] -= self.rows[i][step] * x[i + step];
                }
            }
            x[i] /= self.rows[i][0];
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::acoustic::attack::FINE_HOP_S;

    /// Strokes of a steady beat, each off by what a hand is off, and what the search makes of them.
    fn played(beat_s: f64, n: usize, struck: fn(usize) -> bool) -> (Vec<Stroke>, Vec<f64>) {
        let off = crate::hearing::acoustic::net_tests::numbers(n, 7);
        let at_s = |i: usize| 1.0 + beat_s * i as f64;
        let strokes = (0..n).filter(|i| struck(*i)).map(|i| Stroke {
            time_s: at_s(i) + 0.01 * (f64::from(off[i]) - 0.5),
            strength: 1.0,
        });
        // one length throughout, and then what it has lost made good
        let steps = (beat_s / FINE_HOP_S) as usize;
        let mut frame = (1.0 / FINE_HOP_S).round() as usize;
        let mut beats = Vec::new();
        for i in 0..n {
            beats.push(frame as f64 * FINE_HOP_S);
            frame += steps;
            if at_s(i + 1) - frame as f64 * FINE_HOP_S > 0.04 {
                frame += 3;
            }
        }
        (strokes.collect(), beats)
    }

    fn bpm(beats: &[f64]) -> f64 {
        60.0 / median(beats.windows(2).map(|w| w[1] - w[0]).collect())
    }

    #[test]
    fn beats_lie_on_the_strokes() {
        let beat_s = 60.0 / 138.0;
        let (strokes, beats) = played(beat_s, 64, |_| true);
        assert!(bpm(&beats) > 139.0, "{}", bpm(&beats));
        let moved = on_strokes(&beats, &strokes);
        assert!((bpm(&moved) - 138.0).abs() < 0.3, "{}", bpm(&moved));
        for (i, at_s) in moved.iter().enumerate() {
            let true_s = 1.0 + beat_s * i as f64;
            assert!((at_s - true_s).abs() < 0.01, "{i}: {at_s} {true_s}");
        }
    }

    #[test]
    fn beats_between_strokes_are_even() {
        let beat_s = 0.5;
        let (strokes, beats) = played(beat_s, 41, |i| i % 4 == 0);
        for (i, at_s) in on_strokes(&beats, &strokes).iter().enumerate() {
            let true_s = 1.0 + beat_s * i as f64;
            assert!((at_s - true_s).abs() < 0.015, "{i}: {at_s} {true_s}");
        }
    }

    #[test]
    fn without_strokes_beats_stay() {
        let beats = [1.0, 1.5, 2.0, 2.5, 3.0, 3.5];
        for (was, now) in beats.iter().zip(on_strokes(&beats, &[])) {
            assert!((was - now).abs() < 1e-6);
        }
        assert_eq!(on_strokes(&[0.5, 0.9], &[]), [0.5, 0.9]);
    }
}
