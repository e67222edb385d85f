//! Compressed MusicXML (`.mxl`): a ZIP archive with a container file and the score.
//!
//! # Source
//! MusicXML 4.0, "Compressed .mxl files".

use super::ChartError;
use std::io::{Cursor, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter, result::ZipResult};

const CONTAINER: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container><rootfiles>\
<rootfile full-path=\"score.musicxml\" media-type=\"application/vnd.recordare.musicxml+xml\"/>\
</rootfiles></container>\n";

/// The archive of a score.
///
/// # Errors
/// * [`ChartError::Unwritable`] for a score that no archive holds (4 GiB and more).
pub(super) fn write(score: &str) -> Result<Vec<u8>, ChartError> {
    archive(score).map_err(|error| ChartError::Unwritable {
        format: "MusicXML",
        reason: error.to_string(),
    })
}

fn archive(score: &str) -> ZipResult<Vec<u8>> {
    // 1 January 1980: the same song gives the same bytes
    let usual = SimpleFileOptions::default().last_modified_time(DateTime::DEFAULT);
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    // first and as it is, so that its kind can be read from the first bytes
    archive.start_file(
        "mimetype",
        usual.compression_method(CompressionMethod::Stored),
    )?;
    archive.write_all(b"application/vnd.recordare.musicxml")?;
    for (name, text) in [
        ("META-INF/container.xml", CONTAINER),
        ("score.musicxml", score),
    ] {
        archive.start_file(name, usual.compression_method(CompressionMethod::Deflated))?;
        archive.write_all(text.as_bytes())?;
    }
    Ok(archive.finish()?.into_inner())
}
