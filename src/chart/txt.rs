//! The sheet as plain text, 80 columns, in the grammar that `foreign` reads back.
//!
//! Facts, headings and bars are read; lines that begin with `#`, tablature and
//! all that follows a line of dashes are for the eye (`docs/typed-charts.md`).

use super::diagram::{Diagram, diagram};
use super::sheet::{BARS_IN_ROW, Block, Entry, Jump, Mark, Measure, Sheet, Signs};
use super::xml::one_line;
use super::{Options, PERMISSION};
use crate::songlog::song::Song;

/// Columns of a line.
const WIDTH: usize = 80;
/// Begins a line that is not read back.
const ASIDE: &str = "#";

/// The whole sheet, with a final line end.
pub(super) fn write(song: &Song, sheet: &Sheet, options: &Options) -> String {
    let mut lines = title_lines(&sheet.title);
    lines.extend(fact_lines(song, sheet, options));
    if let Some(words) = sheet.open_words() {
        lines.extend(wrap(&words, ASIDE));
    }
    if !sheet.order.is_empty() {
        lines.extend(wrap(&format!("Form: {}", one_line(&sheet.order)), ASIDE));
    }
    let is_heading = |i: usize| is_heading_only(&sheet.blocks[..i], &sheet.blocks[i]);
    for (i, block) in sheet.blocks.iter().enumerate() {
        lines.push(String::new());
        lines.extend(heading_lines(block));
        if is_heading(i) {
            lines.push(format!("{ASIDE} as above"));
            continue;
        }
        // sections that are written out have their words themselves
        let block = block.with_words_of(|by| by.is_none_or(is_heading));
        for row in &block.rows {
            lines.extend(row_lines(row, sheet, block.signs.closes));
        }
    }
    for sign in sheet.signs() {
        lines.extend(wrap(&sign, ASIDE));
    }
    if !sheet.form.is_empty() {
        lines.extend([String::new(), format!("{ASIDE} Form")]);
        for part in &sheet.form {
            lines.extend(wrap(&one_line(part), ASIDE));
        }
    }
    lines.extend([String::new(), "-".repeat(WIDTH)]);
    if !sheet.legend.is_empty() {
        lines.extend(["Shapes".into(), String::new()]);
        lines.extend(legend_lines(&sheet.legend, options.left_handed));
    }
    if !sheet.remarks.is_empty() || !sheet.notes.is_empty() {
        lines.extend([String::new(), "Notes".into()]);
        for (remark, n) in sheet.remarks.iter().zip(1..) {
            lines.extend(wrap(&format!("[{n}] {}", one_line(remark)), "  "));
        }
        for note in &sheet.notes {
            lines.extend(wrap(&one_line(note), "  "));
        }
    }
    lines.push(String::new());
    for caution in &sheet.cautions {
        lines.extend(wrap(&format!("Caution: {caution}"), ""));
    }
    lines.extend(wrap(PERMISSION, ""));
    let mut text = String::new();
    for line in lines {
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

/// The title over a line of its length; a long one in several lines.
fn title_lines(title: &str) -> Vec<String> {
    let title = one_line(title);
    let length = title.chars().count();
    match length {
        _ if title.trim().is_empty() => Vec::new(),
        0..=WIDTH => vec![title, "=".repeat(length.max(3))],
        _ => wrap_all(&title, "Title: "),
    }
}

/// Each line with the same words before it.
fn wrap_all(text: &str, name: &str) -> Vec<String> {
    let blank = " ".repeat(name.len());
    wrap(text, &blank)
        .iter()
        .map(|line| format!("{name}{}", line.trim()))
        .collect()
}

/// Key, meter, tempo, tuning, capo, decided shapes: a line each.
fn fact_lines(song: &Song, sheet: &Sheet, options: &Options) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(credit) = &sheet.credit {
        lines.extend(wrap_all(&one_line(credit), "Credit: "));
    }
    let key = song.key.map_or("open".into(), |key| key.text());
    lines.push(format!("Key: {key}"));
    lines.extend(song.meter.map(|(n, value)| format!("Meter: {n}/{value}")));
    match song.tempo_bpm {
        Some(bpm) => lines.push(format!("Tempo: {} bpm", (bpm * 100.0).round() / 100.0)),
        None => lines.push(format!("{ASIDE} no steady beat: one bar a chord")),
    }
    lines.push(format!("Tuning: {}", song.instrument.tuning.text()));
    if song.instrument.capo > 0 {
        lines.push(format!("Capo: {}", song.instrument.capo));
    }
    if song.instrument.above_shapes() != 0 {
        let names = match options.concert || options.degrees {
            true => "concert pitch",
            false => "shapes played",
        };
        lines.push(format!("Names: {names}"));
    }
    // one line a chord that has one decided shape
    let decided = sheet
        .legend
        .iter()
        .filter(|e| !e.open && e.variant.is_none())
        .filter_map(|e| Some(format!("{} {}", e.symbol, e.boxes.first()?.shape)));
    let decided: Vec<String> = decided.collect();
    for some in decided.chunks(4) {
        lines.push(format!("Shapes: {}", some.join(", ")));
    }
    lines
}

/// Lines of at most 80 columns, broken at blanks where possible.
fn wrap(text: &str, indent: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = indent.to_owned();
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let mut word = word.to_owned();
        let gap = usize::from(line.len() > indent.len());
        if line.chars().count() + gap + word.chars().count() > WIDTH && line.len() > indent.len() {
            lines.push(std::mem::replace(&mut line, format!("{indent}  ")));
        }
        while word.chars().count() + indent.len() + 2 > WIDTH {
            let room = WIDTH - indent.len() - 2;
            let head: String = word.chars().take(room).collect();
            word = word.chars().skip(room).collect();
            lines.push(format!("{indent}  {head}"));
        }
        if !line.trim().is_empty() {
            line.push(' ');
        }
        line.push_str(&word);
    }
    lines.push(line);
    lines
}

/// Whether a section is as an earlier one of its name, so that its name says all.
fn is_heading_only(before: &[Block], block: &Block) -> bool {
    let first = before.iter().find(|b| b.heading() == block.heading());
    block.as_before.is_some() && first.is_some_and(|b| b.reads_as(block))
}

/// Name, signs, how it differs, and what the hand strums.
fn heading_lines(block: &Block) -> Vec<String> {
    // a bar line would make bars of a name
    let mut heading = one_line(&block.heading()).replace('|', "/");
    if block.times > 1 {
        heading.push_str(&format!(" x{}", block.times));
    }
    for sign in sign_words(block.signs) {
        heading.push_str(&format!(" ({sign})"));
    }
    // on one line however long it is: the rest would be read as another section's heading
    let mut lines = vec![heading.trim().to_owned()];
    if !block.differs.is_empty() {
        lines.extend(wrap(&one_line(&block.differs), ASIDE));
    }
    if !block.strokes.is_empty() {
        lines.extend(wrap(&block.strokes, ASIDE));
    }
    lines
}

/// Signs at a section's start and end, as they stand behind its name.
fn sign_words(signs: Signs) -> Vec<&'static str> {
    let all = [
        (signs.segno, "segno"),
        (signs.coda, "coda"),
        (signs.to_coda, "to coda"),
        (signs.fine, "fine"),
    ];
    let mut words: Vec<&str> = all.iter().filter(|s| s.0).map(|s| s.1).collect();
    words.extend(signs.jump.map(Jump::words));
    words
}

/// One row, on one line where its bars fit a quarter of it each, else on more lines. `times`
/// says how often a repeat over several sections is played, which may end here.
fn row_lines(row: &[Measure], sheet: &Sheet, times: u32) -> Vec<String> {
    let (meter, strings) = (sheet.meter, &sheet.strings);
    for per_line in [BARS_IN_ROW, 2, 1] {
        // number column of 4, bar lines of up to two signs
        let room = (WIDTH - 6) / per_line - 3;
        let fits = |m: &Measure| bar_text(m, meter).chars().count() <= room;
        if per_line > 1 && !row.iter().all(fits) {
            continue;
        }
        let key = row[0].new_key.map(|key| format!("Key: {}", key.text()));
        let lines = row.chunks(per_line).flat_map(|bars| {
            let mut line = format!("{:>3} ", number(&bars[0]));
            for (i, bar) in bars.iter().enumerate() {
                let left = match (bar.repeat_start, i) {
                    (true, _) => "|:",
                    (_, 0) => "| ",
                    _ => "",
                };
                line.push_str(left);
                line.push_str(&format!(" {:<room$}", bar_text(bar, meter)));
                line.push_str(if bar.repeat_end { ":|" } else { " |" });
            }
            if times > 2 && bars.iter().any(|b| b.repeat_end) {
                line.push_str(&format!(" x{times}"));
            }
            let mut lines = vec![line];
            lines.extend(word_lines(bars));
            lines.extend(note_lines(bars, room));
            lines.extend(tab_lines(bars, room, strings));
            lines
        });
        return key.into_iter().chain(lines).collect();
    }
    Vec::new()
}

/// Words under their bars, a line each time they are played: `Words: Oh the | lantern`.
fn word_lines(bars: &[Measure]) -> Vec<String> {
    let n = bars.iter().map(Measure::n_lyrics).max().unwrap_or(0);
    let words = |m: &Measure, pass: usize| match m.lyrics.get(pass) {
        Some(text) => one_line(text).replace('|', "/"),
        None => String::new(),
    };
    let line = |pass| {
        let all: Vec<String> = bars.iter().map(|m| words(m, pass)).collect();
        format!("Words: {}", all.join(" | ").trim_end())
    };
    (0..n).map(line).collect()
}

/// Degrees, moving top notes and a walking bass, a line each where there are any.
fn note_lines(bars: &[Measure], room: usize) -> Vec<String> {
    type Part = fn(&Mark) -> Option<&String>;
    let kinds: [(&str, Part); 3] = [
        ("deg", |m| m.degree.as_ref()),
        ("top", |m| m.top.as_ref()),
        ("bass", |m| m.bass.as_ref()),
    ];
    let mut lines = Vec::new();
    for (name, part) in kinds {
        let shown = |m: &Measure| !m.simile && m.marks.iter().any(|mark| part(mark).is_some());
        if !bars.iter().any(shown) {
            continue;
        }
        let mut line = format!("#{name:<5}");
        for bar in bars {
            let words: Vec<&str> = match shown(bar) {
                true => bar
                    .marks
                    .iter()
                    .filter_map(|m| part(m))
                    .map(String::as_str)
                    .collect(),
                false => Vec::new(),
            };
            line.push_str(&format!(" {:<room$}  ", words.join(" ")));
        }
        lines.push(line.chars().take(WIDTH).collect());
    }
    lines
}

/// Plucked notes, a line a string with the highest on top.
fn tab_lines(bars: &[Measure], room: usize, strings: &[String]) -> Vec<String> {
    if !bars.iter().any(Measure::shows_tab) {
        return Vec::new();
    }
    (0..strings.len())
        .rev()
        .map(|string| {
            let name = strings[string].trim_end_matches(':');
            let mut line = format!("{name:>3} |");
            for bar in bars {
                // a bar without notes of its own has no lines either
                let shown = bar.shows_tab();
                let mut cell = vec![if shown { '-' } else { ' ' }; room + 2];
                let notes = bar.tab.iter().filter(|t| t.string == string && !bar.simile);
                for note in notes {
                    let part = note.at / f64::from(bar.n_beats.max(1));
                    let from = 1 + (part * (room - 2) as f64) as usize;
                    for (at, digit) in (from..).zip(note.fret.to_string().chars()) {
                        if let Some(place) = cell.get_mut(at) {
                            *place = digit;
                        }
                    }
                }
                line.extend(cell);
                line.push('|');
            }
            line
        })
        .chain([String::new()])
        .collect()
}

fn number(measure: &Measure) -> String {
    if measure.number == 0 {
        "-".into()
    } else {
        measure.number.to_string()
    }
}

/// `G / / D/F♯`: chords on their beats, a slash for every other beat; a bar of
/// another length begins with its meter.
fn bar_text(measure: &Measure, meter: (u8, u8)) -> String {
    let mut parts: Vec<String> = Vec::new();
    parts.extend(measure.ending.map(|ending| format!("{ending}.")));
    if measure.simile {
        parts.push("%".into());
        return parts.join(" ");
    }
    let dotted = meter.1 == 8 && meter.0 > 3 && meter.0.is_multiple_of(3);
    let usual = if dotted { meter.0 / 3 } else { meter.0 };
    if measure.number > 0 && ![usual, meter.0].contains(&measure.n_beats) {
        let n = u16::from(measure.n_beats) * if dotted { 3 } else { 1 };
        parts.push(format!("{n}/{}", meter.1));
    }
    for beat in 0..measure.n_beats {
        let on = |half: u8| measure.marks.iter().filter(move |m| m.half_beat == half);
        let mut any = false;
        for mark in on(2 * beat) {
            any = true;
            parts.push(mark.text());
        }
        if !any {
            parts.push("/".into());
        }
        parts.extend(on(2 * beat + 1).map(|m| format!("&{}", m.text())));
    }
    parts.join(" ")
}

/// Boxes side by side.
fn legend_lines(legend: &[Entry], left_handed: bool) -> Vec<String> {
    let mut cells: Vec<Vec<String>> = Vec::new();
    for entry in legend {
        for (i, shape_box) in entry.boxes.iter().enumerate() {
            let mut title = if i == 0 {
                entry.title()
            } else {
                format!("or {}", entry.symbol)
            };
            if entry.open {
                title.push_str(" ?");
            }
            let mut cell = vec![title];
            if let Some(held_as) = &entry.held_as {
                cell.push(held_as.clone());
            }
            cell.extend(box_lines(&diagram(shape_box, left_handed)));
            cell.push(shape_box.shape.text());
            cells.push(cell);
        }
    }
    let mut lines = Vec::new();
    let mut rest = &cells[..];
    while !rest.is_empty() {
        let mut n = 0;
        let mut width = 0;
        let mut widths = Vec::new();
        for cell in rest {
            let w = cell.iter().map(|l| l.chars().count()).max().unwrap_or(0) + 3;
            if n > 0 && width + w > WIDTH {
                break;
            }
            width += w;
            widths.push(w);
            n += 1;
        }
        let height = rest[..n].iter().map(Vec::len).max().unwrap_or(0);
        for y in 0..height {
            let mut line = String::new();
            for (cell, w) in rest[..n].iter().zip(&widths) {
                let text = cell.get(y).map_or("", String::as_str);
                line.push_str(&format!("{text:<w$}"));
            }
            lines.push(line);
        }
        lines.push(String::new());
        rest = &rest[n..];
    }
    lines.pop();
    lines
}

/// A chord box in signs: `x o` above, a fret a line, fingers (or `*`) on the strings.
fn box_lines(d: &Diagram) -> Vec<String> {
    let mut top = vec![' '; d.n_strings];
    for (column, rings) in &d.tops {
        top[*column] = if *rings { 'o' } else { 'x' };
    }
    let spaced = |signs: &[char]| {
        signs
            .iter()
            .map(char::to_string)
            .collect::<Vec<_>>()
            .join(" ")
    };
    let mut lines = vec![format!("   {}", spaced(&top))];
    let nut = if d.first_fret == 1 { "=" } else { "-" };
    lines.push(format!("   {}", nut.repeat(2 * d.n_strings - 1)));
    for row in 1..=d.n_rows {
        let mut signs = vec!['|'; d.n_strings];
        for (column, at, finger) in &d.dots {
            if *at == row {
                signs[*column] = finger
                    .as_ref()
                    .and_then(|f| f.chars().next())
                    .unwrap_or('*');
            }
        }
        let label = if row == 1 && d.first_fret > 1 {
            format!("{:>2} ", d.first_fret)
        } else {
            "   ".into()
        };
        lines.push(label + &spaced(&signs));
    }
    lines
}
