//! Which places of a bar are struck, and how.

use super::describe::{Evidence, mean};
use super::strokes::{Struck, stroke_at};

/// Strokes and drums on the places of the bars: means of attack strengths.
pub(super) struct Accents {
    /// How far the first stroke lies from a beat, 1 half a beat away.
    pub(super) first_off: f32,
    /// Whether it is a downbeat.
    pub(super) first_down: f32,
    /// Low attacks on beats over those on half-beats.
    pub(super) low_beat: f32,
    /// Low attacks on downbeats over those on other beats.
    pub(super) low_down: f32,
    /// High attacks on even beats over those on odd ones.
    pub(super) back: f32,
    /// Attacks, low ones and high ones in the middle of a bar over those at its thirds.
    pub(super) middle: [f32; 3],
}

/// What the hand does on downbeats, on other beats and half-way between beats, 0 to 1 each.
pub(super) struct Hands {
    /// A bass note alone.
    pub(super) bass: [f32; 3],
    /// A full hand.
    pub(super) full: [f32; 3],
    /// How low it reaches.
    pub(super) low: [f32; 3],
    /// How much a bass note alone on a beat and a full hand on the next take turns.
    pub(super) boom: f32,
}

impl Evidence<'_> {
    pub(super) fn hands(&self, frames: &[usize], places: &[u8]) -> Hands {
        let struck: Vec<_> = frames
            .iter()
            .map(|f| stroke_at(&self.strokes, *f))
            .collect();
        let halves = frames.windows(2).map(|w| w[0] + (w[1] - w[0]) / 2);
        let halves: Vec<_> = halves.map(|f| stroke_at(&self.strokes, f)).collect();
        let means = |what: fn(&Struck) -> f32| {
            let value = |s: &Option<Struck>| s.as_ref().map_or(0.0, what);
            let on = |wanted: &dyn Fn(u8) -> bool| {
                let here = struck.iter().zip(places).filter(|(_, p)| wanted(**p));
                mean(here.map(|(s, _)| value(s)))
            };
            let half = mean(halves.iter().map(value));
            // in two and four every other beat may have its bass
            let even = places.iter().max().is_none_or(|n| n % 2 == 0);
            let turns = match even {
                true => on(&|p| p % 2 == 1) - on(&|p| p % 2 == 0),
                false => on(&|p| p == 1) - on(&|p| p != 1),
            };
            ([on(&|p| p == 1), on(&|p| p != 1), half], turns)
        };
        let (bass, low_turns) = means(|s| s.bass);
        let (full, full_turns) = means(|s| s.full);
        Hands {
            bass,
            full,
            low: means(|s| s.low).0,
            boom: low_turns.max(0.0) * (-full_turns).max(0.0),
        }
    }

    /// Strokes, low ones and full ones in the middle of a bar over those at its thirds.
    pub(super) fn middle_strokes(&self, frames: &[usize], places: &[u8], per_bar: u8) -> [f32; 3] {
        let bars: Vec<(usize, usize)> = (0..frames.len())
            .filter(|i| places[*i] == 1)
            .filter_map(|i| Some((frames[i], *frames.get(i + usize::from(per_bar))?)))
            .collect();
        let of: [fn(&Struck) -> f32; 3] = [|_| 1.0, |s| s.low, |s| s.full];
        of.map(|what| {
            mean(bars.iter().map(|(from, to)| {
                let here = |part: f32| {
                    let at = from + ((to - from) as f32 * part) as usize;
                    stroke_at(&self.strokes, at).as_ref().map_or(0.0, what)
                };
                here(0.5) - 0.5 * (here(1.0 / 3.0) + here(2.0 / 3.0))
            }))
        })
    }

    /// How much more harmony changes at every other bar than at those between, 0 to 1.
    pub(super) fn turns(&self, frames: &[usize], places: &[u8]) -> f32 {
        let downs = frames.iter().zip(places).filter(|(_, p)| **p == 1);
        let changes: Vec<f32> = downs.map(|(f, _)| self.moments[*f][3]).collect();
        let every = |from: usize| mean(changes.iter().skip(from).step_by(2).copied());
        (every(0) - every(1)).abs()
    }

    /// What is struck where, beside the changes of harmony.
    pub(super) fn accents(&self, frames: &[usize], places: &[u8], per_bar: u8) -> Accents {
        let at = |frame: usize, k: usize| self.moments.get(frame).map_or(0.0, |m| m[k]);
        let mean_at = |k: usize, wanted: &dyn Fn(u8) -> bool| {
            let here = frames.iter().zip(places).filter(|(_, p)| wanted(**p));
            mean(here.map(|(f, _)| at(*f, k)))
        };
        let (mut first_off, mut first_down) = (0.0, 0.0);
        if let Some(first) = self.first {
            let i = frames.partition_point(|f| *f <= first);
            // the beat before it, or one before the first
            let (before, next) = match (i.checked_sub(1), frames.get(i)) {
                (Some(b), Some(n)) => (frames[b] as f32, *n as f32),
                (None, Some(n)) if frames.len() > 1 => {
                    let gap = (frames[1] - frames[0]) as f32;
                    let back = ((*n as f32 - first as f32) / gap).ceil();
                    (*n as f32 - back * gap, *n as f32 - (back - 1.0) * gap)
                }
                _ => (first as f32, first as f32 + 1.0),
            };
            let part = (first as f32 - before) / (next - before).max(1.0);
            first_off = 2.0 * part.min(1.0 - part).max(0.0);
            let nearest = if part > 0.5 { i } else { i.saturating_sub(1) };
            if first_off < 0.4 && places.get(nearest) == Some(&1) {
                first_down = 1.0;
            }
        }
        let halves = frames.windows(2).map(|w| at(w[0] + (w[1] - w[0]) / 2, 1));
        let low = mean_at(1, &|_| true);
        // the middle of the bar against what would divide it otherwise
        let middle = [0, 1, 2].map(|k| {
            let bars = (0..frames.len()).filter(|i| places[*i] == 1);
            mean(bars.filter_map(|i| {
                let next = *frames.get(i + usize::from(per_bar))?;
                let length = next - frames[i];
                let here = |part: f32| at(frames[i] + (length as f32 * part) as usize, k);
                Some(here(0.5) - 0.5 * (here(1.0 / 3.0) + here(2.0 / 3.0)))
            }))
        });
        Accents {
            first_off,
            first_down,
            low_beat: low - mean(halves),
            low_down: mean_at(1, &|p| p == 1) - mean_at(1, &|p| p != 1),
            back: match per_bar {
                2 | 4 => mean_at(2, &|p| p % 2 == 0) - mean_at(2, &|p| p % 2 == 1),
                _ => 0.0,
            },
            middle,
        }
    }
}
