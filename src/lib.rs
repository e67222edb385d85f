//! Takebook hears a guitar take, proposes its chords with reasons, lets a
//! person confirm them, and delivers a chart.
//!
//! Rooms, in reading order:
//!
//! * [`theory`] knows music: pitch classes, chord qualities, labels, keys.
//! * [`fretboard`] knows instruments and hands: tunings, capo, shapes.
//! * [`units`] are seconds, hertz and sample rates as types.
//! * [`audio`] turns files into mono samples; the only room that knows decoders.
//! * [`voice`] is the project's own plucked string.
//! * [`hearing`] turns samples into notes, beats and chord proposals; pure.
//! * [`songlog`] keeps what was heard and what was decided apart.
//! * [`deciding`] turns what a person wants into decisions, saved.
//! * [`playback`] makes a stretch of a take and its chords ready to be heard.
//! * [`drafting`] joins sound, hearing and the log.
//! * [`foreign`] takes files of other programs in.
//! * [`chart`] writes a song in each format.
//! * [`checking`] holds a chart against itself and against a take.
//! * [`grading`] measures one timeline against another.
//! * `desk` serves one log and its take to a page on this machine (feature `desk`).
//! * [`cli`] is the command line.
//!
//! ```
//! use takebook::theory::Chord;
//! let chord: Chord = "C#:hdim7/b5".parse().unwrap();
//! assert_eq!(chord.symbol(), "C♯m7♭5/G");
//! ```

pub mod audio;
pub mod backup;
pub mod chart;
pub mod checking;
pub mod cli;
pub mod deciding;
#[cfg(feature = "desk")]
pub mod desk;
pub mod drafting;
pub mod foreign;
pub mod fretboard;
pub mod grading;
pub mod handout;
pub mod hearing;
pub mod playback;
pub mod songlog;
pub mod take;
pub mod theory;
pub mod units;
pub mod voice;
