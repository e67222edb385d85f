//! What a row of fragments implies: one to three plucked notes stand for a chord.
//!
//! Key, neighbors, bass, durations and the habit of sliding one pair of strings
//! along the neck decide together, in one search over the whole row: which
//! neighboring fragments belong to one chord, and which chord that is.
//!
//! This is the only place of the room that uses floating-point numbers: a row
//! has many readings, and their weights must multiply and add up to
//! probabilities. Pitches stay integers.
//!
//! Deliberately not here: strings and frets as such (a fragment carries at most
//! the numbers of its strings) and sound (a fragment may carry the acoustic
//! log-evidence that someone else found).

mod frame;
mod lattice;
mod notes;
mod paths;
mod reason;
mod search;
mod states;
#[cfg(test)]
mod tests;
mod weights;

use super::{Chord, Degree, Key, Label, Mode, PitchClass, PitchClassSet, Spelled};
pub use states::{State, n_states, state_index, states};

/// Where in the bar a fragment begins; chords change most readily at the start of a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Place {
    /// On the first beat of a bar.
    #[default]
    BarStart,
    /// On another strong beat.
    Strong,
    /// Anywhere else.
    Weak,
}

/// A few notes that sound together or within one short span.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Fragment {
    /// Sounding notes as MIDI note numbers, in any order; may be empty (a rest).
    pub midi: Vec<u8>,
    /// String index of each note of `midi` (0 = lowest string), or empty where unknown.
    pub strings: Vec<u8>,
    /// A bass that sounds apart from these notes, if there is one.
    pub bass: Option<PitchClass>,
    /// How long it lasts, beats, over 0.
    pub beats: f64,
    /// Where in the bar it begins.
    pub place: Place,
    /// Acoustic log-evidence (natural logarithm, any constant offset) of each
    /// of the [`states`], in their order; empty for none.
    pub evidence: Vec<f64>,
}

impl Fragment {
    /// A fragment of one beat at the start of a bar, without bass, strings or evidence.
    pub fn of(midi: &[u8]) -> Self {
        Self {
            midi: midi.to_vec(),
            beats: 1.0,
            ..Self::default()
        }
    }

    /// The pitch classes of its notes, the separate bass not included.
    pub fn pitch_classes(&self) -> PitchClassSet {
        self.midi
            .iter()
            .map(|m| PitchClass::new(i32::from(*m)))
            .collect()
    }

    /// The bass that decides the chord's name: the separate one, else the lower
    /// note of a low wide pair (a tenth on the low strings).
    pub fn telling_bass(&self) -> Option<PitchClass> {
        self.bass
            .or_else(|| states::is_low_wide(self).then(|| self.lowest())?)
    }

    fn lowest(&self) -> Option<PitchClass> {
        self.midi
            .iter()
            .min()
            .map(|m| PitchClass::new(i32::from(*m)))
    }
}

/// One chord of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Implied {
    /// First fragment it covers, from 0.
    pub first: usize,
    /// Last fragment it covers, inclusive.
    pub last: usize,
    /// The chord (with its bass, where a bass tells), or no chord for rests.
    pub label: Label,
    /// How probable the chord (root and quality) is here, averaged over its fragments, 0 to 1.
    pub probability: f64,
    /// Why, in a few words.
    pub reason: String,
}

/// One reading of the whole row.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The key it is read in.
    pub key: Key,
    /// Probability of exactly this reading among all, 0 to 1.
    pub probability: f64,
    /// Chords in order, covering every fragment once.
    pub chords: Vec<Implied>,
}

/// What a row implies.
#[derive(Debug, Clone, PartialEq)]
pub struct RowReading {
    /// Readings, most probable first; empty only for an empty row.
    pub readings: Vec<Reading>,
    /// For each fragment the most probable labels over all readings, best
    /// first, at most five, each with its probability.
    pub fragments: Vec<Vec<(Label, f64)>>,
    /// Keys with their probability, best first; the given key alone if one was given.
    pub keys: Vec<(Key, f64)>,
}

/// Reads a row of fragments together and gives its best readings with probabilities.
///
/// Takes `row` (any length; a few hundred fragments take well under a second),
/// the `key` if it is known, and how many readings are wanted (1 or more).
/// Cost grows with the row's length, and eightfold if the key must be found.
///
/// Evidence of a wrong length counts as none.
///
/// # Example
/// ```
/// use takebook::theory::imply::{Fragment, read_row};
/// // A and F♯, then B and G♯, plucked in A major: the upper two tones of D and of E
/// let row = [Fragment::of(&[57, 66]), Fragment::of(&[59, 68])];
/// let read = read_row(&row, Some("A".parse().unwrap()), 2);
/// let names: Vec<String> = read.readings[0].chords.iter().map(|c| c.label.symbol()).collect();
/// assert_eq!(names, ["D", "E"]);
/// ```
///
/// # Source
/// A hidden semi-Markov model searched exactly (Rabiner, "A tutorial on hidden
/// Markov models", Proc. IEEE 1989, sections III and IV.D, from memory); the
/// costs are ours, ordered by common practice.
pub fn read_row(row: &[Fragment], key: Option<Key>, n_readings: usize) -> RowReading {
    if row.is_empty() {
        return RowReading {
            readings: Vec::new(),
            fragments: Vec::new(),
            keys: key.map(|k| (k, 1.0)).into_iter().collect(),
        };
    }
    let found = search::search(row, key, n_readings.max(1));
    let readings = found
        .paths
        .iter()
        .map(|path| reading(row, path, &found.marginals))
        .collect();
    let key_of_all = found.paths.first().map_or_else(
        || Key::new(Spelled::new(0, 0), Mode::Major),
        |path| path.frame.key,
    );
    let fragments = row
        .iter()
        .zip(&found.marginals)
        .map(|(fragment, marginal)| {
            let mut ranked: Vec<(usize, f64)> = marginal.iter().copied().enumerate().collect();
            ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
            ranked
                .into_iter()
                .take(5)
                .filter(|(_, p)| *p > 1e-4)
                .map(|(s, p)| (label(s, key_of_all, std::slice::from_ref(fragment)), p))
                .collect()
        })
        .collect();
    RowReading {
        readings,
        fragments,
        keys: found.keys,
    }
}

/// A path with its labels, probabilities and reasons.
fn reading(row: &[Fragment], path: &search::Path, marginals: &[Vec<f64>]) -> Reading {
    let mean = |segment: &lattice::Segment, state: usize| {
        let covered = &marginals[segment.first..=segment.last];
        let p = covered.iter().map(|m| m[state]).sum::<f64>() / covered.len() as f64;
        p.clamp(0.0, 1.0)
    };
    let mut reading = Reading {
        key: path.frame.key,
        probability: path.probability,
        chords: path
            .segments
            .iter()
            .map(|segment| Implied {
                first: segment.first,
                last: segment.last,
                label: label(
                    segment.state,
                    path.frame.key,
                    &row[segment.first..=segment.last],
                ),
                probability: mean(segment, segment.state),
                reason: String::new(),
            })
            .collect(),
    };
    for (at, segment) in path.segments.iter().enumerate() {
        let mut reason = reason::of(row, &reading, at, path.frame);
        let own = reading.chords[at].probability;
        let likelier = (0..=n_states())
            .map(|state| (state, mean(segment, state)))
            .filter(|(state, p)| *state != segment.state && *p > own)
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((state, _)) = likelier {
            let other = label(state, path.frame.key, &[]);
            reason += &format!(
                "; the progression as a whole decides, though {} is likelier here alone",
                other.symbol()
            );
        }
        reading.chords[at].reason = reason;
    }
    reading
}

/// A state as a label spelled in the key, over the first bass that tells.
fn label(state: usize, key: Key, fragments: &[Fragment]) -> Label {
    let Some(state) = states().get(state) else {
        return Label::NoChord;
    };
    let root = key.spell_root(state.root);
    let chord = Chord::new(root, state.quality);
    let Some(bass) = fragments.iter().find_map(Fragment::telling_bass) else {
        return Label::Chord(chord);
    };
    // a chord tone is spelled as that tone, another bass by the key
    let tone = chord
        .degrees()
        .into_iter()
        .find(|d| d.over(root.pitch_class()) == bass);
    let degree = tone.unwrap_or_else(|| Degree::between(root, key.spell(bass)));
    let within_octave = Degree::new((degree.number() - 1) % 7 + 1, degree.alter());
    Label::Chord(chord.over(within_octave))
}
