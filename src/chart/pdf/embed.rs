//! Faces embedded in the file as subsets.

use super::{Refs, Used};
use crate::chart::ChartError;
use crate::chart::font::{Fonts, Style, letters};
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str};

const SYSTEM: SystemInfo = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};

/// A face as a composite font with its subset.
pub(super) fn embed(
    pdf: &mut Pdf,
    refs: &mut Refs,
    font: Ref,
    style: Style,
    fonts: &Fonts,
    used: &Used,
) -> Result<(), ChartError> {
    let face = fonts.face(style);
    let (cid, descriptor, file, cmap_ref) = (refs.next(), refs.next(), refs.next(), refs.next());
    let base = format!("{}+{}", subset_tag(used), style.name());
    let base = Name(base.as_bytes());
    let data =
        subsetter::subset(style.data(), 0, &used.remapper).map_err(|e| ChartError::Font {
            reason: e.to_string(),
        })?;
    pdf.type0_font(font)
        .base_font(base)
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(cid)
        .to_unicode(cmap_ref);
    let mut writer = pdf.cid_font(cid);
    writer
        .subtype(CidFontType::Type2)
        .base_font(base)
        .system_info(SYSTEM)
        .font_descriptor(descriptor)
        .default_width(0.0)
        .cid_to_gid_map_predefined(Name(b"Identity"));
    let widths: Vec<f32> = used
        .chars
        .values()
        .map(|(old, _)| (fonts.advance(style, ttf_parser::GlyphId(*old)) * 1000.0) as f32)
        .collect();
    if !widths.is_empty() {
        // the subset numbers its glyphs from 1 without gaps
        writer.widths().consecutive(1, widths);
    }
    writer.finish();
    let em = f64::from(face.units_per_em());
    let unit = |v: i16| (f64::from(v) * 1000.0 / em) as f32;
    let bbox = face.global_bounding_box();
    let mut flags = FontFlags::SYMBOLIC | FontFlags::SERIF;
    if style == Style::Italic {
        flags |= FontFlags::ITALIC;
    }
    pdf.font_descriptor(descriptor)
        .name(base)
        .flags(flags)
        .bbox(Rect::new(
            unit(bbox.x_min),
            unit(bbox.y_min),
            unit(bbox.x_max),
            unit(bbox.y_max),
        ))
        .italic_angle(face.italic_angle())
        .ascent(unit(face.ascender()))
        .descent(unit(face.descender()))
        .cap_height(unit(face.capital_height().unwrap_or(face.ascender())))
        .stem_v(if style == Style::Bold { 140.0 } else { 80.0 })
        .font_file2(file);
    let packed = miniz_oxide::deflate::compress_to_vec_zlib(&data, 8);
    pdf.stream(file, &packed)
        .filter(Filter::FlateDecode)
        .pair(Name(b"Length1"), data.len() as i32);
    let mut cmap: UnicodeCmap<u16> = UnicodeCmap::new(Name(b"Custom"), SYSTEM);
    for (new, (_, c)) in &used.chars {
        cmap.pair_with_multiple(*new, letters(*c));
    }
    pdf.cmap(cmap_ref, &cmap.finish());
    Ok(())
}

/// Six letters that tell one subset from another, made of the glyphs in it.
fn subset_tag(used: &Used) -> String {
    // FNV-1a, 64 bits; from memory
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    for (old, _) in used.chars.values() {
        for byte in old.to_be_bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3);
        }
    }
    (0..6)
        .map(|i| char::from(b'A' + (hash >> (8 * i)) as u8 % 26))
        .collect()
}
