//! What a person would see at once, computed from the pages of forty invented songs: texts outside
//! the page, on each other and on bar lines, chords too small to be read.
//!
//! Widths are those of the font files themselves, read by `ttf-parser`.

use crate::invented::{full, song};
use takebook::chart::layout::{Group, Item, Laid, Role, Style, lay_out};
use takebook::chart::sheet::Sheet;
use takebook::chart::{Options, Page, prepare};
use takebook::songlog::song::Song;
use ttf_parser::Face;

/// A point, mm.
const POINT: f64 = 25.4 / 72.0;
/// The smallest text that is legible in the hand, points (ours).
const LEAST_POINTS: f64 = 4.5;
/// A chord on A4 and Letter, points.
const CHORD_POINTS: f64 = 20.0;
/// Capitals and digits as a share of the size, above and below the baseline: DejaVu's own.
const ABOVE: f64 = 0.72;
const BELOW: f64 = 0.01;
/// What two boxes may share before a person sees it, mm.
const SLACK_MM: f64 = 0.15;

/// Width of a text as a part of its size.
fn width(style: Style, text: &str) -> f64 {
    let data = match style {
        Style::Regular => dejavu::sans_condensed::regular(),
        Style::Bold => dejavu::sans_condensed::bold(),
        Style::Italic => dejavu::sans_condensed::oblique(),
        Style::Other => dejavu::sans::regular(),
    };
    let face = Face::parse(data, 0).expect("a font");
    let advance = |c| face.glyph_hor_advance(face.glyph_index(c)?);
    let units: u32 = text.chars().filter_map(advance).map(u32::from).sum();
    f64::from(units) / f64::from(face.units_per_em())
}

/// Left, top, right, bottom, mm.
type Box = (f64, f64, f64, f64);

fn boxed(item: &Item) -> Option<(Box, &str, f64)> {
    let Item::Text {
        x,
        y,
        size,
        style,
        text,
        ..
    } = item
    else {
        return None;
    };
    let right = x + width(*style, text) * size;
    let ink = (*x, y - ABOVE * size, right, y + BELOW * size);
    (!text.trim().is_empty()).then_some((ink, &text[..], *size))
}

fn meet(a: Box, b: Box) -> bool {
    let wide = a.2.min(b.2) - a.0.max(b.0);
    let high = a.3.min(b.3) - a.1.max(b.1);
    wide > SLACK_MM && high > SLACK_MM
}

/// Bar lines of a row: upright, and higher than a beat's stroke.
fn bar_lines(group: &Group) -> Vec<Box> {
    let upright = group.items.iter().filter_map(|item| match item {
        Item::Line {
            from, to, width, ..
        } if from.0 == to.0 && (to.1 - from.1).abs() > 6.0 => {
            let half = width / 2.0;
            Some((
                from.0 - half,
                from.1.min(to.1),
                from.0 + half,
                from.1.max(to.1),
            ))
        }
        _ => None,
    });
    upright.collect()
}

/// What is wrong on the pages, each with its place.
fn troubles(laid: &Laid, least_chord_mm: f64) -> Vec<String> {
    let (width, height) = laid.size_mm;
    let mut out = Vec::new();
    for (number, page) in laid.pages.iter().enumerate() {
        let mut before: Vec<(Box, &str)> = Vec::new();
        for group in page {
            let lines = match group.role {
                Role::Row(_) => bar_lines(group),
                _ => Vec::new(),
            };
            let mut largest: f64 = 0.0;
            for (ink, text, size) in group.items.iter().filter_map(boxed) {
                let mut say = |what: &str| {
                    out.push(format!(
                        "{}, page {}: '{text}' at {:.1}, {:.1} mm {what}",
                        laid.title,
                        number + 1,
                        ink.0,
                        ink.3
                    ));
                };
                if ink.0 < 5.0 || ink.1 < 5.0 || ink.2 > width - 5.0 || ink.3 > height - 5.0 {
                    say("is outside the page");
                }
                if size < LEAST_POINTS * POINT {
                    say(&format!("has only {:.1} points", size / POINT));
                }
                for (other, words) in before.iter().filter(|(b, _)| meet(*b, ink)) {
                    say(&format!(
                        "lies on '{words}' at {:.1}, {:.1} mm",
                        other.0, other.3
                    ));
                }
                if lines.iter().any(|l| {
                    meet(*l, ink)
                        || (l.0 > ink.0 + SLACK_MM
                            && l.2 < ink.2 - SLACK_MM
                            && l.1 < ink.3
                            && l.3 > ink.1)
                }) {
                    say("lies on a bar line");
                }
                largest = largest.max(size);
                before.push((ink, text));
            }
            if let Role::Row(words) = &group.role {
                // a bar of similes has no symbol
                if largest > 3.5 && largest < least_chord_mm {
                    out.push(format!(
                        "{}, page {}: symbols of {:.1} points in {words}",
                        laid.title,
                        number + 1,
                        largest / POINT
                    ));
                }
            }
        }
    }
    out
}

#[test]
fn forty_songs_are_drawn_as_a_person_would_draw_them() {
    let mut all = Vec::new();
    for number in 0..40 {
        let made = full(number);
        let mut look = |least_points: f64, change: &dyn Fn(&mut Options)| {
            let mut options = Options::default();
            change(&mut options);
            all.extend(found(&made, &options, least_points * POINT));
        };
        for page in [Page::A4, Page::Letter] {
            for landscape in [false, true] {
                look(CHORD_POINTS, &|o| (o.page, o.landscape) = (page, landscape));
            }
        }
        look(1.15 * CHORD_POINTS, &|o| o.large = true);
        for landscape in [false, true] {
            look(0.0, &|o| (o.page, o.landscape) = (Page::A5, landscape));
        }
        match number % 2 {
            0 => look(0.0, &|o| (o.short, o.alternatives) = (true, true)),
            _ => look(0.0, &|o| (o.compact, o.left_handed) = (true, true)),
        }
    }
    assert!(all.is_empty(), "{}:\n{}", all.len(), all.join("\n"));
}

/// The lines at the end of a song and of a repeat are as wide in a small print as in a large one.
#[test]
fn a_full_bar_keeps_off_its_double_lines() {
    let full = "A13sus4 F#m7b5 Ab7#11 Db6/9";
    for typed in [
        format!("A\n| {full} | {full} |\n"),
        format!("A x2\n|: {full} | {full} :|\n"),
        format!("A\n| {full} |\nB\n| G |\nC\n| Am | {full} |\nA\nB\n"),
    ] {
        let made = song(&typed);
        for (compact, page) in [(false, Page::A4), (true, Page::A4), (true, Page::A5)] {
            let options = Options {
                compact,
                page,
                ..Options::default()
            };
            let found = found(&made, &options, 0.0);
            assert_eq!(found, Vec::<String>::new(), "{typed}");
        }
    }
}

fn laid(song: &Song, options: &Options) -> Laid {
    let song = prepare(song, options).expect("prepared");
    let sheet = Sheet::new(&song, options).expect("a sheet");
    lay_out(&sheet, options).expect("laid out")
}

fn found(song: &Song, options: &Options, least_chord_mm: f64) -> Vec<String> {
    troubles(&laid(song, options), least_chord_mm)
}

/// The check finds what it is for.
#[test]
fn a_text_on_another_is_found() {
    let mut laid = laid(&song("x\n===\n| G | C |\n"), &Options::default());
    assert_eq!(troubles(&laid, 0.0), Vec::<String>::new());
    let group = laid.pages[0].first_mut().expect("a title");
    let again = group.items[0].clone();
    group.items.push(again);
    let found = troubles(&laid, 0.0);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].contains("'x'") && found[0].contains("lies on"),
        "{found:?}"
    );
}
