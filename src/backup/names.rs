//! What a file of an archive may be called.

use std::path::{Path, PathBuf};

/// The longest name of a file or folder, bytes, as most disks have it.
const LONGEST: usize = 255;
/// Folders within folders.
const DEEPEST: usize = 16;

/// What is made of a name.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Name {
    /// Where the file goes, below the folder.
    Below(PathBuf),
    /// It is left out: hidden, or what other programs add for themselves.
    Hidden,
}

/// Where a file of this name goes; folders are parted by `/`.
///
/// # Errors
/// In words, for a name that leads out of the folder or that no file should have.
pub(super) fn admitted(name: &str) -> Result<Name, &'static str> {
    let parts: Vec<&str> = name.trim_end_matches('/').split('/').collect();
    let is_odd = |c: char| {
        c.is_control() || c == '\\' || c == '\u{fffd}' || (cfg!(windows) && "<>:\"|?*".contains(c))
    };
    if name.starts_with('/') || is_drive(name) {
        return Err("names a place of its own on the disk");
    }
    if parts.contains(&"..") {
        return Err("leads out of the folder");
    }
    if parts.iter().any(|p| p.is_empty() || *p == ".") {
        return Err("has an empty part in its name");
    }
    if name.contains(is_odd) {
        return Err("has a sign in its name that no file name should have");
    }
    if parts.iter().any(|p| p.len() > LONGEST) || parts.len() > DEEPEST {
        return Err("has too long a name");
    }
    if parts.iter().any(|p| p.starts_with('.') || *p == "__MACOSX") {
        return Ok(Name::Hidden);
    }
    Ok(Name::Below(parts.iter().collect()))
}

/// `C:` and the like.
fn is_drive(name: &str) -> bool {
    let mut signs = name.chars();
    signs.next().is_some_and(|c| c.is_ascii_alphabetic()) && signs.next() == Some(':')
}

/// A path below a folder as a name of the archive, if it may be one.
pub(super) fn of_path(path: &Path) -> Option<String> {
    let parts: Option<Vec<&str>> = path.components().map(|c| c.as_os_str().to_str()).collect();
    let name = parts?.join("/");
    matches!(admitted(&name), Ok(Name::Below(_))).then_some(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_lead_out_or_make_no_sense_are_refused() {
        for odd in [
            "../a.wav",
            "a/../../b",
            "/etc/passwd",
            "C:a",
            "c:/a",
            "a//b",
            "./a",
            "a/./b",
            "",
            "..",
            "a\\b",
            "a\0b",
            "a\nb",
            "\u{fffd}.wav",
        ] {
            assert!(admitted(odd).is_err(), "{odd:?}");
        }
        let long = "x".repeat(256);
        let deep = "a/".repeat(17) + "b";
        assert!(admitted(&long).is_err() && admitted(&deep).is_err());
        for hidden in [".takebook/a.lock", "a/.x", "__MACOSX/a"] {
            assert_eq!(admitted(hidden), Ok(Name::Hidden), "{hidden}");
        }
        for plain in ["évening.wav", "recordings/a b.wav", "a…b", "x..y"] {
            assert_eq!(admitted(plain), Ok(Name::Below(plain.into())), "{plain}");
        }
        assert_eq!(
            of_path(Path::new("takes/a.wav")).as_deref(),
            Some("takes/a.wav")
        );
        assert_eq!(of_path(Path::new("../a.wav")), None);
    }
}
