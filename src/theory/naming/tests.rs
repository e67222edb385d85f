//! Notes to names.

use super::*;

fn set_of(notes: &str) -> (PitchClassSet, Option<PitchClass>) {
    let spelled: Vec<PitchClass> = notes
        .split(' ')
        .map(|n| {
            n.parse::<Spelled>()
                .unwrap_or_else(|e| panic!("{e}"))
                .pitch_class()
        })
        .collect();
    (spelled.iter().copied().collect(), spelled.first().copied())
}

/// First names of notes, the first one being the bass.
fn check(notes: &str, key: &str, expected: &str) {
    let (set, bass) = set_of(notes);
    let context = Context {
        bass,
        key: (!key.is_empty()).then(|| key.parse().unwrap_or_else(|e| panic!("{e}"))),
        root: None,
    };
    let found = names(set, context, 4);
    let texts: Vec<String> = found.iter().map(Name::text).collect();
    let wanted: Vec<&str> = expected.split(", ").collect();
    assert!(
        texts.len() >= wanted.len() && texts[..wanted.len()] == wanted[..],
        "{notes} {key}: wanted {expected}, found {texts:?}"
    );
}

#[test]
fn plain_and_awkward_sets_have_names() {
    check("C E G", "", "C");
    check("A C E G", "", "Am7, C6/A");
    check("C E G A", "", "C6, Am7/C");
    check("F# D A", "", "D/F♯");
    check("F# G B D", "", "Gmaj7/F♯");
    check("A D E", "", "Asus4");
    check("D E A", "", "Dsus2");
    check("A B E", "", "Asus2");
    check("A C# D#", "", "A(♭5)");
    check("C E Bb", "", "C7");
    check("C E B", "", "Cmaj7");
    check("C G", "", "C5");
    check("C", "", "C(1)");
    check("G A C# E", "", "A/G");
    check("D C E G", "", "C/D");
    check("B D F Ab", "", "Bdim7");
    check("B D F A", "", "Bm7♭5");
    check("C F# G B E", "", "Cmaj7♯11");
    check("C D# E G Bb", "", "C7♯9");
}

/// The same notes on the same root are one answer, with the other spellings beside it.
#[test]
fn no_root_is_named_twice() {
    for bits in (1u16..4096).step_by(2) {
        let context = Context {
            bass: Some(PitchClass::new(0)),
            ..Context::default()
        };
        let found = names(PitchClassSet(bits), context, 6);
        for (at, name) in found.iter().enumerate().filter(|(_, n)| n.lower.is_none()) {
            let same = |n: &&Name| n.lower.is_none() && n.chord.root == name.chord.root;
            assert_eq!(found[..at].iter().find(same), None, "{bits:b}");
            let notes = |chord: &Chord| (chord.root, chord.bass);
            assert!(name.also.iter().all(|c| notes(c) == notes(&name.chord)));
        }
    }
    let (set, bass) = set_of("F E A B");
    let context = Context {
        bass,
        ..Context::default()
    };
    let found = names(set, context, 3);
    let also: Vec<String> = found[0].also.iter().map(Chord::symbol).collect();
    assert_eq!(found[0].text(), "Fmaj7♯11");
    assert_eq!(also, ["Fmaj9♯11", "Fmaj7♭5"]);
}

/// A root with only its lowered fifth is named from the bass: common practice, no source.
#[test]
fn a_tritone_is_named_from_the_bass() {
    check("A Eb", "", "A(♭5,no3)");
    check("Eb A", "F", "E♭(♭5,no3)");
    // F♭ has a simple name, which the key has too
    check("E Bb", "F", "C7, E(♭5,no3), B♭(♭5,no3)/E");
}

#[test]
fn spelling_follows_the_key() {
    check("Bb D F", "F", "B♭");
    check("A# D F", "F", "B♭");
    check("A# C# E#", "B", "A♯m");
}

#[test]
fn every_set_has_a_name_and_naming_moves_with_transposition() {
    for bits in 1u16..4096 {
        if bits & 1 == 0 {
            continue;
        }
        let set = PitchClassSet(bits);
        let at = |by: usize| {
            let turned = (u32::from(bits) << by | u32::from(bits) << by >> 12) as u16 & 0xfff;
            let context = Context {
                bass: Some(PitchClass::new(by as i32)),
                ..Context::default()
            };
            let found = names(PitchClassSet(turned), context, 1);
            assert_eq!(found.len(), 1, "{set:?}");
            let chord = &found[0].chord;
            (
                chord.root.pitch_class().above(PitchClass::new(by as i32)),
                chord.quality.harte,
                chord.symbol_tail(),
            )
        };
        let here = at(0);
        assert_eq!(here, at(5), "{bits:b}");
    }
}

#[test]
fn every_row_names_itself_over_its_root() {
    for row in QUALITIES {
        let chord = Chord::new(Spelled::new(0, 0), row);
        let context = Context {
            bass: Some(PitchClass::new(0)),
            ..Context::default()
        };
        let found = names(chord.pitch_classes(), context, 3);
        assert!(
            found.iter().any(|n| n.spellings().any(|c| *c == chord)),
            "{}: {:?}",
            chord.symbol(),
            found.iter().map(Name::text).collect::<Vec<_>>()
        );
    }
}

#[test]
fn every_name_reads_back() {
    for bits in (1u16..4096).step_by(2) {
        let context = Context {
            bass: Some(PitchClass::new(0)),
            ..Context::default()
        };
        for name in names(PitchClassSet(bits), context, 3) {
            let chord = &name.chord;
            let read = |text: &str| {
                text.parse::<Chord>()
                    .map(|c| (c.root, c.pitch_classes(), c.bass_pitch_class()))
            };
            let own = Ok((chord.root, chord.pitch_classes(), chord.bass_pitch_class()));
            assert_eq!(read(&chord.symbol()), own, "{}", chord.symbol());
            assert_eq!(read(&chord.label()), own, "{}", chord.label());
        }
    }
}

#[test]
fn two_triads_are_told_as_such() {
    let (set, bass) = set_of("C E G D F# A");
    let context = Context {
        bass,
        ..Context::default()
    };
    let texts: Vec<String> = names(set, context, 4).iter().map(Name::text).collect();
    assert!(texts.iter().any(|t| t == "D over C"), "{texts:?}");
}
