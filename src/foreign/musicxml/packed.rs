//! Compressed MusicXML (`.mxl`): a ZIP archive whose container file names the score.
//!
//! # Source
//! MusicXML 4.0, "Compressed .mxl files".

use super::super::{ForeignError, MAX_BYTES};
use std::borrow::Cow;
use std::io::{Cursor, Read};
use zip::ZipArchive;
use zip::result::ZipError;

/// An archive of more files than this holds something else than a score.
const MAX_FILES: usize = 1000;
/// The longest container file that is read, bytes: it names a handful of files.
const MAX_CONTAINER: usize = 64 * 1024;

type Archive<'a> = ZipArchive<Cursor<&'a [u8]>>;

/// The score of an archive.
pub(super) fn unpack(bytes: &[u8]) -> Result<Vec<u8>, ForeignError> {
    let other = |reason: String| ForeignError::NotOfKind {
        expected: "a compressed MusicXML file",
        reason,
    };
    let damaged = || other("the archive is damaged (save it as uncompressed .musicxml)".into());
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| damaged())?;
    if archive.len() > MAX_FILES {
        return Err(other(format!(
            "the archive holds {} files; a score has at most {MAX_FILES}",
            archive.len()
        )));
    }
    let names: Result<Vec<String>, ZipError> = archive
        .file_names()
        .map(|name| name.map(Cow::into_owned))
        .collect();
    let names = names.map_err(|_| damaged())?;
    let named = match names.iter().any(|n| n == CONTAINER) {
        true => rootfile(&read(&mut archive, CONTAINER)?),
        false => None,
    };
    // without a container, the first score that lies there
    let is_score = |name: &&String| {
        !name.starts_with("META-INF/") && (name.ends_with(".musicxml") || name.ends_with(".xml"))
    };
    let name = named
        .or_else(|| names.iter().find(is_score).cloned())
        .ok_or_else(|| ForeignError::Empty {
            reason: "the archive holds no score".into(),
        })?;
    if !names.contains(&name) {
        return Err(ForeignError::Wrong {
            place: CONTAINER.into(),
            reason: format!("it names '{name}', which is not in the archive"),
        });
    }
    read(&mut archive, &name)
}

/// Names the score.
const CONTAINER: &str = "META-INF/container.xml";

/// One file of the archive, unpacked; refused once it grows beyond what is read.
fn read(archive: &mut Archive<'_>, name: &str) -> Result<Vec<u8>, ForeignError> {
    let wrong = |reason: String| ForeignError::Wrong {
        place: format!("'{name}' in the archive"),
        reason,
    };
    let file = archive.by_name(name).map_err(|error| {
        wrong(match error {
            ZipError::UnsupportedArchive(how) => format!(
                "it is packed in a way that is not read ({how}; save it as uncompressed .musicxml)"
            ),
            error => format!("it cannot be unpacked: {error}"),
        })
    })?;
    let mut unpacked = Vec::new();
    file.take(MAX_BYTES + 1)
        .read_to_end(&mut unpacked)
        .map_err(|error| wrong(format!("it cannot be unpacked: {error}")))?;
    if unpacked.len() as u64 > MAX_BYTES {
        return Err(wrong(format!(
            "it is larger than {} MiB once unpacked",
            MAX_BYTES >> 20
        )));
    }
    Ok(unpacked)
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
