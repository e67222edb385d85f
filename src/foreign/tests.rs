use super::{ENDINGS, ForeignError, Imported, Kind, read};
use crate::songlog::decided::Act;
use crate::songlog::resolve::Settings;

/// Chords as symbols with their bar: `1 G | 2 D/F♯`.
#[track_caller]
fn check(kind: Kind, bytes: &[u8], expected: &str) -> Imported {
    let taken = read(kind, bytes, &Settings::default()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(chords(&taken), expected);
    taken
}

fn chords(taken: &Imported) -> String {
    let heard = &taken.heard;
    let bar = |t: f64| {
        let bars = heard.bars.iter().rev();
        bars.into_iter()
            .find(|b| b.start_s <= t + 1e-6)
            .map_or(0, |b| b.number)
    };
    let all: Vec<String> = heard
        .chords
        .iter()
        .map(|c| format!("{} {}", bar(c.start_s), c.candidates[0].label.symbol()))
        .collect();
    all.join(" | ")
}

/// A document of measures, each given by its content.
fn score(measures: &[&str]) -> String {
    let body: String = (1..)
        .zip(measures)
        .map(|(n, m)| {
            format!(
                "<measure number=\"{n}\">{m}<note><rest/><duration>4</duration></note></measure>"
            )
        })
        .collect();
    format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list/><part id=\"P1\">{body}</part></score-partwise>"
    )
}

fn symbol(step: &str, kind: &str) -> String {
    format!("<harmony><root><root-step>{step}</root-step></root><kind>{kind}</kind></harmony>")
}

/// Which chords a score of one chord a measure plays, by their roots.
#[track_caller]
fn played(marks: &[(&str, &str)], expected: &str) {
    let measures: Vec<String> = marks
        .iter()
        .map(|(step, mark)| format!("{mark}{}", symbol(step, "major")))
        .collect();
    let measures: Vec<&str> = measures.iter().map(String::as_str).collect();
    let taken = read(
        Kind::MusicXml,
        score(&measures).as_bytes(),
        &Settings::default(),
    )
    .unwrap_or_else(|e| panic!("{e}"));
    let roots: Vec<String> = taken
        .heard
        .chords
        .iter()
        .map(|c| c.candidates[0].label.symbol())
        .collect();
    assert_eq!(roots.join(" "), expected);
}

const FORWARD: &str = "<barline location=\"left\"><repeat direction=\"forward\"/></barline>";
const BACKWARD: &str = "<barline location=\"right\"><repeat direction=\"backward\"/></barline>";

#[test]
fn labels_gaps_become_no_chord_and_a_tempo_lays_bars() {
    check(
        Kind::Lab,
        b"0.5 2 G:maj\n3 4 C#:hdim7/b5\n",
        "0 N.C. | 0 G | 0 N.C. | 0 C♯m7♭5/G",
    );
    let given = Settings {
        tempo_bpm: Some(120.0),
        ..Settings::default()
    };
    let taken = read(Kind::Lab, b"0.5 2.5 G\n2.5 4.5 Am7\n", &given).expect("read");
    assert_eq!(chords(&taken), "0 N.C. | 1 G | 2 Am7");
    assert_eq!(taken.heard.bars.len(), 2);
}

#[test]
fn repeats_endings_and_jumps_are_played() {
    played(&[("A", FORWARD), ("B", BACKWARD), ("C", "")], "A B A B C");
    played(&[("A", ""), ("B", BACKWARD), ("C", "")], "A B A B C");
    let three =
        "<barline location=\"right\"><repeat direction=\"backward\" times=\"3\"/></barline>";
    played(&[("A", FORWARD), ("B", three)], "A B A B A B");
    let first = "<barline location=\"left\"><ending number=\"1\" type=\"start\"/></barline>\
        <barline location=\"right\"><ending number=\"1\" type=\"stop\"/><repeat direction=\"backward\"/></barline>";
    let second = "<barline location=\"left\"><ending number=\"2\" type=\"start\"/></barline>\
        <barline location=\"right\"><ending number=\"2\" type=\"discontinue\"/></barline>";
    played(
        &[("A", FORWARD), ("B", first), ("C", second), ("D", "")],
        "A B A C D",
    );
    // two repeats one after the other
    played(
        &[
            ("A", FORWARD),
            ("B", first),
            ("C", second),
            ("D", FORWARD),
            ("E", BACKWARD),
        ],
        "A B A C D E D E",
    );
    let fine = "<direction><direction-type><words>Fine</words></direction-type><sound fine=\"yes\"/></direction>";
    let capo = "<direction><direction-type><words>D.C.</words></direction-type><sound dacapo=\"yes\"/></direction>";
    played(&[("A", ""), ("B", fine), ("C", capo)], "A B C A B");
    let segno =
        "<direction><direction-type><segno/></direction-type><sound segno=\"1\"/></direction>";
    let to_coda =
        "<direction><direction-type><coda/></direction-type><sound tocoda=\"1\"/></direction>";
    let ds = "<direction><direction-type><words>D.S.</words></direction-type><sound dalsegno=\"1\"/></direction>";
    let coda = "<direction><direction-type><coda/></direction-type><sound coda=\"1\"/></direction>";
    played(
        &[
            ("A", ""),
            ("B", segno),
            ("C", to_coda),
            ("D", ds),
            ("E", coda),
        ],
        "A B C D B C E",
    );
}

#[test]
fn kinds_and_degrees_are_read() {
    let harmony = |inner: &str| {
        score(&[&format!(
            "<harmony><root><root-step>C</root-step></root>{inner}</harmony>"
        )])
    };
    for (inner, expected) in [
        ("<kind>half-diminished</kind>", "1 Cm7♭5"),
        (
            "<kind>dominant</kind><bass><bass-step>B</bass-step><bass-alter>-1</bass-alter></bass>",
            "1 C7/B♭",
        ),
        (
            "<kind>major</kind><degree><degree-value>9</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree>",
            "1 Cadd9",
        ),
        (
            "<kind>dominant</kind><degree><degree-value>5</degree-value><degree-alter>1</degree-alter><degree-type>alter</degree-type></degree>",
            "1 C7♯5",
        ),
        (
            "<kind>major</kind><degree><degree-value>3</degree-value><degree-alter>0</degree-alter><degree-type>subtract</degree-type></degree>",
            "1 C5",
        ),
        ("<kind text=\"7sus4\">other</kind>", "1 C7sus4"),
        ("<kind>Tristan</kind>", "1 ?"),
    ] {
        let text = harmony(inner);
        if expected == "1 ?" {
            let taken = read(Kind::MusicXml, text.as_bytes(), &Settings::default()).expect("read");
            assert!(taken.heard.warnings.iter().any(|w| w.contains("Tristan")));
            continue;
        }
        check(Kind::MusicXml, text.as_bytes(), expected);
    }
}

#[test]
fn rehearsal_marks_become_sections_with_names() {
    let mark = |text: &str| {
        format!(
            "<direction><direction-type><rehearsal>{text}</rehearsal></direction-type></direction>{}",
            symbol("G", "major")
        )
    };
    let (a, b) = (mark("A  Verse"), mark("Chorus"));
    let text = score(&[&a, &b, &a]);
    let taken = check(Kind::MusicXml, text.as_bytes(), "1 G");
    let letters: Vec<&str> = taken
        .heard
        .sections
        .iter()
        .map(|s| s.letter.as_str())
        .collect();
    assert_eq!(letters, ["A", "B", "A"]);
    let names = taken.acts.iter().filter_map(|a| match a {
        Act::SectionName { name, .. } => Some(name.as_str()),
        _ => None,
    });
    assert_eq!(names.collect::<Vec<_>>(), ["Verse", "Chorus", "Verse"]);
}

/// A type 0 file of one track; each event is its delta and bytes.
fn midi(events: &[(u8, &[u8])]) -> Vec<u8> {
    let mut track = Vec::new();
    for (delta, bytes) in events {
        // deltas in units of 120 ticks, as two bytes of seven bits
        let ticks = u16::from(*delta) * 120;
        track.push(0x80 | (ticks >> 7) as u8);
        track.push((ticks & 0x7f) as u8);
        track.extend_from_slice(bytes);
    }
    track.extend_from_slice(&[0, 0xff, 0x2f, 0]);
    let mut file = b"MThd\0\0\0\x06\0\0\0\x01\x01\xe0MTrk".to_vec();
    file.extend((track.len() as u32).to_be_bytes());
    file.extend(track);
    file
}

#[test]
fn broken_chords_of_notes_are_named_whole() {
    // C E G C E G C E, then A C E A C E A C, an eighth each
    let mut events: Vec<(u8, Vec<u8>)> = Vec::new();
    for pattern in [[48u8, 52, 55], [45, 48, 52]] {
        for i in 0..8 {
            let key = pattern[i % 3];
            events.push((0, vec![0x90, key, 90]));
            events.push((2, vec![0x80, key, 0]));
        }
    }
    let events: Vec<(u8, &[u8])> = events.iter().map(|(d, b)| (*d, &b[..])).collect();
    let taken = check(Kind::Midi, &midi(&events), "1 C | 2 Am");
    assert_eq!(taken.heard.tempo_bpm, Some(120.0));
    assert_eq!(taken.heard.notes.len(), 16);
}

#[test]
fn a_first_midi_bar_shorter_than_the_next_is_a_pickup() {
    let one = [0xff, 0x58, 4, 1, 2, 24, 8];
    let four = [0xff, 0x58, 4, 4, 2, 24, 8];
    let events: [(u8, &[u8]); 10] = [
        (0, &one),
        (0, &[0x90, 55, 90]),
        (0, &[0x90, 59, 90]),
        (0, &[0x90, 62, 90]),
        (4, &[0x80, 55, 0]),
        (0, &[0x80, 59, 0]),
        (0, &[0x80, 62, 0]),
        (0, &four),
        (0, &[0x90, 60, 90]),
        (16, &[0x80, 60, 0]),
    ];
    let taken = read(Kind::Midi, &midi(&events), &Settings::default());
    let taken = taken.unwrap_or_else(|e| panic!("{e}"));
    let bars: Vec<(u32, u8)> = taken
        .heard
        .bars
        .iter()
        .map(|b| (b.number, b.n_beats))
        .collect();
    assert_eq!(bars, [(0, 1), (1, 4)]);
}

#[test]
fn what_cannot_be_read_is_said_with_its_place() {
    let cases: &[(Kind, &[u8], &str)] = &[
        (Kind::Lab, b"0 1 G\n1 2 banana\n", "line 2"),
        (Kind::Lab, b"0 1\n", "line 1"),
        (Kind::Lab, b"", "no chord"),
        (Kind::Lab, &[0xff, 0x00], "byte 0"),
        (Kind::Jams, b"{}", "annotations"),
        (Kind::Jams, b"nonsense", "line 1"),
        (
            Kind::Jams,
            br#"{"annotations":[{"namespace":"chord","data":[{"time":0,"duration":1,"value":"banana"}]}]}"#,
            "annotations[0].data[0].value",
        ),
        (
            Kind::Jams,
            br#"{"annotations":[{"namespace":"chord","data":[{"time":"x","duration":1,"value":"C"}]}]}"#,
            "annotations[0].data[0].time",
        ),
        (Kind::MusicXml, b"<score-partwise>", "MusicXML"),
        (Kind::MusicXml, b"<score-timewise/>", "partwise"),
        (Kind::MusicXml, b"PK\x03\x04", "damaged"),
        (Kind::MusicXml, b"<score-partwise><part/></score-partwise>", "harmony"),
        (Kind::Midi, b"RIFF", "Standard MIDI File"),
        (
            Kind::Midi,
            b"MThd\0\0\0\x06\0\0\0\x01\x01\xe0MTrk\0\0\0\x0c\0\xff\x58\x04\xd2\x02\x18\x08\0\xff\x2f\0",
            "track 1, tick 0: its meter is 210/2^2",
        ),
        (Kind::Midi, b"MThd\0\0\0\x06\0\x02\0\0\x01\xe0", "type 2"),
    ];
    for (kind, bytes, says) in cases {
        let error = read(*kind, bytes, &Settings::default()).expect_err(says);
        assert!(error.to_string().contains(says), "no '{says}' in '{error}'");
    }
    assert!(matches!(
        read(Kind::Midi, &midi(&[]), &Settings::default()),
        Err(ForeignError::Empty { .. })
    ));
}

#[test]
fn a_bomb_of_entities_or_repeats_ends_in_words() {
    let mut entities = String::from("<!DOCTYPE x [<!ENTITY a \"aaaaaaaaaa\">");
    for (from, to) in ('a'..'j').zip('b'..='j') {
        entities.push_str(&format!(
            "<!ENTITY {to} \"{}\">",
            format!("&{from};").repeat(10)
        ));
    }
    let text = format!("{entities}]><score-partwise><part>&j;</part></score-partwise>");
    read(Kind::MusicXml, text.as_bytes(), &Settings::default()).expect_err("refused");
    let many = "<barline><repeat direction=\"backward\" times=\"64\"/></barline>";
    let measures: Vec<String> = (0..400)
        .map(|_| format!("{}{many}", symbol("C", "major")))
        .collect();
    let measures: Vec<&str> = measures.iter().map(String::as_str).collect();
    let error = read(
        Kind::MusicXml,
        score(&measures).as_bytes(),
        &Settings::default(),
    )
    .expect_err("too long");
    assert!(error.to_string().contains("more than 10000"), "{error}");
}

#[test]
fn days_of_silence_before_the_first_note_are_passed_over() {
    // two ticks a quarter and a meter of 1/16: bars of one tick
    let mut track = vec![0, 0xff, 0x58, 4, 1, 4, 24, 8];
    // no event here but a long wait each: 20,000 times 268 million ticks
    for _ in 0..20_000 {
        track.extend([0xff, 0xff, 0xff, 0x7f, 0xb0, 64, 0]);
    }
    track.extend([0, 0x90, 60, 80, 4, 0x80, 60, 0, 0, 0xff, 0x2f, 0]);
    let mut file = b"MThd\0\0\0\x06\0\0\0\x01\0\x02MTrk".to_vec();
    file.extend((track.len() as u32).to_be_bytes());
    file.extend(track);
    let taken = read(Kind::Midi, &file, &Settings::default()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(taken.heard.bars.len(), 4);
    assert_eq!(taken.heard.bars[0].number, 1);
}

/// Every note is looked at in the bars where it is struck, not in all that follow.
#[test]
fn notes_that_all_ring_to_the_end_are_named() {
    // 4,000 bars of forty strokes each, and no note is ever ended
    let strokes: Vec<[u8; 3]> = [48, 52, 55].map(|key| [0x90, key, 90]).to_vec();
    let events: Vec<(u8, &[u8])> = (0..160_000)
        .map(|i| {
            (
                if i > 0 && i % 40 == 0 { 16 } else { 0 },
                &strokes[i % 3][..],
            )
        })
        .collect();
    let taken = check(Kind::Midi, &midi(&events), "1 C");
    assert_eq!(taken.heard.notes.len(), 160_000);
}

#[test]
fn a_silence_passed_over_keeps_the_bars_where_they_were() {
    // 4/4 for a bar and a half, 3/4 from there; the first note in the sixth beat of that
    let wait: (u8, &[u8]) = (24, &[0xff, 0x58, 4, 3, 2, 24, 8]);
    let note: (u8, &[u8]) = (20, &[0x90, 60, 80]);
    let file = midi(&[wait, note, (4, &[0x80, 60, 0])]);
    let taken = read(Kind::Midi, &file, &Settings::default()).unwrap_or_else(|e| panic!("{e}"));
    // bars from quarters 0 and 4, then of 3/4 from quarters 6 and 9; the note is at 11
    let starts: Vec<f64> = taken.heard.bars.iter().map(|b| b.start_s).collect();
    assert_eq!(starts, [4.5]);
}

#[test]
fn a_tuning_from_nowhere_and_ten_thousand_headings_are_read() {
    let tuning = "<attributes><staff-details><staff-tuning line=\"1\"><tuning-step>E</tuning-step>\
                  <tuning-octave>1e300</tuning-octave></staff-tuning></staff-details></attributes>";
    let mut measures = vec![format!("{tuning}{}", symbol("C", "major"))];
    for i in 1..10_000 {
        measures.push(format!(
            "<direction><direction-type><rehearsal>part {i}</rehearsal></direction-type></direction>"
        ));
    }
    let measures: Vec<&str> = measures.iter().map(String::as_str).collect();
    let text = score(&measures);
    let taken = read(Kind::MusicXml, text.as_bytes(), &Settings::default())
        .unwrap_or_else(|e| panic!("{e}"));
    let sections = &taken.heard.sections;
    assert_eq!(sections.len(), 9_999);
    assert_eq!(sections[27].letter, "B2");
}

proptest::proptest! {
    #[test]
    fn no_bytes_make_a_reader_panic(bytes: Vec<u8>, at in 0usize..200, with: u8) {
        for (_, kind) in ENDINGS {
            let _ = read(kind, &bytes, &Settings::default());
        }
        // one byte of a good file changed
        let good = midi(&[(0, &[0x90, 60, 80]), (4, &[0x80, 60, 0]), (0, &[0xff, 0x58, 4, 3, 3, 24, 8])]);
        let text = score(&[&symbol("G", "minor-seventh")]);
        // an archive with nothing but its end
        let packed = [&b"PK\x05\x06"[..], &[0; 6], &[1, 0, 0, 0, 0, 0], &[0; 6]].concat();
        for (kind, mut bytes) in [(Kind::Midi, good), (Kind::MusicXml, text.into_bytes()), (Kind::MusicXml, packed)] {
            let n = bytes.len();
            bytes[at % n] = with;
            let _ = read(kind, &bytes, &Settings::default());
        }
    }
}
