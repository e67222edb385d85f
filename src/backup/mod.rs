//! A folder of songs as one archive (ZIP), and back.
//!
//! [`pack()`] writes every song of a folder with the recordings that it names, wherever they lie,
//! and what else lies in the folder; [`unpack()`] puts an archive into a new folder, or into one
//! that is there without replacing a file. Files stream through: none is held in memory whole.
//!
//! `contents` says what goes in, `names` what a file of an archive may be called.
//! Not here: the side folder `.takebook` (kept copies and locks stay where they are).
//!
//! # Source
//! PKWARE, APPNOTE.TXT 6.3 (from memory), by the crate `zip`.

mod contents;
mod error;
mod names;
mod pack;
mod unpack;

pub use contents::{Kind, Moved};
pub use error::BackupError;
pub use pack::{Packed, pack};
pub use unpack::{Unpacked, unpack};

/// Bytes that are copied at a time.
const BLOCK: usize = 256 * 1024;

/// Called with the bytes of each block that went through; false stops the work.
pub type Going<'a> = &'a dyn Fn(u64) -> bool;
