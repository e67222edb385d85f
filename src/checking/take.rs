//! A take held against the chart: bar by bar, and in one sentence.

use super::align::{Alignment, Played, align};
use super::evidence::{Evidence, Heardable};
use super::judge::{Departure, Finding, Weighing, certainty, other_shape};
use super::slots::{Slot, slots};
use crate::songlog::song::Song;

/// One bar as played.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedBar {
    /// The chart's bar number.
    pub number: u32,
    /// From, in the take, s.
    pub start_s: f64,
    /// To, in the take, s.
    pub end_s: f64,
    /// Departures from the chart; empty: as written.
    pub findings: Vec<Finding>,
    /// What is worth knowing but departs from nothing: another shape of the chord.
    pub remarks: Vec<String>,
}

/// What came of holding a take against the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeCheck {
    /// Bars in the order played.
    pub bars: Vec<PlayedBar>,
    /// First and last number of each run of bars that was not played.
    pub left_out: Vec<(u32, u32)>,
    /// First and last number of each run of bars that was played again.
    pub again: Vec<(u32, u32)>,
    /// Tempo of the take as a multiple of the chart's.
    pub tempo_ratio: f64,
    /// Whether the take looks like this chart at all.
    pub recognized: bool,
    /// How many semitones above the chart the take sounds, below 0 for under it:
    /// another capo, tuning or recording speed.
    pub semitones: i8,
    /// How far the take is the chart's.
    pub fit: Fit,
    /// In one sentence.
    pub summary: String,
}

/// How far a take is that of a chart.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fit {
    /// Share of the take's sound that is lined up with a bar of the chart, 0 to 1.
    pub take_share: f64,
    /// Share of the chart's bars that are played, 0 to 1.
    pub chart_share: f64,
    /// Share of the bars played that are as written, 0 to 1.
    pub as_written_share: f64,
    /// Jumps from bar to bar that the chart does not have, for each bar played.
    pub jumps_per_bar: f64,
    /// What the order of the bars explains of the take, of what it could: about
    /// 1 for a take of the chart, about 0 for another song in the same key;
    /// none where the bars are too much alike to tell.
    pub order: Option<f64>,
}

impl TakeCheck {
    /// Whether all is as written.
    pub fn as_written(&self) -> bool {
        self.recognized
            && self.semitones == 0
            && self.left_out.is_empty()
            && self.again.is_empty()
            && self.bars.iter().all(|b| b.findings.is_empty())
    }
}

/// A take with more bars amiss than this is not the chart's.
const LOST_SHARE: f64 = 0.6;
/// From this share on it is asked whether it is.
const DOUBTFUL_SHARE: f64 = 0.4;
/// A take of which less is lined up with the chart is not the chart's.
const LEAST_TAKE_SHARE: f64 = 0.4;
/// With an order that explains so much a take is the chart's whatever is left out or again.
const SURE_ORDER: f64 = 0.6;
/// With so much it is if it follows the chart nearly without a jump.
const LEAST_ORDER: f64 = 0.3;
/// Jumps for each bar played that are nearly none.
const FEW_JUMPS: f64 = 0.12;
const IS_IT_THE_TAKE: &str = "Is it the right take, the right tuning and capo?";

impl Fit {
    /// Whether the chart's order explains the take: the chords of another song
    /// in the same key are found in the chart too, but by jumping about in it.
    fn follows(&self) -> bool {
        if self.take_share < LEAST_TAKE_SHARE {
            return false;
        }
        let few_jumps = self.jumps_per_bar < FEW_JUMPS;
        match self.order {
            Some(order) => order >= SURE_ORDER || (few_jumps && order >= LEAST_ORDER),
            None => few_jumps,
        }
    }
}

/// Holds a take against a chart; none if the chart or the take is empty.
pub fn check_take(song: &Song, evidence: &Evidence) -> Option<TakeCheck> {
    let mut check = held_against(song, evidence)?;
    if !check.recognized {
        for semitones in likely_shifts(song, evidence) {
            let moved = held_against(song, &evidence.lowered(semitones));
            let same = |c: &TakeCheck| c.fit.order.is_some_and(|order| order >= SURE_ORDER);
            if let Some(moved) = moved.filter(|c| c.recognized && same(c)) {
                check = TakeCheck { semitones, ..moved };
                break;
            }
        }
    }
    check.summary = summary(&check, song);
    Some(check)
}

/// The two shifts that bring the take's chords nearest to the chart's, in
/// semitones that the take is above it, -5 to 6 without 0.
fn likely_shifts(song: &Song, evidence: &Evidence) -> Vec<i8> {
    const N_TRIED: usize = 2;
    let written: Vec<(Vec<Heardable>, f64)> = slots(song)
        .iter()
        .map(|s| (evidence.readings(&s.label).0, s.length_s))
        .collect();
    let mut ranked: Vec<(f64, i8)> = (-5..=6)
        .filter(|k| *k != 0)
        .map(|k| {
            let heard = evidence.lowered(k).class_seconds();
            let best = |list: &[Heardable]| {
                let each = list.iter().map(|r| heard[r.class]);
                each.fold(0.0, f64::max)
            };
            let alike = written.iter().map(|(list, s)| s * best(list)).sum();
            (alike, k)
        })
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.iter().take(N_TRIED).map(|(_, k)| *k).collect()
}

/// Holds a take against a chart as it stands; without the sentence.
fn held_against(song: &Song, evidence: &Evidence) -> Option<TakeCheck> {
    let slots = slots(song);
    let (readings, off): (Vec<_>, Vec<_>) =
        slots.iter().map(|s| evidence.readings(&s.label)).unzip();
    if slots.is_empty() || evidence.bounds_s().len() < 2 {
        return None;
    }
    let Some(alignment) = align(evidence, &slots, &readings) else {
        return Some(nothing(song));
    };
    let at_home = readings.iter().flatten().copied().collect();
    let weighing = Weighing {
        evidence,
        key: song.key,
        at_home: &at_home,
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
            bar.findings
                .extend(timing(song, evidence, &slots, &readings, &alignment, k));
        }
        bar.findings.extend(found);
    }
    let (left_out, again) = route(song, &slots, &alignment.played);
    let amiss = bars.iter().filter(|b| !b.findings.is_empty()).count();
    let fit = fit(evidence, &slots, &alignment, &bars);
    let mostly = (amiss as f64) < LOST_SHARE * bars.len() as f64 || amiss < 3;
    Some(TakeCheck {
        recognized: mostly && fit.follows(),
        semitones: 0,
        tempo_ratio: tempo_ratio(evidence, &slots, &alignment),
        fit,
        bars,
        left_out,
        again,
        summary: String::new(),
    })
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

/// How far the take is the chart's, by how it is lined up.
fn fit(evidence: &Evidence, slots: &[Slot], alignment: &Alignment, bars: &[PlayedBar]) -> Fit {
    let played = &alignment.played;
    let sound = |from: usize, to: usize| -> f64 { (from..to).map(|b| evidence.sound_s(b)).sum() };
    let all = sound(0, evidence.bounds_s().len() - 1);
    let in_bars: f64 = played.iter().map(|p| sound(p.from, p.to)).sum();
    let mut numbers: Vec<usize> = played.iter().map(|p| slots[p.slot_idx].bar_idx).collect();
    let jumps = played
        .windows(2)
        .filter(|w| w[1].slot_idx != w[0].slot_idx + 1)
        .count();
    numbers.sort_unstable();
    numbers.dedup();
    let mut of_chart: Vec<usize> = slots.iter().map(|s| s.bar_idx).collect();
    of_chart.dedup();
    let n = bars.len().max(1) as f64;
    Fit {
        take_share: if all > 0.0 { in_bars / all } else { 0.0 },
        chart_share: numbers.len() as f64 / of_chart.len().max(1) as f64,
        as_written_share: bars.iter().filter(|b| b.findings.is_empty()).count() as f64 / n,
        jumps_per_bar: jumps as f64 / n,
        order: alignment.order.map(f64::from),
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

/// How far a change may be off its place, in beats.
const OFF_BEATS: f64 = 0.4;

/// A change of chord that comes early or late against the bars around it.
fn timing(
    song: &Song,
    evidence: &Evidence,
    slots: &[Slot],
    readings: &[Vec<Heardable>],
    alignment: &Alignment,
    k: usize,
) -> Option<Finding> {
    const AROUND: usize = 4;
    let bounds = evidence.bounds_s();
    let played = alignment.played[k];
    let before = alignment.played.get(k.checked_sub(1)?)?;
    let slot = &slots[played.slot_idx];
    let (old, new) = (&readings[before.slot_idx], &readings[played.slot_idx]);
    if before.slot_idx + 1 != played.slot_idx || old.is_empty() || new.is_empty() || old == new {
        return None;
    }
    // a straight line through the starts around this one
    let mut points = Vec::new();
    for step in [-1i64, 1] {
        for d in 1..=AROUND as i64 {
            let at = k as i64 + step * d;
            let Some(other) = usize::try_from(at)
                .ok()
                .and_then(|i| alignment.played.get(i))
            else {
                break;
            };
            if other.slot_idx as i64 != played.slot_idx as i64 + step * d {
                break;
            }
            points.push((slots[other.slot_idx].start_s, bounds[other.from]));
        }
    }
    if points.len() < 5 {
        return None;
    }
    let n = points.len() as f64;
    let mean = |f: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(f).sum::<f64>() / n;
    let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
    let slope = mean(&|p| (p.0 - x) * (p.1 - y)) / mean(&|p| (p.0 - x).powi(2)).max(1e-9);
    let place_s = y + slope * (slot.start_s - x);
    let bar = &song.bars[slot.bar_idx];
    let beat_s = slope * (bar.end_s - bar.start_s) / f64::from(bar.n_beats.max(1));
    let off_beats = (bounds[played.from] - place_s) / beat_s;
    if off_beats.abs() < OFF_BEATS {
        return None;
    }
    // what sounds between the two places must speak for it
    let at = bounds.partition_point(|b| *b < place_s - 0.05);
    let (from, to) = (at.min(played.from), at.max(played.from));
    if from == to {
        return None;
    }
    let best = |list: &[Heardable]| {
        list.iter()
            .map(|r| evidence.score(from, to, *r))
            .fold(f32::MIN, f32::max)
    };
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

/// `the take sounds 2 semitones higher than the chart: another capo or tuning?`
fn shift_words(semitones: i8) -> String {
    let n = semitones.unsigned_abs();
    let steps = if n == 1 { "semitone" } else { "semitones" };
    let way = if semitones > 0 { "higher" } else { "lower" };
    format!("the take sounds {n} {steps} {way} than the chart (another capo or tuning?)")
}

/// The first and last bar of a take that plays one part of the chart, in order.
fn only_these(check: &TakeCheck) -> Option<(u32, u32)> {
    let (first, last) = (check.bars.first()?.number, check.bars.last()?.number);
    let in_order = check
        .bars
        .windows(2)
        .all(|w| w[1].number == w[0].number + 1);
    let is_part = !check.left_out.is_empty() && check.again.is_empty() && last > first;
    (in_order && is_part).then_some((first, last))
}

fn bars_words(list: &[(u32, u32)]) -> String {
    let all: Vec<String> = list
        .iter()
        .map(|(a, b)| {
            if a == b {
                format!("bar {a}")
            } else {
                format!("bars {a} to {b}")
            }
        })
        .collect();
    all.join(", ")
}

fn summary(check: &TakeCheck, song: &Song) -> String {
    let n = check.bars.len();
    let amiss = check.bars.iter().filter(|b| !b.findings.is_empty()).count();
    if !check.recognized {
        if n == 0 {
            return format!("Nothing of the chart was found in this take. {IS_IT_THE_TAKE}");
        }
        let why = if 2 * amiss >= n {
            format!("{amiss} of {n} bars differ")
        } else {
            "its chords come in another order, or most of it is something else".to_owned()
        };
        return format!("This does not sound like the chart: {why}. {IS_IT_THE_TAKE}");
    }
    let mut parts = Vec::new();
    if check.semitones != 0 {
        parts.push(shift_words(check.semitones));
    }
    let only = only_these(check);
    if let Some((first, last)) = only {
        parts.push(format!("only {} were played", bars_words(&[(first, last)])));
    }
    parts.push(if amiss == 0 && n == 1 {
        "the 1 bar played is as written".to_owned()
    } else if amiss == 0 {
        format!("all {n} bars played are as written")
    } else {
        format!(
            "{} of {n} bars played are as written, {amiss} not",
            n - amiss
        )
    });
    if !check.left_out.is_empty() && only.is_none() {
        parts.push(format!("left out: {}", bars_words(&check.left_out)));
    }
    if !check.again.is_empty() {
        parts.push(format!("played again: {}", bars_words(&check.again)));
    }
    let tempo = song.tempo_bpm.map_or_else(
        || format!("{:.2} times the chart's tempo", check.tempo_ratio),
        |bpm| format!("about {:.0} bpm", bpm * check.tempo_ratio),
    );
    parts.push(tempo);
    let text = parts.join("; ");
    let mut letters = text.chars();
    let doubt = match amiss as f64 >= DOUBTFUL_SHARE * n as f64 && amiss >= 3 {
        true => format!(". {IS_IT_THE_TAKE}"),
        false => ".".into(),
    };
    letters
        .next()
        .map(|c| c.to_uppercase().chain(letters).collect::<String>() + &doubt)
        .unwrap_or_default()
}
