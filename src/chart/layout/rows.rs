//! Sections and rows of bars.

mod columns;
mod heading;
mod heights;
mod stems;
mod symbols;

pub(super) use heading::Beside;
pub(super) use symbols::{parts_width, symbol_items, symbol_parts};

use columns::{Line, lines, widths};
use heading::{at_end, end_height, heading, heading_height};
use heights::{Heights, LYRIC_LINE, TAB_LINE, tablature};
use symbols::{parts, symbol_width};

use super::{Ink, Item, MARGIN, Pager, Pen, Role, Style, line};
use crate::chart::ChartError;
use crate::chart::sheet::{Block, Measure, Pattern};

/// Space under a row, mm.
const ROW_GAP: f64 = 2.5;
/// Room for bar numbers, mm.
const NUMBERS: f64 = 7.0;
/// From the row's top, mm.
const BAR_TOP: f64 = 1.2;
const NOTE_POINTS: f64 = 8.0;
/// Bar lines, mm.
const THIN: f64 = 0.35;
const THICK: f64 = 1.0;
/// Radius of a dot of a repeat sign, mm.
const DOT: f64 = 0.5;
/// Size of a symbol's root, points: read at a metre, also where a page is set a little smaller;
/// its tail is smaller and raised.
const ROOT_POINTS: f64 = 22.0;
const GAP: f64 = 1.4;
/// Size of words that are sung, points.
const LYRIC_POINTS: f64 = 10.5;

/// What a bar's right line closes.
#[derive(Clone, Copy, PartialEq)]
enum End {
    /// Nothing: the next bar's left line follows.
    Bar,
    /// A row.
    Row,
    /// A section that playing goes back from.
    Section,
    /// The song.
    Song,
}

/// How a line of bars stands among the others.
struct Place {
    /// Where its parts are.
    heights: Heights,
    /// Strings of the tablature.
    n_strings: usize,
    /// Width of each bar, mm.
    widths: Vec<f64>,
    /// What its last line closes.
    end: End,
    /// Ending of the bar before, if that is of the same row.
    ending_before: Option<u8>,
}

/// A section: its heading and rows, on one page if they fit one.
pub(super) fn block(
    page: &mut Pager,
    block: &Block,
    n_strings: usize,
    pattern: Option<&Pattern>,
    last_block: bool,
) -> Result<(), ChartError> {
    let block = &block.as_printed();
    let lines = lines(page, block)?;
    let height = |page: &Pager, line: &Line| {
        let key = line.bars[0]
            .key_text()
            .map_or(0.0, |_| page.points(9.0) * 1.6);
        Heights::of(page, &line.bars, n_strings).all + ROW_GAP * page.scale + key
    };
    let end = end_height(page, block);
    let all: f64 = lines.iter().map(|l| height(page, l)).sum::<f64>() + end;
    let first = lines.first().map_or(0.0, |l| height(page, l));
    // diagrams alone on a page would be worse than a divided section
    let whole = match page.has_music() {
        true => page.bottom() - MARGIN - heading_height(page),
        false => 0.0,
    };
    heading(page, block, pattern, if all <= whole { all } else { first })?;
    let n = lines.len();
    for (i, line) in lines.into_iter().enumerate() {
        if let Some(key) = line.bars.first().and_then(Measure::key_text) {
            new_key(page, &key, Heights::of(page, &line.bars, n_strings).all)?;
        }
        let heights = Heights::of(page, &line.bars, n_strings);
        let row_height = heights.all;
        let last = i + 1 == n;
        page.need(row_height + if last { end } else { 0.0 });
        let place = Place {
            heights,
            n_strings,
            widths: widths(page, &line)?,
            end: match (last, last_block || block.signs.fine, block.signs.jump) {
                (true, true, _) => End::Song,
                (true, _, Some(_)) => End::Section,
                _ => End::Row,
            },
            ending_before: line.ending_before,
        };
        let items = row_items(page, &line.bars, &place)?;
        let words: Vec<String> = line.bars.iter().map(Measure::words).collect();
        page.add(Role::Row(words.join("; ")), items);
        page.y += row_height + ROW_GAP * page.scale;
    }
    at_end(page, block, last_block)
}

/// The new key over its first row; `keep` mm must follow on the same page.
fn new_key(page: &mut Pager, text: &str, keep: f64) -> Result<(), ChartError> {
    let size = page.points(9.0);
    page.need(size * 1.6 + keep);
    page.y += size * 1.2;
    page.fonts.runs(Style::Bold, text)?;
    let item = page.text_item(MARGIN + NUMBERS, page.y, size, Style::Bold, text);
    page.y += size * 0.4;
    page.add(Role::Paragraph, vec![item]);
    Ok(())
}

fn row_items(page: &Pager, row: &[Measure], place: &Place) -> Result<Vec<Item>, ChartError> {
    let s = page.scale;
    let top = page.y;
    let mut items = Vec::new();
    // the number of the first whole bar
    if let Some(first) = row
        .iter()
        .find(|m| m.number > 0)
        .filter(|_| row[0].number > 0)
    {
        let size = page.points(7.0);
        let text = first.number.to_string();
        let w = page.fonts.width(Style::Regular, size, &text)?;
        let x = MARGIN + NUMBERS - w - 1.5;
        items.push(page.text_item(x, top + (BAR_TOP + 2.5) * s, size, Style::Regular, &text));
    }
    for i in 0..row.len() {
        bar_items(page, row, i, place, &mut items)?;
    }
    let begins = row.first().is_some_and(Measure::shows_tab);
    if let Some(tab) = place.heights.tab.filter(|_| begins) {
        // which lines these are, where the bars' number stands above
        let size = page.points(6.5);
        let step = TAB_LINE * s * place.n_strings.saturating_sub(1) as f64 / 3.0;
        for (i, letter) in ["T", "A", "B"].into_iter().enumerate() {
            let w = page.fonts.width(Style::Bold, size, letter)?;
            let y = top + tab + step * (i as f64 + 0.5) + size * 0.35;
            let x = MARGIN + NUMBERS - w - 1.5;
            items.push(page.text_item(x, y, size, Style::Bold, letter));
        }
    }
    Ok(items)
}

/// One bar of a row: its lines, its ending, its chords, its words, its tablature.
fn bar_items(
    page: &Pager,
    row: &[Measure],
    i: usize,
    place: &Place,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let (s, top, measure) = (page.scale, page.y, &row[i]);
    let bar_width = place.widths[i];
    let left = MARGIN + NUMBERS + place.widths[..i].iter().sum::<f64>();
    let before = match i {
        0 => place.ending_before,
        _ => row[i - 1].ending,
    };
    let first_of_ending = before != measure.ending;
    let end = if i + 1 == row.len() {
        place.end
    } else {
        End::Bar
    };
    bar_lines(
        page,
        measure,
        (left, left + bar_width),
        place.heights.bar_bottom(s),
        end,
        items,
    );
    if let Some(ending) = measure.ending {
        let goes_on = row.get(i + 1).is_some_and(|m| m.ending == measure.ending);
        let span = (left, left + bar_width);
        let number = first_of_ending.then_some(ending);
        bracket(page, span, number, goes_on, measure.repeat_end, items);
    }
    let inner_left = left + start_room(measure, s);
    let inner_right = left + bar_width - end_room(measure, end, s);
    if measure.simile {
        simile(
            (inner_left + inner_right) / 2.0,
            top + (BAR_TOP * s + place.heights.bar_bottom(s)) / 2.0,
            s,
            items,
        );
    } else {
        let room = (inner_left, inner_right);
        measure_items(page, measure, room, &place.heights, items)?;
    }
    words_items(
        page,
        measure,
        (inner_left, inner_right),
        &place.heights,
        items,
    )?;
    if let Some(tab) = place.heights.tab {
        let span = (left, left + bar_width);
        if measure.shows_tab() {
            tablature(page, measure, span, top + tab, place, items)?;
        } else if i.checked_sub(1).is_some_and(|b| row[b].shows_tab()) {
            // the hand goes on alike
            let middle = TAB_LINE * s * place.n_strings.saturating_sub(1) as f64 / 2.0;
            let (x, y) = (left + 2.0 * s, top + tab + middle);
            let size = page.points(8.0);
            items.push(page.text_item(x, y + size * 0.3, size, Style::Italic, "sim."));
        }
    }
    Ok(())
}

/// Between lines and what stands beside them, mm.
const AIR: f64 = 0.7;

/// Room of a repeat sign, mm: its lines are as wide in any print.
fn repeat_room(s: f64) -> f64 {
    (THICK + 2.0 + DOT * s + AIR).max(4.4 * s)
}

/// Room that a bar's left line takes, mm.
fn start_room(measure: &Measure, s: f64) -> f64 {
    match measure.repeat_start {
        true => repeat_room(s),
        false => 2.0 * s,
    }
}

/// Room that a bar's right line takes, mm.
fn end_room(measure: &Measure, end: End, s: f64) -> f64 {
    match end {
        _ if measure.repeat_end => repeat_room(s),
        End::Song => (THICK + 0.8 + THIN / 2.0 + AIR).max(1.2 * s),
        End::Section => (1.0 + THIN / 2.0 + AIR).max(1.2 * s),
        End::Bar | End::Row => 1.2 * s,
    }
}

/// The line over a bar of an ending: its number and a hook where it begins, closed where it turns back.
fn bracket(
    page: &Pager,
    (left, bar_right): (f64, f64),
    number: Option<u8>,
    goes_on: bool,
    turns_back: bool,
    items: &mut Vec<Item>,
) {
    let s = page.scale;
    let (y, hook) = (page.y - 1.3 * s, 2.6 * s);
    let right = if goes_on { bar_right } else { bar_right - 0.6 };
    items.push(line((left, y), (right, y), THIN));
    if let Some(number) = number {
        items.push(line((left, y - THIN / 2.0), (left, y + hook), THIN));
        let text = format!("{number}.");
        let (x, size) = (left + 1.0, page.points(8.0));
        items.push(page.text_item(x, y + 3.1 * s, size, Style::Bold, &text));
    }
    if !goes_on && turns_back {
        items.push(line((right, y - THIN / 2.0), (right, y + hook), THIN));
    }
}

/// The words under a bar, a line each time it is played; smaller where a bar is too narrow.
fn words_items(
    page: &Pager,
    measure: &Measure,
    (left, right): (f64, f64),
    heights: &Heights,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let full = page.points(LYRIC_POINTS);
    let mut y = page.y + heights.lyric;
    for words in measure.lyrics.iter().take(measure.n_lyrics()) {
        let words = crate::chart::xml::one_line(words);
        let width = page.fonts.width(Style::Regular, full, &words)?;
        let size = full * ((right - left) / width.max(1e-6)).min(1.0);
        if !words.is_empty() {
            items.push(page.text_item(left, y, size, Style::Regular, &words));
        }
        y += LYRIC_LINE * page.scale;
    }
    Ok(())
}

/// The bar's left line, and its right one where it is the last or repeats.
fn bar_lines(
    page: &Pager,
    measure: &Measure,
    (left, right): (f64, f64),
    bottom: f64,
    end: End,
    items: &mut Vec<Item>,
) {
    let s = page.scale;
    let (top, bottom) = (page.y + BAR_TOP * s, page.y + bottom);
    let mut vertical = |x: f64, width: f64| items.push(line((x, top), (x, bottom), width));
    let mut colons = Vec::new();
    if measure.repeat_start {
        vertical(left + THICK / 2.0, THICK);
        vertical(left + THICK + 0.8, THIN);
        colons.push(left + THICK + 2.0);
    } else {
        vertical(left, THIN);
    }
    if measure.repeat_end {
        vertical(right - THICK / 2.0, THICK);
        vertical(right - THICK - 0.8, THIN);
        colons.push(right - THICK - 2.0);
    } else if end == End::Song {
        vertical(right - THICK / 2.0, THICK);
        vertical(right - THICK - 0.8, THIN);
    } else if end == End::Section {
        vertical(right, THIN);
        vertical(right - 1.0, THIN);
    } else if end == End::Row {
        vertical(right, THIN);
    }
    let middle = (top + bottom) / 2.0;
    for x in colons {
        for y in [middle - 1.3 * s, middle + 1.3 * s] {
            items.push(Item::Circle {
                center: (x, y),
                radius: DOT * s,
                stroke: None,
            });
        }
    }
}

/// A slash between two dots: as the bar before.
fn simile(x: f64, y: f64, s: f64, items: &mut Vec<Item>) {
    items.push(line(
        (x - 1.9 * s, y + 1.9 * s),
        (x + 1.9 * s, y - 1.9 * s),
        0.9 * s,
    ));
    for (dx, dy) in [(-1.9, -1.0), (1.9, 1.0)] {
        items.push(Item::Circle {
            center: (x + dx * s, y + dy * s),
            radius: 0.55 * s,
            stroke: None,
        });
    }
}

/// Symbols over slashes; symbols shrink together where they would not fit.
fn measure_items(
    page: &Pager,
    measure: &Measure,
    (left, right): (f64, f64),
    heights: &Heights,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let s = page.scale;
    let n_halves = f64::from(2 * measure.n_beats);
    let at = |half: f64| left + (right - left) * half / n_halves;
    let full = page.points(ROOT_POINTS);
    let widths = measure
        .marks
        .iter()
        .map(|m| symbol_width(page, m, full))
        .collect::<Result<Vec<f64>, _>>()?;
    let gaps = GAP * widths.len().saturating_sub(1) as f64;
    let room = right - left - gaps;
    let needed: f64 = widths.iter().sum();
    // symbols that fill the bar leave a hair before its line
    let shrink = (0.98 * room / needed.max(1e-6)).min(1.0);
    // ideal places, then pushed right past the one before, then left off the end
    let mut xs: Vec<f64> = Vec::new();
    for mark in &measure.marks {
        let ideal = at(f64::from(mark.half_beat));
        let free = match (xs.last(), xs.len()) {
            (Some(x), n) => x + widths[n - 1] * shrink + GAP,
            _ => left,
        };
        xs.push(ideal.max(free));
    }
    let mut end = right;
    for i in (0..xs.len()).rev() {
        xs[i] = xs[i].min(end - widths[i] * shrink).max(left);
        end = xs[i] - GAP;
    }
    let y = page.y + heights.symbol;
    let mut basses: Vec<(f64, f64)> = Vec::new();
    for (mark, x) in measure.marks.iter().zip(&xs) {
        let ink = if mark.open { Ink::Gray } else { Ink::Black };
        symbol_items(page, &parts(mark), (*x, y), full * shrink, ink, items)?;
        let small = page.points(NOTE_POINTS);
        // a walking bass stands behind its beat's stroke
        let behind = *x + 1.9 * s;
        if let Some(bass) = &mark.bass {
            let width = page.fonts.width(Style::Italic, small, bass)?;
            basses.push((behind, behind + width));
        }
        for (text, style, x, y) in [
            (&mark.top, Style::Italic, *x, heights.top_note),
            (&mark.degree, Style::Regular, *x, heights.degree),
            (&mark.bass, Style::Italic, behind, heights.slash),
        ] {
            if let Some(text) = text {
                items.push(page.text_item(x, page.y + y, small, style, text));
            }
        }
    }
    let at = |half: u8| at(f64::from(half));
    strokes(page, measure, page.y + heights.slash, &at, &basses, items)
}

/// The beats of a bar as small strokes, and where a chord changes between two.
fn strokes(
    page: &Pager,
    measure: &Measure,
    slash_y: f64,
    at: &dyn Fn(u8) -> f64,
    basses: &[(f64, f64)],
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let s = page.scale;
    let size = page.points(8.0);
    for beat in 0..measure.n_beats {
        let x = at(2 * beat);
        items.push(Item::Line {
            from: (x + 0.3 * s, slash_y),
            to: (x + 1.2 * s, slash_y - 1.8 * s),
            width: 0.35 * s,
            pen: Pen::Round,
        });
        if measure.marks.iter().any(|m| m.half_beat == 2 * beat + 1) {
            let width = page.fonts.width(Style::Regular, size * 0.8, "&")?;
            let ideal = at(2 * beat + 1);
            // a bass note that stands there comes first
            let x = basses.iter().fold(ideal, |x, (from, to)| {
                match x < to + 0.3 * s && x + width > from - 0.3 * s {
                    true => to + 0.3 * s,
                    false => x,
                }
            });
            items.push(page.text_item(x, slash_y, size * 0.8, Style::Regular, "&"));
        }
    }
    Ok(())
}
