//! The first answer of `name` and `shapes` and the spellings of chord symbols, against hand-made cases of the trade.
//!
//! `fixtures/naming` holds the cases (its README says who made them and why each
//! is true: common practice, no source). Run with `-- --nocapture` to read every
//! case that is answered otherwise.

#![expect(
    clippy::print_stdout,
    reason = "figures and exceptions are for whoever runs the test"
)]

use std::collections::BTreeMap;
use takebook::fretboard::{
    Instrument, Limits, Typed, Wanted, distinct, read_played, smoothest, usual_first,
    usual_voicings, voicings,
};
use takebook::theory::naming::{Context, Name, names};
use takebook::theory::{Chord, Key, Label, PitchClassSet, QUALITIES, Spelled};

/// The lines of a table, split at tabs, without its heading.
pub(crate) fn table(name: &str) -> Vec<Vec<String>> {
    let path = crate::outside::root().join("fixtures/naming").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.lines()
        .filter(|l| !l.starts_with("# "))
        .map(|l| l.split('\t').map(str::to_owned).collect())
        .collect()
}

pub(crate) fn note(text: &str) -> Spelled {
    text.parse().unwrap_or_else(|e| panic!("{e}"))
}

pub(crate) fn key(text: &str) -> Option<Key> {
    (text != "-").then(|| text.parse().unwrap_or_else(|e| panic!("{e}")))
}

/// Floors, a little under what is measured: share of first names, fitted and held out.
const NAMES: [f64; 2] = [0.96, 0.92];

fn first_names(shape: &str, in_key: Option<Key>, n: usize) -> Vec<Name> {
    let guitar = Instrument::default();
    let played = read_played(shape, &guitar, Typed::Strings).unwrap_or_else(|e| panic!("{e}"));
    let context = Context {
        bass: played.bass(),
        key: in_key,
        root: None,
    };
    names(played.pitch_classes(), context, n)
}

#[test]
fn the_first_name_is_the_trades() {
    let mut counts: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    let cases = table("names.tsv");
    for case in &cases {
        let [shape, in_key, wanted, part, why] = &case[..] else {
            panic!("{case:?}")
        };
        let found = first_names(shape, key(in_key), 3);
        let texts: Vec<String> = found.iter().map(Name::text).collect();
        let right = wanted.split('|').any(|w| w == texts[0]);
        let part = if part == "held-out" {
            "held-out"
        } else {
            "fitted"
        };
        let count = counts.entry(part).or_default();
        count[0] += usize::from(right);
        count[1] += 1;
        if !right {
            println!("{part} {shape} key {in_key}: wanted {wanted} ({why}), found {texts:?}");
        }
    }
    for (part, [right, all]) in &counts {
        println!("first names, {part}: {right} of {all}");
    }
    for (part, floor) in ["fitted", "held-out"].into_iter().zip(NAMES) {
        let [right, all] = counts[part];
        assert!(all > 50, "only {all} cases");
        assert!(
            right as f64 >= floor * all as f64,
            "{part}: {right} of {all}"
        );
    }
}

#[test]
fn no_answer_repeats_itself_or_spells_a_note_two_ways() {
    let mut bad = Vec::new();
    for case in table("names.tsv") {
        let found = first_names(&case[0], key(&case[1]), 4);
        let texts: Vec<String> = found.iter().map(Name::text).collect();
        for (i, a) in found.iter().enumerate() {
            for b in found.iter().skip(i + 1) {
                let same_root = a.chord.root.pitch_class() == b.chord.root.pitch_class();
                if same_root
                    && a.chord.pitch_classes() == b.chord.pitch_classes()
                    && a.lower.is_none()
                    && b.lower.is_none()
                {
                    bad.push(format!(
                        "{}: {} and {}: {texts:?}",
                        case[0],
                        a.text(),
                        b.text()
                    ));
                }
                if same_root && a.chord.root != b.chord.root {
                    bad.push(format!("{}: two spellings in {texts:?}", case[0]));
                }
            }
            let dominant = a
                .chord
                .quality
                .degrees
                .iter()
                .any(|d| (d.number(), d.alter()) == (7, -1));
            if dominant && a.text().contains("add") && !a.text().contains("m7") {
                bad.push(format!("{}: a tension is added: {texts:?}", case[0]));
            }
            if texts[i].contains("♯♯") || texts[i].contains("♭♭") {
                bad.push(format!("{}: hard to read: {texts:?}", case[0]));
            }
        }
    }
    println!("{} answers at fault:\n{}", bad.len(), bad.join("\n"));
    assert!(bad.is_empty(), "{} answers at fault", bad.len());
}

#[test]
fn names_spell_notes_as_they_were_typed() {
    let guitar = Instrument::default();
    for (typed, never) in [("Eb A", "D♯"), ("D# A", "E♭"), ("A Eb", "D♯")] {
        let played = read_played(typed, &guitar, Typed::Either).unwrap_or_else(|e| panic!("{e}"));
        let context = Context {
            bass: played.bass(),
            ..Context::default()
        };
        for name in names(played.pitch_classes(), context, 4) {
            let text = name.spelled_like(&played.spellings()).text();
            assert!(!text.contains(never), "{typed}: {text}");
        }
    }
}

/// The notes a symbol names, in order of its degrees, and its bass.
fn notes_of(chord: &Chord) -> (Vec<Spelled>, PitchClassSet, Option<Spelled>) {
    let notes = chord.notes();
    let set = notes.iter().map(|n| n.pitch_class()).collect();
    (notes, set, chord.bass.map(|_| chord.bass_note()))
}

#[test]
fn every_usual_spelling_reads() {
    let mut wrong = Vec::new();
    let cases = table("spellings.tsv");
    for case in &cases {
        let (text, wanted) = (&case[0], &case[1]);
        let read = text.parse::<Label>();
        let right = match (&read, wanted.as_str()) {
            (Ok(Label::NoChord), "-") => true,
            (Ok(Label::Chord(chord)), wanted) if wanted != "-" => {
                let (tones, bass) = wanted
                    .split_once('/')
                    .map_or((wanted, None), |(t, b)| (t, Some(note(b))));
                let mut tones: Vec<Spelled> = tones.split_whitespace().map(note).collect();
                let (mut notes, _, over) = notes_of(chord);
                let root_agrees =
                    notes.first() == tones.first() || tones.first() == Some(&chord.root);
                tones.sort();
                tones.dedup();
                notes.sort();
                notes.dedup();
                root_agrees && over == bass && notes == tones
            }
            _ => false,
        };
        if !right {
            let found = read.map(|l| l.symbol()).unwrap_or_else(|e| e.to_string());
            wrong.push(format!("{text}: wanted {wanted}, found {found}"));
        }
    }
    println!(
        "{} of {} spellings read:\n{}",
        cases.len() - wrong.len(),
        cases.len(),
        wrong.join("\n")
    );
    assert!(cases.len() >= 300);
    assert!(wrong.is_empty(), "{} are read otherwise", wrong.len());
}

#[test]
fn what_cannot_be_meant_is_refused_with_the_nearest_spelling() {
    let mut wrong = Vec::new();
    let cases = table("refused.tsv");
    for case in &cases {
        match case[0].parse::<Chord>() {
            Ok(chord) => wrong.push(format!("{} is read as {}", case[0], chord.symbol())),
            Err(e) if case[1] != "-" && !e.to_string().contains(&case[1]) => {
                wrong.push(format!("{}: {e}", case[0]));
            }
            Err(_) => {}
        }
    }
    println!(
        "{} of {} refused as they should:\n{}",
        cases.len() - wrong.len(),
        cases.len(),
        wrong.join("\n")
    );
    assert!(wrong.is_empty(), "{} are not", wrong.len());
}

#[test]
fn the_first_shape_is_a_teachers() {
    let guitar = Instrument::default();
    let (mut first, mut three, mut all) = (0, 0, 0);
    for case in table("shapes.tsv") {
        let chord: Chord = case[0].parse().unwrap_or_else(|e| panic!("{e}"));
        let found = voicings(&guitar, Wanted::chord(&chord), &Limits::default());
        let found = usual_first(&guitar, &chord, found);
        let ours: Vec<String> = distinct(&found, 3).iter().map(|v| v.shape.text()).collect();
        let taught: Vec<&str> = case[1].split(' ').collect();
        all += 1;
        first += usize::from(taught.contains(&ours[0].as_str()));
        let among = ours.iter().any(|o| taught.contains(&o.as_str()));
        three += usize::from(among);
        if !taught.contains(&ours[0].as_str()) {
            println!(
                "{}: ours {ours:?}, taught {taught:?}{}",
                case[0],
                if among { "" } else { " NOT AMONG" }
            );
        }
    }
    println!("shapes: {first} of {all} first, {three} among the first three");
    assert!(
        first >= SHAPES[0] && three >= SHAPES[1],
        "{first} first, {three} of three"
    );
}
const SHAPES: [usize; 2] = [86, 88];

/// Common practice, no source: what a teacher writes above these progressions.
#[test]
fn progressions_are_played_with_the_usual_shapes() {
    let guitar = Instrument::default();
    for (chords, shapes) in [
        ("G D Em C", "320003 xx0232 022000 x32010"),
        ("Dm7 G7 Cmaj7", "xx0211 320001 x32000"),
        ("Em D C Bm", "022000 xx0232 x32010 x24432"),
    ] {
        let chords: Vec<Chord> = chords
            .split(' ')
            .map(|c| c.parse().unwrap_or_else(|e| panic!("{e}")))
            .collect();
        let row = smoothest(&guitar, &chords, &Limits::default(), &[]);
        let row = row.unwrap_or_else(|| panic!("no shapes"));
        let found: Vec<String> = row.shapes.iter().map(|v| v.shape.text()).collect();
        assert_eq!(found.join(" "), shapes);
    }
}

/// Common practice, no source: the first chords of a ukulele book.
#[test]
fn a_ukulele_has_no_bass() {
    let ukulele = Instrument {
        tuning: "ukulele".parse().unwrap_or_else(|e| panic!("{e}")),
        ..Instrument::default()
    };
    for (chord, shape) in [
        ("C", "0003"),
        ("G", "0232"),
        ("Am", "2000"),
        ("F", "2010"),
        ("G7", "0212"),
        ("Dm", "2210"),
        ("D", "2220"),
        ("A7", "0100"),
        ("Bb", "3211"),
    ] {
        let parsed: Chord = chord.parse().unwrap_or_else(|e| panic!("{e}"));
        let found = usual_voicings(&ukulele, &parsed, &Limits::default());
        assert_eq!(found[0].shape.text(), shape, "{chord}");
        let played = read_played(shape, &ukulele, Typed::Either).unwrap_or_else(|e| panic!("{e}"));
        let context = Context {
            bass: played.bass(),
            ..Context::default()
        };
        assert_eq!(names(played.pitch_classes(), context, 1)[0].chord, parsed);
    }
}

#[test]
fn every_quality_has_a_spelling_in_the_list() {
    let cases = table("spellings.tsv");
    let read: Vec<Chord> = cases.iter().filter_map(|c| c[0].parse().ok()).collect();
    let missing: Vec<&str> = QUALITIES
        .iter()
        .filter(|q| !read.iter().any(|c| c.quality == *q))
        .map(|q| q.harte)
        .collect();
    assert!(
        missing.is_empty(),
        "qualities without a spelling in the list: {missing:?}"
    );
}
