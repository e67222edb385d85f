//! What is likely before a note is heard: costs (negative natural logarithms).
//!
//! # Source
//! The order of these costs is common practice, no source: the plain chords of
//! the key before borrowed ones, tonic, fourth and fifth before the third
//! degree, roots that fall a fifth or move a step. The sizes are ours.

use crate::theory::{Degree, Mode, Quality};

/// A sounding tone outside the chord, on a beat that counts.
pub(super) const OUTSIDE: f64 = 4.0;
/// Added to a missing root for every tone beyond two.
pub(super) const MISSING_ROOT_MORE: f64 = 0.6;
/// A fragment's note where there is said to be no chord.
pub(super) const NOTE_WITHOUT_CHORD: f64 = 4.0;
/// Silence where there is said to be a chord.
pub(super) const CHORD_WITHOUT_NOTE: f64 = 1.5;
/// The first chord is the tonic.
pub(super) const START_ON_TONIC: f64 = 0.5;
/// The last chord is the tonic.
pub(super) const END_ON_TONIC: f64 = 0.4;
/// The same pair of strings slid by at most [`SLIDE_NEAR`] semitones plays the same tones of the next chord.
pub(super) const SLIDE: f64 = 2.8;
/// The same, slid further.
pub(super) const SLIDE_FAR: f64 = 0.7;
/// What still is a near slide, semitones.
pub(super) const SLIDE_NEAR: u8 = 3;
/// A chord of four tones and more that no single fragment shows more than two
/// tones of: neighbors together make sevenths of almost anything.
pub(super) const THIN: f64 = 3.0;
/// Moving from or to no chord.
pub(super) const NO_CHORD: f64 = 1.0;

/// Probability that the chord changes at a place.
pub(super) const fn change(place: super::Place) -> f64 {
    match place {
        super::Place::BarStart => 0.94,
        super::Place::Strong => 0.5,
        super::Place::Weak => 0.25,
    }
}

/// What a silent degree of a quality costs.
pub(super) fn missing_tone(degree: Degree, quality: &str) -> f64 {
    match (degree.number(), degree.alter()) {
        (1, _) => 1.0,
        (3, _) => 1.2,
        (5, 0) if quality == "5" => 2.5,
        (5, 0) => 0.3,
        (5, _) => 2.0,
        _ => 3.2,
    }
}

/// What a bass costs that is not the root.
pub(super) fn bass(quality: &Quality, semitones: i32, separate: bool) -> f64 {
    if semitones == 0 {
        return 0.0;
    }
    // the low note of a wide pair is its root; a separate bass may well walk
    let degree = quality
        .degrees
        .iter()
        .find(|d| d.semitones() % 12 == semitones)
        .map(|d| d.number());
    let as_bass = match degree {
        Some(3) => 1.1,
        Some(5) => 1.2,
        Some(7) => 1.6,
        Some(_) => 1.8,
        None => 2.8,
    };
    if separate { as_bass } else { as_bass + 1.2 }
}

/// What a quality costs wherever it stands.
pub(super) fn quality(quality: &Quality) -> f64 {
    quality.implied.map_or(0.0, f64::from) / 10.0
}

/// What a chord costs in a key, by the root's semitones above the tonic.
pub(super) fn in_key(mode: Mode, above_tonic: usize, quality: &Quality) -> f64 {
    const FAR: f64 = 5.0;
    let third = quality
        .degrees
        .iter()
        .find(|d| d.number() == 3)
        .map(|d| d.alter());
    let flat_fifth = quality.degrees.contains(&Degree::new(5, -1));
    let major = match (mode, above_tonic) {
        (Mode::Major, 0) => 0.0,
        (Mode::Major, 5 | 7) => 0.1,
        (Mode::Major, 10) => 1.8,
        (Mode::Major, 2) => 2.3,
        (Mode::Major, 4 | 9) => 2.6,
        (Mode::Major, 3 | 8) => 2.9,
        (Mode::Minor, 3) => 0.5,
        (Mode::Minor, 7 | 8 | 10) => 0.4,
        (Mode::Minor, 5) => 1.6,
        (Mode::Minor, 0) => 2.2,
        (Mode::Minor, 1 | 2) => 2.7,
        _ => FAR,
    };
    let minor = match (mode, above_tonic) {
        (Mode::Major, 9) => 0.6,
        (Mode::Major, 2) => 0.7,
        (Mode::Major, 4) => 1.6,
        (Mode::Major, 5) => 2.1,
        (Mode::Major, 7) => 2.8,
        (Mode::Minor, 0) => 0.0,
        (Mode::Minor, 5) => 0.3,
        (Mode::Minor, 7) => 1.0,
        (Mode::Minor, 2) => 2.4,
        _ => FAR,
    };
    let diminished = match (mode, above_tonic) {
        (Mode::Major, 11) => 1.8,
        (Mode::Minor, 2) => 1.2,
        (Mode::Minor, 11) => 1.6,
        (Mode::Major, 2 | 4 | 6) => 3.4,
        _ => FAR - 0.5,
    };
    let base = match third {
        Some(0) => major,
        Some(_) if flat_fifth => diminished,
        Some(_) => minor,
        None => major.min(minor) + 0.3,
    };
    let scale: u16 = match mode {
        Mode::Major => 0b1010_1011_0101,
        Mode::Minor => 0b1101_1010_1101, // natural, raised seventh included
    };
    // beyond the triad, every tone from outside the key is one more surprise
    let strange = quality
        .degrees
        .iter()
        .filter(|d| d.number() > 5 || matches!(d.number(), 2 | 4) || d.alter() > 0)
        .filter(|d| scale >> ((above_tonic as i32 + d.semitones()) % 12) & 1 == 0)
        .count();
    // the seventh on the fifth degree is its usual dress
    let dressed = if above_tonic == 7 && quality.harte == "7" {
        -0.4
    } else {
        0.0
    };
    base + 0.9 * strange as f64 + dressed
}

/// What a root motion costs, by semitones upwards.
pub(super) const fn motion(semitones: usize) -> f64 {
    match semitones {
        5 => 0.0,
        7 => 0.2,
        2 => 0.3,
        10 => 0.4,
        9 | 8 => 0.5,
        1 | 11 => 0.6,
        3 | 4 => 0.7,
        0 => 0.9,
        _ => 1.4,
    }
}
