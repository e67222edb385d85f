//! Whether a take is the chart's at all: by order and coverage, not chord by chord.

use super::align::Alignment;
use super::evidence::{Evidence, Level};
use super::outcome::{Fit, PlayedBar, TakeCheck, Verdict};
use super::slots::{Slot, slots};

use crate::songlog::song::Song;
use serde::Deserialize;
use std::sync::LazyLock;

/// From which shares on a take counts as the chart's.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct VerdictWeights {
    /// A take with more bars amiss is not the chart's.
    lost_share: f64,
    /// From this share on it is asked whether it is.
    pub(super) doubtful_share: f64,
    /// A take of which less is lined up with the chart is not the chart's.
    least_take_share: f64,
    /// The chart's order must explain so much of the take.
    sure_order: f64,
    /// A take that plays less of the chart must play it nearly without a jump.
    least_chart_share: f64,
    /// Jumps for each bar played that are nearly none.
    few_jumps: f64,
    /// Bars as written by which a take in another key is the chart's, where the
    /// chart has no order to go by.
    written_share: f64,
    /// Other keys that are tried, the likely ones.
    n_shifts: usize,
}

pub(super) static WEIGHTS: LazyLock<VerdictWeights> = LazyLock::new(|| {
    // a broken build, which every check of a take finds
    serde_json::from_str(include_str!("weights/verdict.json"))
        .unwrap_or_else(|e| panic!("src/checking/weights/verdict.json: {e}"))
});

impl Fit {
    /// By how the take is lined up.
    pub(super) fn of(
        evidence: &Evidence,
        slots: &[Slot],
        alignment: &Alignment,
        bars: &[PlayedBar],
    ) -> Self {
        let played = &alignment.played;
        let sound =
            |from: usize, to: usize| -> f64 { (from..to).map(|b| evidence.sound_s(b)).sum() };
        let all = sound(0, evidence.bounds_s().len() - 1);
        let in_bars: f64 = played.iter().map(|p| sound(p.from, p.to)).sum();
        let distinct = |mut list: Vec<usize>| -> f64 {
            list.sort_unstable();
            list.dedup();
            list.len() as f64
        };
        let of_take = distinct(played.iter().map(|p| slots[p.slot_idx].bar_idx).collect());
        let of_chart = distinct(slots.iter().map(|s| s.bar_idx).collect());
        let is_jump = |w: &&[super::align::Played]| w[1].slot_idx != w[0].slot_idx + 1;
        let n_jumps = played.windows(2).filter(is_jump).count();
        let n = bars.len().max(1) as f64;
        Self {
            take_share: if all > 0.0 { in_bars / all } else { 0.0 },
            chart_share: of_take / of_chart.max(1.0),
            as_written_share: bars.iter().filter(|b| b.findings.is_empty()).count() as f64 / n,
            jumps_per_bar: n_jumps as f64 / n,
            order: alignment.order.map(f64::from),
        }
    }

    /// Whether the take is the chart's: enough bars are as written, and the
    /// chart's order explains them. The chords of another song in the same key
    /// are found in the chart too, but by jumping about in it.
    pub(super) fn is_recognized(&self, n_bars: usize) -> bool {
        let n_amiss = ((1.0 - self.as_written_share) * n_bars as f64).round();
        let is_lost = n_amiss >= WEIGHTS.lost_share * n_bars as f64;
        let few_jumps = self.jumps_per_bar < WEIGHTS.few_jumps;
        let follows = match self.order {
            Some(order) => {
                let is_covered = self.chart_share >= WEIGHTS.least_chart_share;
                order >= WEIGHTS.sure_order && (few_jumps || is_covered)
            }
            None => few_jumps,
        };
        !is_lost && follows && self.take_share >= WEIGHTS.least_take_share
    }

    /// Whether a take that sounds in another key is surely the chart's.
    pub(super) fn is_sure(&self) -> bool {
        if self.chart_share < WEIGHTS.least_chart_share {
            return false;
        }
        match self.order {
            Some(order) => order >= WEIGHTS.sure_order,
            None => self.as_written_share >= WEIGHTS.written_share,
        }
    }
}

/// The shifts that bring the take's chords nearest to the chart's, in semitones
/// that the take is above it, -5 to 6 without 0.
pub(super) fn likely_shifts(song: &Song, evidence: &Evidence) -> Vec<i8> {
    let written: Vec<(Vec<usize>, f64)> = slots(song)
        .iter()
        .map(|s| {
            let readings = evidence.readings(&s.label, Level::Song).0;
            (readings.iter().map(|r| r.what.class).collect(), s.length_s)
        })
        .collect();
    let mut ranked: Vec<(f64, i8)> = (-5..=6)
        .filter(|k| *k != 0)
        .map(|k| {
            let heard = evidence.lowered(k).class_seconds();
            let best = |classes: &[usize]| classes.iter().map(|c| heard[*c]).fold(0.0, f64::max);
            let alike = written.iter().map(|(list, s)| s * best(list)).sum();
            (alike, k)
        })
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    let likely = ranked.iter().take(WEIGHTS.n_shifts);
    likely.map(|(_, k)| *k).collect()
}

impl TakeCheck {
    /// What the take is to the chart.
    pub fn verdict(&self) -> Verdict {
        if !self.recognized {
            Verdict::AnotherSong
        } else if self.semitones != 0 {
            Verdict::Transposed
        } else if self.as_written() {
            Verdict::AsWritten
        } else if self.only_part().is_some() {
            Verdict::PartOnly
        } else {
            Verdict::Differences
        }
    }

    /// The first and last bar of a take that plays one run of the chart's bars, in order.
    pub fn only_part(&self) -> Option<(u32, u32)> {
        let (first, last) = (self.bars.first()?.number, self.bars.last()?.number);
        let in_order = self.bars.windows(2).all(|w| w[1].number == w[0].number + 1);
        let is_part = !self.left_out.is_empty() && self.again.is_empty() && last > first;
        (in_order && is_part).then_some((first, last))
    }
}
