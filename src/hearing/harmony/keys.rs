//! What a key makes likely, and which key the chords make likely.
//!
//! The weights of chords in keys are [`crate::theory::fit`]'s.

use crate::hearing::acoustic::net::{N_CLASSES, NO_CHORD};
use crate::hearing::harmony::chords::{KeyPrior, Segment};
use crate::hearing::learned;
use crate::hearing::outputs::Bar;
use crate::hearing::weight_files::KEYS;
use crate::theory::{
    Key, KeyChange, KeyCosts, Label, PitchClass, Quality, TimedTriad, Triad, fit, fitting_keys,
    key_at, keys_along, n_changes_before,
};
use std::sync::LazyLock;

/// What is fitted of keys.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct KeyWeights {
    /// How much rarer no chord is in a key than its tonic chord, ln.
    no_chord: f32,
    /// See [`KeyCosts`].
    at_bar: f64,
    at_section: f64,
    starts: f64,
    ends: f64,
    n_chords: usize,
    near_s: f64,
}

static WEIGHTS: LazyLock<KeyWeights> = LazyLock::new(|| learned::read(&KEYS));

impl KeyWeights {
    fn costs(&self) -> KeyCosts {
        KeyCosts {
            at_bar: self.at_bar,
            at_section: self.at_section,
            starts: self.starts,
            ends: self.ends,
            n_chords: self.n_chords,
            near_s: self.near_s,
        }
    }
}

/// The triad of a quality of the net.
pub(crate) fn kind(quality: usize) -> Triad {
    Quality::of_net_class(quality).triad()
}

/// How much rarer a chord class is in a key than its tonic chord, ln.
pub(crate) fn class_in_key(class: usize, key: Key) -> f32 {
    if class == NO_CHORD {
        return WEIGHTS.no_chord;
    }
    let (quality, root) = (class / 12, class % 12);
    fit(kind(quality), PitchClass::new(root as i32), key)
}

/// The prior of every class in a key, scaled; all zero without one.
pub(crate) fn key_prior(key: Option<Key>, weight: f32) -> KeyPrior {
    (0..N_CLASSES)
        .map(|class| key.map_or(0.0, |k| weight * class_in_key(class, k)))
        .collect()
}

/// Whether a class is bare fifths.
fn is_fifth(class: usize) -> bool {
    Quality::of_net_class(class / 12).harte == "5"
}

/// Which part of the sounding time the chords are bare fifths, 0 to 1.
pub(crate) fn share_of_fifths(segments: &[(Segment, f64)]) -> f32 {
    let (mut fifths, mut all) = (0.0, 1e-9);
    for (segment, seconds) in segments.iter().filter(|(s, _)| s.class != NO_CHORD) {
        all += seconds;
        if is_fifth(segment.class) {
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
        if class != NO_CHORD && is_fifth(class) {
            *value += weight;
        }
    }
}

/// The key that makes a row of chords likeliest; long chords count more, the
/// first and last chord once more as tonic. None without a chord.
pub(crate) fn estimate_key(segments: &[(Segment, f64)]) -> Option<Key> {
    let sounding: Vec<(Triad, PitchClass, f64)> = segments
        .iter()
        .filter(|(s, _)| s.class != NO_CHORD)
        .map(|(s, seconds)| {
            let root = PitchClass::new((s.class % 12) as i32);
            (kind(s.class / 12), root, *seconds)
        })
        .collect();
    fitting_keys(&sounding).first().map(|(key, _)| *key)
}

/// The keys of a take: the first and where it changes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Keys {
    pub(crate) first: Option<Key>,
    pub(crate) changes: Vec<KeyChange>,
}

impl Keys {
    /// The user's word: one key throughout.
    pub(crate) fn only(key: Key) -> Self {
        Self {
            first: Some(key),
            changes: Vec::new(),
        }
    }

    /// The keys that make the chords likeliest; they change where bars or, rather, sections start.
    pub(crate) fn along(chords: &[TimedTriad], bars: &[Bar], sections_s: &[f64]) -> Self {
        let bars_s: Vec<f64> = bars.iter().map(|b| b.start_s).collect();
        let (first, changes) = keys_along(chords, &bars_s, sections_s, &WEIGHTS.costs());
        Self { first, changes }
    }

    /// The key at a time, s.
    pub(crate) fn at(&self, time_s: f64) -> Option<Key> {
        key_at(self.first, &self.changes, time_s)
    }

    /// The priors of all keys, and which of them holds for what starts at each time.
    pub(crate) fn priors(&self, weight: f32, times_s: &[f64]) -> (Vec<KeyPrior>, Vec<usize>) {
        let keys = std::iter::once(self.first).chain(self.changes.iter().map(|c| Some(c.key)));
        let priors = keys.map(|key| key_prior(key, weight)).collect();
        let which = times_s
            .iter()
            .map(|t| n_changes_before(&self.changes, *t))
            .collect();
        (priors, which)
    }
}

/// A segment between two times as what it is to a key; none for no chord.
pub(crate) fn triad_of(segment: &Segment, start_s: f64, end_s: f64) -> Option<TimedTriad> {
    (segment.class != NO_CHORD).then(|| TimedTriad {
        triad: kind(segment.class / 12),
        root: PitchClass::new((segment.class % 12) as i32),
        start_s,
        end_s,
    })
}

/// The same of a label.
pub(crate) fn triad_of_label(label: &Label, start_s: f64, end_s: f64) -> Option<TimedTriad> {
    label.chord().map(|chord| TimedTriad {
        triad: Triad::of(chord),
        root: chord.root.pitch_class(),
        start_s,
        end_s,
    })
}
