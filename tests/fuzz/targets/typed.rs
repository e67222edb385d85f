//! Any text as a typed chart: refused with its line, or a song whose own chart as text is read
//! back with the same bars and chords.
#![no_main]

mod imports;

use libfuzzer_sys::fuzz_target;
use takebook::chart::{Format, Options, write};
use takebook::foreign::Kind;
use takebook::songlog::song::Song;

/// Bars with their beats and chords with their times, ms.
fn seen(song: &Song) -> (Vec<(u32, u8)>, Vec<(i64, String)>) {
    let bars = song.bars.iter().map(|b| (b.number, b.n_beats)).collect();
    let ms = |s: f64| (s * 1000.0).round() as i64;
    let chords = song.spans.iter();
    let chords = chords.map(|s| (ms(s.start_s), s.label.symbol())).collect();
    (bars, chords)
}

fuzz_target!(|text: &str| {
    let Some(song) = imports::read_back(Kind::Typed, text.as_bytes()) else {
        return;
    };
    if song.bars.len() > 60 {
        return;
    }
    let Ok(bytes) = write(&song, Format::Txt, &Options::default()) else {
        return;
    };
    let written = String::from_utf8_lossy(&bytes).into_owned();
    let again = imports::read_back(Kind::Typed, written.as_bytes());
    let again = again.unwrap_or_else(|| panic!("not read back:\n{text}\nwritten:\n{written}"));
    assert_eq!(seen(&again), seen(&song), "\n{text}\nwritten:\n{written}");
});
