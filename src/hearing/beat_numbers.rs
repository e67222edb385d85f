//! Fitted numbers of the beat and bar search.
//!
//! Made by logistic regression on rendered takes (random invented music on
//! guitars of two sound sets and a plucked-string model, with known beats);
//! docs/hearing.md says which takes they were fitted on and which they were
//! graded on.

/// Weights of [`super::pulse::described`] with the constant last.
pub(super) type Model = [f32; 13];

/// Log odds that a moment is a beat, against other moments.
pub(super) const BEAT: Model = [
    0.6650, 1.0365, 1.1039, -0.6186, -1.5667, 0.3441, 0.3318, 0.6404, 1.3052, 1.6818, -1.2337,
    -0.0516, -2.1997,
];

/// Log odds that a moment divides a beat, against moments between.
pub(super) const DIVISION: Model = [
    -0.3949, -0.0311, 0.9488, -0.1308, 0.3157, 0.6177, -0.5499, -0.3580, -1.3535, 1.4517, 1.7949,
    0.3544, -0.4505,
];

/// Log odds that a beat is a downbeat, against other beats.
pub(super) const DOWNBEAT: Model = [
    0.9976, 0.0520, -0.1406, 2.9473, 3.3653, 0.4213, 0.1096, -0.7679, -1.8365, -0.4670, 0.5818,
    0.1157, -3.7849,
];

/// Weights of what describes a hypothesis, by the names in [`super::bars`]'s description.
pub(super) const RANK: [(&str, f32); 84] = [
    ("beat_mean", 0.7019),
    ("beat_rate", -0.0286),
    ("half", 0.0338),
    ("quarter", 1.2749),
    ("third", -0.9006),
    ("tempo", 0.3740),
    ("tempo2", -2.6834),
    ("tempo_abs", 1.9960),
    ("bar_mean", 2.8613),
    ("bar_rate", 0.9263),
    ("change_on", 3.6375),
    ("change_off", -4.4251),
    ("change_half", -2.6903),
    ("change_mid", -0.3494),
    ("skips", -3.1887),
    ("two", 0.2971),
    ("three", -1.3101),
    ("four", 1.0130),
    ("two_third", 2.3448),
    ("two_half", -0.4738),
    ("three_half", -0.2651),
    ("four_half", 0.8113),
    ("two_tempo", -0.1494),
    ("three_tempo", 1.6613),
    ("four_tempo", -0.4323),
    ("length", -0.2074),
    ("length2", -0.4273),
    ("half_share", 1.6714),
    ("quarter_share", -3.4959),
    ("third_share", 0.1712),
    ("first_off", -4.6849),
    ("first_down", -0.0889),
    ("low_beat", 1.5966),
    ("low_down", 0.3408),
    ("back", 0.3082),
    ("three_mid_flux", -5.2326),
    ("three_mid_low", -0.1512),
    ("three_mid_high", 2.8667),
    ("two_mid_flux", 0.3894),
    ("two_mid_low", 0.1364),
    ("two_mid_high", -0.3018),
    ("compound", -0.3693),
    ("compound_tempo", 0.6819),
    ("compound_tempo2", 1.9961),
    ("two_length", 0.0080),
    ("two_length2", 2.0207),
    ("three_length", 1.2540),
    ("three_length2", 1.2123),
    ("bass_down", 2.4106),
    ("bass_other", -1.6896),
    ("bass_half", 0.5910),
    ("full_down", 1.1898),
    ("full_other", 1.5221),
    ("full_half", -0.9455),
    ("low_down_note", 3.2098),
    ("low_other_note", 3.5444),
    ("low_half_note", 0.4287),
    ("bass_down_tempo", 3.4038),
    ("bass_other_tempo", -0.6390),
    ("bass_half_tempo", 2.3969),
    ("full_other_tempo", 1.9192),
    ("full_half_tempo", 0.8682),
    ("boom_three", 3.5716),
    ("boom_even", 3.1748),
    ("two_simple", -0.7946),
    ("picked_compound_quick", -10.0),
    ("picked_three_slow", -2.5044),
    ("compound_quick", 2.1810),
    ("turns_two", -1.6204),
    ("turns_three", -1.8739),
    ("turns_four", -0.6750),
    ("picked_two", -0.9250),
    ("picked_three", 0.6593),
    ("picked_three_tempo", 0.1534),
    ("picked_compound", -0.0501),
    ("picked_compound_tempo", -0.6014),
    ("picked_tempo", -1.8087),
    ("picked_tempo2", -2.3187),
    ("three_mid_struck", 0.0265),
    ("three_mid_low_note", 1.5723),
    ("three_mid_full", 1.8146),
    ("compound_mid_struck", -2.1052),
    ("compound_mid_low_note", 1.5534),
    ("compound_mid_full", -0.3613),
];
