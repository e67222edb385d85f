//! The grid of a take: beats and bars ready to be read.

use crate::hearing::outputs::{Bar, Given, Note};
use crate::hearing::rhythm::count::Count;
use crate::hearing::strum_window::strum_window;

/// Beats, bars, tempo and meter of a take; empty where nothing could be counted.
#[derive(Debug, Clone, Default)]
pub(crate) struct Grid {
    /// Beat times and their place in the bar, from 1.
    pub(crate) beats: Vec<(f64, u8)>,
    /// Bars without gaps.
    pub(crate) bars: Vec<Bar>,
    /// The median tempo, beats a minute.
    pub(crate) tempo_bpm: Option<f64>,
    /// Beats in a bar and the note value of a beat.
    pub(crate) meter: Option<(u8, u8)>,
}

/// Completes a count: beats reach back to the first note and forward to the
/// end of the bar in which the last note is struck, and bars are numbered.
pub(crate) fn grid(count: Option<&Count>, given: &Given, notes: &[Note], duration_s: f64) -> Grid {
    let Some(count) = count.filter(|c| c.beats_s.len() >= 4) else {
        return Grid::default();
    };
    let mut beats: Vec<(f64, u8)> = count
        .beats_s
        .iter()
        .copied()
        .zip(count.places.iter().copied())
        .collect();
    let per_bar = count.per_bar;
    let length_s = median(count.beats_s.windows(2).map(|w| w[1] - w[0]).collect());
    if given.beats_s.is_empty() {
        let sure = || notes.iter().filter(|n| n.probability > 0.5);
        let first = sure().map(|n| n.start_s).next().unwrap_or(beats[0].0);
        let last = sure().map(|n| n.start_s).next_back().unwrap_or(duration_s);
        let early = beats.windows(2).take(4).map(|w| w[1].0 - w[0].0).collect();
        let early = median(early);
        while beats[0].0 - early > first - 0.25 * early && beats[0].0 - early > -0.05 {
            let place = if beats[0].1 == 1 {
                per_bar
            } else {
                beats[0].1 - 1
            };
            beats.insert(0, ((beats[0].0 - early).max(0.0), place));
        }
        // a beat well before the first note is none
        while beats.len() > 4 && beats[0].0 < first - 0.6 * early {
            beats.remove(0);
        }
        // nothing sounds before the first stroke: a downbeat guessed there is that stroke
        if beats[0].1 == 1 && beats[0].0 < first && first + 0.3 * early < beats[1].0 {
            beats[0].0 = first;
        }
        let tail: Vec<f64> = beats
            .windows(2)
            .rev()
            .take(6)
            .map(|w| w[1].0 - w[0].0)
            .collect();
        let late = median(tail);
        while let Some((time, place)) = beats.last().copied() {
            let next = if place == per_bar { 1 } else { place + 1 };
            // a new bar begins only if something is struck in it
            let goes_on = if next == 1 {
                time + late < last + 0.1
            } else {
                true
            };
            if !goes_on || time + late > duration_s - 0.05 {
                break;
            }
            beats.push((time + late, next));
        }
        while beats.len() > 4 {
            let downbeat = beats.iter().rposition(|b| b.1 == 1).unwrap_or(0);
            if downbeat > 0 && beats[downbeat].0 > last + 0.1 {
                beats.truncate(downbeat);
            } else {
                break;
            }
        }
    }
    if let Some(first_s) = given.first_downbeat_s {
        pick_up(&mut beats, first_s, per_bar, notes);
    }
    let bars = bars(&beats, late_length(&beats, length_s), duration_s);
    Grid {
        bars,
        tempo_bpm: (length_s > 0.0).then(|| 60.0 / length_s),
        meter: Some(if count.compound {
            (per_bar * 3, 8)
        } else {
            (per_bar, 4)
        }),
        beats,
    }
}

/// Bar 1 starts at the beat nearest to a time; of what comes before only a pickup is left,
/// from the first note struck less than a bar earlier.
fn pick_up(beats: &mut Vec<(f64, u8)>, first_s: f64, per_bar: u8, notes: &[Note]) {
    let off = |beat: &(f64, u8)| (beat.0 - first_s).abs();
    let nearest = (0..beats.len()).min_by(|a, b| off(&beats[*a]).total_cmp(&off(&beats[*b])));
    let Some(first) = nearest.filter(|i| beats[*i].1 == 1) else {
        return;
    };
    let earliest = first.saturating_sub(usize::from(per_bar) - 1);
    let struck = |from: f64, to: f64| {
        let sure = notes.iter().filter(|n| n.probability > 0.5);
        let mut here = sure.filter(|n| n.start_s > from - 0.1 && n.start_s < to - 0.1);
        here.next().is_some()
    };
    let begin = (earliest..first)
        .find(|i| struck(beats[*i].0, beats[*i + 1].0))
        .unwrap_or(first);
    beats.drain(..begin);
    let n = first - begin;
    for (i, beat) in beats[..n].iter_mut().enumerate() {
        beat.1 = per_bar - (n - i) as u8 + 1;
    }
}

fn late_length(beats: &[(f64, u8)], usual: f64) -> f64 {
    let gaps: Vec<f64> = beats
        .windows(2)
        .rev()
        .take(4)
        .map(|w| w[1].0 - w[0].0)
        .collect();
    if gaps.is_empty() { usual } else { median(gaps) }
}

/// Bars from downbeat to downbeat; beats before the first downbeat are bar 0.
fn bars(beats: &[(f64, u8)], beat_s: f64, duration_s: f64) -> Vec<Bar> {
    let mut starts: Vec<usize> = (0..beats.len()).filter(|i| beats[*i].1 == 1).collect();
    let pickup = starts.first().is_none_or(|s| *s > 0);
    if pickup {
        starts.insert(0, 0);
    }
    let mut bars = Vec::new();
    for (k, start) in starts.iter().enumerate() {
        let end = starts.get(k + 1).copied().unwrap_or(beats.len());
        let end_s = match beats.get(end) {
            Some(next) => next.0,
            None => (beats[end - 1].0 + beat_s).min(duration_s.max(beats[end - 1].0 + 0.05)),
        };
        bars.push(Bar {
            number: k as u32 + u32::from(!pickup),
            start_s: beats[*start].0,
            end_s,
            n_beats: (end - start) as u8,
        });
    }
    bars
}

pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n % 2 == 1 {
        values[n / 2]
    } else {
        0.5 * (values[n / 2 - 1] + values[n / 2])
    }
}

impl Grid {
    /// Moves each downbeat to the chord that starts at it, if one starts within
    /// a sixth of a beat: a bar begins with its first stroke.
    pub(crate) fn align(&mut self, starts_s: impl Iterator<Item = f64> + Clone) {
        let Some(bpm) = self.tempo_bpm else { return };
        let near = (60.0 / bpm / 6.0).min(0.12);
        let mut earliest = f64::NEG_INFINITY;
        for i in 0..self.bars.len() {
            let was = self.bars[i].start_s;
            let stroke = starts_s
                .clone()
                .filter(|s| (s - was).abs() < near && *s > earliest)
                .min_by(|a, b| (a - was).abs().total_cmp(&(b - was).abs()));
            let Some(now) = stroke else {
                earliest = was;
                continue;
            };
            earliest = now;
            self.bars[i].start_s = now;
            if i > 0 {
                self.bars[i - 1].end_s = now;
            }
            for beat in &mut self.beats {
                if beat.0 == was {
                    beat.0 = now;
                }
            }
        }
    }

    /// Leaves out the beats of whole bars before the music starts and after it
    /// ends (s): talk, applause, silence. A bar that the music enters becomes a pickup.
    pub(crate) fn trim(&mut self, starts_s: f64, ends_s: f64) {
        let Some(bpm) = self.tempo_bpm else { return };
        let beat_s = 60.0 / bpm;
        let Some(end_s) = self.bars.last().map(|b| b.end_s) else {
            return;
        };
        let before = self
            .beats
            .partition_point(|b| b.0 < starts_s - 0.4 * beat_s);
        let last_bar = self
            .beats
            .iter()
            .rposition(|b| b.1 == 1 && b.0 < ends_s - 0.4 * beat_s);
        let next_bar = last_bar.and_then(|last| {
            let mut later = self.beats.iter().enumerate().skip(last + 1);
            later.find(|(_, b)| b.1 == 1).map(|(i, _)| i)
        });
        let after = next_bar.unwrap_or(self.beats.len());
        if before + 4 > after || (before == 0 && after == self.beats.len()) {
            return;
        }
        let ends = self.beats.get(after).map_or(end_s, |b| b.0);
        self.beats.truncate(after);
        self.beats.drain(..before);
        self.bars = bars(&self.beats, beat_s, ends);
        if let Some(last) = self.bars.last_mut() {
            last.end_s = ends;
        }
    }

    /// Share of beats whose length is clearly not that of the beat before: in
    /// free time the search finds beats too, but they do not keep a tempo.
    pub(crate) fn unsteady(&self) -> f64 {
        /// A player who keeps time stays within this from beat to beat (measured
        /// on rendered takes that drift by 3 %: at most a seventh of the beats do not).
        const STEADY: f64 = 0.08;
        let gaps: Vec<f64> = self.beats.windows(2).map(|w| w[1].0 - w[0].0).collect();
        let odd = gaps
            .windows(2)
            .filter(|w| (w[1] / w[0] - 1.0).abs() > STEADY);
        odd.count() as f64 / gaps.len().saturating_sub(1).max(1) as f64
    }

    /// How far strokes keep to beats and their halves, thirds or quarters: 1 if
    /// all do, 0 if no more than would by chance.
    pub(crate) fn kept(&self, notes: &[Note]) -> f64 {
        /// As near as a hand plays to its beat, s (ours).
        const NEAR_S: f64 = 0.04;
        let together_s = strum_window().notes_s;
        let mut before = f64::NEG_INFINITY;
        let mut places = Vec::new();
        for note in notes.iter().filter(|n| n.probability > 0.5) {
            let begins = note.start_s - before > together_s;
            before = note.start_s;
            let next = self.beats.partition_point(|b| b.0 <= note.start_s);
            if begins && next > 0 && next < self.beats.len() {
                let (from, to) = (self.beats[next - 1].0, self.beats[next].0);
                places.push(((note.start_s - from) / (to - from), to - from));
            }
        }
        if places.is_empty() {
            return 1.0;
        }
        let kept = |parts: f64| {
            let (mut near, mut by_chance) = (0.0, 0.0);
            for (place, beat_s) in &places {
                let off_s = ((place * parts).round() / parts - place).abs() * beat_s;
                near += f64::from(u8::from(off_s < NEAR_S));
                by_chance += (2.0 * NEAR_S * parts / beat_s).min(1.0);
            }
            let (n, by_chance) = (
                places.len() as f64,
                by_chance.min(0.95 * places.len() as f64),
            );
            (near - by_chance) / (n - by_chance)
        };
        [2.0, 3.0, 4.0].map(kept).into_iter().fold(0.0, f64::max)
    }
}
