//! A section's heading: name, how often, how it differs, a new strum pattern.

use crate::chart::ChartError;
use crate::chart::layout::{Item, MARGIN, Pager, Role, Style, line};
use crate::chart::sheet::{Block, Pattern};

/// Size of a name, points.
const HEADING_POINTS: f64 = 12.0;

/// The name, how often, how it differs, a new strum pattern, and a rule to the right margin.
pub(super) fn heading(
    page: &mut Pager,
    block: &Block,
    pattern: Option<&Pattern>,
    keep: f64,
) -> Result<(), ChartError> {
    let size = page.points(HEADING_POINTS);
    page.gap(1.5);
    let name = crate::chart::xml::one_line(&block.heading());
    if name.is_empty() && pattern.is_none() {
        page.need(keep);
        return Ok(());
    }
    page.need(size * 2.0 + keep);
    page.y += size * if pattern.is_some() { 1.7 } else { 1.3 };
    let (y, right) = (page.y, MARGIN + page.width());
    let mut items = Vec::new();
    let mut x = MARGIN;
    let mut put = |page: &Pager, x: &mut f64, style, size, text: &str| -> Result<(), ChartError> {
        items.push(page.text_item(*x, y, size, style, text));
        *x += page.fonts.width(style, size, text)? + size * 0.7;
        Ok(())
    };
    if !name.is_empty() {
        put(page, &mut x, Style::Bold, size, &name)?;
    }
    if block.times > 1 {
        put(
            page,
            &mut x,
            Style::Bold,
            size,
            &format!("×{}", block.times),
        )?;
    }
    let mut words = Vec::new();
    words.extend(block.as_before.clone());
    if block.as_before.is_none() && !block.differs.is_empty() {
        words.push(block.differs.clone());
    }
    let small = size * 0.85;
    let room = (right - x).max(40.0);
    for (i, part) in page
        .wrap(&words.join(", "), Style::Italic, small, room)?
        .iter()
        .enumerate()
    {
        if part.is_empty() {
            continue;
        }
        if i > 0 {
            page.y += small * 1.3;
        }
        items.push(page.text_item(x, page.y, small, Style::Italic, part));
        if i == 0 {
            x += page.fonts.width(Style::Italic, small, part)? + size * 0.7;
        }
    }
    if let Some(pattern) = pattern {
        x = pattern_items(page, pattern, (x, y), &mut items)?;
    }
    if right - x > 4.0 {
        items.push(line((x, y - size * 0.33), (right, y - size * 0.33), 0.2));
    }
    page.y += size * 0.45;
    page.add(Role::Heading, items);
    Ok(())
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
