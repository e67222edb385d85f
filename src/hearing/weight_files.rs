//! The files of learned numbers: built into the program, or, for programs that try new ones, a folder's.

use std::sync::OnceLock;

/// A file of `weights/`, whose making its manifest describes (`docs/training/README.md`).
pub(in crate::hearing) struct WeightFile {
    pub(in crate::hearing) name: &'static str,
    built_in: &'static [u8],
}

macro_rules! weight_files {
    ($($id:ident: $name:literal,)*) => {
        $(pub(in crate::hearing) static $id: WeightFile = WeightFile {
            name: $name,
            built_in: include_bytes!(concat!("weights/", $name)),
        };)*

        /// All of them.
        static ALL: &[&WeightFile] = &[$(&$id),*];

        /// The names of all files of learned numbers that are built in.
        pub const WEIGHT_FILES: &[&str] = &[$($name),*];
    };
}

weight_files! {
    FILE_FRONT: "acoustic-front.onnx",
    FILE_BACK: "acoustic-back.onnx",
    LIVE_FRONT: "live-front.onnx",
    LIVE_BACK: "live-back.onnx",
    SONGS_FRONT: "songs-front.onnx",
    SONGS_BACK: "songs-back.onnx",
    SONGS_PULSE: "songs-pulse.onnx",
    NOTE_CLASSIFIER: "notes.bin",
    STRUM_CLASSIFIER: "strums.bin",
    BEATS: "beats.json",
    BEAT_SEARCH: "beat_search.json",
    BAR_POINTER: "bar-pointer.json",
    COUNT_CHOICE: "count-choice.json",
    CHORDS: "chords.json",
    CANDIDATES: "candidates.json",
    NOTES: "notes.json",
    PLUCKS: "plucks.json",
    SHAPES: "shapes.json",
    CAPO: "capo.json",
    SECTIONS: "sections.json",
    SONG_LEVEL: "song-level.json",
    SEGMENTS: "segments.json",
    CLOCK: "clock.json",
    KEYS: "keys.json",
    BARS: "bars.json",
    PULSE: "pulse.json",
    STRUM_WINDOW: "strum-window.json",
    DOUBTS: "doubts.json",
}

/// What stands in for built-in files: names and contents.
static TRIED: OnceLock<Vec<(String, &'static [u8])>> = OnceLock::new();

/// Lets files stand in for built-in ones of the same name, for the whole process.
///
/// # Errors
/// The name that no file has, the classifier of another length, or that files stand in already.
pub(in crate::hearing) fn stand_in(files: Vec<(String, Vec<u8>)>) -> Result<(), String> {
    for (name, bytes) in &files {
        let Some(known) = ALL.iter().find(|f| f.name == name) else {
            return Err(format!(
                "no weights file is called '{name}'; known: {}",
                WEIGHT_FILES.join(", ")
            ));
        };
        let (found, expected) = (bytes.len(), known.built_in.len());
        if name.ends_with(".bin") && found != expected {
            return Err(format!("{name} has {found} bytes, expected {expected}"));
        }
    }
    // they live as long as the process, as the built-in ones do
    let kept = files
        .into_iter()
        .map(|(name, bytes)| (name, &*bytes.leak()));
    TRIED
        .set(kept.collect())
        .map_err(|_| "other weights stand in already".to_owned())
}

impl WeightFile {
    /// Its content.
    pub(in crate::hearing) fn bytes(&self) -> &'static [u8] {
        let tried = TRIED.get().map(Vec::as_slice).unwrap_or_default();
        tried
            .iter()
            .find(|(name, _)| name == self.name)
            .map_or(self.built_in, |(_, bytes)| bytes)
    }
}
