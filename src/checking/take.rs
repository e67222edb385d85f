//! A take held against the chart: bar by bar, and in one sentence.

use super::align::{Alignment, Played};
use super::evidence::{Evidence, Level};
use super::judge::{Weighing, other_shape};
use super::order::align;
use super::outcome::{Fit, PlayedBar, TakeCheck};
use super::slots::{Slot, slots};
use super::summary::summary;
use super::timing::Changes;
use super::verdict::likely_shifts;
use crate::songlog::song::Song;

/// Holds a take against a chart; none if the chart or the take is empty.
pub fn check_take(song: &Song, evidence: &Evidence, level: Level) -> Option<TakeCheck> {
    let mut check = held_against(song, evidence, level)?;
    if !check.recognized {
        for semitones in likely_shifts(song, evidence) {
            let moved = held_against(song, &evidence.lowered(semitones), level);
            if let Some(moved) = moved.filter(|c| c.recognized && c.fit.is_sure()) {
                check = TakeCheck { semitones, ..moved };
                break;
            }
        }
    }
    check.summary = summary(&check, song);
    Some(check)
}

/// Holds a take against a chart as it stands; without the summary.
fn held_against(song: &Song, evidence: &Evidence, level: Level) -> Option<TakeCheck> {
    let slots = slots(song);
    let (readings, off): (Vec<_>, Vec<_>) = slots
        .iter()
        .map(|s| evidence.readings(&s.label, level))
        .unzip();
    if slots.is_empty() || evidence.bounds_s().len() < 2 {
        return None;
    }
    // where a double stop or a brushed string is the lowest note, its place is still found
    let near: Vec<_> = match level {
        Level::Song => readings.iter().map(|r| evidence.over_any_note(r)).collect(),
        Level::Detail => readings.clone(),
    };
    let Some(mut alignment) = align(evidence, &slots, &near) else {
        return Some(nothing(song));
    };
    forget_ringing(&mut alignment.played, evidence, &slots);
    let at_home = readings.iter().flatten().map(|r| r.what).collect();
    let weighing = Weighing {
        evidence,
        key: song.key,
        at_home: &at_home,
        level,
    };
    let changes = Changes {
        song,
        evidence,
        slots: &slots,
        readings: &readings,
        played: &alignment.played,
        level,
    };
    let bounds = evidence.bounds_s();
    let mut bars: Vec<PlayedBar> = Vec::new();
    let mut before: Option<&Slot> = None;
    for (k, played) in alignment.played.iter().enumerate() {
        let slot = &slots[played.slot_idx];
        let goes_on = before.is_some_and(|b| {
            b.bar_idx == slot.bar_idx && alignment.played[k - 1].slot_idx + 1 == played.slot_idx
        });
        if !goes_on {
            bars.push(PlayedBar {
                number: song.bars[slot.bar_idx].number,
                start_s: bounds[played.from],
                end_s: bounds[played.to],
                findings: Vec::new(),
                remarks: Vec::new(),
            });
        }
        before = Some(slot);
        let Some(bar) = bars.last_mut() else { continue };
        bar.end_s = bounds[played.to];
        let i = played.slot_idx;
        let found = weighing.departure(slot, &readings[i], off[i], played.from, played.to);
        if found.is_none() {
            let sounding = evidence.sounding(played.from, played.to);
            bar.remarks
                .extend(other_shape(slot, &song.instrument, &sounding));
            bar.findings.extend(changes.off_place(k));
        }
        bar.findings.extend(found);
    }
    let (left_out, again) = route(song, &slots, &alignment.played);
    let fit = Fit::of(evidence, &slots, &alignment, &bars);
    Some(TakeCheck {
        recognized: fit.is_recognized(bars.len()),
        semitones: 0,
        tempo_ratio: tempo_ratio(evidence, &slots, &alignment),
        fit,
        bars,
        left_out,
        again,
        summary: String::new(),
    })
}

/// Takes away what the last chord's ringing on was lined up with: bars at the end to which the
/// take would jump, with the chord that sounded before, in which nothing is struck clearly.
fn forget_ringing(played: &mut Vec<Played>, evidence: &Evidence, slots: &[Slot]) {
    while let [.., before, last] = played[..] {
        let is_jump = last.slot_idx != before.slot_idx + 1;
        let is_same = slots[last.slot_idx].label == slots[before.slot_idx].label;
        let is_struck = (last.from..last.to).any(|at| evidence.struck_clearly(at));
        if !is_jump || !is_same || is_struck {
            break;
        }
        played.pop();
    }
}

/// Nothing of the chart was found in the take.
fn nothing(song: &Song) -> TakeCheck {
    let all = (song.bars.first(), song.bars.last());
    let left_out = match all {
        (Some(first), Some(last)) => vec![(first.number, last.number)],
        _ => Vec::new(),
    };
    TakeCheck {
        bars: Vec::new(),
        left_out,
        again: Vec::new(),
        tempo_ratio: 1.0,
        recognized: false,
        semitones: 0,
        fit: Fit::default(),
        summary: String::new(),
    }
}

fn tempo_ratio(evidence: &Evidence, slots: &[Slot], alignment: &Alignment) -> f64 {
    let bounds = evidence.bounds_s();
    let mut rates: Vec<f64> = alignment
        .played
        .iter()
        .map(|p| slots[p.slot_idx].length_s / (bounds[p.to] - bounds[p.from]))
        .collect();
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

/// Runs of bars, first and last inclusive.
type BarRuns = Vec<(u32, u32)>;

/// Runs of bars not played, and played more than once.
fn route(song: &Song, slots: &[Slot], played: &[Played]) -> (BarRuns, BarRuns) {
    let n_bars = slots.last().map_or(0, |s| s.bar_idx + 1);
    let first = slots.first().map_or(0, |s| s.bar_idx);
    let mut times = vec![0usize; n_bars];
    let mut last = None;
    for p in played {
        let bar = slots[p.slot_idx].bar_idx;
        let goes_on = last == Some((bar, p.slot_idx.wrapping_sub(1)));
        if !goes_on {
            times[bar] += 1;
        }
        last = Some((bar, p.slot_idx));
    }
    let runs = |wanted: &dyn Fn(usize) -> bool| -> BarRuns {
        let mut found = BarRuns::new();
        for bar in (first..n_bars).filter(|bar| wanted(times[*bar])) {
            let number = song.bars[bar].number;
            match found.last_mut() {
                Some((_, last)) if *last + 1 == number => *last = number,
                _ => found.push((number, number)),
            }
        }
        found
    };
    (runs(&|n| n == 0), runs(&|n| n > 1))
}
