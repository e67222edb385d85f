//! Whether a log makes sense: what a program could not have written is refused.

use super::Log;
use super::format::Fault;
use super::heard::{Heard, HeardChord};
use crate::fretboard::HIGHEST_CAPO;
use crate::units::TEMPOS_BPM;
use std::fmt::{self, Display};

/// Neighbours may differ so much where one ends and the next starts, s.
const SEAM_S: f64 = 2e-3;
/// Longest take that is believed, s (a week).
const LONGEST_S: f64 = 604_800.0;

/// Why a log does not make sense: where and what, in words.
///
/// # Errors
/// The place (`heard.chords[3].end_s`) and the reason, parted by a colon.
pub fn sense(log: &Log) -> Result<(), String> {
    check(log).map_err(|fault| format!("{}: {}", fault.place, fault.reason))
}

pub(super) fn check(log: &Log) -> Result<(), Fault> {
    heard(&log.heard)?;
    timestamp(&log.drafted, "drafted")?;
    let mut last_id = 0;
    for (i, decision) in log.decided.iter().enumerate() {
        let place = Item("decided", i);
        ensure(decision.id > last_id, format_args!("{place}.id"), || {
            format!("{} follows {last_id}; ids must grow", decision.id)
        })?;
        timestamp(&decision.at, format_args!("{place}.at"))?;
        for (j, one) in decision.acts.iter().enumerate() {
            one.check(decision.id, &format_args!("{place}.acts[{j}]"))?;
        }
        last_id = decision.id;
    }
    Ok(())
}

/// An item of a list, by its place: written only where something is wrong with it.
struct Item(&'static str, usize);

impl Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}[{}]", self.0, self.1)
    }
}

/// A field of what stands at a place.
pub(super) struct Field<'a>(pub(super) &'a dyn Display, pub(super) &'static str);

impl Display for Field<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.0, self.1)
    }
}

pub(super) fn ensure(
    holds: bool,
    place: impl Display,
    reason: impl FnOnce() -> String,
) -> Result<(), Fault> {
    if holds {
        Ok(())
    } else {
        Err(Fault {
            place: place.to_string(),
            reason: reason(),
        })
    }
}

/// RFC 3339, the profile of ISO 8601 for the internet.
fn timestamp(text: &str, place: impl Display) -> Result<(), Fault> {
    ensure(text.parse::<jiff::Timestamp>().is_ok(), place, || {
        format!("'{text}' is not a time such as 2031-05-02T18:30:00Z")
    })
}

pub(super) fn time(at_s: f64, place: impl Display) -> Result<(), Fault> {
    ensure((0.0..=LONGEST_S).contains(&at_s), place, || {
        format!("{at_s} is not a time in a take, in seconds")
    })
}

pub(super) fn range(start_s: f64, end_s: f64, place: impl Display) -> Result<(), Fault> {
    time(start_s, format_args!("{place}.start_s"))?;
    time(end_s, format_args!("{place}.end_s"))?;
    ensure(start_s < end_s, format_args!("{place}.end_s"), || {
        format!("it ends at {end_s} but starts at {start_s}")
    })
}

fn share(x: f64, place: impl Display) -> Result<(), Fault> {
    ensure((0.0..=1.0).contains(&x), place, || {
        format!("{x} is not between 0 and 1")
    })
}

fn midi(note: u8, place: impl Display) -> Result<(), Fault> {
    ensure(note < 128, place, || format!("{note} is not a MIDI note"))
}

/// A name or a letter: one line, not too long.
pub(super) fn name(text: &str, place: impl Display) -> Result<(), Fault> {
    ensure(
        text.chars().count() <= 200 && !text.chars().any(char::is_control),
        place,
        || "a text of at most 200 characters on one line is expected".into(),
    )
}

fn heard(h: &Heard) -> Result<(), Fault> {
    time(h.duration_s, "heard.duration_s")?;
    ensure(
        (-100.0..=100.0).contains(&h.tuning_cents),
        "heard.tuning_cents",
        || format!("{} cents is more than a half-step", h.tuning_cents),
    )?;
    ensure(
        h.instrument.capo <= HIGHEST_CAPO,
        "heard.instrument.capo",
        || format!("a capo at fret {} (0 to {HIGHEST_CAPO})", h.instrument.capo),
    )?;
    if let Some(bpm) = h.tempo_bpm {
        tempo(bpm, "heard.tempo_bpm")?;
    }
    if let Some((n, value)) = h.meter {
        let text = format!("{n}/{value}");
        ensure(super::read_meter(&text).is_ok(), "heard.meter", || {
            format!("{text} is not a meter")
        })?;
    }
    for (i, pair) in h.beats.windows(2).enumerate() {
        ensure(
            pair[0].time_s < pair[1].time_s,
            format_args!("heard.beats[{}].time_s", i + 1),
            || format!("{} follows {}", pair[1].time_s, pair[0].time_s),
        )?;
    }
    for (i, beat) in h.beats.iter().enumerate() {
        time(beat.time_s, format_args!("heard.beats[{i}].time_s"))?;
    }
    key_changes(h)?;
    bars_and_sections(h)?;
    chords(h, "heard.chords", &h.chords)?;
    chords(h, "heard.detail", &h.detail)?;
    for (i, strum) in h.strums.iter().enumerate() {
        let place = Item("heard.strums", i);
        time(strum.time_s, format_args!("{place}.time_s"))?;
        share(strum.probability, format_args!("{place}.probability"))?;
    }
    for (i, note) in h.notes.iter().enumerate() {
        let place = Item("heard.notes", i);
        range(note.start_s, note.end_s, &place)?;
        midi(note.midi, format_args!("{place}.midi"))?;
        share(note.probability, format_args!("{place}.probability"))?;
    }
    Ok(())
}

fn key_changes(h: &Heard) -> Result<(), Fault> {
    ensure(
        h.key.is_some() || h.key_changes.is_empty(),
        "heard.key_changes",
        || "a key changes, but there is no first one".into(),
    )?;
    for (i, change) in h.key_changes.iter().enumerate() {
        time(change.at_s, Field(&Item("heard.key_changes", i), "at_s"))?;
    }
    for (i, pair) in h.key_changes.windows(2).enumerate() {
        ensure(
            pair[0].at_s < pair[1].at_s,
            Field(&Item("heard.key_changes", i + 1), "at_s"),
            || format!("{} follows {}", pair[1].at_s, pair[0].at_s),
        )?;
    }
    Ok(())
}

fn bars_and_sections(h: &Heard) -> Result<(), Fault> {
    for (i, bar) in h.bars.iter().enumerate() {
        range(bar.start_s, bar.end_s, format_args!("heard.bars[{i}]"))?;
        ensure(
            bar.n_beats > 0,
            format_args!("heard.bars[{i}].n_beats"),
            || "a bar has at least one beat".into(),
        )?;
    }
    for (i, pair) in h.bars.windows(2).enumerate() {
        let place = Item("heard.bars", i + 1);
        ensure(
            pair[1].number == pair[0].number + 1,
            format_args!("{place}.number"),
            || format!("bar {} follows bar {}", pair[1].number, pair[0].number),
        )?;
        seam(pair[0].end_s, pair[1].start_s, &place)?;
    }
    for (i, section) in h.sections.iter().enumerate() {
        let place = Item("heard.sections", i);
        ensure(
            section.first_bar <= section.last_bar,
            format_args!("{place}.last_bar"),
            || {
                format!(
                    "it ends with bar {} but starts with bar {}",
                    section.last_bar, section.first_bar
                )
            },
        )?;
        let known = |n: u32| h.bars.iter().any(|b| b.number == n);
        ensure(
            known(section.first_bar) && known(section.last_bar),
            &place,
            || {
                format!(
                    "there are no bars {} to {}",
                    section.first_bar, section.last_bar
                )
            },
        )?;
        name(&section.letter, format_args!("{place}.letter"))?;
    }
    Ok(())
}

fn seam(end_s: f64, start_s: f64, place: impl Display) -> Result<(), Fault> {
    ensure(
        (end_s - start_s).abs() <= SEAM_S,
        format_args!("{place}.start_s"),
        || format!("it starts at {start_s}, the one before ends at {end_s}"),
    )
}

fn chords(h: &Heard, level: &'static str, chords: &[HeardChord]) -> Result<(), Fault> {
    for (i, chord) in chords.iter().enumerate() {
        let place = Item(level, i);
        range(chord.start_s, chord.end_s, &place)?;
        ensure(
            !chord.candidates.is_empty(),
            format_args!("{place}.candidates"),
            || "there must be at least one".into(),
        )?;
        for (j, c) in chord.candidates.iter().enumerate() {
            share(
                c.probability,
                format_args!("{place}.candidates[{j}].probability"),
            )?;
        }
        for (j, fitted) in chord.shapes.iter().enumerate() {
            share(fitted.fit, format_args!("{place}.shapes[{j}].fit"))?;
            let (found, expected) = (fitted.shape.frets().len(), h.instrument.tuning.n_strings());
            ensure(
                found == expected,
                format_args!("{place}.shapes[{j}].frets"),
                || format!("{found} strings, the instrument has {expected}"),
            )?;
        }
        if let Some(note) = chord.bass_midi {
            midi(note, format_args!("{place}.bass_midi"))?;
        }
        for (pc, x) in chord.chroma.iter().enumerate() {
            share(f64::from(*x), format_args!("{place}.chroma[{pc}]"))?;
        }
    }
    for (i, pair) in chords.windows(2).enumerate() {
        seam(pair[0].end_s, pair[1].start_s, Item(level, i + 1))?;
    }
    Ok(())
}

pub(super) fn tempo(bpm: f64, place: impl Display) -> Result<(), Fault> {
    ensure(TEMPOS_BPM.contains(&bpm), place, || {
        let (low, high) = (TEMPOS_BPM.start(), TEMPOS_BPM.end());
        format!("{bpm} bpm ({low} to {high})")
    })
}
