//! The files of learned numbers: built into the program, or, for programs that try new ones, a folder's.

use std::sync::OnceLock;

/// A file of `weights/`, whose making its manifest describes (`docs/training/README.md`).
pub(super) struct WeightFile {
    name: &'static str,
    built_in: &'static [u8],
}

macro_rules! weight_files {
    ($($id:ident: $name:literal,)*) => {
        $(pub(super) static $id: WeightFile = WeightFile {
            name: $name,
            built_in: include_bytes!(concat!("weights/", $name)),
        };)*

        /// The names of all files of learned numbers that are built in.
        pub const WEIGHT_FILES: &[&str] = &[$($name),*];
    };
}

weight_files! {
    FILE_FRONT: "acoustic-front.onnx",
    FILE_BACK: "acoustic-back.onnx",
    LIVE_FRONT: "live-front.onnx",
    LIVE_BACK: "live-back.onnx",
    NOTES: "notes.bin",
    STRUMS: "strums.bin",
}

/// What stands in for built-in files: names and contents.
static TRIED: OnceLock<Vec<(String, &'static [u8])>> = OnceLock::new();

/// Lets files stand in for built-in ones of the same name, for the whole process.
///
/// Only for programs that try newly made weights; to be called before anything is heard.
/// Takes names of [`WEIGHT_FILES`] with their contents, which must be as long as the
/// built-in ones unless they are nets.
///
/// # Errors
/// The name that no file has, or the file whose length no classifier reads, or that
/// weights were set before.
pub fn try_weights(files: Vec<(String, Vec<u8>)>) -> Result<(), String> {
    let all = [
        &FILE_FRONT,
        &FILE_BACK,
        &LIVE_FRONT,
        &LIVE_BACK,
        &NOTES,
        &STRUMS,
    ];
    for (name, bytes) in &files {
        let known = all.iter().find(|f| f.name == name);
        let Some(known) = known else {
            return Err(format!(
                "no weights file is called '{name}'; known: {}",
                WEIGHT_FILES.join(", ")
            ));
        };
        if !name.ends_with(".onnx") && bytes.len() != known.built_in.len() {
            let (found, expected) = (bytes.len(), known.built_in.len());
            return Err(format!("{name} has {found} bytes, expected {expected}"));
        }
    }
    // they live as long as the process, as the built-in ones do
    let kept = files
        .into_iter()
        .map(|(name, bytes)| (name, &*bytes.leak()));
    TRIED
        .set(kept.collect())
        .map_err(|_| "weights were set before".to_owned())
}

impl WeightFile {
    /// Its content.
    pub(super) fn bytes(&self) -> &'static [u8] {
        let tried = TRIED.get().map(Vec::as_slice).unwrap_or_default();
        tried
            .iter()
            .find(|(name, _)| name == self.name)
            .map_or(self.built_in, |(_, bytes)| bytes)
    }
}
