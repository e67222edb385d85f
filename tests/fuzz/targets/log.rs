//! Any text as a log: read, shown, read as a chart, written in every format.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::path::Path;
use takebook::chart::{FORMATS, Options};
use takebook::songlog::{read, resolve, write};

fuzz_target!(|text: &str| {
    let path = Path::new("fuzzed.takebook");
    let Ok(log) = read(path, text) else {
        return;
    };
    // what is written is read back as the same, to the rounding of times
    let written = write(&log);
    let again = read(path, &written).unwrap_or_else(|e| panic!("{e}\n{written}"));
    assert_eq!(write(&again), written);
    let song = resolve(&log);
    takebook::checking::read_chart(&song);
    for (_, format) in FORMATS {
        // the page formats are slow on long songs and have no reader's logic of their own
        if song.spans.len() < 40 && song.bars.len() < 40 {
            let _ = takebook::chart::write(&song, format, &Options::default());
        }
    }
});
