//! The chart as a row of slots: one chord in one bar.

use crate::fretboard::Shape;
use crate::songlog::song::{Song, State};
use crate::theory::Label;

/// One chord of one bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    /// Index of its bar in the chart.
    pub bar_idx: usize,
    /// Place in the bar, from 1 in beats.
    pub beat: f64,
    /// Where it starts in the chart's own take, s.
    pub start_s: f64,
    /// How long it lasts in the chart's own take, s.
    pub length_s: f64,
    /// The chord as written.
    pub label: Label,
    /// The decided shapes, none if no shape was decided.
    pub shapes: Vec<Shape>,
    /// Whether the user decided it.
    pub decided: bool,
    /// Whether its bar is the first of a section.
    pub starts_section: bool,
}

/// Parts of a bar shorter than this share belong to their neighbor: the chord
/// before that ends a little late, the next that starts a little early.
const LEAST_SHARE: f64 = 0.08;

/// The chart's slots, in order of time.
pub fn slots(song: &Song) -> Vec<Slot> {
    let mut all: Vec<Slot> = Vec::new();
    for (bar_idx, bar) in song.bars.iter().enumerate() {
        let length_s = bar.end_s - bar.start_s;
        let mut parts: Vec<Slot> = Vec::new();
        for span in song.spans_in(bar) {
            let start_s = span.start_s.max(bar.start_s);
            let end_s = span.end_s.min(bar.end_s);
            if end_s - start_s < LEAST_SHARE * length_s {
                continue;
            }
            if let Some(last) = parts.last_mut().filter(|s| s.label == span.label) {
                last.length_s = end_s - last.start_s;
                continue;
            }
            parts.push(Slot {
                bar_idx,
                beat: 1.0 + f64::from(bar.n_beats) * (start_s - bar.start_s) / length_s,
                start_s,
                length_s: end_s - start_s,
                label: span.label.clone(),
                shapes: span.shapes[..span.n_decided_shapes.min(span.shapes.len())].to_vec(),
                decided: span.state == State::Decided,
                starts_section: song.sections.iter().any(|s| s.first_bar == bar.number),
            });
        }
        // no gap inside a bar
        for i in 0..parts.len() {
            let start_s = if i == 0 {
                bar.start_s
            } else {
                parts[i].start_s
            };
            let end_s = parts.get(i + 1).map_or(bar.end_s, |next| next.start_s);
            parts[i].start_s = start_s;
            parts[i].length_s = end_s - start_s;
            if i == 0 {
                parts[i].beat = 1.0;
            }
        }
        all.extend(parts);
    }
    all
}
