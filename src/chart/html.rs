//! One self-contained page: no script, no font, no request. It prints on A4 and Letter.

mod boxes;

use super::sheet::{Block, Mark, Measure, Sheet, bars_on_line, split_symbol};
use super::xml::escape;
use super::{Options, PERMISSION, Page};
pub(super) use boxes::write_entry;
use boxes::write_tab;
use std::fmt::Write;

/// The look. Ours: black ink on white, bars on a ruled grid, large bold symbols, gray for what nobody confirmed.
const STYLE: &str = "
html{background:#fff;color:#111}
body{font-family:'DejaVu Sans Condensed','DejaVu Sans',Verdana,'Noto Sans',sans-serif;max-width:186mm;margin:0 auto;padding:4mm 2mm;line-height:1.3}
h1{font-size:1.9em;font-weight:normal;text-align:center;margin:0 0 .15em;overflow-wrap:anywhere}
.facts{text-align:center;margin:0 0 .4em;font-style:italic}
.doubt{text-align:center;margin:0 0 .6em;font-size:.85em}
h2{font-size:1em;margin:1.1em 0 .3em;break-after:avoid}
h2.quiet{position:absolute;clip-path:inset(50%);width:1px;height:1px;overflow:hidden}
h2 .letter{display:inline-block;border:1.5px solid #111;padding:0 .45em;margin-right:.5em}
h2 .times{margin-left:.8em}
h2 .differs{font-weight:normal;font-style:italic;margin-left:.8em}
.row{display:grid;grid-template-columns:1.9em repeat(4,minmax(0,1fr));break-inside:avoid;margin:0 0 .45em;padding-right:2px}
.row.c2{grid-template-columns:1.9em repeat(2,minmax(0,1fr))}
.row.c1{grid-template-columns:1.9em minmax(0,1fr)}
.row .no{grid-column:1;font-size:.68em;color:#444;align-self:start;padding-top:.35em;text-align:right;padding-right:.6em}
.bar{position:relative;border-left:1.5px solid #111;padding:1.05em .5em .15em;display:flex;flex-direction:column;min-width:0;min-height:2.6em}
.cells{display:flex;flex-wrap:wrap;align-content:flex-start}
.bar.last{border-right:1.5px solid #111}
.bar.from{border-left:4px solid #111;padding-left:1em}
.bar.to{border-right:4px solid #111;padding-right:1em}
.bar.from::before,.bar.to::after{position:absolute;top:0;bottom:0;width:.5em;display:flex;align-items:center;font-weight:bold;font-size:1.25em}
.bar.from::before{content:':';left:2px;padding-left:2px;border-left:1.2px solid #111}
.bar.to::after{content:':';right:2px;padding-right:2px;border-right:1.2px solid #111;justify-content:flex-end}
.bar.end{border-right:4px solid #111}
.bar.end::after{content:'';position:absolute;top:0;bottom:0;right:2px;border-right:1.2px solid #111}
.bar.simile{justify-content:center;align-items:center}
.ending{position:absolute;top:.05em;left:-1px;right:.3em;border-top:1.2px solid #111;border-left:1.2px solid #111;font-size:.72em;padding-left:.35em;height:.9em;line-height:1.15}
.cell{min-width:min-content;padding-right:.25em}
.chord{white-space:nowrap;font-size:1.67em;font-weight:bold;line-height:1.25}
.again{display:inline-block;margin-right:2.2em}
.tail{font-size:.72em;position:relative;top:-.3em}
.chord sup{font-size:.55em;vertical-align:.75em;line-height:0}
.open{color:#666}
.under{font-size:.8em;line-height:1.1;white-space:nowrap}
.words{font-size:.95em;line-height:1.2;overflow-wrap:anywhere}
.moves{font-style:italic}
.sim{font-style:italic;font-size:.8em;margin-top:auto}
.sign{height:1em;width:.9em;vertical-align:-.12em;margin-right:.3em;overflow:visible}
.jump{text-align:right;font-weight:bold;margin:.1em 2px .3em}
.jump .sign{margin:0 0 0 .3em}
.key{font-weight:bold;font-size:.9em;margin:.5em 0 0;break-after:avoid}
.order{text-align:center;margin:0 0 .4em;font-weight:bold;font-size:.9em}
.bar svg.tab{width:100%;height:3.4em;display:block;margin-top:auto;padding-top:.25em}
.slashes{display:flex;justify-content:space-around;color:#555;font-size:.95em}
.shapes{display:flex;flex-wrap:wrap;gap:.5em 1.5em;margin:0}
.shapes figure{margin:0;text-align:center;break-inside:avoid}
.shapes .boxes{display:flex;gap:.5em;align-items:center}
.shapes svg{height:6.6em;width:auto;display:block}
.shapes .frets{font-size:.75em;letter-spacing:.04em}
.shapes .or{font-style:italic;font-size:.85em}
.as{font-style:italic;font-size:.8em}
figcaption{font-size:1.15em;font-weight:bold}
figcaption .as{font-weight:normal}
.notes{font-size:.92em;margin:.2em 0;padding-left:1.6em}
.plain{font-size:.92em;margin:.2em 0}
footer{margin-top:1.6em;border-top:1px solid #111;font-size:.75em;padding-top:.4em;break-inside:avoid}
footer p{margin:.2em 0}
@media print{body{padding:0;max-width:none}}
";

/// Two bars on a line instead of four, one instead of two, where a page is narrow.
const NARROW: &str = "\
.row{grid-template-columns:1.6em repeat(2,minmax(0,1fr));row-gap:.45em}
.row.c2,.row.c1{grid-template-columns:1.6em minmax(0,1fr)}
.bar:nth-of-type(odd),.row.c2 .bar,.row.c1 .bar{grid-column:2}
.row:not(.c2):not(.c1) .bar:nth-of-type(even){border-right:1.5px solid #111;grid-column:3}
.row:not(.c2):not(.c1) .bar.to:nth-of-type(even),.row:not(.c2):not(.c1) .bar.end:nth-of-type(even){border-right:4px solid #111}
.row.c2 .bar:not(.to):not(.end){border-right:1.5px solid #111}
h2 .differs{display:block;margin-left:0}
.again h2 .differs{display:inline;margin-left:.8em}
.shapes{gap:.5em .8em}
.shapes svg{height:max(5.2em,80px)}
";

/// The signs that playing goes back to, and on from.
const SEGNO: &str = "<svg class=\"sign\" role=\"img\" aria-label=\"segno\" viewBox=\"-45 -50 90 100\">\
<path d=\"M20-27A21 21 0 1 0 0 0A21 21 0 1 1-20 27M-40 50 40-50\" fill=\"none\" stroke=\"#111\" stroke-width=\"10\" stroke-linecap=\"round\"/>\
<circle cx=\"-40\" cy=\"10\" r=\"7\"/><circle cx=\"40\" cy=\"-10\" r=\"7\"/></svg>";
const CODA: &str = "<svg class=\"sign\" role=\"img\" aria-label=\"coda\" viewBox=\"-45 -50 90 100\">\
<path d=\"M-45 0H45M0-50V50\" stroke=\"#111\" stroke-width=\"9\"/>\
<ellipse rx=\"27\" ry=\"33\" fill=\"none\" stroke=\"#111\" stroke-width=\"11\"/></svg>";

/// The page.
pub(super) fn write(sheet: &Sheet, options: &Options) -> String {
    let mut out = String::new();
    head(&mut out, sheet, options);
    out.push_str("<main>\n");
    if !sheet.legend.is_empty() {
        out.push_str("<section>\n<h2 class=\"quiet\">Shapes</h2>\n<div class=\"shapes\">\n");
        for entry in &sheet.legend {
            write_entry(&mut out, entry, options);
        }
        out.push_str("</div>\n</section>\n");
    }
    for (i, block) in sheet.blocks.iter().enumerate() {
        let last = i + 1 == sheet.blocks.len();
        write_block(
            &mut out,
            block,
            symbol_scale(options),
            sheet.n_strings,
            last,
        );
    }
    let signs: Vec<String> = sheet.signs().iter().map(|s| escape(s)).collect();
    if !signs.is_empty() {
        // writing to a string cannot fail
        let _ = writeln!(out, "<p class=\"plain\">{}</p>", signs.join(" &middot; "));
    }
    list(&mut out, "Form", "ul", &sheet.form);
    list(&mut out, "Notes to places", "ol", &sheet.remarks);
    list(&mut out, "Notes", "ul", &sheet.notes);
    out.push_str("</main>\n<footer>\n");
    for caution in &sheet.cautions {
        let _ = writeln!(out, "<p><strong>Caution:</strong> {}</p>", escape(caution));
    }
    let _ = write!(
        out,
        "<p>{}</p>\n</footer>\n</body>\n</html>\n",
        escape(PERMISSION)
    );
    out
}

/// How large symbols are, of which it depends how many bars stand on a line.
fn symbol_scale(options: &Options) -> f64 {
    match (options.large, options.compact) {
        (true, _) => 1.75,
        (_, true) => 1.1,
        _ => 1.4,
    }
}

/// The style of a page of this size.
fn style(out: &mut String, options: &Options) {
    let paper = match options.page {
        Page::A4 => "A4",
        Page::Letter => "letter",
        Page::A5 => "A5",
    };
    let turned = if options.landscape { " landscape" } else { "" };
    let size = match (options.large, options.compact) {
        (true, _) => "15pt",
        (_, true) => "9.6pt",
        _ => "12pt",
    };
    let _ = write!(
        out,
        "@page{{size:{paper}{turned};margin:14mm 13mm}}\nhtml{{font-size:{size}}}{STYLE}@media screen and (max-width:40rem){{\n{NARROW}}}\n"
    );
    if options.page == Page::A5 && !options.landscape {
        let _ = write!(out, "@media print{{\n{NARROW}}}\n");
    }
    for n in 1..=32 {
        let _ = write!(out, ".g{n}{{flex:{n} 1 0}}");
    }
}

/// Up to the chart: title, facts, what gray means, the order of the sections.
fn head(out: &mut String, sheet: &Sheet, options: &Options) {
    let title = escape(&sheet.title);
    let named = match title.trim() {
        "" => "Chart",
        _ => &title,
    };
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{named}</title>\n<style>\n"
    );
    style(out, options);
    let facts: Vec<String> = sheet.facts.iter().map(|f| escape(f)).collect();
    let _ = write!(
        out,
        "\n</style>\n</head>\n<body>\n<header>\n<h1 dir=\"auto\">{title}</h1>\n<p class=\"facts\">{}</p>\n",
        facts.join(" &middot; ")
    );
    if let Some(credit) = &sheet.credit {
        let _ = writeln!(
            out,
            "<p class=\"facts\" dir=\"auto\">{}</p>",
            escape(credit)
        );
    }
    if let Some(words) = sheet.doubt_words() {
        let words = escape(words.trim_start_matches("Gray"));
        let _ = writeln!(
            out,
            "<p class=\"doubt\"><span class=\"open\">Gray</span>{words}</p>"
        );
    }
    if !sheet.order.is_empty() {
        let _ = writeln!(
            out,
            "<p class=\"order\" dir=\"auto\">{}</p>",
            escape(&sheet.order)
        );
    }
    out.push_str("</header>\n");
}

fn list(out: &mut String, heading: &str, tag: &str, items: &[String]) {
    if items.is_empty() {
        return;
    }
    let _ = write!(
        out,
        "<section>\n<h2>{heading}</h2>\n<{tag} class=\"notes\">\n"
    );
    for item in items {
        let _ = writeln!(out, "<li dir=\"auto\">{}</li>", escape(item));
    }
    let _ = write!(out, "</{tag}>\n</section>\n");
}

fn write_block(out: &mut String, block: &Block, scale: f64, n_strings: usize, last_block: bool) {
    let block = &block.as_printed();
    // what refers to another section is a line, and shares it
    out.push_str(match block.as_before {
        Some(_) => "<section class=\"again\">\n",
        None => "<section>\n",
    });
    let mut heading = String::new();
    heading.push_str(match (block.signs.segno, block.signs.coda) {
        (true, _) => SEGNO,
        (_, true) => CODA,
        _ => "",
    });
    if !block.letter.is_empty() && block.name.is_none() {
        let _ = write!(
            heading,
            "<span class=\"letter\">{}</span>",
            escape(&block.letter)
        );
    }
    if let Some(name) = &block.name {
        heading.push_str(&escape(name));
    }
    if block.times > 1 {
        let _ = write!(
            heading,
            "<span class=\"times\">&times;{}</span>",
            block.times
        );
    }
    let before = block.as_before.clone().unwrap_or_default();
    for words in [&block.differs, &block.strokes, &before] {
        if !words.is_empty() {
            let _ = write!(heading, "<span class=\"differs\">{}</span>", escape(words));
        }
    }
    if !heading.is_empty() {
        let _ = writeln!(out, "<h2>{heading}</h2>");
    }
    rows(out, block, scale, n_strings, last_block);
    if let Some(words) = block.signs.at_end() {
        let sign = if block.signs.to_coda { CODA } else { "" };
        let _ = writeln!(out, "<p class=\"jump\">{words}{sign}</p>");
    }
    out.push_str("</section>\n");
}

/// The lines of bars of a section.
fn rows(out: &mut String, block: &Block, scale: f64, n_strings: usize, last_block: bool) {
    for (r, row) in block.printed().iter().enumerate() {
        if let Some(key) = row.first().and_then(Measure::key_text) {
            let _ = writeln!(out, "<p class=\"key\">{}</p>", escape(&key));
        }
        let columns = bars_on_line(row, scale);
        for (c, line) in row.chunks(columns).enumerate() {
            let last_line =
                last_block && r + 1 == block.rows.len() && (c + 1) * columns >= row.len();
            // the bar before the line's first, for its ending
            let before = (c > 0).then(|| &row[c * columns - 1]);
            write_line(out, line, before, columns, n_strings, last_line);
        }
    }
}

/// A line of bars with the number of its first.
fn write_line(
    out: &mut String,
    line: &[Measure],
    before: Option<&Measure>,
    columns: usize,
    n_strings: usize,
    last_line: bool,
) {
    let number = match line.first() {
        Some(m) if m.number > 0 => m.number.to_string(),
        _ => "&nbsp;".into(),
    };
    let class = match columns {
        1 => " c1",
        2 => " c2",
        _ => "",
    };
    let _ = write!(
        out,
        "<div class=\"row{class}\"><span class=\"no\">{number}</span>"
    );
    // a line of notes is kept free in every bar of the line, so that symbols stay level
    let shown = || line.iter().filter(|m| !m.simile).flat_map(|m| &m.marks);
    let notes = (
        shown().any(|m| m.top.is_some()),
        shown().any(|m| m.degree.is_some()),
    );
    let mut before = before;
    let mut tab_before = false;
    for (i, measure) in line.iter().enumerate() {
        let first_of_ending =
            measure.ending.is_some() && before.is_none_or(|b| b.ending != measure.ending);
        let end = match (i + 1 == line.len(), last_line) {
            (false, _) => "",
            (true, false) => " last",
            (true, true) => " end",
        };
        write_measure(out, measure, end, first_of_ending, notes);
        let shown = measure.shows_tab();
        if shown {
            write_tab(out, measure, n_strings);
        } else if tab_before {
            // the hand goes on alike
            out.push_str("<div class=\"sim\">sim.</div>");
        }
        out.push_str("</div>");
        (before, tab_before) = (Some(measure), shown);
    }
    out.push_str("</div>\n");
}

/// A bar, open for its tablature.
fn write_measure(
    out: &mut String,
    measure: &Measure,
    end: &str,
    first_of_ending: bool,
    notes: (bool, bool),
) {
    let mut class = String::from("bar");
    for (is, name) in [
        (measure.repeat_start, " from"),
        (measure.repeat_end, " to"),
        (!measure.repeat_end, end),
        (measure.simile, " simile"),
    ] {
        if is {
            class.push_str(name);
        }
    }
    let _ = write!(out, "<div class=\"{class}\">");
    if let Some(ending) = measure.ending {
        let label = if first_of_ending {
            format!("{ending}.")
        } else {
            "&nbsp;".into()
        };
        let _ = write!(out, "<span class=\"ending\">{label}</span>");
    }
    if measure.simile {
        out.push_str(
            "<svg role=\"img\" aria-label=\"as the bar before\" viewBox=\"0 0 24 20\" width=\"26\" height=\"22\">\
             <path d=\"M4 18 17 2h3L7 18z\"/><circle cx=\"6\" cy=\"6\" r=\"2.2\"/><circle cx=\"18\" cy=\"14\" r=\"2.2\"/></svg>",
        );
    } else {
        out.push_str("<div class=\"cells\">");
        for (i, mark) in measure.marks.iter().enumerate() {
            let from = if i == 0 { 0 } else { mark.half_beat };
            let to = measure
                .marks
                .get(i + 1)
                .map_or(2 * measure.n_beats, |m| m.half_beat);
            write_cell(out, mark, (from, to.max(from + 1)), notes);
        }
        out.push_str("</div>");
    }
    for words in measure.lyrics.iter().take(measure.n_lyrics()) {
        let _ = write!(
            out,
            "<div class=\"words\" dir=\"auto\">{}&nbsp;</div>",
            escape(words)
        );
    }
}

/// A chord over the slashes of the beats it lasts.
fn write_cell(out: &mut String, mark: &Mark, (from, to): (u8, u8), (tops, degrees): (bool, bool)) {
    let _ = write!(out, "<div class=\"cell g{}\">", (to - from).min(32));
    let note = |text: &Option<String>| match text {
        Some(text) => escape(text),
        None => "&nbsp;".into(),
    };
    if tops {
        let _ = write!(out, "<div class=\"under moves\">{}</div>", note(&mark.top));
    }
    out.push_str("<div class=\"chord\">");
    write_symbol(out, &mark.symbol, mark.open);
    if let Some(variant) = mark.variant {
        let _ = write!(out, "<sup>({variant})</sup>");
    }
    for remark in &mark.remarks {
        let _ = write!(out, "<sup>[{remark}]</sup>");
    }
    out.push_str("</div>");
    if degrees {
        let _ = write!(out, "<div class=\"under\">{}</div>", note(&mark.degree));
    }
    out.push_str("<div class=\"slashes\">");
    for half in from..to {
        if half % 2 == 0 {
            out.push_str("<span>/</span>");
        } else if half == from {
            out.push_str("<span>&amp;</span>");
        }
    }
    out.push_str("</div>");
    if let Some(bass) = &mark.bass {
        let _ = write!(out, "<div class=\"under moves\">{}</div>", escape(bass));
    }
    out.push_str("</div>");
}

/// The symbol with its tail raised; open ones dotted and with a question mark.
pub(super) fn write_symbol(out: &mut String, symbol: &str, open: bool) {
    if open {
        out.push_str("<span class=\"open\">");
    }
    let (root, tail, bass) = split_symbol(symbol);
    out.push_str(&escape(root));
    if !tail.is_empty() {
        let _ = write!(out, "<span class=\"tail\">{}</span>", escape(tail));
    }
    out.push_str(&escape(bass));
    if open {
        out.push_str("</span>");
    }
}
