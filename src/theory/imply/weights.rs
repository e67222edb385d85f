//! The numbers of the reading: costs (negative natural logarithms) from `weights/imply.json`.
//!
//! # Source
//! The order of these costs is common practice, no source: the plain chords of
//! the key before those outside it, tonic, fourth and fifth before the third
//! degree, roots that fall a fifth or move a step. The sizes are ours.

use serde::Deserialize;
use std::sync::OnceLock;

/// Numbers of the reading.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Weights {
    /// A note heard that is no tone of the chord, on a beat that counts.
    pub(super) outside: f64,
    /// Added to a silent root for every tone heard beyond two.
    pub(super) missing_root_more: f64,
    /// A double stop's note where there is said to be no chord.
    pub(super) note_without_chord: f64,
    /// Silence where there is said to be a chord.
    pub(super) chord_without_note: f64,
    /// Gain of a first chord on the tonic.
    pub(super) start_on_tonic: f64,
    /// Gain of a last chord on the tonic.
    pub(super) end_on_tonic: f64,
    /// Gain of a first dominant whose third lies below its seventh, as in close
    /// position: the same tritone is the seventh and third of another.
    pub(super) start_in_close_position: f64,
    /// Gain where the same pair of strings, slid a little, plays the same tones of the next chord.
    pub(super) slide: f64,
    /// The same, slid further.
    pub(super) slide_far: f64,
    /// What still is a little, semitones.
    pub(super) slide_near_frets: u8,
    /// A chord of four tones and more of which no double stop shows more than two
    /// that tell: neighbors together make sevenths of almost anything.
    pub(super) thin: f64,
    /// Moving from or to no chord.
    pub(super) no_chord: f64,
    /// Each tone of a chord that the key does not have and that is not heard either.
    pub(super) silent_outside_key: f64,
    /// Each tone beyond the triad that the key does not have.
    pub(super) strange_tension: f64,
    /// Gain of the seventh on the fifth degree, its usual dress.
    pub(super) dominant_on_fifth: f64,
    /// A change between a bare fifth and a chord with a third: players seldom mix them.
    pub(super) bare_fifth_beside_chord: f64,
    /// Probability that the chord changes at a place.
    pub(super) change: Change,
    pub(super) missing: Missing,
    pub(super) bass: Bass,
    /// What a root motion costs, by semitones upwards.
    pub(super) motion: [f64; 12],
    /// Added for chords without a third to the cheaper of major and minor.
    pub(super) no_third: f64,
    pub(super) major_key: Chords,
    pub(super) minor_key: Chords,
    pub(super) blues: Blues,
    /// What a key costs that players of the guitar seldom choose, by pitch class
    /// of the tonic; for rows whose key is not given.
    pub(super) unusual_key: Keys,
}

/// Probability that the chord changes, by place in the bar.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Change {
    pub(super) bar_start: f64,
    pub(super) strong: f64,
    pub(super) weak: f64,
}

/// What a silent tone of a chord costs.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Missing {
    pub(super) root: f64,
    /// The root where a sixth is heard, whose lower note is no root either way.
    pub(super) root_of_sixth: f64,
    pub(super) third: f64,
    pub(super) fifth_of_bare_fifth: f64,
    pub(super) fifth: f64,
    pub(super) altered_fifth: f64,
    pub(super) other: f64,
}

/// What a bass costs that is not the root, by the tone of the chord it is.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Bass {
    pub(super) third: f64,
    pub(super) fifth: f64,
    pub(super) seventh: f64,
    pub(super) other_tone: f64,
    pub(super) no_tone: f64,
    /// Added where the bass is the low note of a wide pair, which is its root.
    pub(super) of_wide_pair: f64,
    /// Added where the root is neither a separate bass nor among the notes.
    pub(super) root_nowhere: f64,
    /// Of a new written bass at a strong place within one chord.
    pub(super) new_within: f64,
}

/// What chords cost in a key, by the root's semitones above the tonic.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Chords {
    pub(super) major: [f64; 12],
    pub(super) minor: [f64; 12],
    pub(super) diminished: [f64; 12],
}

/// The harmony of a blues: dominant sevenths on the first, fourth and fifth degree are at home.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Blues {
    /// What it costs to take a row for a blues.
    pub(super) cost: f64,
    /// Gain of a dominant seventh on the three degrees.
    pub(super) dominant: f64,
    pub(super) chords: Chords,
}

/// Costs of keys by pitch class of the tonic.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Keys {
    pub(super) major: [f64; 12],
    pub(super) minor: [f64; 12],
}

/// The numbers that are part of the program.
pub(super) fn weights() -> &'static Weights {
    static WEIGHTS: OnceLock<Weights> = OnceLock::new();
    WEIGHTS.get_or_init(|| {
        serde_json::from_str(include_str!("weights/imply.json"))
            .unwrap_or_else(|e| panic!("src/theory/imply/weights/imply.json: {e}"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_missing_or_misspelled_is_an_error() {
        let text = include_str!("weights/imply.json");
        assert!(serde_json::from_str::<Weights>(text).is_ok());
        for (wrong, says) in [
            (text.replace("\"slide_far\"", "\"slide_fr\""), "slide_fr"),
            (text.replace("\"thin\": 3.0,", ""), "thin"),
        ] {
            assert_ne!(wrong, text);
            let error = serde_json::from_str::<Weights>(&wrong).err();
            let error = error.map(|e| e.to_string()).unwrap_or_default();
            assert!(error.contains(says), "{error}");
        }
    }
}
