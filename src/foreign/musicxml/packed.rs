//! Compressed MusicXML (`.mxl`): a ZIP archive whose container file names the score.
//!
//! # Source
//! PKWARE, APPNOTE.TXT 6.3, sections 4.3.7, 4.3.12 and 4.3.16 (from memory);
//! MusicXML 4.0, "Compressed .mxl files".

use super::super::{ForeignError, MAX_BYTES};

/// Where an archive's entries are listed is searched for in its last bytes.
const END_BYTES: usize = 66_000;
/// More entries than this are not looked at.
const MAX_ENTRIES: usize = 1000;
/// The longest container file that is read, bytes: it names a handful of files.
const MAX_CONTAINER: usize = 64 * 1024;

/// One file of the archive.
struct Entry<'a> {
    name: String,
    method: u16,
    /// As it lies in the archive.
    data: &'a [u8],
}

/// The score of an archive.
pub(super) fn unpack(bytes: &[u8]) -> Result<Vec<u8>, ForeignError> {
    let broken = || ForeignError::NotOfKind {
        expected: "a compressed MusicXML file",
        reason: "the archive is damaged (save it as uncompressed .musicxml)".into(),
    };
    let entries = entries(bytes).ok_or_else(broken)?;
    let read = |name: &str| entries.iter().find(|e| e.name == name).map(inflate);
    let named = match read("META-INF/container.xml") {
        Some(container) => rootfile(&container?),
        None => None,
    };
    // without a container, the first score that lies there
    let is_score = |e: &&Entry<'_>| {
        !e.name.starts_with("META-INF/")
            && (e.name.ends_with(".musicxml") || e.name.ends_with(".xml"))
    };
    let name = named
        .or_else(|| entries.iter().find(is_score).map(|e| e.name.clone()))
        .ok_or_else(|| ForeignError::Empty {
            reason: "the archive holds no score".into(),
        })?;
    read(&name).ok_or_else(|| ForeignError::Wrong {
        place: "META-INF/container.xml".into(),
        reason: format!("it names '{name}', which is not in the archive"),
    })?
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let two = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_le_bytes([two[0], two[1]]))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<usize> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    usize::try_from(u32::from_le_bytes([four[0], four[1], four[2], four[3]])).ok()
}

/// All entries, by the directory at the archive's end.
fn entries(bytes: &[u8]) -> Option<Vec<Entry<'_>>> {
    let from = bytes.len().saturating_sub(END_BYTES);
    let end = from + bytes[from..].windows(4).rposition(|w| w == b"PK\x05\x06")?;
    let n = usize::from(u16_at(bytes, end + 10)?).min(MAX_ENTRIES);
    let mut at = u32_at(bytes, end + 16)?;
    let mut found = Vec::new();
    for _ in 0..n {
        if bytes.get(at..at.checked_add(4)?)? != b"PK\x01\x02" {
            return None;
        }
        let method = u16_at(bytes, at + 10)?;
        let size = u32_at(bytes, at + 20)?;
        let lengths = [28, 30, 32].map(|field| u16_at(bytes, at + field).map(usize::from));
        let [name, extra, comment] = lengths;
        let (name, extra, comment) = (name?, extra?, comment?);
        let local = u32_at(bytes, at + 42)?;
        let text = bytes.get(at + 46..at + 46 + name)?;
        // the local header has lengths of its own
        let skip = usize::from(u16_at(bytes, local.checked_add(26)?)?)
            + usize::from(u16_at(bytes, local + 28)?);
        let start = local.checked_add(30)?.checked_add(skip)?;
        found.push(Entry {
            name: String::from_utf8_lossy(text).into_owned(),
            method,
            data: bytes.get(start..start.checked_add(size)?)?,
        });
        at = at.checked_add(46 + name + extra + comment)?;
    }
    Some(found)
}

fn inflate(entry: &Entry<'_>) -> Result<Vec<u8>, ForeignError> {
    let wrong = |reason: String| ForeignError::Wrong {
        place: format!("'{}' in the archive", entry.name),
        reason,
    };
    let most = usize::try_from(MAX_BYTES).unwrap_or(usize::MAX);
    match entry.method {
        0 => Ok(entry.data.to_vec()),
        8 => miniz_oxide::inflate::decompress_to_vec_with_limit(entry.data, most)
            .map_err(|e| wrong(format!("it cannot be unpacked: {e}"))),
        method => Err(wrong(format!(
            "it is packed in a way that is not read (method {method}; save it as uncompressed .musicxml)"
        ))),
    }
}

/// The first score that the container names.
fn rootfile(container: &[u8]) -> Option<String> {
    if container.len() > MAX_CONTAINER {
        return None;
    }
    let text = std::str::from_utf8(container).ok()?;
    super::bounds::check(text).ok()?;
    let text = text.trim_start_matches('\u{feff}');
    let document = roxmltree::Document::parse(text).ok()?;
    document
        .descendants()
        .find(|n| n.tag_name().name() == "rootfile")?
        .attribute("full-path")
        .map(str::to_owned)
}
