//! Fitted numbers of the beat and bar search.
//!
//! Made by logistic regression on rendered takes (random invented music on
//! guitars of two sound sets and a plucked-string model, with known beats);
//! docs/hearing.md says which takes they were fitted on and which they were
//! graded on.

use crate::hearing::learned;
use crate::hearing::weight_files::BEATS;
use serde::Deserialize;
use std::sync::OnceLock;

/// Weights of [`crate::hearing::rhythm::pulse::described`] with the constant last.
pub(in crate::hearing) type Model = [f32; 13];

/// All of them.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::hearing) struct BeatNumbers {
    /// Log odds that a moment is a beat, against other moments.
    pub(in crate::hearing) beat: Model,
    /// Log odds that a moment divides a beat, against moments between.
    pub(in crate::hearing) division: Model,
    /// Log odds that a beat is a downbeat, against other beats.
    pub(in crate::hearing) downbeat: Model,
    /// Weights of what describes a hypothesis.
    pub(in crate::hearing) rank: Described,
}

/// The built-in ones.
pub(in crate::hearing) fn beat_numbers() -> &'static BeatNumbers {
    static NUMBERS: OnceLock<BeatNumbers> = OnceLock::new();
    NUMBERS.get_or_init(|| learned::read(&BEATS))
}

/// A struct of numbers that can also be read in a row.
macro_rules! numbers {
    ($(#[$doc:meta])* $name:ident: $($field:ident)+) => {
        $(#[$doc])*
        #[derive(Debug, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub(in crate::hearing) struct $name {
            $(pub(in crate::hearing) $field: f32,)+
        }

        impl $name {
            /// Names of the numbers, in their order.
            pub(in crate::hearing) const NAMES: &[&str] = &[$(stringify!($field)),+];

            /// The numbers in their order.
            pub(in crate::hearing) fn values(&self) -> [f32; Self::NAMES.len()] {
                [$(self.$field),+]
            }
        }
    };
}

numbers! {
    /// What describes a hypothesis, or the weight of each; [`crate::hearing::rhythm::bars`]
    /// says what they are.
    Described:
    beat_mean
    beat_rate
    half
    quarter
    third
    tempo
    tempo2
    tempo_abs
    bar_mean
    bar_rate
    change_on
    change_off
    change_half
    change_mid
    skips
    two
    three
    four
    two_third
    two_half
    three_half
    four_half
    two_tempo
    three_tempo
    four_tempo
    length
    length2
    half_share
    quarter_share
    third_share
    first_off
    first_down
    low_beat
    low_down
    back
    three_mid_flux
    three_mid_low
    three_mid_high
    two_mid_flux
    two_mid_low
    two_mid_high
    compound
    compound_tempo
    compound_tempo2
    two_length
    two_length2
    three_length
    three_length2
    bass_down
    bass_other
    bass_half
    full_down
    full_other
    full_half
    low_down_note
    low_other_note
    low_half_note
    bass_down_tempo
    bass_other_tempo
    bass_half_tempo
    full_other_tempo
    full_half_tempo
    boom_three
    boom_even
    two_simple
    picked_compound_quick
    picked_three_slow
    compound_quick
    turns_two
    turns_three
    turns_four
    picked_two
    picked_three
    picked_three_tempo
    picked_compound
    picked_compound_tempo
    picked_tempo
    picked_tempo2
    three_mid_struck
    three_mid_low_note
    three_mid_full
    compound_mid_struck
    compound_mid_low_note
    compound_mid_full
    alike_beat
    alike_beat_tempo
    alike_bar
    alike_bars
    two_alike_bar
    two_alike_beat
    two_alike_bars
    three_alike_two
    four_alike_bar
    compound_alike_bar
    compound_two
    compound_two_tempo
    half_tempo
    quarter_tempo
    third_tempo
    quarter_share_tempo
    half_share_tempo
    held
    held_two
    held_s2
    full_tempo
    full_tempo2
    full_quarter_share
}
