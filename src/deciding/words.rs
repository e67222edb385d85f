//! Decisions in words: with bars and beats, and what a practised eye would remark.

use super::place::{START, name_of, section_at};
use crate::fretboard::Shape;
use crate::songlog::decided::{Act, How};
use crate::songlog::form;
use crate::songlog::song::Song;
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

/// `3 of 21 chords open`, or that all are decided.
pub fn open_words(song: &Song) -> String {
    match song.n_open() {
        0 => "all chords are decided".into(),
        n => format!("{n} of {} chords open", song.n_chords()),
    }
}

/// An act in words with bars and beats instead of times.
pub fn words(act: &Act, song: &Song) -> String {
    let at = |t: f64| name_of(t, song);
    let place = |start_s: f64, end_s: f64| {
        let (from, to) = (at(start_s), at(end_s));
        if from == START
            && song
                .bars
                .first()
                .is_some_and(|b| to == b.number.to_string())
        {
            return format!("before bar {to}");
        }
        let last = section_at(end_s - 0.13, song).map(|(_, b)| b.number.to_string());
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
    };
    match act {
        Act::Chord {
            start_s,
            end_s,
            label,
            how,
        } => {
            let how = match how {
                How::Proposed => "as proposed",
                How::Candidate => "another candidate",
                How::Own => "your own",
            };
            format!("{}: {} ({how})", place(*start_s, *end_s), label.symbol())
        }
        Act::Shape {
            start_s,
            end_s,
            shape,
            or_shape,
        } => {
            let or = or_shape
                .as_ref()
                .map_or_else(String::new, |s| format!(" or {s}"));
            format!("{}: shape {shape}{or}", place(*start_s, *end_s))
        }
        Act::Note {
            place_s: Some((start_s, end_s)),
            text,
        } => format!("{}: note: {text}", place(*start_s, *end_s)),
        Act::Move { from_s, to_s } => {
            format!("change at {} moved to {}", at(*from_s), at(*to_s))
        }
        Act::Split { at_s } => format!("the chord changes at {}", at(*at_s)),
        Act::Join { start_s, end_s } => format!("{}: one chord", place(*start_s, *end_s)),
        Act::SectionName {
            start_s,
            end_s,
            name,
        } if name.is_empty() => format!("{}: no name", place(*start_s, *end_s)),
        Act::SectionName {
            start_s,
            end_s,
            name,
        } => format!("{}: section '{name}'", place(*start_s, *end_s)),
        Act::SectionLetter {
            start_s,
            end_s,
            letter,
        } => format!("{}: section {letter}", place(*start_s, *end_s)),
        Act::BarBeats { at_s, n_beats } => {
            let plural = if *n_beats == 1 { "" } else { "s" };
            format!("bar {} has {n_beats} beat{plural}", at(*at_s))
        }
        Act::KeyFrom { at_s, key } => format!("from {} on: {}", at(*at_s), key.text()),
        Act::SectionSplit { at_s } => format!("a section starts at {}", at(*at_s)),
        Act::SectionJoin { at_s } => format!("no section starts at {}", at(*at_s)),
        other => other.text(),
    }
}

/// What a practised eye would remark on a decision.
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
            Act::Key(_) if !song.key_changes.is_empty() => hints.push(format!(
                "one key for the whole takes away {}; say a key again with its bar to keep it",
                form::key_words(song).join(", ")
            )),
            Act::Capo(_)
            | Act::Tuning(_)
            | Act::Meter(..)
            | Act::Tempo(_)
            | Act::Beats(_)
            | Act::BarBeats { .. } => {
                hints.push("draft the take again to have it heard that way; decisions stay".into());
            }
            _ => {}
        }
    }
    hints.dedup();
    hints
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
