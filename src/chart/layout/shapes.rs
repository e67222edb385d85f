//! The legend's chord boxes, in rows.

use super::rows::{parts_width, symbol_parts};
use super::{Ink, Item, MARGIN, Pager, Pen, Role, Style, line};
use crate::chart::diagram::{Diagram, diagram};
use crate::chart::sheet::{Entry, ShapeBox};
use crate::chart::{ChartError, Options};

/// The smallest text of a diagram, mm: 4.6 points.
const LEAST_MM: f64 = 4.6 * 25.4 / 72.0;

/// Between strings and between frets, mm.
const DX: f64 = 3.1;
const DY: f64 = 3.7;
/// Left of the first string, for the fret's number; and right of the last one, mm.
const LEFT: f64 = 5.2;
const RIGHT: f64 = 2.6;
/// Between two shapes to pick from, mm.
const OR: f64 = 6.0;
/// Heights, mm: caption, name from the capo, signs above the box, frets below.
const CAPTION: f64 = 5.0;
const HELD_AS: f64 = 4.2;
const TOPS: f64 = 3.6;
const FRETS: f64 = 5.0;
const ROW_GAP: f64 = 3.0;
/// Sizes of words, points.
const TITLE_POINTS: f64 = 13.0;
const HELD_POINTS: f64 = 8.0;

/// Part of the full size that diagrams may have, so that they take few rows.
const FITS: [f64; 3] = [1.0, 0.86, 0.7];

/// Rows that diagrams should take at most, if a smaller size of theirs allows it.
pub(super) type Rows = usize;
/// Where there is room.
pub(super) const AT_EASE: Rows = 2;
/// Where a page may be spared.
pub(super) const NARROW: Rows = 1;

/// Every entry with its diagrams, in rows of about as many.
pub(super) fn legend(
    page: &mut Pager,
    entries: &[Entry],
    options: &Options,
    most: Rows,
) -> Result<(), ChartError> {
    let full = page.scale;
    let rows = fitted(page, entries, most)?;
    let frets = n_rows(entries);
    for row in rows {
        let height = height(page, row, frets);
        page.need(height);
        let mut x = MARGIN;
        for entry in row {
            let items = entry_items(page, entry, x, frets, options)?;
            let frets: Vec<String> = entry.boxes.iter().map(|b| b.shape.text()).collect();
            let open = if entry.open { ", not confirmed" } else { "" };
            let alt = format!("{}: frets {}{open}", entry.title(), frets.join(" or "));
            page.add(Role::Figure(alt), items);
            x += width(page, entry)?;
        }
        page.y += height + ROW_GAP * page.scale;
    }
    page.scale = full;
    Ok(())
}

/// How high all diagrams are together, mm.
pub(super) fn legend_height(
    page: &mut Pager,
    entries: &[Entry],
    most: Rows,
) -> Result<f64, ChartError> {
    let full = page.scale;
    let rows = fitted(page, entries, most)?;
    let frets = n_rows(entries);
    let each = rows
        .iter()
        .map(|row| height(page, row, frets) + ROW_GAP * page.scale);
    let all = each.sum();
    page.scale = full;
    Ok(all)
}

/// The rows at the largest size at which they are few; leaves the page at that size.
fn fitted<'a>(
    page: &mut Pager,
    entries: &'a [Entry],
    most: Rows,
) -> Result<Vec<&'a [Entry]>, ChartError> {
    let full = page.scale;
    let mut rows = Vec::new();
    for fit in FITS {
        page.scale = full * fit;
        rows = split(page, entries)?;
        if rows.len() <= most {
            break;
        }
    }
    Ok(rows)
}

/// Rows no wider than the page, each of about as many entries.
fn split<'a>(page: &Pager, entries: &'a [Entry]) -> Result<Vec<&'a [Entry]>, ChartError> {
    let mut most = entries.len();
    loop {
        let mut rows: Vec<&[Entry]> = Vec::new();
        let mut from = 0;
        let mut used = 0.0;
        for (i, entry) in entries.iter().enumerate() {
            let more = width(page, entry)?;
            if i > from && (used + more > page.width() || i - from == most) {
                rows.push(&entries[from..i]);
                (from, used) = (i, 0.0);
            }
            used += more;
        }
        if from < entries.len() {
            rows.push(&entries[from..]);
        }
        let even = entries.len().div_ceil(rows.len().max(1));
        if even >= most {
            return Ok(rows);
        }
        most = even;
    }
}

fn box_width(page: &Pager, shape_box: &ShapeBox) -> f64 {
    let n = shape_box.shape.frets().len().saturating_sub(1);
    (LEFT + DX * n as f64 + RIGHT) * page.scale
}

/// Room of an entry: its boxes or its words, whichever is wider.
fn width(page: &Pager, entry: &Entry) -> Result<f64, ChartError> {
    let boxes: f64 = entry.boxes.iter().map(|b| box_width(page, b)).sum();
    let between = OR * page.scale * entry.boxes.len().saturating_sub(1) as f64;
    let parts = symbol_parts(&entry.symbol, entry.variant, &[]);
    let title = parts_width(page, &parts, page.points(TITLE_POINTS))?;
    let held = match &entry.held_as {
        Some(name) => {
            let size = small(page, HELD_POINTS);
            page.fonts.width(Style::Italic, size, name)?
        }
        None => 0.0,
    };
    let text = LEFT * page.scale + title.max(held);
    Ok((boxes + between).max(text) + 2.0 * page.scale)
}

/// Size of small text, mm: legible in a small print too.
fn small(page: &Pager, points: f64) -> f64 {
    page.points(points).max(LEAST_MM)
}

/// Frets that every box shows, so that all are of one height.
fn n_rows(entries: &[Entry]) -> u8 {
    entries
        .iter()
        .flat_map(|e| &e.boxes)
        .map(|b| diagram(b, false).n_rows)
        .max()
        .unwrap_or(4)
}

fn height(page: &Pager, entries: &[Entry], rows: u8) -> f64 {
    let held = entries.iter().any(|e| e.held_as.is_some());
    let held = if held { HELD_AS } else { 0.0 };
    (CAPTION + held + TOPS + DY * f64::from(rows) + FRETS) * page.scale
}

fn entry_items(
    page: &Pager,
    entry: &Entry,
    left: f64,
    rows: u8,
    options: &Options,
) -> Result<Vec<Item>, ChartError> {
    let s = page.scale;
    let mut items = Vec::new();
    let size = page.points(TITLE_POINTS);
    let x = left + LEFT * s;
    let mut y = page.y + 3.8 * s;
    let ink = if entry.open { Ink::Gray } else { Ink::Black };
    let parts = symbol_parts(&entry.symbol, entry.variant, &[]);
    super::rows::symbol_items(page, &parts, (x, y), size, ink, &mut items)?;
    if let Some(held_as) = &entry.held_as {
        y += HELD_AS * s;
        let size = small(page, HELD_POINTS);
        items.push(page.text_item(x, y, size, Style::Italic, held_as));
    }
    let top = y + (CAPTION - 3.8 + TOPS) * s;
    let mut x = left;
    for (i, shape_box) in entry.boxes.iter().enumerate() {
        if i > 0 {
            let middle = top + 2.0 * DY * s;
            let size = small(page, 9.0);
            items.push(page.text_item(x + s, middle, size, Style::Italic, "or"));
            x += OR * s;
        }
        box_items(
            page,
            shape_box,
            (x + LEFT * s, top),
            rows,
            options,
            &mut items,
        )?;
        x += box_width(page, shape_box);
    }
    Ok(items)
}

/// A ring over a string that rings open, a cross over one that is not played.
fn open_or_muted((x, y): (f64, f64), r: f64, rings: bool, items: &mut Vec<Item>) {
    if rings {
        items.push(Item::Circle {
            center: (x, y),
            radius: r,
            stroke: Some(0.28),
        });
    } else {
        items.push(line((x - r, y - r), (x + r, y + r), 0.28));
        items.push(line((x - r, y + r), (x + r, y - r), 0.28));
    }
}

fn box_items(
    page: &Pager,
    shape_box: &ShapeBox,
    (left, top): (f64, f64),
    rows: u8,
    options: &Options,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let s = page.scale;
    let mut d: Diagram = diagram(shape_box, options.left_handed);
    d.n_rows = rows.max(d.n_rows);
    let save_ink = options.save_ink;
    let x = |column: usize| left + DX * s * column as f64;
    let edge = |row: u8| top + DY * s * f64::from(row);
    let y = |row: u8| edge(row) - DY * s * 0.5;
    let right = x(d.n_strings.saturating_sub(1));
    for column in 0..d.n_strings {
        let (from, to) = ((x(column), top), (x(column), edge(d.n_rows)));
        items.push(line(from, to, 0.25));
    }
    for row in 0..=d.n_rows {
        items.push(line((left, edge(row)), (right, edge(row)), 0.25));
    }
    if d.first_fret == 1 {
        items.push(line(
            (left - 0.12, top - 0.35),
            (right + 0.12, top - 0.35),
            if save_ink { 0.6 } else { 0.9 },
        ));
    } else {
        let size = small(page, 8.0);
        let text = d.first_fret.to_string();
        let w = page.fonts.width(Style::Regular, size, &text)?;
        let at = left - w - 2.0 * s;
        items.push(page.text_item(at, y(1) + size * 0.35, size, Style::Regular, &text));
    }
    for (column, rings) in &d.tops {
        open_or_muted((x(*column), top - 2.1 * s), 0.8 * s, *rings, items);
    }
    for (row, a, b) in &d.barres {
        items.push(Item::Line {
            from: (x(*a), y(*row)),
            to: (x(*b), y(*row)),
            width: if save_ink { 0.5 } else { 2.4 * s },
            pen: Pen::Round,
        });
    }
    for (column, row, finger) in &d.dots {
        let (cx, cy) = (x(*column), y(*row));
        items.push(Item::Circle {
            center: (cx, cy),
            radius: 1.3 * s,
            stroke: save_ink.then_some(0.25),
        });
        if let Some(finger) = finger {
            let size = small(page, 6.0);
            let w = page.fonts.width(Style::Regular, size, finger)?;
            items.push(Item::Text {
                x: cx - w / 2.0,
                y: cy + size * 0.36,
                size,
                style: Style::Regular,
                text: finger.clone(),
                ink: if save_ink { Ink::Black } else { Ink::White },
            });
        }
    }
    let size = small(page, 7.5);
    let text = shape_box.shape.text();
    let w = page.fonts.width(Style::Regular, size, &text)?;
    let at = (left + right) / 2.0 - w / 2.0;
    items.push(page.text_item(at, edge(d.n_rows) + 3.6 * s, size, Style::Regular, &text));
    Ok(())
}
