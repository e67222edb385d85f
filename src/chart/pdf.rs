//! The laid-out chart as PDF: fonts embedded as subsets, text selectable, structure tagged.
//!
//! No date and no identifier: the same chart gives the same bytes.
//!
//! # Source
//! ISO 32000-1:2008, sections 9.7 (composite fonts), 9.10.3 (ToUnicode) and
//! 14.8 (tagged PDF).

mod embed;

use super::ChartError;
use super::font::{Fonts, STYLES, Style};
use super::layout::{Group, Ink, Item, Laid, Role};
use embed::embed;
use pdf_writer::types::{LineCapStyle, PageMode, StructRole, TabOrder};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use std::collections::BTreeMap;
use subsetter::GlyphRemapper;

/// Points in a mm.
const POINTS: f64 = 72.0 / 25.4;
/// Control points of a quarter circle, as a part of the radius. From memory: 4/3·(√2 − 1).
const KAPPA: f64 = 0.552_284_75;

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

/// The file.
pub(super) fn write(laid: &Laid) -> Result<Vec<u8>, ChartError> {
    let fonts = Fonts::new()?;
    let mut refs = Refs(0);
    let mut pdf = Pdf::new();
    pdf.set_version(1, 7);
    let (catalog, tree, info, structure, document) = (
        refs.next(),
        refs.next(),
        refs.next(),
        refs.next(),
        refs.next(),
    );
    let font_refs: Vec<Ref> = STYLES.iter().map(|_| refs.next()).collect();
    let styles = styles(laid, &fonts)?;
    let mut used: [Used; 4] = Default::default();
    let (w, h) = laid.size_mm;
    let mut page_refs = Vec::new();
    let mut elements: Vec<(Ref, usize, &Group)> = Vec::new();
    let mut parents: Vec<Vec<Ref>> = Vec::new();
    for (p, groups) in laid.pages.iter().enumerate() {
        let (page, stream) = (refs.next(), refs.next());
        page_refs.push(page);
        let mut mine = Vec::new();
        let mut content = Content::new();
        let mut marked = 0;
        for group in groups {
            if group.role == Role::Foot {
                content.begin_marked_content(Name(b"Artifact"));
            } else {
                let element = refs.next();
                mine.push(element);
                elements.push((element, p, group));
                let tag = role(&group.role).to_name();
                content
                    .begin_marked_content_with_properties(tag)
                    .properties()
                    .identify(marked);
                marked += 1;
            }
            for item in &group.items {
                draw(&mut content, item, h, &fonts, &mut used)?;
            }
            content.end_marked_content();
        }
        parents.push(mine);
        let data = miniz_oxide::deflate::compress_to_vec_zlib(&content.finish(), 8);
        pdf.stream(stream, &data).filter(Filter::FlateDecode);
        let mut writer = pdf.page(page);
        writer
            .parent(tree)
            .media_box(Rect::new(0.0, 0.0, pt(w), pt(h)))
            .contents(stream)
            .struct_parents(p as i32)
            .tab_order(TabOrder::StructureOrder);
        let mut resources = writer.resources();
        let mut names = resources.fonts();
        for style in &styles {
            names.pair(Name(resource(*style)), font_refs[style.index()]);
        }
        names.finish();
        resources.finish();
        writer.finish();
    }
    pdf.pages(tree)
        .count(page_refs.len() as i32)
        .kids(page_refs.iter().copied());
    let outline = outline(&mut pdf, &mut refs, &laid.outline, &page_refs, h);
    let metadata = refs.next();
    let title = super::xml::one_line(&laid.title);
    pdf.stream(metadata, xmp(&title).as_bytes())
        .pair(Name(b"Type"), Name(b"Metadata"))
        .pair(Name(b"Subtype"), Name(b"XML"));
    let mut writer = pdf.catalog(catalog);
    writer.pages(tree).lang(TextStr("en")).metadata(metadata);
    if let Some(outline) = outline {
        writer.outlines(outline).page_mode(PageMode::UseOutlines);
    }
    writer.mark_info().marked(true);
    writer.viewer_preferences().display_doc_title(true);
    writer.pair(Name(b"StructTreeRoot"), structure);
    writer.finish();
    tag(
        &mut pdf,
        &mut refs,
        (structure, document),
        &page_refs,
        &elements,
        &parents,
    );
    for style in styles {
        embed(
            &mut pdf,
            &mut refs,
            font_refs[style.index()],
            style,
            &fonts,
            &used[style.index()],
        )?;
    }
    pdf.document_info(info)
        .title(TextStr(&title))
        .creator(TextStr(concat!("takebook ", env!("CARGO_PKG_VERSION"))))
        .subject(TextStr(super::PERMISSION));
    Ok(pdf.finish())
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

/// Draws one item on a page `height` mm high.
fn draw(
    content: &mut Content,
    item: &Item,
    height: f64,
    fonts: &Fonts,
    used: &mut [Used; 4],
) -> Result<(), ChartError> {
    let x = pt;
    let y = |mm: f64| pt(height - mm);
    match item {
        Item::Text {
            x: left,
            y: baseline,
            size,
            style,
            text,
            ink,
        } => {
            content.set_fill_gray(match ink {
                Ink::Black => 0.0,
                Ink::Gray => 0.4,
                Ink::White => 1.0,
            });
            let mut at = *left;
            for run in fonts.runs(*style, text)? {
                let mut codes = Vec::new();
                let used = &mut used[run.style.index()];
                for (c, glyph) in &run.glyphs {
                    let new = used.remapper.remap(glyph.0);
                    used.chars.entry(new).or_insert((glyph.0, *c));
                    codes.extend(new.to_be_bytes());
                }
                content
                    .begin_text()
                    .set_font(Name(resource(run.style)), pt(*size))
                    .set_text_matrix([1.0, 0.0, 0.0, 1.0, x(at), y(*baseline)])
                    .show(Str(&codes))
                    .end_text();
                at += fonts.run_width(&run) * size;
            }
        }
        Item::Line {
            from,
            to,
            width,
            dotted,
            round,
        } => {
            content.save_state().set_line_width(pt(*width));
            if *round {
                content.set_line_cap(LineCapStyle::RoundCap);
            }
            if *dotted {
                content.set_dash_pattern([0.0, pt(width * 1.9)], 0.0);
            }
            content
                .move_to(x(from.0), y(from.1))
                .line_to(x(to.0), y(to.1))
                .stroke()
                .restore_state();
        }
        Item::Circle {
            center: (cx, cy),
            radius: r,
            stroke,
        } => {
            let k = KAPPA * r;
            content.move_to(x(cx + r), y(*cy));
            for (a, b, to) in [
                ((cx + r, cy + k), (cx + k, cy + r), (*cx, cy + r)),
                ((cx - k, cy + r), (cx - r, cy + k), (cx - r, *cy)),
                ((cx - r, cy - k), (cx - k, cy - r), (*cx, cy - r)),
                ((cx + k, cy - r), (cx + r, cy - k), (cx + r, *cy)),
            ] {
                content.cubic_to(x(a.0), y(a.1), x(b.0), y(b.1), x(to.0), y(to.1));
            }
            content.close_path();
            match stroke {
                // white inside, so that a number on it can be read
                Some(width) => content
                    .set_fill_gray(1.0)
                    .set_line_width(pt(*width))
                    .fill_nonzero_and_stroke(),
                None => content.set_fill_gray(0.0).fill_nonzero(),
            };
        }
    }
    Ok(())
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
