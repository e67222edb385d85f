//! Chord symbols as parts: root, raised tail, bass, small signs.

use crate::chart::ChartError;
use crate::chart::layout::{Ink, Item, Pager, Style};
use crate::chart::sheet::{Mark, split_symbol};

/// Size and rise of a symbol's tail as shares of its root's size.
const TAIL: f64 = 0.72;
const TAIL_RISE: f64 = 0.3;
/// Share of the full size that is no part of the name.
const SMALL: f64 = 0.45;

/// A part of a symbol: text, share of the full size, rise as a share of the full size.
pub(in crate::chart::layout) type Part = (String, f64, f64);

/// A symbol's parts, the letter of its shape and the numbers of its notes.
pub(in crate::chart::layout) fn symbol_parts(
    symbol: &str,
    variant: Option<char>,
    remarks: &[usize],
) -> Vec<Part> {
    let (root, tail, bass) = split_symbol(symbol);
    let mut parts = vec![(root.to_owned(), 1.0, 0.0)];
    if !tail.is_empty() {
        parts.push((tail.to_owned(), TAIL, TAIL_RISE));
    }
    if !bass.is_empty() {
        parts.push((bass.to_owned(), 1.0, 0.0));
    }
    if let Some(variant) = variant {
        parts.push((format!("({variant})"), SMALL, 0.55));
    }
    if !remarks.is_empty() {
        let numbers: Vec<String> = remarks.iter().map(usize::to_string).collect();
        parts.push((format!("[{}]", numbers.join(",")), SMALL, 0.55));
    }
    parts
}

fn part_style(share: f64) -> Style {
    match share > SMALL {
        true => Style::Bold,
        false => Style::Regular,
    }
}

pub(super) fn parts(mark: &Mark) -> Vec<Part> {
    symbol_parts(&mark.symbol, mark.variant, &mark.remarks)
}

/// Width of parts beside each other, mm.
pub(in crate::chart::layout) fn parts_width(
    page: &Pager,
    parts: &[Part],
    size: f64,
) -> Result<f64, ChartError> {
    parts
        .iter()
        .map(|(text, share, _)| page.fonts.width(part_style(*share), size * share, text))
        .sum()
}

pub(super) fn symbol_width(page: &Pager, mark: &Mark, size: f64) -> Result<f64, ChartError> {
    parts_width(page, &parts(mark), size)
}

/// Draws parts from their left end on a baseline.
pub(in crate::chart::layout) fn symbol_items(
    page: &Pager,
    parts: &[Part],
    (left, y): (f64, f64),
    size: f64,
    ink: Ink,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let mut x = left;
    for (text, share, rise) in parts {
        let style = part_style(*share);
        items.push(Item::Text {
            x,
            y: y - rise * size,
            size: size * share,
            style,
            text: crate::chart::xml::one_line(text),
            ink,
        });
        x += page.fonts.width(style, size * share, text)?;
    }
    Ok(())
}
