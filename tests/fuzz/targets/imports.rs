//! A file of another program: refused in words, or a log that is read back the same.

use std::path::Path;
use takebook::foreign::{Kind, read};
use takebook::songlog::resolve::Settings;
use takebook::songlog;
use takebook::songlog::song::Song;

/// Reads the bytes; gives the song they make, if they make one that `draft` would write.
pub fn read_back(kind: Kind, bytes: &[u8]) -> Option<Song> {
    let taken = match read(kind, bytes, &Settings::default()) {
        Ok(taken) => taken,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            return None;
        }
    };
    let record = kind.record("fuzzed".into(), bytes.len() as u64);
    let log = taken.into_log(record, "2031-05-02T18:30:00Z".into(), Vec::new());
    // `draft` writes no log that makes no sense, and says where
    songlog::validate::sense(&log).ok()?;
    let path = Path::new("fuzzed.takebook");
    let written = songlog::write(&log);
    let again = songlog::read(path, &written).unwrap_or_else(|e| panic!("{e}\n{written}"));
    assert_eq!(songlog::write(&again), written);
    let song = songlog::resolve(&again);
    takebook::checking::read_chart(&song);
    Some(song)
}
