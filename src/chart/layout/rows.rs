//! Sections and rows of bars.

mod heights;

use heights::{Heights, TAB_LINE, tablature};

use super::{Item, MARGIN, Pager, Role, Style, dots, line};
use crate::chart::ChartError;
use crate::chart::sheet::{Block, Mark, Measure, bars_on_line, split_symbol};

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
/// Size of a symbol's root, points; its tail is smaller and raised.
const ROOT_POINTS: f64 = 14.0;
const TAIL: f64 = 0.72;
const TAIL_RISE: f64 = 0.3;
const GAP: f64 = 1.4;

/// What a bar's right line closes.
#[derive(Clone, Copy, PartialEq)]
enum End {
    /// Nothing: the next bar's left line follows.
    Bar,
    /// A row.
    Row,
    /// The song.
    Song,
}

/// How a line of bars stands among the others.
struct Place {
    /// Where its parts are.
    heights: Heights,
    /// Strings of the tablature.
    n_strings: usize,
    /// Bars that a full line has.
    columns: usize,
    /// What its last line closes.
    end: End,
    /// Ending of the bar before, if that is of the same row.
    ending_before: Option<u8>,
}

/// A section: its heading and rows.
pub(super) fn block(
    page: &mut Pager,
    block: &Block,
    n_strings: usize,
    last_block: bool,
) -> Result<(), ChartError> {
    let first = block.rows.first().map_or(&[][..], |r| r);
    heading(page, block, Heights::of(page, first, n_strings).all)?;
    for (i, row) in block.rows.iter().enumerate() {
        if let Some(key) = row.first().and_then(Measure::key_text) {
            new_key(page, &key, Heights::of(page, row, n_strings).all)?;
        }
        let columns = bars_on_line(row, page.scale);
        for (c, bars) in row.chunks(columns).enumerate() {
            let heights = Heights::of(page, bars, n_strings);
            let row_height = heights.all;
            page.need(row_height);
            let last = i + 1 == block.rows.len() && (c + 1) * columns >= row.len();
            let place = Place {
                heights,
                n_strings,
                columns,
                end: match last_block && last {
                    true => End::Song,
                    false => End::Row,
                },
                ending_before: c.checked_sub(1).and_then(|_| row[c * columns - 1].ending),
            };
            let items = row_items(page, bars, &place)?;
            let words: Vec<String> = bars.iter().map(Measure::words).collect();
            page.add(Role::Row(words.join("; ")), items);
            page.y += row_height + ROW_GAP * page.scale;
        }
    }
    Ok(())
}

/// The letter in a frame, the name, how often, how it differs.
fn heading(page: &mut Pager, block: &Block, keep: f64) -> Result<(), ChartError> {
    let size = page.points(11.0);
    page.gap(1.5);
    if block.letter.is_empty() && block.name.is_none() {
        return Ok(());
    }
    page.need(size * 2.4 + keep);
    page.y += size * 1.5;
    let mut items = Vec::new();
    let mut x = MARGIN;
    let y = page.y;
    if !block.letter.is_empty() {
        let w = page.fonts.width(Style::Bold, size, &block.letter)?;
        let pad = size * 0.45;
        items.push(page.text_item(x + pad, y, size, Style::Bold, &block.letter));
        let (left, right) = (x, x + w + 2.0 * pad);
        let (top, bottom) = (y - size, y + size * 0.3);
        for (a, b) in [
            ((left, top), (right, top)),
            ((right, top), (right, bottom)),
            ((right, bottom), (left, bottom)),
            ((left, bottom), (left, top)),
        ] {
            items.push(line(a, b, THIN));
        }
        x = right + size * 0.6;
    }
    if let Some(name) = &block.name {
        items.push(page.text_item(x, y, size, Style::Bold, name));
        x += page
            .fonts
            .width(Style::Bold, size, &super::super::xml::one_line(name))?
            + size * 0.8;
    }
    if block.times > 1 {
        let times = format!("×{}", block.times);
        items.push(page.text_item(x, y, size, Style::Bold, &times));
        x += page.fonts.width(Style::Bold, size, &times)? + size * 0.8;
    }
    if !block.differs.is_empty() {
        let small = size * 0.85;
        let room = MARGIN + page.width() - x;
        for (i, part) in page
            .wrap(&block.differs, Style::Italic, small, room.max(40.0))?
            .iter()
            .enumerate()
        {
            page.y += if i > 0 { small * 1.3 } else { 0.0 };
            items.push(page.text_item(x, page.y, small, Style::Italic, part));
        }
    }
    if !block.strokes.is_empty() {
        let small = size * 0.85;
        let right = MARGIN + page.width();
        let w = page.fonts.width(Style::Italic, small, &block.strokes)?;
        // beside the name where there is room, else below
        if !block.differs.is_empty() || x + w > right {
            page.y += small * 1.3;
            x = MARGIN;
        }
        items.push(page.text_item(x, page.y, small, Style::Italic, &block.strokes));
    }
    page.y += size * 0.5;
    page.add(Role::Heading, items);
    Ok(())
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
    let bar_width = (page.width() - NUMBERS) / place.columns as f64;
    let mut items = Vec::new();
    if let Some(first) = row.first().filter(|m| m.number > 0) {
        let size = page.points(7.0);
        let text = first.number.to_string();
        let w = page.fonts.width(Style::Regular, size, &text)?;
        let x = MARGIN + NUMBERS - w - 1.5;
        items.push(page.text_item(x, top + (BAR_TOP + 2.5) * s, size, Style::Regular, &text));
    }
    for (i, measure) in row.iter().enumerate() {
        let left = MARGIN + NUMBERS + bar_width * i as f64;
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
            &mut items,
        );
        if let Some(ending) = measure.ending {
            let y = top - 1.3 * s;
            items.push(line((left, y), (left + bar_width - 1.0, y), THIN));
            if first_of_ending {
                items.push(line((left, y), (left, y + 2.0 * s), THIN));
                let text = format!("{ending}.");
                items.push(page.text_item(
                    left + 1.0,
                    y + 2.8 * s,
                    page.points(7.0),
                    Style::Regular,
                    &text,
                ));
            }
        }
        let inner_left = left + if measure.repeat_start { 4.4 } else { 2.0 } * s;
        let inner_right = left + bar_width - if measure.repeat_end { 4.4 } else { 1.2 } * s;
        if measure.simile {
            simile(
                (inner_left + inner_right) / 2.0,
                top + (BAR_TOP * s + place.heights.bar_bottom(s)) / 2.0,
                s,
                &mut items,
            );
        } else {
            let room = (inner_left, inner_right);
            measure_items(page, measure, room, &place.heights, &mut items)?;
        }
        if let Some(tab) = place.heights.tab {
            let has_tab = |m: &Measure| !m.simile && !m.tab.is_empty();
            let span = (left, left + bar_width);
            if has_tab(measure) {
                tablature(page, measure, span, top + tab, place, &mut items)?;
            } else if i.checked_sub(1).is_some_and(|b| has_tab(&row[b])) {
                // the hand goes on alike
                let middle = TAB_LINE * s * place.n_strings.saturating_sub(1) as f64 / 2.0;
                let (x, y) = (left + 2.0 * s, top + tab + middle);
                let size = page.points(8.0);
                items.push(page.text_item(x, y + size * 0.3, size, Style::Italic, "sim."));
            }
        }
    }
    let begins = row.first().is_some_and(|m| !m.simile && !m.tab.is_empty());
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
    } else if end == End::Row {
        vertical(right, THIN);
    }
    let middle = (top + bottom) / 2.0;
    for x in colons {
        for y in [middle - 1.3 * s, middle + 1.3 * s] {
            items.push(Item::Circle {
                center: (x, y),
                radius: 0.5 * s,
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
    let shrink = (room / needed.max(1e-6)).min(1.0);
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
    for (mark, x) in measure.marks.iter().zip(&xs) {
        symbol_items(page, mark, *x, y, full * shrink, items)?;
        let small = page.points(NOTE_POINTS);
        for (text, style, y) in [
            (&mark.top, Style::Italic, heights.top_note),
            (&mark.degree, Style::Regular, heights.degree),
            (&mark.bass, Style::Italic, heights.bass),
        ] {
            if let Some(text) = text {
                items.push(page.text_item(*x, page.y + y, small, style, text));
            }
        }
    }
    let size = page.points(9.0);
    let slash_y = page.y + heights.slash;
    for beat in 0..measure.n_beats {
        let x = at(f64::from(2 * beat));
        items.push(page.text_item(x + 0.6 * s, slash_y, size, Style::Regular, "/"));
        if measure.marks.iter().any(|m| m.half_beat == 2 * beat + 1) {
            let x = at(f64::from(2 * beat + 1));
            items.push(page.text_item(x, slash_y, size * 0.8, Style::Regular, "&"));
        }
    }
    Ok(())
}

/// A symbol's parts: text, share of the full size, rise as a share of the full size.
fn parts(mark: &Mark) -> Vec<(String, f64, f64)> {
    let (root, tail, bass) = split_symbol(&mark.symbol);
    let mut parts = vec![(root.to_owned(), 1.0, 0.0)];
    if !tail.is_empty() {
        parts.push((tail.to_owned(), TAIL, TAIL_RISE));
    }
    if !bass.is_empty() {
        parts.push((bass.to_owned(), 1.0, 0.0));
    }
    if mark.open && mark.symbol != "?" {
        parts.push(("?".into(), 1.0, 0.0));
    }
    if let Some(variant) = mark.variant {
        parts.push((format!("({variant})"), 0.55, 0.55));
    }
    if !mark.remarks.is_empty() {
        let numbers: Vec<String> = mark.remarks.iter().map(usize::to_string).collect();
        parts.push((format!("[{}]", numbers.join(",")), 0.55, 0.55));
    }
    parts
}

fn symbol_width(page: &Pager, mark: &Mark, size: f64) -> Result<f64, ChartError> {
    parts(mark)
        .iter()
        .map(|(text, share, _)| page.fonts.width(Style::Regular, size * share, text))
        .sum()
}

fn symbol_items(
    page: &Pager,
    mark: &Mark,
    left: f64,
    y: f64,
    size: f64,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let mut x = left;
    let mut doubt_end = left;
    for (text, share, rise) in parts(mark) {
        items.push(page.text_item(x, y - rise * size, size * share, Style::Regular, &text));
        x += page.fonts.width(Style::Regular, size * share, &text)?;
        // variant and remark numbers are no doubt
        if share > 0.6 {
            doubt_end = x;
        }
    }
    if mark.open {
        items.push(dots(left, doubt_end, y + size * 0.25));
    }
    Ok(())
}
