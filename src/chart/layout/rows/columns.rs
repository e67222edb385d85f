//! Which bars stand on a line, and how wide each is.

use super::symbols::symbol_width;
use super::{GAP, LYRIC_POINTS, NUMBERS, ROOT_POINTS};
use crate::chart::ChartError;
use crate::chart::layout::{Pager, Style};
use crate::chart::sheet::{BARS_IN_ROW, Block, Measure};

/// A line of bars as it is set: some of a row, with a pickup before them.
pub(super) struct Line {
    pub(super) bars: Vec<Measure>,
    columns: usize,
    pub(super) ending_before: Option<u8>,
}

/// The lines of a section. A pickup stands before the first bar, on its line.
pub(super) fn lines(page: &Pager, block: &Block) -> Result<Vec<Line>, ChartError> {
    let mut rows: Vec<Vec<Measure>> = block.printed().to_vec();
    if rows.len() > 1 && rows[0].iter().all(|m| m.number == 0) {
        let pickup = rows.remove(0);
        rows[0].splice(0..0, pickup);
    }
    let mut out = Vec::new();
    for row in rows {
        let pickups = match row.iter().take_while(|m| m.number == 0).count() {
            n if n == row.len() => 0,
            n => n,
        };
        if let Some(last) = out.last_mut()
            && joins(page, last, &row)?
        {
            last.bars.extend(row);
            last.columns = last.bars.len();
            continue;
        }
        let columns = columns(page, &row[pickups..])?;
        let mut ending_before = None;
        let mut from = 0;
        while from < row.len() {
            let first = if from == 0 { pickups } else { 0 };
            let to = (from + first + columns).min(row.len());
            out.push(Line {
                bars: row[from..to].to_vec(),
                columns,
                ending_before,
            });
            ending_before = row[to - 1].ending;
            from = to;
        }
    }
    Ok(out)
}

/// Whether a last ending of one bar finds room behind the ending before it, on its line.
fn joins(page: &Pager, line: &Line, row: &[Measure]) -> Result<bool, ChartError> {
    let (Some(before), [bar]) = (line.bars.last(), row) else {
        return Ok(false);
    };
    let follows = bar.ending.is_some() && before.ending.is_some() && bar.new_key.is_none();
    if !follows || line.columns < BARS_IN_ROW || line.bars.len() > BARS_IN_ROW {
        return Ok(false);
    }
    let mut sum = wanted(page, bar)?;
    for bar in &line.bars {
        sum += wanted(page, bar)?;
    }
    Ok(sum <= page.width() - NUMBERS)
}

/// Room that a bar's symbols want at full size, mm.
fn wanted(page: &Pager, measure: &Measure) -> Result<f64, ChartError> {
    const PADS: f64 = 4.0;
    let size = page.points(ROOT_POINTS);
    let mut width = PADS * page.scale;
    if !measure.simile {
        for mark in &measure.marks {
            width += symbol_width(page, mark, size)? + GAP;
        }
    }
    for words in &measure.lyrics {
        let words = page
            .fonts
            .width(Style::Regular, page.points(LYRIC_POINTS), words)?;
        width = width.max(words + PADS * page.scale);
    }
    let signs = u8::from(measure.repeat_start) + u8::from(measure.repeat_end);
    Ok(width + 3.0 * page.scale * f64::from(signs))
}

/// Bars on a line, 4, 2 or 1, so that symbols keep their size.
fn columns(page: &Pager, row: &[Measure]) -> Result<usize, ChartError> {
    let total = page.width() - NUMBERS;
    for columns in [BARS_IN_ROW, 2] {
        let mut fits = true;
        for bars in row.chunks(columns) {
            let mut sum = 0.0;
            for bar in bars {
                sum += wanted(page, bar)?;
            }
            fits &= sum <= total * bars.len() as f64 / columns as f64;
        }
        if fits {
            return Ok(columns);
        }
    }
    Ok(1)
}

/// Width of each bar of a line: alike, unless one needs more; a pickup is narrow.
pub(super) fn widths(page: &Pager, line: &Line) -> Result<Vec<f64>, ChartError> {
    const PICKUP: f64 = 0.1;
    let total = page.width() - NUMBERS;
    let narrow = |m: &Measure| m.number == 0 && line.bars.len() > 1;
    let wants = line
        .bars
        .iter()
        .map(|m| wanted(page, m))
        .collect::<Result<Vec<f64>, _>>()?;
    let pickups: f64 = line
        .bars
        .iter()
        .zip(&wants)
        .filter(|(m, _)| narrow(m))
        .map(|(_, w)| w.max(total * PICKUP))
        .sum();
    let n = line.bars.iter().filter(|m| !narrow(m)).count() as f64;
    let base = (total - pickups) / line.columns as f64;
    let needed: f64 = line
        .bars
        .iter()
        .zip(&wants)
        .filter(|(m, _)| !narrow(m))
        .map(|(_, w)| w)
        .sum();
    let tight = wants.iter().any(|w| *w > base) && needed <= base * n;
    let width = |(m, w): (&Measure, &f64)| match (narrow(m), tight) {
        (true, _) => w.max(total * PICKUP),
        (_, true) => w + (base * n - needed) / n,
        _ => base,
    };
    Ok(line.bars.iter().zip(&wants).map(width).collect())
}
