//! Takes of a folder for programs that measure hearing: NAME.wav, and what a
//! user would tell of it in NAME.truth.json (`capo`, and `tuning_offsets`:
//! semitones each string is away from standard tuning, low to high).

use serde::Serialize;
use serde_json::Value;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use takebook::fretboard::{Instrument, Tuning};
use takebook::hearing::{Given, Listener, Sound, WEIGHT_FILES, try_weights};

/// The WAV files of a folder, by name.
///
/// # Errors
/// The folder cannot be read.
pub(crate) fn of(folder: &Path) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    files.retain(|f| f.extension().is_some_and(|e| e == "wav"));
    files.sort();
    Ok(files)
}

/// How the guitar is set up: fret of the capo, and semitones off standard tuning.
pub(crate) struct SetUp {
    pub(crate) capo: u8,
    pub(crate) offsets: Vec<i64>,
}

impl SetUp {
    /// What is told of a take; standard tuning without a capo where nothing is.
    ///
    /// # Errors
    /// What is told cannot be read.
    pub(crate) fn of(file: &Path) -> Result<Self, Box<dyn Error>> {
        let truth = file.with_extension("truth.json");
        let value: Value = match truth.exists() {
            true => serde_json::from_str(&std::fs::read_to_string(truth)?)?,
            false => Value::Null,
        };
        let offsets = value["tuning_offsets"].as_array();
        let offsets = offsets.map_or(vec![0; 6], |all| {
            all.iter().filter_map(Value::as_i64).collect()
        });
        let capo = u8::try_from(value["capo"].as_u64().unwrap_or(0))?;
        Ok(Self { capo, offsets })
    }

    /// It as hearing is told it.
    ///
    /// # Errors
    /// No guitar is tuned so.
    pub(crate) fn given(&self) -> Result<Given, Box<dyn Error>> {
        let standard = Tuning::standard();
        let open = standard.open().iter().zip(&self.offsets);
        let open: Result<Vec<u8>, _> = open
            .map(|(midi, off)| u8::try_from(i64::from(*midi) + off))
            .collect();
        let instrument = Instrument {
            tuning: Tuning::new(open?)?,
            capo: self.capo,
            ..Instrument::default()
        };
        Ok(Given {
            instrument,
            ..Given::default()
        })
    }
}

/// Names the folder whose weights files stand in for the built-in ones.
const WEIGHTS: &str = "TAKEBOOK_WEIGHTS";

/// Lets the weights of the folder in [`WEIGHTS`], if it is set, stand in for the built-in ones.
///
/// # Errors
/// A file cannot be read or used.
pub(crate) fn other_weights() -> Result<(), String> {
    static DONE: OnceLock<Result<(), String>> = OnceLock::new();
    let read = || {
        let Some(folder) = std::env::var_os(WEIGHTS).map(PathBuf::from) else {
            return Ok(());
        };
        let mut files = Vec::new();
        for name in WEIGHT_FILES {
            let path = folder.join(name);
            if path.exists() {
                let bytes = std::fs::read(&path).map_err(|e| format!("{}: {e}", path.display()))?;
                files.push(((*name).to_owned(), bytes));
            }
        }
        if files.is_empty() {
            return Err(format!(
                "{WEIGHTS}: no weights file in '{}'",
                folder.display()
            ));
        }
        try_weights(files)
    };
    DONE.get_or_init(read).clone()
}

/// What sounds in a take.
///
/// # Errors
/// The file cannot be read or heard, or other weights cannot be used.
pub(crate) fn sound(file: &Path) -> Result<Sound, Box<dyn Error>> {
    other_weights()?;
    let mut listener = Listener::new();
    let mut source = takebook::audio::open(file)?;
    source.read_mono_22050(&mut |block| listener.push(block), &|_| {})?;
    Ok(listener.finish(&|_| true)?)
}

/// Takes `--out FOLDER` out of some arguments.
///
/// # Errors
/// No folder is said.
#[allow(dead_code, reason = "only programs that fit weights write any")]
pub(crate) fn out_folder(arguments: &mut Vec<String>) -> Result<Option<PathBuf>, Box<dyn Error>> {
    let Some(at) = arguments.iter().position(|a| a == "--out") else {
        return Ok(None);
    };
    let folder = arguments
        .get(at + 1)
        .cloned()
        .ok_or("--out needs a folder")?;
    arguments.drain(at..at + 2);
    Ok(Some(folder.into()))
}

/// Writes a file of numbers into a folder.
///
/// # Errors
/// It cannot be written.
#[allow(dead_code, reason = "only programs that fit weights write any")]
pub(crate) fn write_numbers(
    folder: &Path,
    name: &str,
    numbers: &impl Serialize,
) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(folder)?;
    let text = serde_json::to_string_pretty(numbers)? + "\n";
    std::fs::write(folder.join(name), text)?;
    Ok(())
}
