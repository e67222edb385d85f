//! What a key makes likely, and which key the chords make likely.
//!
//! # Source
//! Which chords belong to a key and which are borrowed: common practice, no
//! source. The weights are ours (natural logarithms of how much rarer a chord
//! is than the tonic's).

use super::acoustic::{N_CLASSES, NET_QUALITIES, NO_CHORD};
use super::chords::{KeyPrior, Segment};
use crate::theory::{Key, Mode, PitchClass};

/// What a quality is to a key: its triad.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Major,
    Minor,
    Diminished,
    Augmented,
    /// No third: suspended and power chords.
    Open,
}

/// The triad of a quality of the net.
pub(crate) fn kind(quality: usize) -> Kind {
    match NET_QUALITIES[quality] {
        "min" | "min7" | "min(9)" | "min6" | "minmaj7" | "min9" => Kind::Minor,
        "dim" | "dim7" | "hdim7" => Kind::Diminished,
        "aug" => Kind::Augmented,
        "sus2" | "sus4" | "5" | "sus4(b7)" => Kind::Open,
        _ => Kind::Major,
    }
}

/// Major keys: for each degree in semitones, the weight of a major, minor and diminished triad.
const MAJOR_KEY: [[f32; 3]; 12] = [
    [0.0, -2.2, -2.6],  // I
    [-2.2, -2.6, -1.6], // ♭II
    [-1.2, -0.2, -2.2], // II, ii
    [-1.5, -2.4, -2.0], // ♭III
    [-1.3, -0.5, -2.2], // III, iii
    [0.0, -1.2, -2.6],  // IV, iv
    [-2.4, -2.0, -1.6], // ♯iv
    [0.0, -1.4, -2.6],  // V, v
    [-1.4, -2.6, -1.8], // ♭VI
    [-1.3, -0.1, -2.4], // VI, vi
    [-0.8, -2.4, -2.4], // ♭VII
    [-1.8, -1.6, -1.2], // VII, vii°
];
/// The same for minor keys.
const MINOR_KEY: [[f32; 3]; 12] = [
    [-1.4, 0.0, -2.6],  // i
    [-1.3, -2.6, -2.0], // ♭II
    [-1.6, -1.2, -0.6], // ii°
    [-0.1, -2.4, -2.4], // ♭III
    [-2.2, -2.2, -2.0], // III
    [-0.8, 0.0, -2.4],  // iv
    [-2.4, -2.2, -1.6], // ♯iv
    [-0.1, -0.4, -2.4], // V, v
    [-0.1, -2.4, -2.4], // ♭VI
    [-2.2, -1.8, -1.6], // vi
    [-0.1, -2.2, -2.2], // ♭VII
    [-2.2, -2.4, -0.9], // vii°
];

/// How much rarer a chord class is in a key than its tonic chord, ln.
pub(crate) fn class_in_key(class: usize, key: Key) -> f32 {
    if class == NO_CHORD {
        return -0.5;
    }
    let (quality, root) = (class / 12, class % 12);
    let degree = PitchClass::new(root as i32).above(key.tonic.pitch_class()) as usize;
    let row = match key.mode {
        Mode::Major => MAJOR_KEY[degree],
        Mode::Minor => MINOR_KEY[degree],
    };
    match kind(quality) {
        Kind::Major => row[0],
        Kind::Minor => row[1],
        Kind::Diminished => row[2],
        Kind::Augmented => row[0] - 0.5,
        Kind::Open => row[0].max(row[1]),
    }
}

/// The prior of every class in a key, scaled; all zero without one.
pub(crate) fn key_prior(key: Option<Key>, weight: f32) -> KeyPrior {
    (0..N_CLASSES)
        .map(|class| key.map_or(0.0, |k| weight * class_in_key(class, k)))
        .collect()
}

/// Which part of the sounding time the chords are bare fifths, 0 to 1.
pub(crate) fn share_of_fifths(segments: &[(Segment, f64)]) -> f32 {
    let (mut fifths, mut all) = (0.0, 1e-9);
    for (segment, seconds) in segments.iter().filter(|(s, _)| s.class != NO_CHORD) {
        all += seconds;
        if NET_QUALITIES[segment.class / 12] == "5" {
            fifths += seconds;
        }
    }
    (fifths / all) as f32
}

/// Makes bare fifths likelier by `weight`, ln: a distorted amplifier adds the
/// fifth partial of the root, which is a major third, to chords that have none,
/// and who plays fifths plays them throughout.
pub(crate) fn favor_fifths(prior: &mut KeyPrior, weight: f32) {
    for (class, value) in prior.iter_mut().enumerate() {
        if class != NO_CHORD && NET_QUALITIES[class / 12] == "5" {
            *value += weight;
        }
    }
}

/// The key that makes a row of chords likeliest; long chords count more, the
/// first and last chord once more as tonic. None without a chord.
pub(crate) fn estimate_key(segments: &[(Segment, f64)]) -> Option<Key> {
    let sounding: Vec<&(Segment, f64)> = segments
        .iter()
        .filter(|(s, _)| s.class != NO_CHORD)
        .collect();
    let (first, last) = (sounding.first()?, sounding.last()?);
    let mut best: Option<(f64, Key)> = None;
    for mode in [Mode::Major, Mode::Minor] {
        for tonic in PitchClass::all() {
            let key = Key::usual(tonic, mode);
            let mut score: f64 = sounding
                .iter()
                .map(|(s, seconds)| seconds.sqrt() * f64::from(class_in_key(s.class, key)))
                .sum();
            for (segment, weight) in [(first, 1.0), (last, 1.5)] {
                let quality = kind(segment.0.class / 12);
                let agrees = matches!(
                    (mode, quality),
                    (Mode::Major, Kind::Major) | (Mode::Minor, Kind::Minor) | (_, Kind::Open)
                );
                if segment.0.class % 12 == tonic.index() && agrees {
                    score += weight;
                }
            }
            if best.is_none_or(|(top, _)| score > top) {
                best = Some((score, key));
            }
        }
    }
    best.map(|(_, key)| key)
}
