//! How well chords fit a key.
//!
//! # Source
//! Which chords belong to a key and which are borrowed: common practice, no
//! source. The weights are ours (natural logarithms of how much rarer a chord
//! is than the tonic's).

use super::{Chord, Key, Mode, PitchClass};

/// What a chord is to a key: its triad.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Triad {
    /// Major third, perfect fifth.
    Major,
    /// Minor third, perfect fifth.
    Minor,
    /// Minor third, diminished fifth.
    Diminished,
    /// Major third, augmented fifth.
    Augmented,
    /// No third: suspended and power chords.
    Open,
}

impl Triad {
    /// The triad of a chord.
    pub fn of(chord: &Chord) -> Self {
        let (classes, root) = (chord.pitch_classes(), chord.root.pitch_class());
        let has =
            |semitones: i32| classes.contains(PitchClass::new(root.index() as i32 + semitones));
        match (has(4), has(3)) {
            (true, _) if has(8) && !has(7) => Self::Augmented,
            (true, _) => Self::Major,
            (_, true) if has(6) && !has(7) => Self::Diminished,
            (_, true) => Self::Minor,
            _ => Self::Open,
        }
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

/// How much rarer a triad on a root is in a key than its tonic chord, ln; at most 0.
pub fn fit(triad: Triad, root: PitchClass, key: Key) -> f32 {
    let degree = root.above(key.tonic.pitch_class()) as usize;
    let row = match key.mode.is_minor() {
        false => MAJOR_KEY[degree],
        true => MINOR_KEY[degree],
    };
    match triad {
        Triad::Major => row[0],
        Triad::Minor => row[1],
        Triad::Diminished => row[2],
        Triad::Augmented => row[0] - 0.5,
        Triad::Open => row[0].max(row[1]),
    }
}

/// All keys by how well a row of chords fits them, best first. Takes each chord
/// with its length in s; long ones count more (by the root of their length),
/// the first and the last once more as a tonic. Empty without a chord.
pub fn fitting_keys(chords: &[(Triad, PitchClass, f64)]) -> Vec<(Key, f64)> {
    let (Some(first), Some(last)) = (chords.first(), chords.last()) else {
        return Vec::new();
    };
    let mut keys = Vec::new();
    for mode in [Mode::Major, Mode::Minor] {
        for tonic in PitchClass::all() {
            let key = Key::usual(tonic, mode);
            let mut score: f64 = chords
                .iter()
                .map(|(triad, root, seconds)| seconds.sqrt() * f64::from(fit(*triad, *root, key)))
                .sum();
            for ((triad, root, _), weight) in [(first, 1.0), (last, 1.5)] {
                let agrees = matches!(
                    (mode, triad),
                    (Mode::Major, Triad::Major) | (Mode::Minor, Triad::Minor) | (_, Triad::Open)
                );
                if *root == tonic && agrees {
                    score += weight;
                }
            }
            keys.push((key, score));
        }
    }
    // of equals the earlier
    keys.sort_by(|a, b| b.1.total_cmp(&a.1));
    keys
}
