//! Shapes and tunings out and back.

use super::*;

#[test]
fn shapes_read_and_print() {
    for text in ["x02210", "x-10-12-12-11-10", "320003", "xx0232", "x79987"] {
        assert_eq!(text.parse::<Shape>().map(|s| s.text()), Ok(text.into()));
    }
    assert!("x02y10".parse::<Shape>().is_err());
    assert!("x-99-1-1-1-1".parse::<Shape>().is_err());
    assert!("".parse::<Shape>().is_err());
}

/// String and fret pitches of standard tuning: common practice, no source.
#[test]
fn standard_tuning_sounds_e2_to_e4() {
    let guitar = Instrument::default();
    let open: Shape = "000000".parse().unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(
        guitar.sounding(&open),
        [40, 45, 50, 55, 59, 64].map(Some).to_vec()
    );
    assert_eq!(
        "D2 A2 D3 G3 B3 E4".parse::<Tuning>().map(|t| t.text()),
        Ok("drop D".into())
    );
    assert!("E2 A2".parse::<Tuning>().is_err());
}

/// Tunings as players write them; pitches: common practice, no source.
#[test]
fn tunings_read_by_name_by_letters_and_by_notes() {
    for (texts, prints, open) in [
        (
            &["open G", "open-g", "DGDGBD"][..],
            "open G",
            "D2 G2 D3 G3 B3 D4",
        ),
        (
            &["Drop D", "drop-d", "dropD", "DADGBE", "dadgbe"],
            "drop D",
            "D2 A2 D3 G3 B3 E4",
        ),
        (
            &["EADGBE", "eadgbe", "E A D G B e", "12-string"],
            "standard",
            "E2 A2 D3 G3 B3 E4",
        ),
        (
            &["dadgad", "DADGAD", "D A D G A D"],
            "DADGAD",
            "D2 A2 D3 G3 A3 D4",
        ),
        (
            &[
                "half a step down",
                "half-down",
                "Half Step Down",
                "Eb Ab Db Gb Bb Eb",
                "E♭",
            ],
            "half a step down",
            "Eb2 Ab2 Db3 Gb3 Bb3 Eb4",
        ),
        (
            &["ukulele", "Ukulele", "GCEA", "gcea"],
            "ukulele",
            "G4 C4 E4 A4",
        ),
        (&["baritone"], "baritone", "B1 E2 A2 D3 F#3 B3"),
        (&["bass", "EADG"], "bass", "E1 A1 D2 G2"),
        (
            &["7-string", "7 string", "BEADGBE"],
            "7-string",
            "B1 E2 A2 D3 G3 B3 E4",
        ),
        (&["CGDGCD"], "C2 G2 D3 G3 C4 D4", "C2 G2 D3 G3 C4 D4"),
    ] {
        let notes: Tuning = open.parse().unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(notes.text(), prints);
        for text in texts {
            let read: Tuning = text.parse().unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(read, notes, "{text}");
        }
    }
    let refused = "banana".parse::<Tuning>().map_err(|e| e.to_string());
    assert!(refused.is_err_and(|e| e.contains("drop D")));
}

#[test]
fn a_shape_that_cannot_be_says_what_may_be_meant() {
    let guitar = Instrument::default();
    let error = |text: &str| {
        let read = crate::fretboard::read_played(text, &guitar, crate::fretboard::Typed::Either);
        read.map_or_else(|e| e.to_string(), |p| p.text())
    };
    assert!(
        error("8x8910x").contains("8-x-8-9-10-x"),
        "{}",
        error("8x8910x")
    );
    assert!(
        error("x12141413x").contains("x-12-14-14-13-x"),
        "{}",
        error("x12141413x")
    );
    assert!(!error("12345").contains("dashes"));
    // one neck, one limit
    for text in [
        "x-23-23-x-x-x",
        "x-25-25-x-x-x",
        "x-99-x-x-x-x",
        "A23",
        "A30",
    ] {
        assert!(error(text).contains("(0 to 22)"), "{}", error(text));
    }
}

fn shapes_of(chord: &str, n: usize) -> Vec<String> {
    let chord = chord.parse().unwrap_or_else(|e| panic!("{e}"));
    voicings(
        &Instrument::default(),
        Wanted::chord(&chord),
        &Limits::default(),
    )
    .into_iter()
    .take(n)
    .map(|v| {
        let fingers: String = v
            .hand
            .fingers
            .iter()
            .map(|f| f.map_or("-".into(), Finger::text))
            .collect();
        format!("{} {fingers} {:.1}", v.shape.text(), v.rank)
    })
    .collect()
}

/// Shapes that beginners' books show first: common practice, no source.
#[test]
fn ordinary_shapes_come_first() {
    let mut wrong = Vec::new();
    for (chord, first) in [
        ("C", "x32010"),
        ("D", "xx0232"),
        ("E", "022100"),
        ("F", "133211"),
        ("G", "320003 320033"),
        ("A", "x02220"),
        ("Am", "x02210"),
        ("Bm", "x24432"),
        ("Dm", "xx0231"),
        ("Em", "022000"),
        ("Fsus4", "133311"),
        ("F#m", "244222"),
        ("A7", "x02020"),
        ("B7", "x21202"),
        ("C7", "x32310"),
        ("D7", "xx0212"),
        ("E7", "020100"),
        ("G7", "320001"),
        ("Bb", "x13331"),
        ("Cmaj7", "x32000"),
        ("Gm", "355333"),
        ("Am7", "x02010"),
        ("Em7", "020000"),
        ("Dmaj7", "xx0222"),
        ("Cm", "x35543"),
        ("Fm", "133111"),
        ("B", "x24442"),
        ("Bbm", "x13321"),
        ("C#m", "x46654"),
        ("F#7", "242322"),
        ("Fmaj7", "xx3210"),
        ("Gmaj7", "320002"),
        ("Dm7", "xx0211"),
        ("Dsus4", "xx0233"),
        ("Asus4", "x02230"),
        ("Esus4", "022200"),
        ("Asus2", "x02200"),
        ("Dsus2", "xx0230"),
        ("D/F#", "2x0232 200232"),
        ("C/G", "332010 3x2010"),
        ("G/B", "x20003 x20033"),
        ("Am/G", "3x2210 302210 302010 3x2010"),
        ("C/E", "032010"),
    ] {
        let found = shapes_of(chord, 4);
        let shape = found[0].split(' ').next().unwrap_or_default();
        if !first.split(' ').any(|f| f == shape) {
            wrong.push(format!("{chord}: wanted {first}, found {found:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
