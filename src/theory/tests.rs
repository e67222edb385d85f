//! The vocabulary out and back, and spelling by key.

use super::*;

/// Reads a label or symbol and gives both printed forms.
fn check(input: &str, label: &str, symbol: &str) {
    let read: Chord = input.parse().unwrap_or_else(|e| panic!("{input}: {e}"));
    assert_eq!(
        (read.label(), read.symbol()),
        (label.into(), symbol.into()),
        "{input}"
    );
}

#[test]
fn labels_and_symbols_read_and_print() {
    check("C", "C:maj", "C");
    check("G/3", "G:maj/3", "G/B");
    check("D/F#", "D:maj/3", "D/F♯");
    check("C#:hdim7/b5", "C#:hdim7/b5", "C♯m7♭5/G");
    check("Bbm7", "Bb:min7", "B♭m7");
    check("C6/9", "C:maj6(9)", "C6/9");
    check("C6/9/E", "C:maj6(9)/3", "C6/9/E");
    check("E7#9", "E:7(#9)", "E7♯9");
    check("Aadd9", "A:maj(9)", "Aadd9");
    check("C:7(*5,b5)", "C:7(*5,b5)", "C7♭5");
    check("C:(1,3,5,b7)", "C:7", "C7");
    check("C7(b5)", "C:7(*5,b5)", "C7♭5");
    check("Cm(maj7)", "C:minmaj7", "Cm(maj7)");
    check("C/Db", "C:maj/b2", "C/D♭");
    check("G:maj(13)", "G:maj(13)", "G(add13)");
    check("Em7(no5)", "E:min7(*5)", "Em7(no5)");
}

#[test]
fn every_row_goes_out_and_comes_back_in_every_key() {
    for row in QUALITIES {
        for fifths in -7..=7 {
            for bass in [None, Some(Degree::new(5, 0)), Some(Degree::new(3, -1))] {
                let mut chord = Chord::new(Spelled::from_fifths(fifths), row);
                if let Some(b) = bass {
                    chord = chord.over(b);
                }
                assert_eq!(
                    chord.label().parse::<Chord>().as_ref(),
                    Ok(&chord),
                    "{}",
                    chord.label()
                );
                assert_eq!(
                    chord.symbol().parse::<Chord>().as_ref(),
                    Ok(&chord),
                    "{}",
                    chord.symbol()
                );
            }
        }
    }
}

#[test]
fn each_class_of_the_net_and_each_kind_of_musicxml_has_one_row() {
    for (class, quality) in Quality::of_net().iter().enumerate() {
        assert_eq!(quality.net, Some(class), "{}", quality.harte);
    }
    for quality in QUALITIES.iter().filter(|q| q.musicxml.is_some()) {
        let kind = quality.musicxml.unwrap_or_default();
        assert_eq!(Quality::by_musicxml(kind), Some(quality), "{kind}");
    }
}

#[test]
fn nonsense_is_refused() {
    for text in [
        "", "H", "Cfoo", "C:", "C:foo", "C/", "C/H", "C(((", "C:maj/b", "C:maj(9", "Cno4", "C5b",
    ] {
        let read = text.parse::<Chord>();
        assert!(
            matches!(read, Err(TheoryError::ChordLabel { .. })),
            "{text:?}: {read:?}"
        );
    }
}

#[test]
fn spelling_follows_the_key() {
    let spell = |key: &str, pc: i32| {
        key.parse::<Key>()
            .map(|k| k.spell(PitchClass::new(pc)).text())
    };
    assert_eq!(spell("F", 10), Ok("B♭".into()));
    assert_eq!(spell("B", 10), Ok("A♯".into()));
    assert_eq!(spell("Am", 8), Ok("G♯".into()));
    assert_eq!(spell("C", 6), Ok("F♯".into()));
    assert_eq!(spell("Eb", 11), Ok("C♭".into()));
    let root = |key: &str, pc: i32| {
        key.parse::<Key>()
            .map(|k| k.spell_root(PitchClass::new(pc)).text())
    };
    assert_eq!(spell("Db", 9), Ok("B♭♭".into()));
    assert_eq!(root("Db", 9), Ok("A".into()));
    assert_eq!(root("Db", 4), Ok("E".into()));
    assert_eq!(root("Gb", 11), Ok("C♭".into()));
    assert_eq!(root("G#m", 7), Ok("G".into()));
    assert_eq!(root("F#", 5), Ok("E♯".into()));
    assert_eq!(root("F#", 0), Ok("C".into()));
    assert_eq!(root("Db", 11), Ok("B".into()));
    assert_eq!(root("A#", 2), Ok("D".into()));
    assert_eq!(root("F", 10), Ok("B♭".into()));
    assert_eq!(
        Key::usual(PitchClass::new(6), Mode::Minor).text(),
        "F♯ minor"
    );
    assert_eq!(
        Key::usual(PitchClass::new(10), Mode::Major).text(),
        "B♭ major"
    );
}

/// Found by damaging symbols at random (tests/it/damaged.rs).
#[test]
fn what_is_said_twice_in_a_chord_is_said_once_in_its_label() {
    let label = |text: &str| -> String {
        let chord: Chord = text.parse().unwrap_or_else(|e| panic!("{e}"));
        chord.label()
    };
    assert_eq!(label("A9add9(no3)"), "A:9(*3)");
    assert_eq!(label("C(add9)(add9)"), label("Cadd9"));
    assert_eq!(label("Cno3add3"), "C:maj");
    assert_eq!(label("C:maj(*3,3)"), "C:maj");
    assert_eq!(label("C:7(*5,*5,b5)"), label("C:7(*5,b5)"));
    assert_eq!(label("Aadd9(no3)"), label("A:maj(*3,9)"));
    assert_eq!(label(&label("Aadd9(no3)")), label("Aadd9(no3)"));
}

#[test]
fn a_chord_too_long_to_be_read_again_is_refused() {
    let many = "C:7(b2,#2,b3,#3,b4,#4,b6,#6,b8,#8,b9,#9,b10,#10,b11,#11,b12,#12,b13,#13)";
    let error = many.parse::<Chord>().expect_err("too much");
    assert!(error.to_string().contains("written out, longer"), "{error}");
    assert!("C7(b9,#9,b13)".parse::<Chord>().is_ok());
}

#[test]
fn a_bass_far_from_its_root_can_be_read_again() {
    // degree `bb3` over G double flat would be a B with four flats
    let chord: Chord = "Gbb/bb3".parse().expect("a chord");
    assert_eq!(chord.symbol(), "G♭♭/G");
    let signs = ["", "b", "bb", "bbb", "#", "##", "###"];
    let mut basses: Vec<String> = Vec::new();
    for sign in signs {
        basses.extend((1..=13).map(|n| format!("{sign}{n}")));
        basses.extend("CDEFGAB".chars().map(|letter| format!("{letter}{sign}")));
    }
    for letter in "CDEFGAB".chars() {
        for sign in signs {
            for bass in &basses {
                let text = format!("{letter}{sign}/{bass}");
                let chord: Chord = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
                for said in [chord.label(), chord.symbol()] {
                    let again: Chord = said
                        .parse()
                        .unwrap_or_else(|e| panic!("{text}, {said}: {e}"));
                    let sounds = |c: &Chord| (c.pitch_classes(), c.bass_pitch_class());
                    assert_eq!(sounds(&again), sounds(&chord), "{text}, {said}");
                }
            }
        }
    }
}

/// Found by tests/fuzz: `daddbb9maj7` was shown as `Dmaj7(♭♭9)`, which is not read.
#[test]
fn added_degrees_with_two_signs_are_read_again() {
    for row in QUALITIES {
        for number in 1..=13 {
            for alter in [-2, 2] {
                let mut chord = Chord::new(Spelled::from_fifths(2), row);
                chord.added = vec![Degree::new(number, alter)];
                let said = chord.symbol();
                let read: Chord = said.parse().unwrap_or_else(|e| panic!("{said}: {e}"));
                assert_eq!(read.pitch_classes(), chord.pitch_classes(), "{said}");
            }
        }
    }
}

/// Found by damaging a MIDI file at random (tests/fuzz): `7(*5,*3,b5,b9)` came
/// back as `7(*5,b5,b9,*3)`.
#[test]
fn a_label_read_again_is_the_same_label() {
    let root = Spelled::from_fifths(0);
    let extras: Vec<Degree> = (1..=13)
        .flat_map(|n| [-1, 0, 1].map(|alter| Degree::new(n, alter)))
        .collect();
    let colours = ["b5", "#5", "b9", "9", "#9", "#11", "13"].map(|d| d.parse::<Degree>());
    let again = |chord: &Chord| {
        let label = chord.label();
        let read: Chord = label.parse().unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(read.label(), label, "{chord:?}");
        assert_eq!(read.pitch_classes(), chord.pitch_classes(), "{label}");
        let shown: Chord = read.symbol().parse().unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(shown.pitch_classes(), chord.pitch_classes(), "{label}");
    };
    let with = |quality: &'static Quality, added: &[Degree], omitted: &[Degree]| {
        let mut chord = Chord::new(root, quality);
        (chord.added, chord.omitted) = (added.to_vec(), omitted.to_vec());
        chord
    };
    for row in QUALITIES {
        for (i, first) in extras.iter().enumerate() {
            for second in &extras[i..] {
                again(&with(row, &[*second, *first], &[]));
            }
        }
        for first in colours.iter().flatten() {
            for second in colours.iter().flatten() {
                for out in &row.degrees[1..] {
                    again(&with(row, &[*first, *second], &[*out]));
                }
            }
        }
        for (i, out) in row.degrees[1..].iter().enumerate() {
            for other in &row.degrees[1 + i..] {
                again(&with(row, &[], &[*other, *out]));
                for extra in &extras {
                    again(&with(row, &[*extra], &[*other, *out]));
                }
            }
        }
    }
    let label = |text: &str| text.parse::<Chord>().map(|c| c.label());
    assert_eq!(label("C:7(*5,b5,b9,*3)"), label("C:7(*5,*3,b5,b9)"));
    assert_eq!(label("E:min7(*2,4)/b3"), Ok("E:min7(4)/b3".into()));
    assert_eq!(label("C:7(b9,*5,b5,*3)"), Ok("C:7(*3,*5,b5,b9)".into()));
}

/// Chords of a bar of two seconds each; `;` starts a section. Gives the keys
/// with the bar each begins in. `early_s` is how early the chords come.
/// As hearing has them (`src/hearing/weights/keys.json`).
const COSTS: KeyCosts = KeyCosts {
    at_bar: 6.0,
    at_section: 3.5,
    starts: 1.0,
    ends: 1.5,
    n_chords: 3,
    near_s: 0.3,
};

fn check_keys(text: &str, early_s: f64, expected: &str) {
    let (mut chords, mut sections_s) = (Vec::new(), Vec::new());
    for section in text.split(';') {
        sections_s.push(2.0 * chords.len() as f64);
        for symbol in section.split_whitespace() {
            let chord: Chord = symbol.parse().unwrap_or_else(|e| panic!("{symbol}: {e}"));
            let start_s = 2.0 * chords.len() as f64;
            chords.push(TimedTriad {
                triad: Triad::of(&chord),
                root: chord.root.pitch_class(),
                start_s: start_s - early_s,
                end_s: start_s + 2.0 - early_s,
            });
        }
    }
    let bars_s: Vec<f64> = (0..chords.len()).map(|i| 2.0 * i as f64).collect();
    let (first, changes) = keys_along(&chords, &bars_s, &sections_s, &COSTS);
    let mut said = first.map_or_else(String::new, Key::text);
    for change in &changes {
        said.push_str(&format!(
            "; {} from {}",
            change.key.text(),
            change.at_s / 2.0 + 1.0
        ));
    }
    assert_eq!(said, expected, "{text}");
}

#[test]
fn a_key_changes_where_the_chords_say_so() {
    let up = "G C D Em C D G G; A D E F#m D E A A";
    check_keys(up, 0.0, "G major; A major from 9");
    // pushed by less than an eighth: the key still lies on the bar line
    check_keys(up, 0.2, "G major; A major from 9");
    check_keys(
        "Am F C G Am F C G; E B A E C#m F#m B E; Am F C G Am Dm E Am",
        0.0,
        "A minor; E major from 9; A minor from 17",
    );
    // without bars a key may change with any chord; without chords there is none
    assert_eq!(keys_along(&[], &[0.0], &[], &COSTS), (None, Vec::new()));
}

#[test]
fn a_borrowed_chord_a_relative_or_a_vamp_is_no_new_key() {
    check_keys("G C Cm G D7 A7 D G; G B7 Em Cm G D G G", 0.0, "G major");
    check_keys("G C D G; Em Am B7 Em; G C D G", 0.0, "G major");
    check_keys(
        "G C D Em C D G G; Eb F Eb F; G C D Em C D G G",
        0.0,
        "G major",
    );
}

#[test]
fn the_key_of_a_chord_a_little_early_is_the_new_one() {
    let key = |text: &str| text.parse::<Key>().unwrap_or_else(|e| panic!("{e}"));
    let changes = [KeyChange {
        at_s: 16.0,
        key: key("A"),
    }];
    let at = |time_s: f64| key_at(Some(key("G")), &changes, time_s);
    assert_eq!(at(0.0), Some(key("G")));
    assert_eq!(at(15.7), Some(key("G")));
    assert_eq!(at(15.95), Some(key("A")));
    assert_eq!(at(99.0), Some(key("A")));
    assert_eq!(key_at(None, &[], 1.0), None);
}

/// Modes of the C major scale; common practice, no source.
#[test]
fn keys_have_modes() {
    for (text, prints, label, scale) in [
        ("D dorian", "D dorian", "D:dorian", "D E F G A B C"),
        ("d minor", "D minor", "D:min", "D E F G A Bb C"),
        ("Dm", "D minor", "D:min", "D E F G A Bb C"),
        ("E phrygian", "E phrygian", "E:phrygian", "E F G A B C D"),
        ("F lydian", "F lydian", "F:lydian", "F G A B C D E"),
        (
            "A mixolydian",
            "A mixolydian",
            "A:mixolydian",
            "A B C# D E F# G",
        ),
        ("B:locrian", "B locrian", "B:locrian", "B C D E F G A"),
        ("C ionian", "C major", "C:maj", "C D E F G A B"),
        ("f# aeolian", "F♯ minor", "F#:min", "F# G# A B C# D E"),
        ("bb", "", "", ""),
        ("H", "", "", ""),
    ] {
        let Ok(key) = text.parse::<Key>() else {
            assert_eq!(prints, "", "{text}");
            continue;
        };
        assert_eq!(key.text(), prints);
        assert_eq!(key.label(), label);
        assert_eq!(key.label().parse(), Ok(key));
        let notes: Vec<String> = key.scale().iter().map(|n| n.ascii()).collect();
        assert_eq!(notes.join(" "), scale);
    }
}
