//! Reading timelines, and grades that can be worked out by hand.

use super::*;

fn check(estimate: &str, reference: &str, strictness: Strictness, expected: Option<f64>) {
    let grades = parse_lab(estimate)
        .and_then(|e| grade_chords(&e, &parse_lab(reference)?))
        .unwrap_or_else(|e| panic!("{e}"));
    let ratio = grades.recall(strictness, false).and_then(Recall::ratio);
    assert_eq!(
        ratio, expected,
        "{strictness:?}: {estimate:?} {reference:?}"
    );
}

#[test]
fn recall_is_the_right_part_of_the_compared_time() {
    let reference = "0 1 N\n1 3 G:7\n3 4 D:sus4";
    check("0 1 N\n1 4 G:maj", reference, Strictness::Root, Some(0.75));
    check("0 1 N\n1 4 G:maj", reference, Strictness::MajMin, Some(1.0));
    check(
        "0 1 N\n1 4 G:maj",
        reference,
        Strictness::Sevenths,
        Some(1.0 / 3.0),
    );
    check("0 4 G:maj", "0 4 X", Strictness::Root, None);
    check("", reference, Strictness::Root, Some(0.25));
}

fn refusal(text: &str) -> GradingError {
    match parse_lab(text).and_then(|t| grade_chords(&t, &t)) {
        Ok(_) => panic!("{text:?} was accepted"),
        Err(error) => error,
    }
}

#[test]
fn a_refusal_names_the_line() {
    assert!(matches!(
        refusal("0 1 C:maj\n1 x D:maj"),
        GradingError::Time { line: 2, .. }
    ));
    assert!(matches!(
        refusal("\n# c\n0 1"),
        GradingError::Columns { line: 3, .. }
    ));
    assert!(matches!(
        refusal("0 1 C:maj\n1 1 D:maj"),
        GradingError::Backwards { line: 2, .. }
    ));
    assert!(matches!(
        refusal("0 2 C:maj\n1 3 D:maj"),
        GradingError::Overlap { line: 2, .. }
    ));
    assert!(matches!(
        refusal("0 1 H:maj"),
        GradingError::Label { line: 1, .. }
    ));
    assert!(matches!(
        refusal("0 inf C:maj"),
        GradingError::Time { line: 1, .. }
    ));
    assert!(matches!(
        refusal("-1 1 C:maj"),
        GradingError::Time { line: 1, .. }
    ));
    assert_eq!(refusal(""), GradingError::EmptyReference);
    assert_eq!(
        refusal(&"0 1 N\n".repeat(MAX_LINES + 1)),
        GradingError::TooLong { most: MAX_LINES }
    );
    let text = refusal("0 1 Am7").to_string();
    assert!(
        text.starts_with("line 1: ") && text.contains("'A:min7'"),
        "{text}"
    );
}

#[test]
fn line_ends_tabs_comments_and_rounding_are_read() {
    let take = parse_lab("\u{feff}# c\r\n0\t1.0004\tC:maj\r\n\r\n1.0 2 \t D:min\r\n")
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(take.spans().len(), 2);
    assert_eq!(take.spans()[0].end_s, 1.0);
    assert_eq!(take.spans()[1].label, "D:min");
}

#[test]
fn the_largest_matching_takes_a_detour() {
    // 0 takes b first; 1 can only take b, so 0 must move to a
    assert_eq!(matching::largest_matching(&[vec![1, 0], vec![1]], 2), 2);
    assert_eq!(matching::largest_matching(&[vec![0], vec![0]], 1), 1);
    assert_eq!(
        matching::largest_matching(&[vec![1, 2], vec![0, 1], vec![0]], 3),
        3
    );
}

#[test]
fn differences_are_joined_and_in_order() {
    let reference = Timeline::from_parts([(0.0, 2.0, "C:maj"), (2.0, 4.0, "G:maj/3")]);
    let estimate = Timeline::from_parts([(0.0, 1.0, "C:maj"), (1.0, 3.0, "G:maj")]);
    let found = estimate
        .and_then(|e| differences(&e, &reference?, Strictness::Tetrads, true))
        .unwrap_or_else(|e| panic!("{e}"));
    let found: Vec<_> = found
        .iter()
        .map(|d| {
            (
                d.start_s,
                d.end_s,
                d.reference.as_str(),
                d.estimate.as_str(),
            )
        })
        .collect();
    let expected = [
        (1.0, 2.0, "C:maj", "G:maj"),
        (2.0, 3.0, "G:maj/3", "G:maj"),
        (3.0, 4.0, "G:maj/3", "N"),
    ];
    assert_eq!(found, expected);
}

/// Whatever a log may say must be gradable; `theory` and the measures must agree on what sounds.
#[test]
fn every_quality_of_the_vocabulary_is_read_as_theory_reads_it() {
    use crate::theory::{Chord, Degree, QUALITIES, Spelled};
    for quality in QUALITIES {
        let chord = Chord::new(Spelled::new(4, 0), quality);
        for chord in [chord.clone(), chord.over(Degree::new(5, 0))] {
            let label = chord.label();
            let code = ChordCode::read(&label).unwrap_or_else(|e| panic!("{e}"));
            let sounding = chord.degrees().into_iter().chain(chord.bass);
            let mut semitones = [0; 12];
            for degree in sounding.filter(|d| d.semitones() < 12) {
                semitones[degree.semitones() as usize] = 1;
            }
            assert_eq!((code.root, code.semitones), (7, semitones), "{label}");
        }
    }
}

fn said(start_s: f64, end_s: f64, label: &str, probability: f64) -> reliability::Said {
    reliability::Said {
        start_s,
        end_s,
        label: label.parse().expect("a label"),
        probability,
    }
}

/// By hand: 8 of 10 s right at 0.9, 1 of 10 s right at 0.3.
#[test]
fn said_against_right_is_counted_by_time() {
    let truth =
        parse_lab("0 8 C:maj\n8 10 G:maj\n10 11 D:7\n11 20 Gb:maj\n20 30 X\n").expect("lab");
    let mut all = reliability::Reliability::default();
    assert_eq!(all.error(), None);
    let list = [
        said(0.0, 10.0, "C", 0.9),
        said(10.0, 20.0, "D7", 0.3),
        said(20.0, 30.0, "A", 1.0),
    ];
    all.add(&list, &truth).expect("labels");
    let error = all.error().expect("measured");
    assert!((error - (0.5 * 0.1 + 0.5 * 0.2)).abs() < 1e-12, "{error}");
    assert!((all.bins[9].right().expect("a bin") - 0.8).abs() < 1e-12);
    assert!((all.bins[3].said().expect("a bin") - 0.3).abs() < 1e-12);
    assert_eq!(all.bins[5].said(), None);
    // another spelling is the same chord, another bass is not
    let mut all = reliability::Reliability::default();
    let list = [said(11.0, 20.0, "F#", 1.0), said(0.0, 8.0, "C/E", 1.0)];
    all.add(&list, &truth).expect("labels");
    assert!((all.bins[9].right_s - 9.0).abs() < 1e-12);
    assert!((all.error().expect("measured") - 8.0 / 17.0).abs() < 1e-12);
}
