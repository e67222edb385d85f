//! The laid-out chart as a picture: sixteen grays, pages below each other.
//!
//! How much of a pixel ink covers is computed, not sampled; sixteen grays show that
//! as well as 256, and take half the bytes to pack.
//!
//! # Source
//! W3C, Portable Network Graphics, third edition: gray of four bits.

mod raster;

use super::ChartError;
use super::draw::draw;
use super::font::Fonts;
use super::layout::{Group, Laid};
use raster::Raster;
use rayon::prelude::*;

/// Dots an inch where none are asked for: letters are sharp on a tablet held at arm's length (ours).
pub(super) const USUAL_DPI: u16 = 200;
/// Between two pages, mm.
const PAGE_GAP: f64 = 6.0;
/// Between two pages, 0 for black to 255 for white.
const BETWEEN: u8 = 0xdd;
const MM_IN_INCH: f64 = 25.4;
/// How hard to pack, 0 to 10: rows less the one above are nearly empty, and more gains little.
const LEVEL: u8 = 1;
/// Filters of a row: as it is, and less the row above.
const AS_IT_IS: u8 = 0;
const LESS_ABOVE: u8 = 2;

/// The file.
///
/// # Errors
/// * [`ChartError::Unwritable`] if the picture is too large.
/// * [`ChartError::MissingGlyph`] for text that no face can draw.
pub(super) fn write(laid: &Laid, dpi: u16) -> Result<Vec<u8>, ChartError> {
    let fonts = Fonts::new()?;
    let scale = f64::from(dpi) / MM_IN_INCH;
    let pixels = |mm: f64| ((mm * scale).round() as usize).max(1);
    let (width, height) = (pixels(laid.size_mm.0), pixels(laid.size_mm.1));
    let page = |groups: &Vec<Group>| {
        let mut raster = Raster::new(width, height, scale, &fonts);
        for item in groups.iter().flat_map(|g| &g.items) {
            draw(item, &fonts, &mut raster)?;
        }
        Ok(packed(&raster.gray, width))
    };
    let pages: Vec<Vec<u8>> = laid.pages.par_iter().map(page).collect::<Result<_, _>>()?;
    let gap = packed(&vec![BETWEEN; width * pixels(PAGE_GAP)], width);
    encode(&pages.join(&gap[..]), width, dpi)
}

/// Rows of pixels as the format has them: a filter, then two pixels to a byte.
fn packed(gray: &[u8], width: usize) -> Vec<u8> {
    let mut above = vec![0; width.div_ceil(2)];
    let mut row = Vec::new();
    let mut out = Vec::with_capacity(gray.len() / width * (above.len() + 1));
    for (i, pixels) in gray.chunks(width).enumerate() {
        row.clear();
        let pair = |p: &[u8]| (p[0] & 0xf0) | p.get(1).map_or(0, |second| second >> 4);
        row.extend(pixels.chunks(2).map(pair));
        out.push(if i == 0 { AS_IT_IS } else { LESS_ABOVE });
        out.extend(row.iter().zip(&above).map(|(a, b)| a.wrapping_sub(*b)));
        std::mem::swap(&mut row, &mut above);
    }
    out
}

fn encode(rows: &[u8], width: usize, dpi: u16) -> Result<Vec<u8>, ChartError> {
    let too_many = |_| ChartError::Unwritable {
        format: "PNG",
        reason: "it has too many pages".into(),
    };
    let count = |n: usize| u32::try_from(n).map_err(too_many);
    let height = rows.len() / (width.div_ceil(2) + 1);
    let mut header = Vec::new();
    header.extend(count(width)?.to_be_bytes());
    header.extend(count(height)?.to_be_bytes());
    // four bits, gray, deflated, rows filtered each by its own, not interlaced
    header.extend([4, 0, 0, 0, 0]);
    let per_metre = (f64::from(dpi) / MM_IN_INCH * 1000.0).round() as u32;
    let mut size = per_metre.to_be_bytes().repeat(2);
    // in metres
    size.push(1);
    let data = miniz_oxide::deflate::compress_to_vec_zlib(rows, LEVEL);
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    for (name, data) in [
        (b"IHDR", &header),
        (b"pHYs", &size),
        (b"IDAT", &data),
        (b"IEND", &Vec::new()),
    ] {
        out.extend(count(data.len())?.to_be_bytes());
        let begins = out.len();
        out.extend(name);
        out.extend(data);
        let mut sum = flate2::Crc::new();
        sum.update(&out[begins..]);
        out.extend(sum.sum().to_be_bytes());
    }
    Ok(out)
}
