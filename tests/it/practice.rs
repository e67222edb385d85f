//! The page to practise with: its sound, and the page in headless Chromium from a file.
//!
//! Outside judges: ffprobe and ffmpeg read the sound; the browser plays it; axe-core
//! (WCAG 2.2 A and AA) looks at the page as phone, tablet and laptop.

use crate::outside::{folder, root, takebook, tool};
use std::path::{Path, PathBuf};
use std::process::Output;

fn text(path: &Path) -> &str {
    path.to_str().expect("a text path")
}

#[track_caller]
fn ran(args: &[&str], code: i32) -> Output {
    let output = takebook().args(args).output().expect("takebook starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{args:?}: {stderr}");
    output
}

/// A log of the demo take with the take beside it, and its page.
fn page(dir: &Path) -> (PathBuf, PathBuf) {
    let take = dir.join("lantern-porch.wav");
    std::fs::copy(root().join("fixtures/lantern-porch.wav"), &take).expect("copied");
    let log = dir.join("lantern.takebook");
    ran(&["draft", text(&take), "-o", text(&log)], 0);
    let page = dir.join("lantern.html");
    ran(&["chart", text(&log), "-o", text(&page), "--with-sound"], 0);
    (log, page)
}

/// The element's text.
fn element<'a>(page: &'a str, id: &str) -> &'a str {
    let (_, rest) = page
        .split_once(&format!("id=\"{id}\""))
        .expect("it is there");
    let (_, rest) = rest.split_once('>').expect("its start");
    rest.split_once("</script>").expect("its end").0
}

fn decoded(base64: &str) -> Vec<u8> {
    const SIGNS: &str = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let digits: Vec<u32> = base64
        .trim()
        .trim_end_matches('=')
        .chars()
        .map(|c| SIGNS.find(c).expect("a sign of base64") as u32)
        .collect();
    digits
        .chunks(4)
        .flat_map(|four| {
            let bits = (0..4).fold(0, |b, i| b << 6 | four.get(i).copied().unwrap_or(0));
            let bytes = [(bits >> 16) as u8, (bits >> 8) as u8, bits as u8];
            bytes[..four.len() - 1].to_vec()
        })
        .collect()
}

/// The samples of a sound file as ffmpeg reads them, mono at 8 kHz.
fn samples(file: &Path) -> Vec<f64> {
    let output = tool("ffmpeg")
        .args(["-v", "error", "-i", text(file)])
        .args(["-ac", "1", "-ar", "8000", "-f", "s16le", "-"])
        .output()
        .expect("ffmpeg runs");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && stderr.is_empty(), "{stderr}");
    let pairs = output.stdout.chunks_exact(2);
    pairs
        .map(|b| f64::from(i16::from_le_bytes([b[0], b[1]])))
        .collect()
}

/// Reference: ffprobe and ffmpeg, which know nothing of this writer.
#[test]
fn the_sound_in_the_page_is_the_take() {
    let (_keep, dir) = folder();
    let (_, page) = page(&dir);
    let page = std::fs::read_to_string(page).expect("readable");
    let file = dir.join("inside.ogg");
    std::fs::write(&file, decoded(element(&page, "sound"))).expect("written");
    let output = tool("ffprobe")
        .args([
            "-v",
            "error",
            "-show_entries",
            "stream=codec_name,channels:format=duration,format_name",
        ])
        .args(["-of", "default=noprint_wrappers=1", text(&file)])
        .output()
        .expect("ffprobe runs");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.stderr.is_empty(), "{output:?}");
    for part in ["codec_name=opus", "channels=1", "format_name=ogg"] {
        assert!(said.contains(part), "no {part} in {said}");
    }
    // the same music at the same time: little is left when one is taken from the other
    let (take, made) = (samples(&dir.join("lantern-porch.wav")), samples(&file));
    let off = take.len().abs_diff(made.len());
    assert!(off <= 8, "{} and {} samples", take.len(), made.len());
    let energy: f64 = take.iter().map(|x| x * x).sum();
    let left: f64 = take.iter().zip(&made).map(|(a, b)| (a - b) * (a - b)).sum();
    assert!(left < 0.05 * energy, "{left} of {energy} is left");
    // three minutes stay under 3 MB
    let seconds = take.len() as f64 / 8000.0;
    let per_three_minutes = page.len() as f64 / seconds * 180.0;
    assert!(per_three_minutes < 3e6, "{per_three_minutes} bytes");
}

#[test]
fn the_page_practises_from_a_file_on_phone_tablet_and_laptop() {
    let (_keep, dir) = folder();
    let (_, page) = page(&dir);
    let said = std::fs::read_to_string(&page).expect("readable");
    assert!(said.contains("permission, and local law decides"));
    assert!(said.contains("holds the recording itself"));
    let output = tool("node")
        .arg(root().join("tests/outside/practice.mjs"))
        .arg(&page)
        .args(std::env::var_os("PICTURES"))
        .output()
        .expect("node starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{stderr}");
}

#[test]
fn sound_is_only_in_a_page_that_was_asked_for_it() {
    let (_keep, dir) = folder();
    let (log, _) = page(&dir);
    let plain = dir.join("plain.html");
    ran(&["chart", text(&log), "-o", text(&plain)], 0);
    let said = std::fs::read_to_string(&plain).expect("readable");
    assert!(!said.contains("<script") && !said.contains("audio"));
    let refused = |args: &[&str], words: &str| {
        let output = ran(args, 2);
        let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(stderr.contains(words), "{stderr}");
    };
    let pdf = dir.join("plain.pdf");
    refused(
        &["chart", text(&log), "-o", text(&pdf), "--with-sound"],
        "ends in .html",
    );
    std::fs::remove_file(dir.join("lantern-porch.wav")).expect("removed");
    let gone = dir.join("gone.html");
    refused(
        &["chart", text(&log), "-o", text(&gone), "--with-sound"],
        "lantern-porch.wav",
    );
    assert!(!pdf.exists() && !gone.exists(), "nothing half-written");
}
