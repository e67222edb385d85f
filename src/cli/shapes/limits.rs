//! What the player will have, from the arguments.

use super::ShapesArgs;
use crate::cli::CliError;
use crate::fretboard::{FretboardError, Instrument, Limits, string_by_name};
use crate::theory::{Chord, Degree, Key, Mode, PitchClass, Spelled};

pub(super) fn limits(args: &ShapesArgs, instrument: &Instrument) -> Result<Limits, CliError> {
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    let mut limits = Limits {
        highest_fret: Limits::default().highest_fret.min(neck),
        left_out: strings(args.leave_out.as_deref(), instrument)?,
        used: strings(args.with.as_deref(), instrument)?,
        ring_open: strings(args.ring.as_deref(), instrument)?,
        top: args.top.as_deref().map(pitch_class).transpose()?,
        no_barre: args.no_barre,
        no_open: args.no_open,
        ..Limits::default()
    };
    if let Some(text) = &args.frets {
        let bad = || {
            CliError::new(format!(
                "'{text}' is not a range of frets (expected LOWEST-HIGHEST, for example 5-9)"
            ))
        };
        let (low, high) = text.split_once('-').ok_or_else(bad)?;
        limits.lowest_fret = low.trim().parse().map_err(|_| bad())?;
        limits.highest_fret = high.trim().parse().map_err(|_| bad())?;
        if limits.highest_fret > neck {
            return Err(FretboardError::FretRange {
                fret: u32::from(limits.highest_fret),
                highest: neck,
            }
            .into());
        }
    }
    if let Some(fret) = args.position {
        limits.lowest_fret = fret.max(1);
        limits.highest_fret = neck;
    }
    if let Some(span) = args.span {
        limits.span_mm = span;
    }
    limits.check(instrument)?;
    Ok(limits)
}

fn strings(text: Option<&str>, instrument: &Instrument) -> Result<Vec<usize>, CliError> {
    text.unwrap_or_default()
        .split([' ', ','])
        .filter(|w| !w.is_empty())
        .map(|w| string_by_name(instrument, w).map_err(CliError::from))
        .collect()
}

pub(super) fn pitch_class(text: &str) -> Result<PitchClass, CliError> {
    Ok(text.parse::<Spelled>()?.pitch_class())
}

/// The chord over another bass, as asked for.
pub(super) fn over_bass(chord: Chord, bass: Option<PitchClass>, key: Option<Key>) -> Chord {
    let Some(bass) = bass else {
        return chord;
    };
    let own = chord
        .degrees()
        .into_iter()
        .find(|d| d.over(chord.root.pitch_class()) == bass);
    let degree = own.unwrap_or_else(|| {
        let key = key.unwrap_or(Key::usual(bass, Mode::Major));
        Degree::between(chord.root, key.spell(bass))
    });
    chord.over(Degree::new((degree.number() - 1) % 7 + 1, degree.alter()))
}

pub(super) fn raised(limits: &Limits, instrument: &Instrument) -> Limits {
    Limits {
        // a note asked for is named as fingered, like the chord
        top: limits.top.map(|pc| pc.up(i32::from(instrument.capo))),
        ..limits.clone()
    }
}

/// Key for walks and transposing where none is given: the first chord's.
pub(super) fn key_of(chords: &[Chord]) -> Key {
    chords
        .first()
        .map_or(Key::new(Spelled::new(0, 0), Mode::Major), |c| {
            let minor = c.degrees().contains(&Degree::new(3, -1));
            let mode = if minor { Mode::Minor } else { Mode::Major };
            Key::usual(c.root.pitch_class(), mode)
        })
}
