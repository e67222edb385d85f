use super::*;
use crate::fretboard::{Instrument, Shape};
use crate::hearing::acoustic::net::Acoustic;
use crate::theory::Label;

/// The open G major shape in standard tuning, lowest string first.
const G: [u8; 6] = [43, 47, 50, 55, 59, 67];

/// A strum: how likely each string was struck; none where it leaves no trace.
type Heard = [Option<f32>; 6];

/// What is told of the first of some strums on the open G, one every other beat, the first
/// at 1 s; the bars, of four beats in 2 s, start at `beats_s`.
fn told(strums: &[Heard], beats_s: f64) -> Vec<(u8, f32)> {
    let mut possible: Vec<Possible> = Vec::new();
    for (nth, heard) in strums.iter().enumerate() {
        for (i, (p, m)) in heard.iter().zip(&G).enumerate() {
            let time_s = 1.0 + nth as f64 + 0.01 * i as f64;
            possible.extend(p.and_then(|p| Possible::at(time_s, *m, p)));
        }
    }
    judged(possible, strums.len(), beats_s)
}

/// The same of any notes, in order of time, over the open G shape in so many seconds.
fn judged(mut possible: Vec<Possible>, seconds: usize, beats_s: f64) -> Vec<(u8, f32)> {
    let beats: Vec<(f64, u8)> = (0..2 * seconds + 8)
        .map(|i| (beats_s + 0.5 * i as f64, (i % 4) as u8 + 1))
        .collect();
    let shape: Shape = "320003".parse().unwrap_or_else(|e| panic!("{e}"));
    let span = HeardSpan {
        start_s: 1.0,
        end_s: 1.0 + seconds as f64,
        candidates: vec![(Label::Unknown, 1.0, String::new())],
        shapes: vec![(shape, 1.0)],
        bass_midi: None,
        chroma: [0.0; 12],
        fragment: false,
    };
    let playing = Playing {
        acoustic: &Acoustic::default(),
        strokes: &[],
        beats: &beats,
        spans: &[span],
        instrument: &Instrument::default(),
    };
    judge_strums(&mut possible, &playing, 0.45);
    let first = possible.iter().filter(|p| p.time_s < 1.5);
    first.map(|p| (p.midi(), p.probability)).collect()
}

/// Where the beats start for a strum on one, or between two.
const ON_S: f64 = 1.0;
const BETWEEN_S: f64 = 0.75;
/// The upper strings surely, the lower ones hardly known.
const FAINT_BELOW: Heard = [
    Some(0.5),
    Some(0.5),
    Some(0.6),
    Some(0.95),
    Some(0.95),
    Some(0.95),
];

#[test]
fn the_weights_are_of_the_nets_size() {
    let size = |numbers: usize, hidden: usize| hidden * (numbers + 2) + 1;
    let strays = size(strays::N_NUMBERS, strays::HIDDEN);
    assert_eq!(
        STRUM_CLASSIFIER.bytes().len(),
        4 * (size(N_NUMBERS, HIDDEN) + strays)
    );
}

#[test]
fn a_faint_string_between_two_that_are_struck_is_told() {
    let mut heard = [Some(0.95); 6];
    heard[2] = Some(0.35);
    let notes = told(&[heard; 4], ON_S);
    assert!(notes[2].1 > 0.5, "{notes:?}");
}

#[test]
fn a_faint_low_string_is_told_on_the_beat_rather_than_between_beats() {
    let strums = [FAINT_BELOW; 4];
    let (on, between) = (told(&strums, ON_S), told(&strums, BETWEEN_S));
    assert!(on[0].1 > between[0].1 + 0.15, "{on:?} {between:?}");
}

#[test]
fn a_faint_low_string_is_told_where_the_hand_strikes_it_in_other_bars() {
    let full = [Some(0.95); 6];
    let [low, high] = [Some(0.1), Some(0.95)];
    let upper = [low, low, low, high, high, high];
    // on one all strings, on three the upper ones
    let mut strums = [full, upper].repeat(6);
    strums[0] = FAINT_BELOW;
    let on_one = told(&strums, 1.0);
    let mut strums = [upper, full].repeat(6);
    strums[0] = FAINT_BELOW;
    let on_three = told(&strums, 0.0);
    let lower = |notes: &[(u8, f32)]| notes[..3].iter().map(|n| n.1).sum::<f32>() / 3.0;
    assert!(
        lower(&on_one) > lower(&on_three) + 0.15,
        "{on_one:?} {on_three:?}"
    );
}

#[test]
fn strings_without_a_trace_at_the_edge_are_not_made_up() {
    let upper = [None, None, None, Some(0.9), Some(0.9), Some(0.9)];
    let low = told(&[upper; 4], BETWEEN_S);
    assert_eq!(low.len(), 3, "{low:?}");
    let lower = [Some(0.9), Some(0.9), Some(0.9), None, None, None];
    let high = told(&[lower; 4], ON_S);
    assert_eq!(high.len(), 3, "{high:?}");
}

/// Eight full strums on the open G, with a note of this pitch beside those of `strums`, this
/// likely, at the strum or half a second after it; what is told of that note the first time.
fn beside(midi: u8, likely: f32, after_s: f64, strums: &[usize]) -> f32 {
    let mut possible = Vec::new();
    for nth in 0..8 {
        for (i, m) in G.iter().enumerate() {
            possible.extend(Possible::at(1.0 + nth as f64 + 0.01 * i as f64, *m, 0.97));
        }
        if strums.contains(&nth) {
            let time_s = 1.02 + nth as f64 + after_s;
            possible.extend(Possible::at(time_s, midi, likely));
        }
    }
    possible.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let notes = judged(possible, 8, ON_S);
    let first = notes.iter().find(|n| n.0 == midi);
    first.map_or_else(|| panic!("{midi} is gone"), |n| n.1)
}

#[test]
fn an_overtone_in_a_full_strum_is_no_note() {
    // B4, the second partial of the open B and the fourth of the B below
    assert!(beside(71, 0.7, 0.0, &[0]) < 0.2);
    // D5, the third partial of the open G
    assert!(beside(74, 0.7, 0.0, &[0]) < 0.2);
}

#[test]
fn a_note_of_a_tune_beside_the_chord_stays() {
    assert!(beside(69, 0.95, 0.4, &[0]) > 0.6);
}

#[test]
fn a_note_that_comes_with_every_strum_says_that_the_shape_is_another() {
    let (once, always) = (
        beside(62, 0.9, 0.0, &[0]),
        beside(62, 0.9, 0.0, &[0, 1, 2, 3, 4, 5, 6, 7]),
    );
    assert!(always > once, "{always} {once}");
}
