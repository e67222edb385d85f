//! Moments marked in a recording, as cue points of its WAV file: other programs show them too.
//!
//! # Source
//! IBM and Microsoft, "Multimedia Programming Interface and Data Specifications 1.0" (1991),
//! Waveform Audio File Format: RIFF chunks, `data` and `cue `; from memory.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

/// Bytes of a chunk's name and length.
const HEAD: u64 = 8;
/// Bytes of one cue point.
const POINT: u64 = 24;
/// Cue points that are read at most.
const MOST: u64 = 10_000;
/// A chunk of a file after the one that says what it is begins here.
const FIRST_CHUNK: u64 = 12;

/// One chunk of a RIFF file.
struct Chunk {
    name: [u8; 4],
    /// Where its content begins.
    at: u64,
    length: u64,
}

/// The chunks of a WAV file in their order, as far as they are whole; none of any other file.
fn chunks(file: &mut File) -> io::Result<Vec<Chunk>> {
    let end = file.metadata()?.len();
    let mut head = [0; FIRST_CHUNK as usize];
    file.seek(SeekFrom::Start(0))?;
    file.read_exact(&mut head)?;
    if &head[..4] != b"RIFF" || &head[8..] != b"WAVE" {
        return Ok(Vec::new());
    }
    let mut found = Vec::new();
    let mut at = FIRST_CHUNK;
    while at + HEAD <= end {
        let mut head = [0; HEAD as usize];
        file.seek(SeekFrom::Start(at))?;
        file.read_exact(&mut head)?;
        let [a, b, c, d, rest @ ..] = head;
        let length = u64::from(u32::from_le_bytes(rest));
        found.push(Chunk {
            name: [a, b, c, d],
            at: at + HEAD,
            length,
        });
        // a chunk begins on an even byte
        at += HEAD + length + length % 2;
    }
    Ok(found)
}

/// Frames a second and bytes of a frame, by the chunk `fmt `.
fn form(file: &mut File, chunks: &[Chunk]) -> io::Result<Option<(u32, u16)>> {
    let Some(chunk) = chunks.iter().find(|c| &c.name == b"fmt ") else {
        return Ok(None);
    };
    let mut bytes = [0; 16];
    file.seek(SeekFrom::Start(chunk.at))?;
    file.read_exact(&mut bytes)?;
    let rate_hz = u32::from_le_bytes([bytes[4], bytes[5], bytes[6], bytes[7]]);
    let frame = u16::from_le_bytes([bytes[12], bytes[13]]);
    Ok((rate_hz > 0 && frame > 0).then_some((rate_hz, frame)))
}

/// Where the cue points of a WAV file lie, s, ascending; none of a file of another kind, or one
/// that cannot be read.
pub fn marks(path: &Path) -> Vec<f64> {
    read(path).unwrap_or_default()
}

fn read(path: &Path) -> io::Result<Vec<f64>> {
    let mut file = File::open(path)?;
    let chunks = chunks(&mut file)?;
    let Some((rate_hz, _)) = form(&mut file, &chunks)? else {
        return Ok(Vec::new());
    };
    let mut found = Vec::new();
    for chunk in chunks.iter().filter(|c| &c.name == b"cue ") {
        let n = (chunk.length.saturating_sub(4) / POINT).min(MOST);
        file.seek(SeekFrom::Start(chunk.at + 4))?;
        for _ in 0..n {
            let mut point = [0; POINT as usize];
            file.read_exact(&mut point)?;
            let frame = u32::from_le_bytes([point[20], point[21], point[22], point[23]]);
            found.push(f64::from(frame) / f64::from(rate_hz));
        }
    }
    found.sort_by(f64::total_cmp);
    Ok(found)
}

/// Appends cue points to a WAV file that is whole and has none.
///
/// Takes: frames from the start of the sound, any order.
///
/// # Errors
/// What the system says; the sound is then as it was.
pub(super) fn append(path: &Path, frames: &[u64]) -> io::Result<()> {
    if frames.is_empty() {
        return Ok(());
    }
    let mut file = File::options().read(true).write(true).open(path)?;
    let end = file.seek(SeekFrom::End(0))?;
    let mut more = vec![0; (end % 2) as usize];
    let n = frames.len().min(MOST as usize);
    more.extend(b"cue ");
    more.extend((4 + n as u32 * POINT as u32).to_le_bytes());
    more.extend((n as u32).to_le_bytes());
    for (i, frame) in frames.iter().take(n).enumerate() {
        let frame = u32::try_from(*frame).unwrap_or(u32::MAX);
        more.extend((i as u32 + 1).to_le_bytes());
        more.extend(frame.to_le_bytes());
        more.extend(b"data");
        // in an uncompressed file both are the start of its only chunk of sound
        more.extend([0; 8]);
        more.extend(frame.to_le_bytes());
    }
    let riff = end + more.len() as u64 - HEAD;
    let Ok(riff) = u32::try_from(riff) else {
        return Err(io::Error::other("the file is too long for marks"));
    };
    let written = file.write_all(&more).and_then(|()| {
        file.seek(SeekFrom::Start(4))?;
        file.write_all(&riff.to_le_bytes())?;
        file.sync_all()
    });
    if written.is_err() {
        // what is half there is taken away again
        let _ = file.set_len(end);
    }
    written
}

/// Makes a WAV file whole whose writer was killed: its header then counts all of its sound, and
/// marks, s, become its cue points unless it has some.
///
/// Gives the length of the sound, s.
///
/// # Errors
/// What the system says, or that it is no WAV file.
pub fn mend(path: &Path, marks_s: &[f64]) -> io::Result<f64> {
    let mut file = File::options().read(true).write(true).open(path)?;
    let chunks = chunks(&mut file)?;
    let (Some((rate_hz, frame)), Some(data)) = (
        form(&mut file, &chunks)?,
        chunks.iter().find(|c| &c.name == b"data"),
    ) else {
        return Err(io::Error::other("it is no WAV file"));
    };
    let frame = u64::from(frame);
    let end = file.metadata()?.len();
    let mut riff = [0; 4];
    file.seek(SeekFrom::Start(4))?;
    file.read_exact(&mut riff)?;
    let mut n_bytes = data.length;
    if u64::from(u32::from_le_bytes(riff)) + HEAD != end {
        let counted = data.at + data.length;
        // killed while marks were written, all sound was counted already
        if !begins_with(&mut file, counted + counted % 2, b"cue ")? {
            n_bytes = end.saturating_sub(data.at) / frame * frame;
        }
        close_after(&mut file, data.at, n_bytes)?;
    }
    drop(file);
    let n_frames = n_bytes / frame;
    let within = |s: &f64| (s * f64::from(rate_hz)).round() as u64;
    let frames: Vec<u64> = marks_s.iter().map(within).collect();
    if marks(path).is_empty() && n_frames > 0 {
        append(path, &frames)?;
    }
    Ok(n_frames as f64 / f64::from(rate_hz))
}

fn begins_with(file: &mut File, at: u64, name: &[u8; 4]) -> io::Result<bool> {
    let mut found = Vec::new();
    file.seek(SeekFrom::Start(at))?;
    file.take(4).read_to_end(&mut found)?;
    Ok(found == name)
}

/// Ends a file after so many bytes of sound, which begin at `at`.
fn close_after(file: &mut File, at: u64, n_bytes: u64) -> io::Result<()> {
    let padded = at + n_bytes + n_bytes % 2;
    let (Ok(length), Ok(riff)) = (u32::try_from(n_bytes), u32::try_from(padded - HEAD)) else {
        return Err(io::Error::other("it is longer than a WAV file can be"));
    };
    file.set_len(at + n_bytes)?;
    // an odd length is filled up with a zero
    file.set_len(padded)?;
    file.seek(SeekFrom::Start(at - 4))?;
    file.write_all(&length.to_le_bytes())?;
    file.seek(SeekFrom::Start(4))?;
    file.write_all(&riff.to_le_bytes())?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wav(path: &Path, n_frames: u32) {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 1000,
            bits_per_sample: 24,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(path, spec).expect("a file");
        (0..n_frames).for_each(|i| writer.write_sample(i as i32).expect("written"));
        writer.finalize().expect("written");
    }

    #[test]
    fn marks_come_back_and_the_sound_is_what_it_was() {
        let dir = tempfile::tempdir().expect("a folder");
        for n_frames in [333, 334] {
            let path = dir.path().join(format!("{n_frames}.wav"));
            wav(&path, n_frames);
            assert!(marks(&path).is_empty());
            append(&path, &[250, 12]).expect("appended");
            assert_eq!(marks(&path), [0.012, 0.25]);
            let mut reader = hound::WavReader::open(&path).expect("readable");
            let sound: Vec<i32> = reader.samples().map(|s| s.expect("a sample")).collect();
            assert_eq!(sound, (0..n_frames as i32).collect::<Vec<_>>());
        }
        std::fs::write(dir.path().join("no.wav"), "RIFF no sound").expect("written");
        assert!(marks(&dir.path().join("no.wav")).is_empty());
        assert!(marks(&dir.path().join("not there.wav")).is_empty());
    }

    #[test]
    fn a_file_that_was_not_closed_is_made_whole() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("cut.wav");
        wav(&path, 100);
        // bytes that the header does not count yet, the last frame cut off
        let mut file = File::options().append(true).open(&path).expect("a file");
        file.write_all(&[7; 3 * 50 + 2]).expect("written");
        drop(file);
        let length_s = mend(&path, &[0.12, 0.14]).expect("mended");
        assert!((length_s - 0.15).abs() < 1e-9, "{length_s}");
        assert_eq!(
            hound::WavReader::open(&path).expect("a file").duration(),
            150
        );
        assert_eq!(marks(&path), [0.12, 0.14]);
        // killed while the marks were written: the sound is whole
        let whole = std::fs::read(&path).expect("there");
        let cut = whole[..whole.len() - 20].to_vec();
        std::fs::write(&path, cut).expect("written");
        mend(&path, &[0.12, 0.14]).expect("mended");
        assert!(std::fs::read(&path).expect("there") == whole);
        // a second time changes nothing
        let before = std::fs::read(&path).expect("there");
        mend(&path, &[0.12, 0.14]).expect("mended");
        assert!(std::fs::read(&path).expect("there") == before);
        std::fs::write(&path, "no sound").expect("written");
        assert!(mend(&path, &[]).is_err());
    }
}
