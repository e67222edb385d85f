//! Changes of chord that come early or late.

use super::align::Played;
use super::evidence::{Evidence, Level, Reading};
use super::judge::{Departure, Finding, MARGINS, certainty};
use super::slots::Slot;
use crate::songlog::song::Song;

/// The steady tempo around a place: a straight line through the starts near it,
/// as chart and take have them, s.
struct Line {
    /// Take seconds for a chart second.
    slope: f64,
    /// Where the place lies on it, in the take.
    place_s: f64,
    /// The farthest that a start lies beside it.
    worst_s: f64,
}

impl Line {
    /// Around the `k`-th slot played; none if too few follow each other there.
    fn around(evidence: &Evidence, slots: &[Slot], played: &[Played], k: usize) -> Option<Self> {
        const AROUND: usize = 4;
        const LEAST_EACH_SIDE: usize = 2;
        let own = played[k].slot_idx;
        let start_s = |p: &Played| (slots[p.slot_idx].start_s, evidence.bounds_s()[p.from]);
        let run = |list: Vec<&Played>, step: i64| -> Vec<(f64, f64)> {
            let each = list.into_iter().take(AROUND).enumerate();
            each.take_while(|(d, p)| p.slot_idx as i64 == own as i64 + step * (*d as i64 + 1))
                .map(|(_, p)| start_s(p))
                .collect()
        };
        let before = run(played[..k].iter().rev().collect(), -1);
        let after = run(played[k + 1..].iter().collect(), 1);
        if before.len() < LEAST_EACH_SIDE || after.len() < LEAST_EACH_SIDE {
            return None;
        }
        let points: Vec<(f64, f64)> = before.into_iter().chain(after).collect();
        let n = points.len() as f64;
        let mean = |f: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(f).sum::<f64>() / n;
        let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
        let spread = mean(&|p| (p.0 - x).powi(2)).max(1e-9);
        let slope = mean(&|p| (p.0 - x) * (p.1 - y)) / spread;
        let off = |p: &(f64, f64)| (p.1 - y - slope * (p.0 - x)).abs();
        Some(Self {
            slope,
            place_s: y + slope * (slots[own].start_s - x),
            worst_s: points.iter().map(off).fold(0.0, f64::max),
        })
    }
}

/// A take lined up with a chart, to judge when its chords change.
pub(super) struct Changes<'a> {
    pub(super) song: &'a Song,
    pub(super) evidence: &'a Evidence,
    pub(super) slots: &'a [Slot],
    pub(super) readings: &'a [Vec<Reading>],
    pub(super) played: &'a [Played],
    pub(super) level: Level,
}

impl Changes<'_> {
    /// A change of chord that comes early or late against the bars around it.
    pub(super) fn off_place(&self, k: usize) -> Option<Finding> {
        let bounds = self.evidence.bounds_s();
        let played = self.played[k];
        let before = self.played.get(k.checked_sub(1)?)?;
        let slot = &self.slots[played.slot_idx];
        let (old, new) = (
            &self.readings[before.slot_idx],
            &self.readings[played.slot_idx],
        );
        if before.slot_idx + 1 != played.slot_idx || old.is_empty() || new.is_empty() || old == new
        {
            return None;
        }
        let line = Line::around(self.evidence, self.slots, self.played, k)?;
        let bar = &self.song.bars[slot.bar_idx];
        let beat_s = line.slope * (bar.end_s - bar.start_s) / f64::from(bar.n_beats.max(1));
        let off_beats = (bounds[played.from] - line.place_s) / beat_s;
        let most = match self.level {
            Level::Song => MARGINS.off_beats_song,
            Level::Detail => MARGINS.off_beats_detail,
        };
        if off_beats.abs() < most || line.worst_s > MARGINS.steady_beats * beat_s {
            return None;
        }
        // what sounds between the two places must speak for it
        let at = bounds.partition_point(|b| *b < line.place_s - 0.05);
        let (from, to) = (at.min(played.from), at.max(played.from));
        if from == to {
            return None;
        }
        let best = |list: &[Reading]| self.evidence.best_of(from, to, list);
        let (departure, ahead) = if off_beats < 0.0 {
            (Departure::Early, best(new) - best(old))
        } else {
            (Departure::Late, best(old) - best(new))
        };
        let word = departure.name();
        (ahead > departure.margin()).then(|| Finding {
            departure,
            beat: slot.beat,
            written: slot.label.clone(),
            heard: None,
            certainty: certainty(ahead),
            words: format!(
                "{} comes {:.1} beats {word}",
                slot.label.symbol(),
                off_beats.abs()
            ),
        })
    }
}
