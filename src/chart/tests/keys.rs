//! Another key, another capo, and shapes for chords that bring none.

use super::*;

#[test]
fn another_key_keeps_degrees_and_moves_shapes_that_a_hand_can_hold() {
    let song = song(
        "x",
        4,
        &[(
            "A",
            &[
                "G=355433 C=x35553",
                "F#m7b5=2x221x Bb=x13331",
                "D/F#=2x0232 G=320003",
            ],
        )],
    );
    let to = |key: &str| options(|o| o.key = Some(key.parse().expect("a key")));
    let moved = prepare(&song, &to("A")).expect("moved");
    assert_eq!(labels(&moved), "A D G♯m7♭5 C E/G♯ A");
    assert_eq!(
        shapes(&moved).split(' ').take(4).collect::<Vec<_>>(),
        ["577655", "x57775", "4x443x", "x35553"]
    );
    // every shape still sounds its chord, on its bass
    for span in &moved.spans {
        let chord = span.label.chord().expect("a chord");
        let sounding: Vec<u8> = moved
            .instrument
            .sounding(&span.shapes[0])
            .into_iter()
            .flatten()
            .collect();
        assert_eq!(
            i32::from(*sounding.iter().min().expect("sounds")) % 12,
            chord.bass_pitch_class().index() as i32,
            "{} {}",
            chord.symbol(),
            span.shapes[0]
        );
    }
    // flats stay flats of the key: C is ♭VII of D, as F is of G
    let moved = prepare(&song, &to("Eb")).expect("moved");
    assert_eq!(labels(&moved), "E♭ A♭ Dm7♭5 G♭ B♭/D E♭");
    assert_eq!(
        prepare(&song, &to("Am")).expect_err("another mode"),
        ChartError::OtherMode {
            song: "G major".into(),
            wanted: "A minor".into()
        }
    );
}

#[test]
fn in_another_key_only_decided_shapes_slide_and_only_where_a_hand_reaches() {
    // two frets up the open e is pressed at 2 and the rest at 7 to 10: no hand does that
    let song = song("x", 4, &[("A", &["C=875550", "G=355433", "D=xx0232?"])]);
    let a = options(|o| o.key = Some("A".parse().expect("a key")));
    let moved = prepare(&song, &a).expect("moved");
    assert_eq!(labels(&moved), "D A E");
    let frets: Vec<String> = moved.spans.iter().map(|s| s.shapes[0].text()).collect();
    assert_eq!(frets, ["xx0232", "577655", "022100"]);
    let decided: Vec<usize> = moved.spans.iter().map(|s| s.n_decided_shapes).collect();
    assert_eq!(decided, [0, 1, 0]);
    let fresh = &moved.warnings[song.warnings.len()..];
    assert!(
        matches!(fresh, [one] if one.contains("(C 875550)")),
        "{fresh:?}"
    );
}

#[test]
fn a_chord_that_brings_no_shape_gets_the_easiest_as_a_proposal() {
    // Em7 written by the user; G has shapes at one of its places already
    let song = song("x", 4, &[("A", &["G=355433", "Em7", "G", "N"])]);
    let shown = prepare(&song, &Options::default()).expect("prepared");
    let frets: Vec<Vec<String>> = shown
        .spans
        .iter()
        .map(|s| s.shapes.iter().map(|s| s.text()).collect())
        .collect();
    assert_eq!(frets[0], ["355433"]);
    assert_eq!(frets[1].len(), 2, "{frets:?}");
    assert!(frets[2].is_empty() && frets[3].is_empty(), "{frets:?}");
    assert_eq!(shown.spans[1].n_decided_shapes, 0);
    let page = text(&song, Format::Txt, &Options::default());
    assert!(page.contains("Em7 ?"), "{page}");
}

#[test]
fn a_capo_keeps_what_sounds() {
    let song = song("x", 4, &[("A", &["A=577655", "G=320003"])]);
    let with = prepare(&song, &options(|o| o.capo = Some(2))).expect("moved");
    assert_eq!(labels(&with), "A G");
    let frets: Vec<&str> = vec!["355433"];
    assert_eq!(shapes(&with).split(' ').take(1).collect::<Vec<_>>(), frets);
    // 320003 has open strings under the capo: another shape takes its place and is open
    assert_eq!(with.spans[1].n_decided_shapes, 0);
    assert_eq!(with.warnings.len(), 1);
    let sounding: std::collections::BTreeSet<u8> = with
        .instrument
        .sounding(&with.spans[1].shapes[0])
        .into_iter()
        .flatten()
        .map(|m| m % 12)
        .collect();
    assert_eq!(sounding, [2, 7, 11].into());
    assert!(matches!(
        prepare(&song, &options(|o| o.capo = Some(13))),
        Err(ChartError::CapoRange { fret: 13 })
    ));
    let sheet = text(&song, Format::Txt, &options(|o| o.capo = Some(2)));
    assert!(
        sheet.contains("sounds A") && sheet.contains("\nCapo: 2\nNames: shapes played\n"),
        "{sheet}"
    );
}
