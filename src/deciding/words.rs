//! Decisions in words: with bars and beats, and hints.

use super::place::{START, name_of, section_at};
use crate::fretboard::Shape;
use crate::songlog::decided::{Act, Times};
use crate::songlog::form;
use crate::songlog::song::{Preset, Song};
use crate::theory::{Label, PitchClassSet};

/// A probability in words: `87 %`, and `>99 %` or `<1 %` where rounding would
/// claim more than hearing can know.
pub fn percent(share: f64) -> String {
    match (share * 100.0).round() {
        whole if whole >= 100.0 => ">99 %".into(),
        whole if whole <= 0.0 => "<1 %".into(),
        whole => format!("{whole} %"),
    }
}

/// `3 of 21 chords unconfirmed`, or that all are confirmed.
pub fn open_words(song: &Song) -> String {
    match song.n_open() {
        0 => "all chords are confirmed".into(),
        n => format!("{n} of {} chords unconfirmed", song.n_chords()),
    }
}

/// Times by bars and beats of a song: `bar 12`, `bars 5 to 8`, `12.3 to 13`.
pub struct InBars<'a>(pub &'a Song);

impl Times for InBars<'_> {
    fn at(&self, at_s: f64) -> String {
        name_of(at_s, self.0)
    }

    fn range(&self, start_s: f64, end_s: f64) -> String {
        let (from, to) = (self.at(start_s), self.at(end_s));
        let first = self.0.bars.first();
        if from == START && first.is_some_and(|b| to == b.number.to_string()) {
            return format!("before bar {to}");
        }
        let last = section_at(end_s - 0.13, self.0).map(|(_, b)| b.number.to_string());
        match last {
            // whole bars are named by their numbers alone
            Some(last) if !to.contains('.') && !from.contains('.') && from == last => {
                format!("bar {from}")
            }
            Some(last) if !to.contains('.') && !from.contains('.') => {
                format!("bars {from} to {last}")
            }
            _ => format!("{from} to {to}"),
        }
    }
}

/// An act in words with bars and beats instead of times.
pub fn words(act: &Act, song: &Song) -> String {
    act.words(&InBars(song))
}

/// Hints on a decision: what its maker may have overlooked.
pub fn hints(acts: &[Act], song: &Song) -> Vec<String> {
    let mut hints = Vec::new();
    let mut label: Option<&Label> = None;
    for act in acts {
        match act {
            Act::Chord { label: own, .. } => label = Some(own),
            Act::Shape {
                start_s,
                shape,
                or_shape,
                ..
            } => {
                let there = song.spans.iter().find(|s| s.end_s > *start_s + 0.01);
                let chord = label.or(there.map(|s| &s.label)).and_then(Label::chord);
                for shape in std::iter::once(shape).chain(or_shape) {
                    hints.extend(chord.and_then(|c| foreign_notes(shape, c, song)));
                }
            }
            Act::Key { .. } if !song.key_changes.is_empty() => hints.push(format!(
                "one key for the whole song removes {}; give that key again with its bar to keep it",
                form::key_words(song).join(", ")
            )),
            Act::Capo { .. }
            | Act::Tuning { .. }
            | Act::Meter { .. }
            | Act::Tempo { .. }
            | Act::Beats { .. }
            | Act::BarBeats { .. }
            | Act::AsHeard { .. } => {
                hints.push("analyse the take again to apply this to what is heard; decisions are kept".into());
            }
            _ => {}
        }
    }
    hints.dedup();
    hints
}

/// Everything that a person should know of a song, in words: choices with the options for the
/// other way, what was set since the draft, warnings.
pub fn remarks(song: &Song) -> Vec<String> {
    let choices = song.choices.iter().map(|choice| {
        let options = options(&choice.set).join(" ");
        let set_up = choice.set.capo.is_some() || choice.set.tuning.is_some();
        let which = if set_up { "if so" } else { "for the other" };
        format!("{}; {which}, give {options}", choice.words)
    });
    let stale = song
        .stale
        .iter()
        .map(|text| format!("{text}; draft the take again to apply it"));
    let warnings = song.warnings.iter().cloned();
    choices.chain(stale).chain(warnings).collect()
}

/// The options of the command line for a preset.
fn options(set: &Preset) -> Vec<String> {
    let mut all = Vec::new();
    all.extend(set.tempo_bpm.map(|bpm| format!("--tempo {bpm:.0}")));
    all.extend(set.meter.map(|(n, value)| format!("--meter {n}/{value}")));
    all.extend(
        set.first_downbeat
            .map(|s| format!("--first-downbeat {s:.2}")),
    );
    all.extend(set.capo.map(|fret| format!("--capo {fret}")));
    all.extend(
        set.tuning
            .as_ref()
            .map(|t| format!("--tuning \"{}\"", t.text())),
    );
    all
}

/// Notes of a shape that its chord does not have.
fn foreign_notes(shape: &Shape, chord: &crate::theory::Chord, song: &Song) -> Option<String> {
    let in_chord: PitchClassSet = chord.pitch_classes();
    let mut foreign: Vec<String> = song
        .instrument
        .sounding(shape)
        .into_iter()
        .flatten()
        .filter(|midi| !in_chord.contains(crate::theory::PitchClass::new(i32::from(*midi))))
        .map(crate::theory::midi_name)
        .collect();
    foreign.dedup();
    (!foreign.is_empty()).then(|| {
        format!(
            "shape {shape} also sounds {}, which {} does not have",
            foreign.join(", "),
            chord.symbol()
        )
    })
}

/// Chords with their places, for an error: "12 Am7?, 12.3 D".
pub(super) fn listed(song: &Song, spans: &[usize]) -> String {
    const MOST: usize = 8;
    let mut parts: Vec<String> = spans
        .iter()
        .take(MOST)
        .map(|i| {
            let span = &song.spans[*i];
            format!("{} {}", name_of(span.start_s, song), span.label.symbol())
        })
        .collect();
    if spans.len() > MOST {
        parts.push(format!("and {} more", spans.len() - MOST));
    }
    if parts.is_empty() {
        "none".into()
    } else {
        parts.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::percent;

    #[test]
    fn rounding_claims_neither_all_nor_nothing() {
        let said = [1.0, 0.996, 0.994, 0.5, 0.006, 0.004, 0.0].map(percent);
        assert_eq!(
            said,
            [">99 %", ">99 %", "99 %", "50 %", "1 %", "<1 %", "<1 %"]
        );
    }
}
