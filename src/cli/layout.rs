//! Text for a terminal of 80 columns: width, wrapping, chord boxes.

use super::plain::one_line;
use crate::fretboard::Shape;
use std::io::Write;

/// Columns that every command's output fits.
pub(crate) const WIDTH: usize = 80;

/// Columns of a text: one for each character (chord symbols have no wide ones).
pub(crate) fn columns(text: &str) -> usize {
    text.chars().count()
}

/// `1 song`, `2 songs`.
pub(crate) fn plural(n: usize, what: &str) -> String {
    match n {
        1 => format!("1 {what}"),
        n => format!("{n} {what}s"),
    }
}

/// The text with blanks behind up to a width.
pub(crate) fn pad(text: &str, width: usize) -> String {
    format!("{text}{}", " ".repeat(width.saturating_sub(columns(text))))
}

/// Breaks a text into lines of at most [`WIDTH`] columns; later lines are indented.
pub(crate) fn wrap(text: &str, indent: usize) -> String {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let own = word.trim_start_matches(HELD);
        let word = &format!("{}{}", &word[..word.len() - own.len()], one_line(own));
        let last = lines.len() - 1;
        let room = WIDTH - if last == 0 { 0 } else { indent };
        let line = &mut lines[last];
        if line.is_empty() {
            line.push_str(word);
        } else if columns(line) + 1 + columns(word) <= room {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.into());
        }
    }
    let blank = " ".repeat(indent);
    lines.join(&format!("\n{blank}"))
}

/// Stands for a blank that stays, until a line is wrapped.
pub(super) const HELD: char = '\u{1}';

/// As [`wrap`], but blanks at the start of the text stay.
pub(crate) fn wrap_from(text: &str, indent: usize) -> String {
    let head: String = text.chars().take_while(|c| *c == ' ').collect();
    let marked = format!(
        "{}{}",
        HELD.to_string().repeat(head.len()),
        text.trim_start()
    );
    wrap(&marked, indent).replace(HELD, " ")
}

/// Writes a text after an indent; later lines are indented by two more.
pub(crate) fn write_under(out: &mut dyn Write, indent: &str, text: &str) -> std::io::Result<()> {
    let text = format!("{indent}{}", text.trim_start());
    writeln!(out, "{}", wrap_from(&text, indent.len() + 2))
}

/// Frets that a chord box shows.
const BOX_FRETS: u8 = 4;

/// A shape drawn with strings upright, low string left: lines of equal width.
///
/// Above the strings `x` is muted and `o` is open; beside them the first fret
/// is named unless it is the first of the neck (a double line).
pub(crate) fn chord_box(shape: &Shape) -> Vec<String> {
    let frets = shape.frets();
    let stopped = || frets.iter().flatten().copied().filter(|f| *f > 0);
    let highest = stopped().max().unwrap_or(0);
    let lowest = stopped().min().unwrap_or(1);
    let first = if highest <= BOX_FRETS { 1 } else { lowest };
    let n_rows = BOX_FRETS.max(highest.saturating_sub(first) + 1);
    let row = |sign: &dyn Fn(&Option<u8>) -> &'static str| {
        let signs: Vec<&str> = frets.iter().map(sign).collect();
        signs.join(" ")
    };
    let mut lines = vec![
        format!(
            "   {}",
            row(&|f| match f {
                None => "x",
                Some(0) => "o",
                Some(_) => " ",
            })
        ),
        format!(
            "   {}",
            if first == 1 { "═" } else { "─" }.repeat(2 * frets.len() - 1)
        ),
    ];
    for fret in first..first + n_rows {
        let side = if fret == first && first > 1 {
            format!("{fret:>2} ")
        } else {
            "   ".into()
        };
        lines.push(format!(
            "{side}{}",
            row(&|f| if *f == Some(fret) { "●" } else { "│" })
        ));
    }
    lines
}

/// Blocks of lines side by side, each under its title, as many as fit a line.
pub(crate) fn side_by_side(blocks: &[(String, Vec<String>)]) -> Vec<String> {
    let width = |(title, lines): &(String, Vec<String>)| {
        lines
            .iter()
            .map(|l| columns(l))
            .fold(columns(title), usize::max)
            + 3
    };
    let mut out: Vec<String> = Vec::new();
    let mut rest = blocks;
    while !rest.is_empty() {
        let mut used = 0;
        let n = rest
            .iter()
            .take_while(|b| {
                used += width(b);
                used <= WIDTH
            })
            .count()
            .max(1);
        let (row, later) = rest.split_at(n);
        let height = row.iter().map(|b| b.1.len()).max().unwrap_or(0);
        for i in 0..=height {
            let line: String = row
                .iter()
                .map(|block| {
                    let text = if i == 0 {
                        block.0.as_str()
                    } else {
                        block.1.get(i - 1).map_or("", String::as_str)
                    };
                    pad(text, width(block))
                })
                .collect();
            out.push(line.trim_end().into());
        }
        rest = later;
    }
    out
}
