//! Rows with a known reading.

use super::*;

/// Reads notes such as `B3 G4, E4 C5` in a key (or none) and gives the best reading's symbols.
fn read(key: &str, row: &str) -> String {
    let fragments: Vec<Fragment> = row
        .split(',')
        .map(|notes| {
            let midi: Vec<u8> = notes
                .split_whitespace()
                .map(|n| super::super::parse_midi_name(n).unwrap_or_else(|e| panic!("{e}")))
                .collect();
            Fragment::of(&midi)
        })
        .collect();
    let key = (!key.is_empty()).then(|| key.parse().unwrap_or_else(|e| panic!("{e}")));
    let result = read_row(&fragments, key, 3);
    let best = &result.readings[0];
    best.chords
        .iter()
        .flat_map(|c| std::iter::repeat_n(c.label.symbol(), c.last - c.first + 1))
        .collect::<Vec<_>>()
        .join(" ")
}

fn check(key: &str, row: &str, expected: &str) {
    assert_eq!(read(key, row), expected, "{row} in {key}");
}

#[test]
fn pairs_take_their_chord_from_key_and_neighbors() {
    check("G", "B3 G4, C4 E4, A3 F#4, F#4 D5", "G C D D");
    check("G", "B3 G4, C4 A4, F#3 D4, B3 G4", "G Am D G");
    check("A", "F#4 D5, G#4 E5, E4 C#5", "D E A");
    check("A", "C#4 E4, A3 F#4, B3 D4", "A F♯m Bm");
    check("A", "C#4 E4, A3 F#4, C#4 E4", "A D A");
}

#[test]
fn a_low_wide_pair_has_its_root_in_the_bass() {
    check("C", "C3 E4, E3 G4, F3 A4, G3 B4, A3 C5", "C Em F G Am");
    check(
        "",
        "C3 E4, E3 G4, F3 A4, G3 B4, A3 C5, C3 E4",
        "C Em F G Am C",
    );
}

/// Common practice, no source: these plucks in A major.
#[test]
fn one_pair_slid_along_the_neck_keeps_its_tones() {
    check("A", "A3 F#4, B3 G#4, C#4 A4, A3 F4", "D E F♯m Dm");
}

/// Common practice, no source: fifths alone are power chords; one among thirds and
/// sixths takes its third from the key.
#[test]
fn bare_fifths_stay_fifths_unless_their_neighbors_have_thirds() {
    check("G", "G3 D4, E3 B3, C3 G3, D3 A3", "G5 E5 C5 D5");
    check("", "E2 B2, G2 D3, A2 E3, E2 B2", "E5 G5 A5 E5");
    check("G", "B3 G4, C4 E4, D4 A4, B3 G4", "G C D G");
}

/// Common practice, no source: the sixths of a guitarist who slides one shape.
#[test]
fn a_reading_does_not_leave_its_key_without_need() {
    check("", "C#4 A4, B3 G#4, A3 F#4", "F♯m E D");
    let of_the_key = ["G", "Bdim", "Bm7♭5", "E7", "G7"];
    for row in ["B3 D4", "A3 C4, B3 D4, C4 E4"] {
        let read = read("Am", row);
        let found = read
            .split(' ')
            .nth(usize::from(row.len() > 5))
            .unwrap_or("");
        assert!(of_the_key.contains(&found), "{row}: {read}");
    }
}

/// Common practice, no source: a tritone is the third and seventh of a dominant; a
/// blues moves it by half steps.
#[test]
fn tritones_a_half_step_apart_are_the_dominants_of_a_blues() {
    check(
        "A",
        "C#4 G4, C4 F#4, C#4 G4, D4 G#4, C4 F#4, C#4 G4",
        "A7 D7 A7 E7 D7 A7",
    );
    check(
        "",
        "C#4 G4, C4 F#4, C#4 G4, D4 G#4, C4 F#4, C#4 G4",
        "A7 D7 A7 E7 D7 A7",
    );
}

/// Fragments of half a bar each join into one chord; bars do not.
#[test]
fn two_pairs_of_one_bar_are_one_chord() {
    let mut row: Vec<Fragment> = [[59, 67], [62, 71], [60, 64], [60, 67], [57, 66], [62, 66]]
        .iter()
        .map(|pair| Fragment::of(pair))
        .collect();
    for half in row.iter_mut().skip(1).step_by(2) {
        half.place = Place::Weak;
    }
    let read = read_row(&row, None, 2);
    let names: Vec<(String, usize, usize)> = read.readings[0]
        .chords
        .iter()
        .map(|c| (c.label.symbol(), c.first, c.last))
        .collect();
    assert_eq!(
        names,
        [("G".into(), 0, 1), ("C".into(), 2, 3), ("D".into(), 4, 5)]
    );
}

#[test]
fn a_separate_bass_and_sound_decide_what_notes_leave_open() {
    // C and E over A: A minor, not C
    let mut row = vec![Fragment::of(&[60, 64])];
    row[0].bass = Some(PitchClass::new(9));
    let best = |row: &[Fragment]| {
        read_row(row, "C".parse().ok(), 1).readings[0].chords[0]
            .label
            .symbol()
    };
    assert_eq!(best(&row), "Am");
    // strong evidence that the root is C leaves A as a bass
    row[0].evidence = vec![0.0; n_states()];
    row[0].evidence[state_index(PitchClass::new(0), &crate::theory::QUALITIES[0]).unwrap_or(0)] =
        20.0;
    assert_eq!(best(&row), "C/A");
}

#[test]
fn probabilities_are_probabilities() {
    let row: Vec<Fragment> = [[59u8, 67], [60, 64], [57, 66], [55, 59]]
        .iter()
        .map(|pair| Fragment::of(pair))
        .chain([Fragment::of(&[])])
        .collect();
    for key in [None, "G".parse().ok()] {
        let read = read_row(&row, key, 5);
        let sum: f64 = read.readings.iter().map(|r| r.probability).sum();
        assert!(sum > 0.05 && sum <= 1.0 + 1e-9, "{sum}");
        assert!(
            read.readings
                .windows(2)
                .all(|w| w[0].probability >= w[1].probability)
        );
        for fragment in &read.fragments {
            let sum: f64 = fragment.iter().map(|(_, p)| p).sum();
            assert!(sum > 0.3 && sum <= 1.0 + 1e-6, "{sum}");
        }
        let keys: f64 = read.keys.iter().map(|(_, p)| p).sum();
        assert!((keys - 1.0).abs() < 1e-6);
        assert_eq!(
            read.readings[0].chords.last().map(|c| &c.label),
            Some(&Label::NoChord)
        );
    }
}

/// The best path's weight and the total agree with every path written out, on a short row.
#[test]
fn marginals_agree_with_readings_written_out() {
    let row: Vec<Fragment> = [[59u8, 67], [60, 64]]
        .iter()
        .map(|p| Fragment::of(p))
        .collect();
    let read = read_row(&row, "G".parse().ok(), 60_000);
    let total: f64 = read.readings.iter().map(|r| r.probability).sum();
    assert!((total - 1.0).abs() < 1e-3, "{total}");
    let first = read.readings[0].chords[0].label.clone();
    let by_sum: f64 = read
        .readings
        .iter()
        .filter(|r| r.chords[0].label == first)
        .map(|r| r.probability)
        .sum();
    assert!((by_sum - read.readings[0].chords[0].probability).abs() < 1e-3);
}

#[test]
fn an_empty_row_has_no_reading() {
    assert!(read_row(&[], None, 3).readings.is_empty());
}
