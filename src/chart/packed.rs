//! Compressed MusicXML (`.mxl`): a ZIP archive with a container file and the score.
//!
//! # Source
//! PKWARE, APPNOTE.TXT 6.3, sections 4.3.7, 4.3.12 and 4.3.16 (from memory);
//! MusicXML 4.0, "Compressed .mxl files"; CRC-32: ISO 3309, in the reflected form.

use miniz_oxide::deflate::compress_to_vec;

const CONTAINER: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container><rootfiles>\
<rootfile full-path=\"score.musicxml\" media-type=\"application/vnd.recordare.musicxml+xml\"/>\
</rootfiles></container>\n";
/// Versions of the format: 2.0, for deflated files.
const VERSION: u16 = 20;
/// 1 January 1980: the same song gives the same bytes.
const DATE: u16 = 0x21;
const DEFLATED: u16 = 8;

/// The archive of a score.
pub(super) fn write(score: &str) -> Vec<u8> {
    let files: [(&str, &[u8], bool); 3] = [
        // first and as it is, so that its kind can be read from the first bytes
        ("mimetype", b"application/vnd.recordare.musicxml", false),
        ("META-INF/container.xml", CONTAINER.as_bytes(), true),
        ("score.musicxml", score.as_bytes(), true),
    ];
    let mut out = Vec::new();
    let mut directory = Vec::new();
    for (name, bytes, deflated) in files {
        let packed = match deflated {
            true => compress_to_vec(bytes, 6),
            false => bytes.to_vec(),
        };
        let mut facts = Vec::new();
        let method = if deflated { DEFLATED } else { 0 };
        for two in [VERSION, 0, method, 0, DATE] {
            facts.extend(two.to_le_bytes());
        }
        for four in [crc32(bytes), packed.len() as u32, bytes.len() as u32] {
            facts.extend(four.to_le_bytes());
        }
        facts.extend((name.len() as u16).to_le_bytes());
        facts.extend([0; 2]);
        directory.extend(b"PK\x01\x02");
        directory.extend(VERSION.to_le_bytes());
        directory.extend(&facts);
        directory.extend([0; 10]);
        directory.extend((out.len() as u32).to_le_bytes());
        directory.extend(name.as_bytes());
        out.extend(b"PK\x03\x04");
        out.extend(facts);
        out.extend(name.as_bytes());
        out.extend(packed);
    }
    let (at, length, n) = (out.len() as u32, directory.len() as u32, files.len() as u16);
    out.extend(directory);
    out.extend(b"PK\x05\x06\0\0\0\0");
    out.extend(n.to_le_bytes());
    out.extend(n.to_le_bytes());
    out.extend(length.to_le_bytes());
    out.extend(at.to_le_bytes());
    out.extend([0; 2]);
    out
}

/// The checksum of ZIP and PNG.
pub(super) fn crc32(bytes: &[u8]) -> u32 {
    let table: [u32; 256] = std::array::from_fn(|n| {
        (0..8).fold(n as u32, |sum, _| {
            (sum >> 1) ^ if sum & 1 == 1 { 0xedb8_8320 } else { 0 }
        })
    });
    !bytes.iter().fold(!0, |sum: u32, byte| {
        table[((sum ^ u32::from(*byte)) & 0xff) as usize] ^ (sum >> 8)
    })
}

#[cfg(test)]
mod tests {
    /// The check value that every table of CRC-32 gives for these nine digits.
    #[test]
    fn the_checksum_is_the_usual_one() {
        assert_eq!(super::crc32(b"123456789"), 0xcbf4_3926);
    }
}
