//! Any bytes as a file of another program; the first byte says which kind.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::path::Path;
use takebook::foreign::{Given, Kind, read};
use takebook::songlog;

fuzz_target!(|data: &[u8]| {
    let Some((first, bytes)) = data.split_first() else {
        return;
    };
    let kind = match first {
        b'L' => Kind::Lab,
        b'J' => Kind::Jams,
        b'X' => Kind::MusicXml,
        b'M' => Kind::Midi,
        other => [Kind::Lab, Kind::Jams, Kind::MusicXml, Kind::Midi][usize::from(other % 4)],
    };
    let taken = match read(kind, bytes, &Given::default()) {
        Ok(taken) => taken,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            return;
        }
    };
    let record = kind.record("fuzzed".into(), bytes.len() as u64);
    let log = taken.into_log(record, "2031-05-02T18:30:00Z".into(), Vec::new());
    // `draft` writes no log that makes no sense, and says where
    if songlog::validate::sense(&log).is_err() {
        return;
    }
    let path = Path::new("fuzzed.takebook");
    let written = songlog::write(&log);
    let again = songlog::read(path, &written).unwrap_or_else(|e| panic!("{e}\n{written}"));
    assert_eq!(songlog::write(&again), written);
    let song = songlog::resolve(&again);
    takebook::checking::read_chart(&song);
});
