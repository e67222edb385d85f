//! The laid-out chart as PDF: fonts embedded as subsets, text selectable, structure tagged.
//!
//! No date and no identifier: the same chart gives the same bytes.
//!
//! # Source
//! ISO 32000-1:2008, sections 9.7 (composite fonts), 9.10.3 (ToUnicode) and
//! 14.8 (tagged PDF).

mod embed;

use super::ChartError;
use super::draw::{Canvas, DOT_STEP, Point, draw, quarters};
use super::font::{Fonts, Run, STYLES, Style};
use super::layout::{Group, Ink, Item, Laid, Pen, Role};
use embed::embed;
use pdf_writer::types::{LineCapStyle, PageLayout, PageMode, StructRole, TabOrder};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use std::collections::BTreeMap;
use subsetter::GlyphRemapper;

/// How hard to pack, 0 to 10.
const PACKING: u8 = 8;
/// Points in a mm.
const POINTS: f64 = 72.0 / 25.4;

/// Glyphs used of a face: their numbers in the subset, and which character each stands for.
#[derive(Default)]
struct Used {
    remapper: GlyphRemapper,
    chars: BTreeMap<u16, (u16, char)>,
}

/// Gives object numbers.
struct Refs(i32);

impl Refs {
    fn next(&mut self) -> Ref {
        self.0 += 1;
        Ref::new(self.0)
    }
}

/// Objects that belong to no page.
struct Common {
    catalog: Ref,
    tree: Ref,
    info: Ref,
    structure: Ref,
    document: Ref,
}

/// The file with what its pages share.
struct Writer<'a> {
    pdf: Pdf,
    refs: Refs,
    fonts: &'a Fonts,
    common: Common,
    /// The faces that the pages need, and their objects.
    styles: Vec<Style>,
    font_refs: Vec<Ref>,
    used: [Used; 4],
    page_refs: Vec<Ref>,
    /// Each group that is read, with its element and page; the elements of each page.
    elements: Vec<(Ref, usize, &'a Group)>,
    parents: Vec<Vec<Ref>>,
}

/// The file.
pub(super) fn write(laid: &Laid) -> Result<Vec<u8>, ChartError> {
    let fonts = Fonts::new()?;
    let mut refs = Refs(0);
    let common = Common {
        catalog: refs.next(),
        tree: refs.next(),
        info: refs.next(),
        structure: refs.next(),
        document: refs.next(),
    };
    let font_refs = STYLES.iter().map(|_| refs.next()).collect();
    let mut pdf = Pdf::new();
    pdf.set_version(1, 7);
    let mut writer = Writer {
        pdf,
        refs,
        fonts: &fonts,
        common,
        styles: styles(laid, &fonts)?,
        font_refs,
        used: Default::default(),
        page_refs: Vec::new(),
        elements: Vec::new(),
        parents: Vec::new(),
    };
    for (p, groups) in laid.pages.iter().enumerate() {
        writer.page(p, groups, laid.size_mm)?;
    }
    writer.finish(laid)
}

impl<'a> Writer<'a> {
    /// A page with its content.
    fn page(
        &mut self,
        p: usize,
        groups: &'a [Group],
        (w, h): (f64, f64),
    ) -> Result<(), ChartError> {
        let (page, stream) = (self.refs.next(), self.refs.next());
        self.page_refs.push(page);
        let mut mine = Vec::new();
        let mut drawing = Drawing {
            content: Content::new(),
            height: h,
            used: &mut self.used,
        };
        for group in groups {
            let content = &mut drawing.content;
            if group.role == Role::Foot {
                content.begin_marked_content(Name(b"Artifact"));
            } else {
                let element = self.refs.next();
                self.elements.push((element, p, group));
                content
                    .begin_marked_content_with_properties(role(&group.role).to_name())
                    .properties()
                    .identify(mine.len() as i32);
                mine.push(element);
            }
            for item in &group.items {
                draw(item, self.fonts, &mut drawing)?;
            }
            drawing.content.end_marked_content();
        }
        let content = drawing.content.finish();
        self.parents.push(mine);
        let data = miniz_oxide::deflate::compress_to_vec_zlib(&content, PACKING);
        self.pdf.stream(stream, &data).filter(Filter::FlateDecode);
        let mut writer = self.pdf.page(page);
        writer
            .parent(self.common.tree)
            .media_box(Rect::new(0.0, 0.0, pt(w), pt(h)))
            .contents(stream)
            .struct_parents(p as i32)
            .tab_order(TabOrder::StructureOrder);
        let mut resources = writer.resources();
        let mut names = resources.fonts();
        for style in &self.styles {
            names.pair(Name(resource(*style)), self.font_refs[style.index()]);
        }
        names.finish();
        resources.finish();
        writer.finish();
        Ok(())
    }

    /// What all pages share, and the bytes.
    fn finish(mut self, laid: &Laid) -> Result<Vec<u8>, ChartError> {
        self.pdf
            .pages(self.common.tree)
            .count(self.page_refs.len() as i32)
            .kids(self.page_refs.iter().copied());
        self.catalog(laid);
        tag(
            &mut self.pdf,
            &mut self.refs,
            (self.common.structure, self.common.document),
            &self.page_refs,
            &self.elements,
            &self.parents,
        );
        for style in self.styles {
            embed(
                &mut self.pdf,
                &mut self.refs,
                self.font_refs[style.index()],
                style,
                self.fonts,
                &self.used[style.index()],
            )?;
        }
        self.pdf
            .document_info(self.common.info)
            .title(TextStr(&super::xml::one_line(&laid.title)))
            .creator(TextStr(concat!("takebook ", env!("CARGO_PKG_VERSION"))))
            .subject(TextStr(super::PERMISSION));
        Ok(self.pdf.finish())
    }

    /// The catalog, with bookmarks, metadata, and how a reader opens the pages.
    fn catalog(&mut self, laid: &Laid) {
        let (pdf, refs) = (&mut self.pdf, &mut self.refs);
        let outline = outline(pdf, refs, &laid.outline, &self.page_refs, laid.size_mm.1);
        let metadata = refs.next();
        pdf.stream(metadata, xmp(&super::xml::one_line(&laid.title)).as_bytes())
            .pair(Name(b"Type"), Name(b"Metadata"))
            .pair(Name(b"Subtype"), Name(b"XML"));
        let mut writer = pdf.catalog(self.common.catalog);
        writer
            .pages(self.common.tree)
            .lang(TextStr("en"))
            .metadata(metadata);
        if laid.facing {
            writer.page_layout(PageLayout::TwoPageLeft);
        }
        if let Some(outline) = outline {
            writer.outlines(outline).page_mode(PageMode::UseOutlines);
        }
        writer.mark_info().marked(true);
        writer.viewer_preferences().display_doc_title(true);
        writer.pair(Name(b"StructTreeRoot"), self.common.structure);
        writer.finish();
    }
}

/// Bookmarks to the songs of a binder.
fn outline(
    pdf: &mut Pdf,
    refs: &mut Refs,
    entries: &[(String, usize)],
    pages: &[Ref],
    height: f64,
) -> Option<Ref> {
    let root = entries.first().map(|_| refs.next())?;
    let ids: Vec<Ref> = entries.iter().map(|_| refs.next()).collect();
    pdf.outline(root)
        .first(ids[0])
        .last(ids[ids.len() - 1])
        .count(ids.len() as i32);
    for (i, (title, page)) in entries.iter().enumerate() {
        let mut item = pdf.outline_item(ids[i]);
        item.title(TextStr(title)).parent(root);
        if let Some(next) = ids.get(i + 1) {
            item.next(*next);
        }
        if let Some(before) = i.checked_sub(1) {
            item.prev(ids[before]);
        }
        if let Some(page) = pages.get(*page) {
            item.dest().page(*page).xyz(0.0, pt(height), None);
        }
    }
    Some(root)
}

/// The title as metadata that other programs read (XMP, ISO 16684-1); no date, no identifier.
fn xmp(title: &str) -> String {
    format!(
        "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n\
         <x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\
         <rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\">\
         <dc:format>application/pdf</dc:format>\
         <dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">{}</rdf:li></rdf:Alt></dc:title>\
         <dc:description><rdf:Alt><rdf:li xml:lang=\"x-default\">{}</rdf:li></rdf:Alt></dc:description>\
         <xmp:CreatorTool>takebook {}</xmp:CreatorTool>\
         </rdf:Description></rdf:RDF></x:xmpmeta>\n<?xpacket end=\"r\"?>",
        super::xml::escape(title),
        super::xml::escape(super::PERMISSION),
        env!("CARGO_PKG_VERSION")
    )
}

/// The faces that the pages need: that for other scripts only where it is used.
fn styles(laid: &Laid, fonts: &Fonts) -> Result<Vec<Style>, ChartError> {
    let mut other = false;
    for item in laid.pages.iter().flatten().flat_map(|g| &g.items) {
        if let Item::Text { style, text, .. } = item {
            let runs = fonts.runs(*style, text)?;
            other |= runs.iter().any(|r| r.style == Style::Other);
        }
    }
    let needed = |s: &Style| other || *s != Style::Other;
    Ok(STYLES.into_iter().filter(needed).collect())
}

fn pt(mm: f64) -> f32 {
    ((mm * POINTS * 1000.0).round() / 1000.0) as f32
}

fn resource(style: Style) -> &'static [u8] {
    match style {
        Style::Regular => b"F1",
        Style::Bold => b"F2",
        Style::Italic => b"F3",
        Style::Other => b"F4",
    }
}

fn role(role: &Role) -> StructRole {
    match role {
        Role::Title => StructRole::H1,
        Role::Heading => StructRole::H2,
        Role::Paragraph | Role::Row(_) | Role::Foot => StructRole::P,
        Role::Figure(_) => StructRole::Figure,
    }
}

/// A page that is drawn on.
struct Drawing<'a> {
    content: Content,
    /// Height of the page, mm: the format's own origin is the lower left corner.
    height: f64,
    used: &'a mut [Used; 4],
}

impl Drawing<'_> {
    fn y(&self, mm: f64) -> f32 {
        pt(self.height - mm)
    }
}

impl Canvas for Drawing<'_> {
    fn run(&mut self, run: &Run, (left, baseline): Point, size: f64, ink: Ink) {
        let mut codes = Vec::new();
        let used = &mut self.used[run.style.index()];
        for (c, glyph) in &run.glyphs {
            let new = used.remapper.remap(glyph.0);
            used.chars.entry(new).or_insert((glyph.0, *c));
            codes.extend(new.to_be_bytes());
        }
        let y = self.y(baseline);
        self.content
            .set_fill_gray(f32::from(ink.level()) / 255.0)
            .begin_text()
            .set_font(Name(resource(run.style)), pt(size))
            .set_text_matrix([1.0, 0.0, 0.0, 1.0, pt(left), y])
            .show(Str(&codes))
            .end_text();
    }

    fn line(&mut self, from: Point, to: Point, width: f64, pen: Pen) {
        let (from, to) = ((pt(from.0), self.y(from.1)), (pt(to.0), self.y(to.1)));
        let content = &mut self.content;
        content.save_state().set_line_width(pt(width));
        if pen != Pen::Flat {
            content.set_line_cap(LineCapStyle::RoundCap);
        }
        if pen == Pen::Dots {
            content.set_dash_pattern([0.0, pt(width * DOT_STEP)], 0.0);
        }
        content
            .move_to(from.0, from.1)
            .line_to(to.0, to.1)
            .stroke()
            .restore_state();
    }

    fn circle(&mut self, center: Point, radius: f64, stroke: Option<f64>) {
        let y = self.y(center.1);
        self.content.move_to(pt(center.0 + radius), y);
        for quarter in quarters(center, radius) {
            let [a, b, to] = quarter.map(|(x, y)| (pt(x), self.y(y)));
            self.content.cubic_to(a.0, a.1, b.0, b.1, to.0, to.1);
        }
        let content = self.content.close_path();
        match stroke {
            // white inside, so that a number on it can be read
            Some(width) => content
                .set_fill_gray(1.0)
                .set_line_width(pt(width))
                .fill_nonzero_and_stroke(),
            None => content.set_fill_gray(0.0).fill_nonzero(),
        };
    }
}

/// The structure tree: one element a group, under one document.
fn tag(
    pdf: &mut Pdf,
    refs: &mut Refs,
    (structure, document): (Ref, Ref),
    pages: &[Ref],
    elements: &[(Ref, usize, &Group)],
    parents: &[Vec<Ref>],
) {
    let lists: Vec<Ref> = parents.iter().map(|_| refs.next()).collect();
    let tree = refs.next();
    pdf.indirect(structure)
        .dict()
        .pair(Name(b"Type"), Name(b"StructTreeRoot"))
        .pair(Name(b"K"), document)
        .pair(Name(b"ParentTree"), tree)
        .pair(Name(b"ParentTreeNextKey"), parents.len() as i32);
    let mut dict = pdf.indirect(tree).dict();
    let mut numbers = dict.insert(Name(b"Nums")).array();
    for (p, list) in lists.iter().enumerate() {
        numbers.item(p as i32).item(*list);
    }
    numbers.finish();
    dict.finish();
    for (list, mine) in lists.iter().zip(parents) {
        pdf.indirect(*list).array().items(mine.iter().copied());
    }
    let mut writer = pdf.struct_element(document);
    writer.kind(StructRole::Document).parent(structure);
    let mut children = writer.children();
    for (element, ..) in elements {
        children.struct_element(*element);
    }
    children.finish();
    writer.finish();
    let mut next = vec![0; pages.len()];
    for (element, p, group) in elements {
        let mut writer = pdf.struct_element(*element);
        writer
            .kind(role(&group.role))
            .parent(document)
            .page(pages[*p]);
        if let Role::Figure(words) = &group.role {
            writer.alt(TextStr(words));
        }
        if let Role::Row(words) = &group.role {
            writer.actual_text(TextStr(words));
        }
        writer.children().marked_content_id(next[*p]);
        next[*p] += 1;
    }
}
