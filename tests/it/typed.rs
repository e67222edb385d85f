//! Charts typed as text: read, written and read back as the same song; errors by line.

use crate::outside::{folder, takebook};
use proptest::prelude::*;
use takebook::chart::{Format, Options, write};
use takebook::foreign::{Kind, read};
use takebook::songlog::resolve::Settings;
use takebook::songlog::song::{Song, State};
use takebook::songlog::{Log, resolve};

const AT: &str = "2031-05-02T18:30:00Z";

fn log(text: &str) -> Log {
    let taken = read(Kind::Typed, text.as_bytes(), &Settings::default());
    let taken = taken.unwrap_or_else(|e| panic!("{e}\n{text}"));
    let take = Kind::Typed.record("song.txt".into(), text.len() as u64);
    taken.into_log(take, AT.into(), Vec::new())
}

fn song(text: &str) -> Song {
    resolve(&log(text))
}

/// What a player would notice: chords with their places, bars, sections, facts.
fn seen(song: &Song) -> String {
    let chords: Vec<String> = song
        .spans
        .iter()
        .map(|s| {
            let doubt = if s.state == State::Open { "?" } else { "" };
            format!("{:.3} {}{doubt}", s.start_s, s.label.symbol())
        })
        .collect();
    let bars: Vec<String> = song
        .bars
        .iter()
        .map(|b| format!("{}:{}", b.number, b.n_beats))
        .collect();
    let sections: Vec<String> = song
        .sections
        .iter()
        .map(|s| {
            let name = s.name.as_ref().unwrap_or(&s.letter);
            format!("{name} {:?} {}-{}", s.feel, s.first_bar, s.last_bar)
        })
        .collect();
    format!(
        "{} {:?} {:?}\n{:?} {:?} {:?} {:?} {:?}\n{}\n{}\n{}",
        song.title,
        song.credit,
        song.lyrics,
        song.key,
        song.key_changes,
        song.meter,
        song.tempo_bpm,
        song.instrument,
        chords.join(", "),
        bars.join(" "),
        sections.join(", ")
    )
}

#[track_caller]
fn comes_back(text: &str) -> String {
    let first = song(text);
    let bytes = write(&first, Format::Txt, &Options::default()).expect("a chart");
    let written = String::from_utf8(bytes).expect("text");
    assert_eq!(
        seen(&song(&written)),
        seen(&first),
        "typed:\n{text}\nwritten:\n{written}"
    );
    written
}

#[test]
fn what_is_typed_is_played_as_it_says() {
    let song = song(
        "Harbour Lights\n==============\nKey: G\nTempo: 60\n\n- | D7 |\nVerse x2\n|: G | D/F# / C / &D | % :|\n\
         Chorus\n|: C | 1. Em7 :| 2. G |\nVerse\nBridge (swung eighths)\nKey: E minor\n| Em? | 2/4 D / |\n---\nno | bars | here\n",
    );
    let labels: Vec<String> = song.spans.iter().map(|s| s.label.symbol()).collect();
    let verse = "G D/F♯ C D D/F♯ C D";
    // a verse without bars is as the first one; the last G of the chorus goes on in it
    let wanted = format!("D7 {verse} {verse} C Em7 C {verse} {verse} Em D");
    assert_eq!(labels.join(" "), wanted);
    let numbers: Vec<u32> = song.bars.iter().map(|b| b.number).collect();
    assert_eq!(numbers, (0..=18).collect::<Vec<u32>>());
    let names: Vec<&str> = song
        .sections
        .iter()
        .filter_map(|s| s.name.as_deref())
        .collect();
    assert_eq!(
        names,
        [
            "Verse", "Verse", "Chorus", "Chorus", "Verse", "Verse", "Bridge"
        ]
    );
    assert_eq!(song.bars[18].n_beats, 2);
    assert_eq!(song.key_changes.len(), 1);
    let open = song.spans.iter().filter(|s| s.state == State::Open);
    assert_eq!(open.map(|s| s.label.symbol()).collect::<Vec<_>>(), ["Em"]);
    // a chord off the beat
    assert!(
        (song.spans[4].start_s - (1.0 + 4.0 + 3.5)).abs() < 1e-9,
        "{:?}",
        song.spans[4]
    );
}

#[test]
fn charts_of_many_kinds_come_back() {
    for text in [
        "| G |",
        "Title: One\nMeter: 6/8\nVerse\n| Am | G / | F / &E7 |\n",
        "Meter: 6/8\nA\n| Am / / G / / | F / / / E7 / |\n",
        "Capo: 3\nKey: Eb\nShapes: C x32010, G/B x20003\nA\n| C | G/B | Am7 | N |\n",
        "Tuning: half-down\nKey: Eb minor\nA\n| Em | C | G | D |\nA\n",
        "Names: concert pitch\nCapo: 2\nA\n| A | E | F#m7 | D |\n",
        "- | A7 |\nVerse / Verse 2\n|: D | G | 1. A7 | D :| 2. D | D |\nOut x3\n| D | A7 |\n",
        "A\n| Dbmaj9 / Bbm7 Bbm7/Ab | Gbmaj7#11 / Ab13sus4 Ab7b9 | Fm7b5 Bb7b13 Ebm9 &Ab13 / | Db |\n",
        "Solo\n| ? | X | G? | G |\n",
        "A slow part that the teacher has given a name which is longer than a line of the chart is wide\n| G |\nB (coda)\n| C |\n",
        "Verse\n| G | C |\nChorus (to coda)\n| D | D7 |\nBridge (D.C. al Coda)\n| Am | Bm |\nOut (coda)\n| F | G |\n",
        "In\n| F | F |\nVerse x2 (segno)\n|: G | 1. C :| 2. D |\nChorus (fine)\n| D | D7 |\nBridge (ds al fine)\n| Am | Bm |\n",
        "- | D7 |\nVerse\n| G | C |\nWords: one | two\nWords: three | four\nChorus\n| D | D7 |\nBridge\n| Am | Bm |\nVerse\nChorus\nOut\n| F | G |\n",
        "Verse 1\n| G | C |\nChorus\n| D | D7 |\nVerse 2\n| G | C |\nVerse 3\n| G | C |\n",
        "Verse\n|: G | C |\nChorus\n| D | D7 :|\nOut\n| F |\n",
        "A\n|: G | C |\nB\n| D | D7 :| x3\nC\n| F |\n",
        "- | D7 |\nVerse 1\n| G | C |\nWords: one | two\nChorus\n| D | D7 |\nWords: oh | my\nVerse 2\n| G | C |\nWords: three | four\nChorus\n| D | D7 |\nWords: oh | my\nBridge\n| Am | Bm |\nChorus\n",
        "Verse 1\n| G | C |\nWords: one | two\nBridge\n| Am | Bm |\nVerse 2\n| G | C |\nWords: three | four\nVerse 1\n| G | C |\nWords: five | six\nOut\n| F |\n",
        "Credit: words and music: nobody\nVerse x2\n|: G | C | D | G :|\nWords: Oh the | lantern | burns\nWords: Oh the | kettle | | sings\nOut\n| G |\nWords: low\n",
    ] {
        comes_back(text);
    }
}

/// A section that refers to one printed before, and jumps, read as they are played.
#[test]
fn jumps_are_written_and_read_as_they_are_played() {
    let text = "Verse\n| G | C |\nWords: one | two\nWords: three | four\nChorus\n| D | D7 |\n\
                Bridge\n| Am | Bm |\nVerse\nChorus\nOut\n| F | G |\n";
    let written = comes_back(text);
    for part in ["Chorus (to coda)", "Bridge (D.C. al Coda)", "Out (coda)"] {
        assert!(written.contains(part), "no {part} in\n{written}");
    }
    let sung: Vec<String> = song(text).lyrics.iter().map(|l| l.text.clone()).collect();
    assert_eq!(sung, ["one", "two", "three", "four"]);
    // after the jump a repeat is played once, with its last ending
    let short = "In\n| F |\nVerse x2 (segno)\n|: G | 1. C :| 2. D |\nChorus (fine)\n| E |\nBridge (D.S. al Fine)\n| Am |\n";
    let symbols: Vec<String> = song(short).spans.iter().map(|s| s.label.symbol()).collect();
    assert_eq!(symbols.join(" "), "F G C G D E Am G D E");
}

/// A repeat over two sections is printed as one, and read as it is played.
#[test]
fn sections_repeat_together() {
    let text = "Verse 1\n| G | C |\nWords: one | two\nChorus\n| D | D7 |\nWords: oh | my\n\
                Verse 2\n| G | C |\nWords: three | four\nChorus\n| D | D7 |\nWords: oh | my\nOut\n| F |\n";
    let written = comes_back(text);
    let bars = |signs: [&str; 2]| {
        written
            .lines()
            .filter(|l| signs.iter().all(|s| l.contains(s)))
            .count()
    };
    assert_eq!(
        (bars(["|: G", " |"]), bars(["D7", ":|"])),
        (1, 1),
        "{written}"
    );
    assert!(written.contains("Verse 1 / Verse 2"), "{written}");
    let typed = "Verse\n|: G | C |\nChorus\n| D | D7 :| x3\nOut\n| F |\n";
    let symbols: Vec<String> = song(typed).spans.iter().map(|s| s.label.symbol()).collect();
    assert_eq!(symbols.join(" "), "G C D D7 G C D D7 G C D D7 F");
}

/// In a score sections that are as others are written out; their words stand there and nowhere else.
#[test]
fn each_line_of_words_stands_once_in_a_score() {
    let text = "Verse 1\n| G | C |\nWords: one | two\nBridge\n| Am | Bm |\n\
                Verse 2\n| G | C |\nWords: three | four\nOut\n| F |\nVerse 1\n| G | C |\nWords: five | six\n";
    let bytes = write(&song(text), Format::MusicXml, &Options::default()).expect("a score");
    let score = String::from_utf8(bytes).expect("text");
    for word in ["one", "two", "three", "four", "five", "six"] {
        let n = score.matches(&format!("<text>{word}</text>")).count();
        assert_eq!(n, 1, "{word} stands {n} times in\n{score}");
    }
}

#[test]
fn errors_name_the_line_and_the_way_out() {
    for (text, line, words) in [
        (
            "A\n| G |: C |\nB\n| D :|\n",
            "line 2",
            "begin it with the first bar",
        ),
        (
            "A\n|: G | C |\nB\n| D :| Em |\n",
            "line 4",
            "end it with the last bar",
        ),
        ("Verse\n| G | C D E |\n", "line 2: bar 2", "share 4 beats"),
        (
            "A\n\n| G / / |\n",
            "line 3: bar 1",
            "3 beats are written, it has 4",
        ),
        ("A\n| G | Hm7 |\n", "line 2: bar 2", "Hm7"),
        ("A\n| G | C\n", "line 2", "end the line with |"),
        ("A\nB | G | C |\n", "line 2", "before the first bar line"),
        ("A\n| % | C |\n", "line 2", "no bar before"),
        ("A\n| G |\nB\nC\n| D |\n", "line 3", "'B' has no bars"),
        ("A\n|: G | 1. C :| D |\n", "line 2", "second ending"),
        (
            "A\n|: G | 2. C :| 1. D |\n",
            "line 2",
            "ending 1 is missing",
        ),
        ("Tempo: fast\n| G |\n", "line 1", "10 to 600"),
        ("Key: H\n| G |\n", "line 1", "H"),
        ("Names: mine\n| G |\n", "line 1", "concert pitch"),
        ("A\n| G |\nMeter: 3/4\n| G |\n", "line 3", "begin each bar"),
        ("A\n| G |\nWords: a | b\n", "line 3", "under 1 bars"),
        ("Words: a\n| G |\n", "line 1", "under a line of bars"),
        (
            "A\n| G |\nB (D.S. al Fine)\n| C |\n",
            "line 3",
            "the sign (segno)",
        ),
        (
            "A\n| G |\nB (D.C. al Coda)\n| C |\n",
            "line 3",
            "the sign (to coda)",
        ),
        (
            "A (to coda)\n| G |\nB (D.C. al Coda)\n| C |\n",
            "line 3",
            "the sign (coda)",
        ),
        (
            "A (fine)\n| G |\nB (D.C. al Fine)\n| C |\nC\n| D |\n",
            "line 5",
            "never played",
        ),
        (
            "A (fine)\n| G |\nB (D.C. al Fine)\n| C |\nC (D.C. al Fine)\n| D |\n",
            "line 5",
            "a second D.C.",
        ),
        ("words only\n", "", "no bars"),
    ] {
        let error = read(Kind::Typed, text.as_bytes(), &Settings::default()).expect_err(text);
        let said = error.to_string();
        assert!(
            said.contains(line) && said.contains(words),
            "{said}\n{text}"
        );
    }
}

/// A bar of 4/4 as its numbers say.
fn bar(kind: u8, chords: &[usize]) -> String {
    const NAMES: [&str; 10] = [
        "G", "C", "D/F#", "Em7", "Am7?", "Bbmaj7", "F#m7b5", "N", "C#7#9", "Ab6/9",
    ];
    let c: Vec<&str> = (0..4).map(|i| NAMES[chords[i] % NAMES.len()]).collect();
    match kind % 7 {
        0 | 1 => c[0].into(),
        2 => format!("{} {}", c[0], c[1]),
        3 => format!("{} / / {}", c[0], c[1]),
        4 => format!("{} / &{} {} /", c[0], c[1], c[2]),
        5 => format!("{} {} {} {}", c[0], c[1], c[2], c[3]),
        _ => format!("2/4 {} /", c[0]),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_reads_back_as_the_same_song(
        kinds in prop::collection::vec(prop::collection::vec((0u8..7, prop::array::uniform4(0usize..10)), 1..9), 3),
        order in prop::collection::vec((0usize..3, 0u8..4), 1..6),
        named: bool,
        capo in 0u8..3,
        pickup: bool,
    ) {
        let mut text = format!("Title: A Song\nKey: G\nTempo: 90\nCapo: {capo}\n");
        if pickup {
            text += "- | D7 |\n";
        }
        // a song of rests alone is refused: a chord stands before whatever follows
        text += "Intro\n| G |\n";
        for (kind, how) in order {
            let name = match named {
                true => ["Verse", "Chorus", "Bridge"][kind],
                false => ["A", "B", "C"][kind],
            };
            let bars: Vec<String> = kinds[kind].iter().map(|(k, c)| bar(*k, c)).collect();
            let bars = bars.join(" | ");
            text += &match how {
                0 => format!("{name} x2\n| {bars} |\n"),
                1 => format!("{name}\n|: {bars} :| x3\n"),
                2 => format!("{name}\n|: {bars} | 1. G | D :| 2. C |\n"),
                _ => format!("{name}\n| {bars} |\n"),
            };
        }
        comes_back(&text);
    }

    #[test]
    fn no_text_breaks_the_reader(text in "[ -~|:%/&\\n♯♭×]{0,200}") {
        let _ = read(Kind::Typed, text.as_bytes(), &Settings::default());
    }
}

#[test]
fn a_typed_chart_becomes_a_song_file_or_nothing() {
    let (_keep, dir) = folder();
    let run = |args: &[&str]| {
        takebook()
            .current_dir(&dir)
            .args(args)
            .output()
            .expect("runs")
    };
    std::fs::write(dir.join("song.txt"), "Verse\n| G | C / D / |\n").expect("written");
    let made = run(&["draft", "song.txt", "-o", "song.takebook"]);
    assert!(made.status.success(), "{made:?}");
    let page = run(&[
        "chart",
        "song.takebook",
        "-o",
        "song.pdf",
        "--require-confirmed",
    ]);
    assert!(
        page.status.success(),
        "its chords are the user's own: {page:?}"
    );
    std::fs::write(dir.join("odd.txt"), "Verse\n| G | Q |\n").expect("written");
    let refused = run(&["draft", "odd.txt", "-o", "odd.takebook"]);
    let said = String::from_utf8_lossy(&refused.stderr);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        said.contains("odd.txt") && said.contains("line 2: bar 2"),
        "{said}"
    );
    assert!(!dir.join("odd.takebook").exists());
}
