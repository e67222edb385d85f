//! Learned numbers: files beside the nets, read into structs whose fields must all be there.
//!
//! The files are part of the program. One with a name too many, too few or misspelled is a
//! fault of the build: reading it says which and where, and a test reads them all.

use crate::hearing::weight_files::WeightFile;
use serde::de::DeserializeOwned;

/// The numbers of a file.
///
/// # Panics
/// If a built-in file does not say exactly the fields of `T`.
pub(in crate::hearing) fn read<T: DeserializeOwned>(file: &WeightFile) -> T {
    parse(file.bytes()).unwrap_or_else(|e| panic!("src/hearing/weights/{}: {e}", file.name))
}

/// Numbers as a file says them.
///
/// # Errors
/// The field that is missing, unknown or no number, and where.
pub(in crate::hearing) fn parse<T: DeserializeOwned>(text: &[u8]) -> Result<T, String> {
    let mut json = serde_json::Deserializer::from_slice(text);
    let read = serde_path_to_error::deserialize(&mut json).map_err(|e| e.to_string())?;
    json.end().map_err(|e| e.to_string())?;
    Ok(read)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::rhythm::beat_numbers::{BeatNumbers, beat_numbers};
    use crate::hearing::weights::Weights;

    #[test]
    fn every_file_has_all_its_numbers() {
        assert!(Weights::default().temperature > 0.0);
        assert!(beat_numbers().rank.values().iter().all(|w| w.is_finite()));
    }

    #[test]
    fn a_name_missing_or_misspelled_is_an_error() {
        let text = include_str!("weights/beats.json");
        assert!(parse::<BeatNumbers>(text.as_bytes()).is_ok());
        for (wrong, says) in [
            (text.replace("\"change_off\"", "\"change_of\""), "change_of"),
            (text.replace("\"skips\": -3.9255,", ""), "skips"),
        ] {
            assert_ne!(wrong, text);
            let error = parse::<BeatNumbers>(wrong.as_bytes())
                .err()
                .unwrap_or_default();
            assert!(error.contains(says), "{error}");
        }
    }
}
