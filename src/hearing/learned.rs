//! Learned numbers: files beside the nets, read into structs whose fields must all be there.
//!
//! The files are part of the program. One with a name too many, too few or misspelled is a
//! fault of the build: reading it says which and where, and a test reads them all.

use serde::de::DeserializeOwned;

/// The numbers of a built-in file.
///
/// # Panics
/// If the file does not say exactly the fields of `T`.
pub(in crate::hearing) fn read<T: DeserializeOwned>(name: &str, text: &str) -> T {
    parse(text).unwrap_or_else(|e| panic!("src/hearing/weights/{name}: {e}"))
}

fn parse<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    let mut json = serde_json::Deserializer::from_str(text);
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
        assert!(parse::<BeatNumbers>(text).is_ok());
        for (wrong, says) in [
            (text.replace("\"change_off\"", "\"change_of\""), "change_of"),
            (text.replace("\"skips\": -3.9255,", ""), "skips"),
        ] {
            assert_ne!(wrong, text);
            let error = parse::<BeatNumbers>(&wrong).err().unwrap_or_default();
            assert!(error.contains(says), "{error}");
        }
    }
}
