//! Labels in time, tab separated: start, end, label, one chord a line.
//!
//! # Source
//! Label syntax: Harte et al., ISMIR 2005. Three columns, times in s with six
//! decimals: the form that the field's evaluation libraries read.

use crate::songlog::song::Song;
use std::fmt::Write;

/// All chords of a song.
pub(super) fn write(song: &Song) -> String {
    let mut text = String::new();
    for span in &song.spans {
        // writing to a string cannot fail
        let _ = writeln!(
            text,
            "{:.6}\t{:.6}\t{}",
            span.start_s,
            span.end_s,
            span.label.label()
        );
    }
    text
}
