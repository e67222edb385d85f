//! Bars: repeats folded and written out, chords on their beats and outside all bars.

use super::*;

#[test]
fn repeats_fold_and_can_be_written_out() {
    let sheet = |o: &Options| sheet::Sheet::new(&demo(), o).expect("a sheet");
    let folded = sheet(&Options::default());
    let lens: Vec<(u32, usize)> = folded
        .blocks
        .iter()
        .map(|b| (b.times, b.measures().count()))
        .collect();
    // eight bars and two of a second ending; four bars twice; one
    assert_eq!(lens, [(2, 10), (2, 4), (1, 1)]);
    let endings: Vec<Option<u8>> = folded.blocks[0].measures().map(|m| m.ending).collect();
    assert_eq!(endings[5..], [None, Some(1), Some(1), Some(2), Some(2)]);
    let out = sheet(&options(|o| o.written_out = true));
    assert_eq!(out.blocks.len(), 5);
    assert_eq!(out.blocks.iter().flat_map(|b| b.measures()).count(), 25);
    assert!(
        out.blocks
            .iter()
            .flat_map(|b| b.measures())
            .all(|m| !m.repeat_start && !m.repeat_end)
    );
    let short = sheet(&options(|o| o.short = true));
    assert_eq!(short.blocks.len(), 3);
    assert_eq!(
        short.form[1],
        "Verse (bars 9–16): as A, but the last two bars"
    );
}

/// What each block is called, how it refers back, and the signs at its start and end.
fn outline(blocks: &[sheet::Block]) -> Vec<String> {
    let words = |b: &sheet::Block| {
        let mut words = b.heading();
        words.extend(b.as_before.iter().map(|w| format!(" [{w}]")));
        for (is, sign) in [
            (b.signs.segno, " §"),
            (b.signs.coda, " coda"),
            (b.signs.opens, " |:"),
            (b.signs.closes > 0, " :|"),
        ] {
            words.push_str(if is { sign } else { "" });
        }
        words.extend(b.signs.at_end().map(|w| format!(" {w}")));
        words
    };
    blocks.iter().map(words).collect()
}

#[test]
fn sections_that_end_a_song_once_more_become_a_jump() {
    let (verse, chorus) = (["G", "C", "D", "Em"], ["C", "D7", "G", "B7"]);
    let (verse, chorus, bridge, out) =
        (&verse[..], &chorus[..], &["Am", "Bm"][..], &["F", "G"][..]);
    let of = |sections: &[(&str, &[&str])]| {
        let made = song("x", 4, sections);
        let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
        let words = outline(&sheet.blocks);
        (words, sheet.order)
    };
    let (words, order) = of(&[
        ("A", verse),
        ("B", chorus),
        ("C", bridge),
        ("A", verse),
        ("B", chorus),
        ("D", out),
    ]);
    assert_eq!(words, ["A", "B To Coda", "C D.C. al Coda", "D coda"]);
    assert_eq!(order, "A – B – C – A – B – D");
    let (words, _) = of(&[
        ("D", out),
        ("A", verse),
        ("B", chorus),
        ("C", bridge),
        ("A", verse),
        ("B", chorus),
    ]);
    assert_eq!(words, ["D", "A §", "B Fine", "C D.S. al Fine"]);
    // one section is a line, and what has just been played is a repeat
    let (words, _) = of(&[("A", verse), ("C", bridge), ("A", verse)]);
    assert_eq!(words, ["A", "C", "A [as above]"]);
}

#[test]
fn sections_that_come_again_together_are_one_repeat() {
    let (verse, chorus) = (["G", "C", "D", "Em"], ["C", "D7", "G", "B7"]);
    let (a, b, c) = (
        ("A", &verse[..]),
        ("B", &chorus[..]),
        ("C", &["Am", "Bm"][..]),
    );
    let of = |sections: &[(&str, &[&str])]| {
        let made = song("x", 4, sections);
        let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
        let first = |b: &sheet::Block| b.measures().next().is_some_and(|m| m.repeat_start);
        let last = |b: &sheet::Block| b.measures().last().is_some_and(|m| m.repeat_end);
        for block in &sheet.blocks {
            assert_eq!(first(block), block.signs.opens, "{block:?}");
            assert_eq!(last(block), block.signs.closes > 0, "{block:?}");
        }
        (outline(&sheet.blocks), sheet.order)
    };
    let (words, order) = of(&[a, b, a, b]);
    assert_eq!(words, ["A |:", "B :|"]);
    assert_eq!(order, "A – B – A – B");
    let (words, _) = of(&[c, a, b, a, b, a, b, c]);
    let wanted = ["C", "A |:", "B :| play 3 times", "C [as above]"];
    assert_eq!(words, wanted);
    // the chorus once more is a line
    let (words, _) = of(&[a, b, a, b, c, b]);
    assert_eq!(words, ["A |:", "B :|", "C", "B [as above]"]);
    // what is printed already is a few words, where no sign could stand
    let (words, _) = of(&[a, c, b, a, b, a, b]);
    assert_eq!(words[..3], ["A", "C", "B"]);
    assert!(words.iter().all(|w| !w.contains('|')), "{words:?}");
    // another last bar is no repeat
    let other = ("B", &["C", "D7", "G", "G"][..]);
    let (words, _) = of(&[a, b, a, other]);
    assert_eq!(
        words,
        ["A", "B", "A [as above]", "B [as above, last bar G]"]
    );
}

#[test]
fn numbered_sections_refer_to_the_first_of_their_kind() {
    let (verse, chorus) = (["G", "C", "D", "Em"], ["C", "D7", "G", "B7"]);
    let other = ["G", "C", "D", "D"];
    let mut made = song(
        "x",
        4,
        &[
            ("A", &verse),
            ("B", &chorus),
            ("C", &verse),
            ("D", &chorus),
            ("E", &other),
        ],
    );
    let names = ["Verse 1", "Chorus", "Verse 2", "Chorus", "Verse 3"];
    for (section, name) in made.sections.iter_mut().zip(names) {
        section.name = Some(name.into());
    }
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    assert_eq!(
        outline(&sheet.blocks),
        [
            "Verse 1 / Verse 2 |:",
            "Chorus :|",
            "Verse 3 [as Verse 1 / Verse 2, last bar D]"
        ]
    );
}

#[test]
fn bars_that_differ_in_doubt_fold_and_stay_open() {
    let folded = song(
        "x",
        4,
        &[("A", &["G", "C", "D", "G"]), ("A", &["G", "C?", "D", "G"])],
    );
    let sheet = sheet::Sheet::new(&folded, &Options::default()).expect("a sheet");
    assert_eq!(sheet.blocks.len(), 1);
    let open: Vec<bool> = sheet.blocks[0]
        .measures()
        .map(|m| m.marks[0].open)
        .collect();
    assert_eq!(open, [false, true, false, false]);
}

#[test]
fn chords_land_on_their_beat_and_are_held_over_bar_lines() {
    let mut made = song("x", 4, &[("A", &["G", "G", "C"])]);
    // one G over two bars, a push to D on the last half beat, C a little late
    made.spans.remove(1);
    made.spans[0].end_s = 3.75;
    let mut push = made.spans[0].clone();
    push.label = "D".parse().expect("a label");
    (push.start_s, push.end_s) = (3.75, 4.04);
    made.spans.insert(1, push);
    made.spans[2].start_s = 4.04;
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    let said: Vec<Vec<(u8, String, bool)>> = sheet.blocks[0]
        .measures()
        .map(|m| {
            m.marks
                .iter()
                .map(|x| (x.half_beat, x.symbol.clone(), x.held))
                .collect()
        })
        .collect();
    assert_eq!(
        said,
        [
            vec![(0, "G".to_owned(), false)],
            vec![(0, "G".to_owned(), true), (7, "D".to_owned(), false)],
            vec![(0, "C".to_owned(), false)],
        ]
    );
}

#[test]
fn chords_outside_all_bars_are_not_lost() {
    let mut made = song("x", 4, &[("A", &["G", "C"])]);
    for span in &mut made.spans {
        span.start_s += 0.5;
        span.end_s += 0.5;
    }
    for bar in &mut made.bars {
        bar.start_s += 0.5;
        bar.end_s += 0.5;
    }
    made.beats_s = Vec::new();
    made.spans.insert(0, span("D7", 0.0, 0.5));
    made.spans.push(span("G", 4.5, 6.5));
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    let said: Vec<(u32, String)> = sheet.blocks[0]
        .measures()
        .map(|m| (m.number, m.marks[0].symbol.clone()))
        .collect();
    assert_eq!(
        said,
        [(0, "D7"), (1, "G"), (2, "C"), (3, "G")].map(|(n, s)| (n, s.to_owned()))
    );
    made.bars.clear();
    made.meter = None;
    made.tempo_bpm = None;
    for (ending, format) in FORMATS {
        assert!(
            write(&made, format, &Options::default()).is_ok(),
            "{ending}"
        );
    }
}
