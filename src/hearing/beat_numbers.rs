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

/// Weights of what describes a hypothesis, in the order of [`super::bars`]'s description.
pub(super) const RANK: [(&str, f32); 30] = [
    ("beat_mean", 0.75969),
    ("beat_rate", 0.60541),
    ("half", 0.06357),
    ("quarter", -1.61152),
    ("third", -0.84512),
    ("tempo", 0.82815),
    ("tempo2", -2.14395),
    ("tempo_abs", 2.34037),
    ("bar_mean", 3.77052),
    ("bar_rate", 1.34690),
    ("change_on", 6.45885),
    ("change_off", 2.70038),
    ("change_half", -7.37295),
    ("change_mid", -0.74321),
    ("skips", -73.76357),
    ("two", -0.85112),
    ("three", 0.03123),
    ("four", 0.81989),
    ("two_third", 2.50854),
    ("two_half", -1.85075),
    ("three_half", 1.21968),
    ("four_half", 0.78916),
    ("two_tempo", 0.66489),
    ("three_tempo", 1.43600),
    ("four_tempo", 0.26819),
    ("length", -0.27071),
    ("length2", -0.43474),
    ("half_share", 0.59694),
    ("quarter_share", -0.60316),
    ("third_share", 1.98122),
];
