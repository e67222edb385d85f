//! Pages: what stands on them, inside their lines, and where they break.

use super::*;

#[test]
fn text_sheet_folds_repeats_and_marks_doubt() {
    let sheet = text(&demo(), Format::Txt, &Options::default());
    assert!(sheet.lines().all(|l| l.chars().count() <= 80), "{sheet}");
    for part in [
        "Paper Kites at Dusk",
        "Verse x2",
        "Am7?",
        "1. ",
        "2. ",
        "Bridge x2",
        "Em7[1]",
        "or Em7",
        "%",
        "4 of 28 chords",
    ] {
        assert!(sheet.contains(part), "no '{part}' in\n{sheet}");
    }
}

#[test]
fn crowded_bars_stay_inside_their_lines() {
    let laid = |o: &Options| {
        let sheet = sheet::Sheet::new(&crowded(), o).expect("a sheet");
        layout::lay_out(&sheet, o).expect("laid out")
    };
    let fonts = font::Fonts::new().expect("fonts");
    for large in [false, true] {
        let laid = laid(&options(|o| o.large = large));
        let right = laid.size_mm.0 - 14.9;
        for item in laid.pages.iter().flatten().flat_map(|g| &g.items) {
            if let layout::Item::Text {
                x,
                size,
                style,
                text,
                ..
            } = item
            {
                let end = x + fonts.width(*style, *size, text).expect("glyphs");
                assert!(end <= right, "{text} ends at {end}");
            }
        }
    }
    let sheet = text(&crowded(), Format::Txt, &Options::default());
    assert!(sheet.lines().all(|l| l.chars().count() <= 80), "{sheet}");
}

#[test]
fn a_character_the_page_font_lacks_is_an_error_in_words() {
    let mut far = demo();
    far.title = "\u{5e7d}\u{9759}".into();
    for format in [Format::Pdf, Format::Svg] {
        let error = write(&far, format, &Options::default()).expect_err("no glyph");
        assert!(
            matches!(
                error,
                ChartError::MissingGlyph {
                    character: '\u{5e7d}',
                    ..
                }
            ),
            "{error}"
        );
        assert!(error.to_string().contains("U+5E7D"));
    }
    assert!(text(&far, Format::Html, &Options::default()).contains('\u{5e7d}'));
}

#[test]
fn wide_stretches_are_named_in_the_caution() {
    let made = song("x", 4, &[("A", &["Gmaj7=3x4032 F=1x3565 C=x32010"])]);
    let sheet = text(&made, Format::Txt, &Options::default());
    let caution = sheet
        .lines()
        .find(|l| l.starts_with("Caution:"))
        .expect("a caution");
    assert!(
        caution.contains("1x3565") && !caution.contains("x32010"),
        "{caution}"
    );
}

#[test]
fn a_chord_with_two_decided_shapes_in_two_places_gets_letters() {
    let made = song("x", 4, &[("A", &["G=320003", "G=355433", "G=320003", "C"])]);
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    let titles: Vec<String> = sheet.legend.iter().map(|e| e.title()).collect();
    assert_eq!(titles, ["G (a)", "G (b)"]);
    let marks: Vec<String> = sheet.blocks[0]
        .measures()
        .map(|m| m.marks[0].text())
        .collect();
    assert_eq!(marks, ["G(a)", "G(b)", "G(a)", "C"]);
}

#[test]
fn a_long_song_breaks_pages_between_rows() {
    let bars: Vec<String> = (0..160)
        .map(|i| format!("{}m7 {}7", ["A", "B", "E"][i % 3], ["D", "G"][i % 2]))
        .collect();
    let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
    let made = song("A Long One", 4, &[("A", &bars)]);
    for page in [Page::A4, Page::Letter] {
        let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
        let laid = layout::lay_out(&sheet, &options(|o| o.page = page)).expect("laid out");
        assert!(laid.pages.len() > 2);
        let (w, h) = page.size_mm();
        for groups in &laid.pages {
            // a heading is never the last thing on a page
            let content: Vec<_> = groups
                .iter()
                .filter(|g| g.role != layout::Role::Foot)
                .collect();
            assert_ne!(
                content.last().map(|g| &g.role),
                Some(&layout::Role::Heading)
            );
            for item in groups.iter().flat_map(|g| &g.items) {
                if let layout::Item::Text { x, y, .. } = item {
                    assert!(
                        (10.0..w - 10.0).contains(x) && (10.0..h - 5.0).contains(y),
                        "{item:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn a_second_proposal_is_more_than_the_first_with_strings_left_out() {
    let made = song(
        "x",
        4,
        &[("A", &["Em=022000|02200x|x79987?", "C=x32010|x3201x?"])],
    );
    let sheet = sheet::Sheet::new(&made, &options(|o| o.alternatives = true)).expect("a sheet");
    let boxes: Vec<Vec<String>> = sheet
        .legend
        .iter()
        .map(|entry| entry.boxes.iter().map(|b| b.shape.text()).collect())
        .collect();
    assert_eq!(boxes, [vec!["022000", "x79987"], vec!["x32010"]]);
}
