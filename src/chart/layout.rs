//! The sheet laid out on paper: every text, line and dot with its place in mm.
//!
//! The origin of a page is its top left corner, y downwards. SVG and PDF draw
//! the same pages. A row of bars, a row of chord boxes and a short paragraph
//! are never divided; a heading stays with what follows it.

mod items;
mod rows;
mod shapes;
mod signs;

pub use super::font::Style;
pub(super) use items::number;
pub use items::{Group, Ink, Item, Laid, Pen, Role};

use super::font::Fonts;
use super::sheet::Sheet;
use super::{ChartError, Options, PERMISSION};

/// Left, right and top margin, mm.
pub(super) const MARGIN: f64 = 15.0;
/// Bottom margin with room for the page number, mm.
const BOTTOM: f64 = 18.0;
/// A point, mm.
pub(super) const POINT: f64 = 25.4 / 72.0;
/// A last page filled less than this is worth a smaller print (ours).
const ORPHAN: f64 = 0.3;
/// The same for the second of two pages, since a song on one page needs no turn.
const ORPHAN_OF_TWO: f64 = 0.45;

/// The most of a page that diagrams take before the music (ours).
const MOST_LEGEND: f64 = 0.3;

/// Lays a sheet out.
///
/// # Errors
/// * [`ChartError::MissingGlyph`] for text that the font cannot draw.
pub fn lay_out(sheet: &Sheet, options: &Options) -> Result<Laid, ChartError> {
    let (laid, filled) = lay_out_at(sheet, options, 1.0, shapes::AT_EASE)?;
    let n = laid.pages.len();
    // a few lines alone on a last page are drawn onto the one before; symbols stay large
    // enough to be read from a stand
    let tries: &[f64] = match options.compact || options.short {
        true => &[0.95, 0.9, 0.85, 0.8, 0.75, 0.7],
        false => &[1.0, 0.96, 0.92],
    };
    let most = if n == 2 { ORPHAN_OF_TWO } else { ORPHAN };
    let spared = match options.large {
        // two pages lie open side by side: only a third one would have to be turned to
        true => n > 2 && n % 2 == 1,
        false => n > 1 && (filled <= most || options.short),
    };
    if !spared {
        return Ok(laid);
    }
    for shrink in tries {
        let (smaller, _) = lay_out_at(sheet, options, *shrink, shapes::NARROW)?;
        let fewer = match options.short {
            true => smaller.pages.len() == 1,
            false => smaller.pages.len() < n,
        };
        if fewer {
            return Ok(smaller);
        }
    }
    Ok(laid)
}

/// Many parts of a form run on in one paragraph: a line each would take a page.
fn compact(form: &[String]) -> Vec<String> {
    const LINES: usize = 5;
    match form.len() {
        0..=LINES => form.to_vec(),
        _ => vec![form.join(" – ")],
    }
}

/// The chart at a size, and how much of its last page is filled, 0 to 1.
fn lay_out_at(
    sheet: &Sheet,
    options: &Options,
    shrink: f64,
    boxes: shapes::Rows,
) -> Result<(Laid, f64), ChartError> {
    let mut page = Pager::new(options)?;
    page.scale *= shrink;
    head(&mut page, sheet)?;
    // diagrams stand where the eye looks first, unless they would push the music off the page
    let high = shapes::legend_height(&mut page, &sheet.legend, boxes)?;
    let first = high <= MOST_LEGEND * (page.bottom() - MARGIN);
    if first {
        shapes::legend(&mut page, &sheet.legend, options, boxes)?;
    }
    let mut pattern = None;
    for (i, block) in sheet.blocks.iter().enumerate() {
        let last = i + 1 == sheet.blocks.len();
        let new_pattern = block.pattern.as_ref().filter(|p| pattern != Some(*p));
        pattern = block.pattern.as_ref().or(pattern);
        rows::block(&mut page, block, sheet.n_strings, new_pattern, last)?;
    }
    if !first {
        page.gap(3.0);
        page.need(high.min(page.bottom() - MARGIN));
        shapes::legend(&mut page, &sheet.legend, options, boxes)?;
    }
    let signs = sheet.signs();
    if !signs.is_empty() {
        page.paragraph(&signs.join(" · "), Style::Italic, 8.5)?;
    }
    page.list("Form", &compact(&sheet.form))?;
    let remarks: Vec<String> = sheet
        .remarks
        .iter()
        .zip(1..)
        .map(|(r, n)| format!("[{n}]  {r}"))
        .collect();
    page.list("Notes to places", &remarks)?;
    page.list("Notes", &sheet.notes)?;
    page.gap(3.0);
    for caution in &sheet.cautions {
        page.paragraph(&format!("Caution: {caution}"), Style::Regular, 8.5)?;
    }
    page.paragraph(PERMISSION, Style::Regular, 7.5)?;
    let filled = (page.y - MARGIN) / (page.bottom() - MARGIN);
    Ok((page.finish(&sheet.title)?, filled))
}

/// Title, facts, what gray means, and the order of the sections.
fn head(page: &mut Pager, sheet: &Sheet) -> Result<(), ChartError> {
    page.title(&sheet.title)?;
    if let Some(credit) = &sheet.credit {
        page.line_of(credit, Style::Italic, 9.5)?;
    }
    page.line_of(&sheet.facts.join("  ·  "), Style::Regular, 9.5)?;
    if let Some(words) = sheet.doubt_words() {
        page.line_of(&words, Style::Regular, 8.5)?;
    }
    if !sheet.order.is_empty() {
        page.line_of(&sheet.order, Style::Bold, 9.5)?;
    }
    page.y += 2.4 * page.scale;
    let (left, right) = (MARGIN, MARGIN + page.width());
    let rule = line((left, page.y), (right, page.y), 0.6);
    page.add(Role::Foot, vec![rule]);
    page.y += 1.5 * page.scale;
    Ok(())
}

/// Fills pages from the top.
pub(super) struct Pager {
    pub(super) fonts: Fonts,
    /// Width and height of a page, mm.
    pub(super) size_mm: (f64, f64),
    /// 1; 1.25 for a large print, 0.8 for a compact one; less to spare a page.
    scale: f64,
    pub(super) pages: Vec<Vec<Group>>,
    /// Where the next thing goes, mm from the top.
    pub(super) y: f64,
    /// The heading before, if the next one may stand beside it.
    beside: Option<rows::Beside>,
    facing: bool,
}

impl Pager {
    pub(super) fn new(options: &Options) -> Result<Self, ChartError> {
        Ok(Self {
            fonts: Fonts::new()?,
            size_mm: options.size_mm(),
            scale: match (options.large, options.compact) {
                (true, _) => 1.25,
                (_, true) => 0.8,
                _ => 1.0,
            },
            pages: vec![Vec::new()],
            y: MARGIN,
            beside: None,
            facing: options.large,
        })
    }

    /// From the left margin to the right one, mm.
    fn width(&self) -> f64 {
        self.size_mm.0 - 2.0 * MARGIN
    }

    fn bottom(&self) -> f64 {
        self.size_mm.1 - BOTTOM
    }

    /// Points to mm at this print's scale.
    pub(super) fn points(&self, size: f64) -> f64 {
        size * POINT * self.scale
    }

    /// Starts a new page unless so much height is left.
    pub(super) fn need(&mut self, height: f64) {
        if self.y + height > self.bottom() && self.y > MARGIN {
            self.pages.push(Vec::new());
            self.y = MARGIN;
        }
    }

    /// Whether bars stand on this page already.
    fn has_music(&self) -> bool {
        let page = self.pages.last();
        page.is_some_and(|page| page.iter().any(|g| matches!(g.role, Role::Row(_))))
    }

    pub(super) fn gap(&mut self, mm: f64) {
        if self.y > MARGIN {
            self.y += mm * self.scale;
        }
    }

    pub(super) fn add(&mut self, role: Role, items: Vec<Item>) {
        if let Some(page) = self.pages.last_mut() {
            page.push(Group { role, items });
        }
    }

    pub(super) fn text_item(&self, x: f64, y: f64, size: f64, style: Style, text: &str) -> Item {
        Item::Text {
            x,
            y,
            size,
            style,
            text: super::xml::one_line(text),
            ink: Ink::Black,
        }
    }

    pub(super) fn title(&mut self, title: &str) -> Result<(), ChartError> {
        let size = self.points(20.0);
        let lines = self.wrap(title, Style::Bold, size, self.width())?;
        let mut items = Vec::new();
        for line in lines {
            self.y += size * 1.1;
            items.push(self.text_item(MARGIN, self.y, size, Style::Bold, &line));
        }
        self.y += size * 0.25;
        self.add(Role::Title, items);
        Ok(())
    }

    fn line_of(&mut self, text: &str, style: Style, points: f64) -> Result<(), ChartError> {
        let size = self.points(points);
        let mut items = Vec::new();
        for line in self.wrap(text, style, size, self.width())? {
            self.y += size * 1.35;
            items.push(self.text_item(MARGIN, self.y, size, style, &line));
        }
        self.add(Role::Paragraph, items);
        Ok(())
    }

    /// A heading; what follows must leave `keep` mm on the same page.
    fn heading(&mut self, text: &str, keep: f64) -> Result<(), ChartError> {
        let size = self.points(11.0);
        self.gap(3.0);
        self.need(size * 1.6 + keep);
        self.y += size * 1.2;
        self.fonts.runs(Style::Bold, text)?;
        let item = self.text_item(MARGIN, self.y, size, Style::Bold, text);
        self.y += size * 0.4;
        self.add(Role::Heading, vec![item]);
        Ok(())
    }

    /// A paragraph from margin to margin, kept whole where a page can hold it.
    pub(super) fn paragraph(
        &mut self,
        text: &str,
        style: Style,
        points: f64,
    ) -> Result<(), ChartError> {
        let size = self.points(points);
        let lines = self.wrap(&super::xml::one_line(text), style, size, self.width())?;
        let line_height = size * 1.35;
        let whole = line_height * lines.len() as f64;
        if whole < (self.bottom() - MARGIN) / 2.0 {
            self.need(whole);
        }
        let mut items = Vec::new();
        for line in lines {
            if self.y + line_height > self.bottom() {
                let done = std::mem::take(&mut items);
                self.add(Role::Paragraph, done);
                self.need(line_height);
            }
            self.y += line_height;
            items.push(self.text_item(MARGIN, self.y, size, style, &line));
        }
        self.y += size * 0.3;
        self.add(Role::Paragraph, items);
        Ok(())
    }

    fn list(&mut self, heading: &str, items: &[String]) -> Result<(), ChartError> {
        if items.is_empty() {
            return Ok(());
        }
        let size = self.points(9.5);
        self.heading(heading, size * 3.0)?;
        for item in items {
            self.paragraph(item, Style::Regular, 9.5)?;
        }
        Ok(())
    }

    /// Lines no wider than `width`; a word wider than that is divided.
    pub(super) fn wrap(
        &self,
        text: &str,
        style: Style,
        size: f64,
        width: f64,
    ) -> Result<Vec<String>, ChartError> {
        let text = super::xml::one_line(text);
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in text.split(' ').filter(|w| !w.is_empty()) {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if self.fonts.width(style, size, &longer)? <= width {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for c in word.chars() {
                line.push(c);
                if self.fonts.width(style, size, &line)? > width {
                    line.pop();
                    lines.push(std::mem::replace(&mut line, c.to_string()));
                }
            }
        }
        lines.push(line);
        Ok(lines)
    }

    /// Adds page numbers where there are several pages.
    fn finish(mut self, title: &str) -> Result<Laid, ChartError> {
        let n = self.pages.len();
        if n > 1 {
            let (w, h) = self.size_mm;
            let size = 8.0 * POINT;
            let mut short: String = title.chars().take(60).collect();
            if short.len() < title.len() {
                short.push('…');
            }
            for i in 0..n {
                let text = super::xml::one_line(&format!("{short}   {} / {n}", i + 1));
                let x = w - MARGIN - self.fonts.width(Style::Regular, size, &text)?;
                let item = self.text_item(x, h - 10.0, size, Style::Regular, &text);
                self.pages[i].push(Group {
                    role: Role::Foot,
                    items: vec![item],
                });
            }
        }
        Ok(Laid {
            title: title.into(),
            size_mm: self.size_mm,
            pages: self.pages,
            outline: Vec::new(),
            facing: self.facing,
        })
    }
}

fn line(from: (f64, f64), to: (f64, f64), width: f64) -> Item {
    Item::Line {
        from,
        to,
        width,
        pen: Pen::Flat,
    }
}
