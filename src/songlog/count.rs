//! Beats and bars by the user's word, without hearing the take again.
//!
//! What a draft has already taken into account is left as it was heard.

use super::decided::clock;
use super::heard::Heard;
use super::resolve::Settings;
use super::song::Bar;

/// Bars that start this near to each other are the same bar, s.
pub(super) const SAME_BAR_S: f64 = 0.25;
/// Times of beats closer than this are equal, s: twice what a log rounds to.
const SAME_TIME_S: f64 = 2e-4;

/// The beats: as tapped, else as heard.
pub(super) fn beats(heard: &Heard, settings: &Settings) -> Vec<f64> {
    match &settings.beats_s {
        Some(tapped) if !heard_with_taps(heard, settings) => tapped.clone(),
        _ => heard.beats.iter().map(|b| b.time_s).collect(),
    }
}

/// Whether the draft knew the tapped beats.
pub(super) fn heard_with_taps(heard: &Heard, settings: &Settings) -> bool {
    settings.beats_s.as_ref().is_none_or(|tapped| {
        tapped.len() == heard.beats.len()
            && tapped
                .iter()
                .zip(&heard.beats)
                .all(|(a, b)| (a - b.time_s).abs() < SAME_TIME_S)
    })
}

/// Bars as heard, or counted anew where the user's word asks for it.
pub(super) fn bars(heard: &Heard, beats_s: &[f64], settings: &Settings) -> Vec<Bar> {
    let as_heard = || heard.bars.clone();
    if beats_s.is_empty() {
        return as_heard();
    }
    let bar_one = heard.bars.iter().find(|b| b.number == 1);
    let downbeat_known = settings
        .downbeat_s
        .is_none_or(|at_s| bar_one.is_some_and(|b| (b.start_s - at_s).abs() < SAME_BAR_S));
    let meter_known = settings.meter.is_none_or(|m| Some(m) == heard.meter);
    let anew = !downbeat_known || !meter_known || !heard_with_taps(heard, settings);
    let mut starts: Vec<usize> = if anew {
        let first_s = settings
            .downbeat_s
            .or(bar_one.map(|b| b.start_s))
            .unwrap_or(beats_s[0]);
        let first = nearest(beats_s, first_s);
        (first..beats_s.len())
            .step_by(per_bar(heard, settings))
            .collect()
    } else {
        heard
            .bars
            .iter()
            .filter(|b| b.number > 0)
            .map(|b| nearest(beats_s, b.start_s))
            .collect()
    };
    let unknown: Vec<&(f64, u8)> = settings
        .bar_beats
        .iter()
        .filter(|(at_s, n)| {
            anew || !heard
                .bars
                .iter()
                .any(|b| (b.start_s - at_s).abs() < SAME_BAR_S && b.n_beats == *n)
        })
        .collect();
    if !anew && unknown.is_empty() {
        return as_heard();
    }
    for (at_s, n_beats) in unknown {
        refit(
            &mut starts,
            beats_s,
            (*at_s, usize::from(*n_beats)),
            per_bar(heard, settings),
        );
    }
    from_starts(&starts, beats_s, heard.duration_s)
}

/// Beats in a usual bar of the beats that are counted: 6/8 has two.
fn per_bar(heard: &Heard, settings: &Settings) -> usize {
    let n = match settings.meter.or(heard.meter) {
        Some((n, 8)) if n > 3 && n.is_multiple_of(3) => n / 3,
        Some((n, _)) => n,
        None => 4,
    };
    usize::from(n.max(1))
}

fn nearest(beats_s: &[f64], at_s: f64) -> usize {
    (0..beats_s.len())
        .min_by(|a, b| {
            let off = |i: usize| (beats_s[i] - at_s).abs();
            off(*a).total_cmp(&off(*b))
        })
        .unwrap_or(0)
}

/// One bar gets its beats; those after it are counted on until a downbeat falls
/// on one that was there before.
fn refit(starts: &mut Vec<usize>, beats_s: &[f64], (at_s, n): (f64, usize), per_bar: usize) {
    let first = nearest(beats_s, at_s);
    let later: Vec<usize> = starts.iter().copied().filter(|s| *s > first).collect();
    starts.retain(|s| *s < first);
    starts.push(first);
    let mut next = first + n;
    while next < beats_s.len() {
        if let Some(i) = later.iter().position(|s| *s == next) {
            starts.extend(&later[i..]);
            return;
        }
        starts.push(next);
        next += per_bar;
    }
}

/// Bars between beats that are downbeats; what comes before the first is a pickup.
fn from_starts(starts: &[usize], beats_s: &[f64], duration_s: f64) -> Vec<Bar> {
    let end_s = duration_s.max(beats_s[beats_s.len() - 1] + 0.01);
    let bar = |number: u32, from: usize, to: usize| Bar {
        number,
        start_s: beats_s[from],
        end_s: beats_s.get(to).copied().unwrap_or(end_s),
        n_beats: u8::try_from(to - from).unwrap_or(u8::MAX),
    };
    let mut bars = Vec::new();
    if let Some(first) = starts.first().filter(|s| **s > 0) {
        bars.push(bar(0, 0, *first));
    }
    for (i, from) in starts.iter().enumerate() {
        let to = starts.get(i + 1).copied().unwrap_or(beats_s.len());
        bars.push(bar(i as u32 + 1, *from, to));
    }
    bars
}

/// Whether what the user said of time can be true together, for a take of a length (s).
///
/// # Errors
/// What contradicts what, in words, and the way out.
pub fn contradiction(settings: &Settings, duration_s: Option<f64>) -> Result<(), String> {
    let within = |at_s: f64, what: &str| match duration_s {
        Some(end_s) if at_s >= end_s => Err(format!(
            "{what} is at {}, but the take lasts only {}",
            clock(at_s),
            clock(end_s)
        )),
        _ => Ok(()),
    };
    if let Some(at_s) = settings.downbeat_s {
        within(at_s, "the first downbeat")?;
    }
    for (at_s, _) in &settings.bar_beats {
        within(*at_s, "a bar whose beats were given")?;
    }
    let Some(beats_s) = &settings.beats_s else {
        return Ok(());
    };
    let [first, .., last] = beats_s[..] else {
        return Err("at least two tapped beats are needed".into());
    };
    within(last, "the last tapped beat")?;
    let mut gaps: Vec<f64> = beats_s.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let gap_s = gaps[gaps.len() / 2];
    if let Some(bpm) = settings.tempo_bpm {
        let tapped = 60.0 / gap_s;
        if (tapped / bpm).log2().abs() > 0.15 {
            return Err(format!(
                "the tapped beats make {tapped:.0} bpm, but the tempo given is {bpm:.0} bpm: leave one of the two out (undo removes a tempo that was set before)"
            ));
        }
    }
    if let Some(at_s) = settings.downbeat_s {
        let near = beats_s[nearest(beats_s, at_s)];
        if (near - at_s).abs() > 0.25 * gap_s {
            return Err(format!(
                "the first downbeat given is at {at_s:.2} s, but the nearest tapped beat is at {near:.2} s: they must agree"
            ));
        }
    }
    for (at_s, n_beats) in &settings.bar_beats {
        if *at_s < first - gap_s || *at_s > last + gap_s {
            return Err(format!(
                "the bar at {} that was given {n_beats} beats lies outside the tapped beats ({} to {})",
                clock(*at_s),
                clock(first),
                clock(last)
            ));
        }
    }
    Ok(())
}
