//! A section's heading: name, how often, how it differs, a new strum pattern; the signs at its end.

use crate::chart::ChartError;
use crate::chart::layout::{Item, MARGIN, Pager, Role, Style, line, signs};
use crate::chart::sheet::{Block, Pattern};

/// Size of a name, points.
const HEADING_POINTS: f64 = 12.0;
/// Size of words at a section's end, points.
const END_POINTS: f64 = 11.0;
/// Between two sections on one line that refer back, mm.
const BESIDE: f64 = 9.0;

/// Where the last heading ended that has no bars under it.
#[derive(Clone, Copy, PartialEq)]
pub(in crate::chart::layout) struct Beside {
    page: usize,
    /// Baseline, and where the next thing would go, mm from the top.
    y: f64,
    below: f64,
    /// Right end, mm.
    right: f64,
}

/// What a heading says, in parts from left to right.
struct Words {
    name: String,
    times: String,
    /// In italics.
    more: String,
}

impl Words {
    fn of(block: &Block) -> Self {
        let times = match block.times {
            0 | 1 => String::new(),
            n => format!("×{n}"),
        };
        let more = match (&block.as_before, block.signs.at_end()) {
            (Some(words), Some(end)) => format!("{words}, then {end}"),
            (Some(words), None) => words.clone(),
            (None, _) => block.differs.clone(),
        };
        Self {
            name: crate::chart::xml::one_line(&block.heading()),
            times,
            more: crate::chart::xml::one_line(&more),
        }
    }
}

/// The name, how often, how it differs, a new strum pattern, and a rule to the right margin.
pub(super) fn heading(
    page: &mut Pager,
    block: &Block,
    pattern: Option<&Pattern>,
    keep: f64,
) -> Result<(), ChartError> {
    let words = Words::of(block);
    let alone = block.as_before.is_none() || pattern.is_some();
    if !alone && beside(page, block, &words)? {
        return Ok(());
    }
    let size = page.points(HEADING_POINTS);
    page.gap(1.5);
    if words.name.is_empty() && pattern.is_none() {
        page.need(keep);
        return Ok(());
    }
    page.need(size * 2.0 + keep);
    page.y += size * if pattern.is_some() { 1.7 } else { 1.3 };
    let (y, right) = (page.y, MARGIN + page.width());
    let mut x = sign(page, block, (MARGIN, y), size);
    let mut items = Vec::new();
    for text in [&words.name, &words.times]
        .into_iter()
        .filter(|t| !t.is_empty())
    {
        items.push(page.text_item(x, y, size, Style::Bold, text));
        x += page.fonts.width(Style::Bold, size, text)? + size * 0.7;
    }
    let small = size * 0.85;
    let room = (right - x).max(40.0);
    let lines = page.wrap(&words.more, Style::Italic, small, room)?;
    for (i, part) in lines.iter().enumerate().filter(|(_, p)| !p.is_empty()) {
        if i > 0 {
            page.y += small * 1.3;
        }
        items.push(page.text_item(x, page.y, small, Style::Italic, part));
        if i == 0 && lines.len() == 1 {
            x += page.fonts.width(Style::Italic, small, part)? + size * 0.7;
        }
    }
    let last_y = page.y;
    if let Some(pattern) = pattern {
        x = pattern_items(page, pattern, (x, y), &mut items)?;
    }
    page.y += size * 0.45;
    if block.as_before.is_some() {
        page.beside = Some(Beside {
            page: page.pages.len(),
            y: last_y,
            below: page.y,
            right: if lines.len() > 1 { right } else { x },
        });
    } else if right - x > 4.0 && lines.len() < 2 {
        items.push(line((x, y - size * 0.33), (right, y - size * 0.33), 0.2));
    }
    page.add(Role::Heading, items);
    Ok(())
}

/// Puts a section that refers back on the line of the one before, if that has room.
fn beside(page: &mut Pager, block: &Block, words: &Words) -> Result<bool, ChartError> {
    let here = (page.pages.len(), page.y);
    let Some(before) = page.beside.filter(|b| (b.page, b.below) == here) else {
        return Ok(false);
    };
    let size = page.points(HEADING_POINTS);
    let gap = size * 0.7;
    let parts = [
        (&words.name, Style::Bold, size),
        (&words.times, Style::Bold, size),
        (&words.more, Style::Italic, size * 0.85),
    ];
    let left = before.right + BESIDE * page.scale - gap;
    let mut x = left
        + if block.signs.coda {
            size * signs::WIDTH + gap
        } else {
            0.0
        };
    for (text, style, size) in &parts {
        x += page.fonts.width(*style, *size, text)? + gap;
    }
    if x - gap > MARGIN + page.width() {
        return Ok(false);
    }
    let mut x = sign(page, block, (left, before.y), size);
    let mut items = Vec::new();
    for (text, style, size) in parts.into_iter().filter(|(t, ..)| !t.is_empty()) {
        items.push(page.text_item(x, before.y, size, style, text));
        x += page.fonts.width(style, size, text)? + gap;
    }
    page.add(Role::Heading, items);
    page.beside = Some(Beside { right: x, ..before });
    Ok(true)
}

/// The segno or coda that a section begins with; gives where its name goes, mm.
fn sign(page: &mut Pager, block: &Block, (x, y): (f64, f64), size: f64) -> f64 {
    let center = (x + size * signs::WIDTH / 2.0, y - size * 0.36);
    let (name, items) = match (block.signs.segno, block.signs.coda) {
        (true, _) => ("segno", signs::segno(center, size * 1.15)),
        (_, true) => ("coda", signs::coda(center, size)),
        _ => return x,
    };
    page.add(Role::Figure(name.into()), items);
    x + size * (signs::WIDTH + 0.5)
}

/// What a section says at its end, under its last bar and at the right margin.
pub(super) fn at_end(page: &mut Pager, block: &Block, last_block: bool) -> Result<(), ChartError> {
    let Some(words) = block.signs.at_end().filter(|_| block.as_before.is_none()) else {
        return Ok(());
    };
    let size = page.points(END_POINTS);
    // the next heading is far enough below; a paragraph is not
    let y = page.y + size * 0.55;
    let sign = if block.signs.to_coda {
        size * (signs::WIDTH + 0.3)
    } else {
        0.0
    };
    let right = MARGIN + page.width() - sign;
    let x = right - page.fonts.width(Style::Bold, size, &words)?;
    let item = page.text_item(x, y, size, Style::Bold, &words);
    page.add(Role::Paragraph, vec![item]);
    if block.signs.to_coda {
        let center = (MARGIN + page.width() - size * 0.5, y - size * 0.36);
        page.add(Role::Figure("coda".into()), signs::coda(center, size));
    }
    page.y += if last_block { size * 0.7 } else { 0.0 };
    Ok(())
}

/// Height of a heading with its pattern, mm.
pub(super) fn heading_height(page: &Pager) -> f64 {
    page.points(HEADING_POINTS) * 2.2 + 1.5 * page.scale
}

/// Room that the words at a section's end need under its last bar, mm.
pub(super) fn end_height(page: &Pager, block: &Block) -> f64 {
    match block.signs.at_end().filter(|_| block.as_before.is_none()) {
        Some(_) => page.points(END_POINTS) * 0.6,
        None => 0.0,
    }
}

/// Arrows over the counting: down on beats, up between them. Gives where it ends, mm.
fn pattern_items(
    page: &Pager,
    pattern: &Pattern,
    (left, y): (f64, f64),
    items: &mut Vec<Item>,
) -> Result<f64, ChartError> {
    let s = page.scale;
    let (step, high, head) = (4.0 * s, 4.2 * s, 1.1 * s);
    let size = page.points(6.5);
    for (i, hit) in pattern.hits.iter().enumerate() {
        let x = left + step * (i as f64 + 0.5);
        let count = match (pattern.per_beat, i % pattern.per_beat) {
            (3, _) => (i + 1).to_string(),
            (_, 0) => (i / pattern.per_beat + 1).to_string(),
            _ => "&".into(),
        };
        let w = page.fonts.width(Style::Regular, size, &count)?;
        items.push(page.text_item(x - w / 2.0, y + 0.6 * s, size, Style::Regular, &count));
        if !hit {
            continue;
        }
        let (top, bottom) = (y - 2.2 * s - high, y - 2.2 * s);
        if !pattern.strummed {
            items.push(Item::Circle {
                center: (x, bottom - 1.0 * s),
                radius: 0.6 * s,
                stroke: None,
            });
            continue;
        }
        // where the hand swings evenly, it comes back up between the beats
        let up = pattern.per_beat == 2 && i % 2 == 1;
        let (tip, away) = if up { (top, 1.0) } else { (bottom, -1.0) };
        items.push(line((x, top), (x, bottom), 0.4 * s));
        for side in [-1.0, 1.0] {
            items.push(line(
                (x, tip),
                (x + side * head, tip + away * head * 1.3),
                0.4 * s,
            ));
        }
    }
    Ok(left + step * pattern.hits.len() as f64 + 2.0 * s)
}
