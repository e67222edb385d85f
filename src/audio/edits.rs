//! The edit list of an MP4: which of the decoded frames are the recording.
//!
//! An AAC encoder puts about a thousand frames of run-in before the sound; the
//! edit list says where the sound starts and how long it is. Without it every
//! time would be about 20 ms late against what a player plays.
//!
//! # Source
//! ISO/IEC 14496-12, 8.6.6 (edit list), 8.4.2 (media header), 8.2.2 (movie
//! header); from memory.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

/// A movie header larger than this is not read.
const LARGEST_MOOV_BYTES: u64 = 64 << 20;

/// Which decoded frames of a track are the recording, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edit {
    /// Where the recording starts in the decoded track, s.
    pub(super) start_s: f64,
    /// How long it is, s; none if the list does not say.
    pub(super) length_s: Option<f64>,
}

/// The edit of the first sound track, if the file is an MP4 with one.
pub(super) fn read(path: &Path) -> Option<Edit> {
    let mut file = File::open(path).ok()?;
    let end = file.metadata().ok()?.len();
    let mut at = 0u64;
    let mut first = true;
    while at + 8 <= end {
        file.seek(SeekFrom::Start(at)).ok()?;
        let mut head = [0u8; 16];
        file.read_exact(&mut head[..8]).ok()?;
        let kind: [u8; 4] = head[4..8].try_into().ok()?;
        if first && &kind != b"ftyp" {
            return None;
        }
        first = false;
        let (size, head_len) = match u32::from_be_bytes(head[..4].try_into().ok()?) {
            0 => (end - at, 8),
            1 => {
                file.read_exact(&mut head[8..16]).ok()?;
                (u64::from_be_bytes(head[8..16].try_into().ok()?), 16)
            }
            n => (u64::from(n), 8),
        };
        if size < head_len {
            return None;
        }
        if &kind == b"moov" {
            let length = (size - head_len).min(LARGEST_MOOV_BYTES);
            let mut moov = Vec::new();
            file.take(length).read_to_end(&mut moov).ok()?;
            return of_movie(&moov);
        }
        at = at.checked_add(size)?;
    }
    None
}

fn of_movie(moov: &[u8]) -> Option<Edit> {
    let movie_scale = timescale(child(moov, b"mvhd")?)?;
    children(moov)
        .filter(|(kind, _)| kind == b"trak")
        .find_map(|(_, trak)| {
            let mdia = child(trak, b"mdia")?;
            (child(mdia, b"hdlr")?.get(8..12)? == b"soun").then_some(())?;
            let media_scale = timescale(child(mdia, b"mdhd")?)?;
            edit_of(
                child(child(trak, b"edts")?, b"elst")?,
                movie_scale,
                media_scale,
            )
        })
}

/// The first edit that plays something.
fn edit_of(elst: &[u8], movie_scale: f64, media_scale: f64) -> Option<Edit> {
    let wide = *elst.first()? == 1;
    let n = be(elst, 4, 4)?;
    let row = if wide { 20 } else { 12 };
    (0..n.min(64) as usize).find_map(|i| {
        let at = 8 + i * row;
        let (length, start) = if wide {
            (be(elst, at, 8)?, be(elst, at + 8, 8)? as i64)
        } else {
            (
                be(elst, at, 4)?,
                i64::from(be(elst, at + 4, 4)? as u32 as i32),
            )
        };
        (start >= 0).then(|| Edit {
            start_s: start as f64 / media_scale,
            length_s: (length > 0).then_some(length as f64 / movie_scale),
        })
    })
}

fn timescale(header: &[u8]) -> Option<f64> {
    let at = if *header.first()? == 1 { 20 } else { 12 };
    let scale = be(header, at, 4)?;
    (scale > 0).then_some(scale as f64)
}

fn be(bytes: &[u8], at: usize, n: usize) -> Option<u64> {
    Some(
        bytes
            .get(at..at + n)?
            .iter()
            .fold(0u64, |sum, b| sum << 8 | u64::from(*b)),
    )
}

fn child<'a>(body: &'a [u8], wanted: &[u8; 4]) -> Option<&'a [u8]> {
    children(body)
        .find(|(kind, _)| kind == wanted)
        .map(|(_, b)| b)
}

fn children(body: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut rest = body;
    std::iter::from_fn(move || {
        let size = be(rest, 0, 4)? as usize;
        let kind: [u8; 4] = rest.get(4..8)?.try_into().ok()?;
        let inside = rest.get(8..size)?;
        rest = &rest[size..];
        Some((kind, inside))
    })
}
