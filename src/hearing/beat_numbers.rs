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
pub(super) const RANK: [(&str, f32); 41] = [
    ("beat_mean", 1.16586),
    ("beat_rate", -0.25325),
    ("half", 0.19043),
    ("quarter", 1.91655),
    ("third", -1.90043),
    ("tempo", 1.12919),
    ("tempo2", -4.31604),
    ("tempo_abs", 5.64081),
    ("bar_mean", 3.34536),
    ("bar_rate", 0.26361),
    ("change_on", 5.31230),
    ("change_off", -7.04212),
    ("change_half", -3.90294),
    ("change_mid", 1.14570),
    ("skips", -5.97498),
    ("two", 0.81040),
    ("three", -2.63846),
    ("four", 1.82806),
    ("two_third", 1.76273),
    ("two_half", -0.23565),
    ("three_half", 0.94898),
    ("four_half", -0.21979),
    ("two_tempo", -0.21120),
    ("three_tempo", 4.12502),
    ("four_tempo", -0.70159),
    ("length", -0.91434),
    ("length2", -0.98647),
    ("half_share", 3.59779),
    ("quarter_share", -9.20366),
    ("third_share", 0.28217),
    ("first_off", -8.83675),
    ("first_down", -0.44488),
    ("low_beat", 2.83782),
    ("low_down", 0.82451),
    ("back", 1.27866),
    ("three_mid_flux", -9.18300),
    ("three_mid_low", -0.68286),
    ("three_mid_high", 6.96505),
    ("two_mid_flux", -0.08053),
    ("two_mid_low", -0.14290),
    ("two_mid_high", -0.79032),
];
