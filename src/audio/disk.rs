//! Room on a disk.

use std::path::Path;

/// Bytes that can still be written in the folder of a file; none where the system does not say.
pub fn free_bytes(path: &Path) -> Option<u64> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    in_folder(folder)
}

#[cfg(unix)]
fn in_folder(folder: &Path) -> Option<u64> {
    let about = rustix::fs::statvfs(folder).ok()?;
    about.f_bavail.checked_mul(about.f_frsize)
}

#[cfg(not(unix))]
fn in_folder(_folder: &Path) -> Option<u64> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_has_room_and_one_that_is_not_there_says_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let room = free_bytes(&folder.path().join("take.wav"));
        assert_eq!(room.is_some(), cfg!(unix));
        assert!(room.is_none_or(|bytes| bytes > 0));
        assert_eq!(free_bytes(&folder.path().join("no/take.wav")), None);
    }
}
