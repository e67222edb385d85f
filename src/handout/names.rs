//! What the files of a week are called.

use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap, HashSet};

/// The longest part of a name, characters.
const LONGEST: usize = 60;

/// Names that were given, each once.
#[derive(Debug, Default)]
pub(super) struct Names {
    /// A student's folder, by the name in small letters.
    folders: HashMap<String, String>,
    /// How a student's name is written, by the name in small letters.
    spelled: HashMap<String, String>,
    taken: HashSet<String>,
}

impl Names {
    /// For students whose names are written so; each gets the spelling that comes most often, of
    /// equally many the one with capitals.
    pub(super) fn for_students<'a>(spelled: impl Iterator<Item = &'a str>) -> Self {
        let mut often: BTreeMap<&str, usize> = BTreeMap::new();
        for name in spelled.map(str::trim) {
            *often.entry(name).or_default() += 1;
        }
        // capitals come before small letters
        let mut all: Vec<(&str, usize)> = often.into_iter().collect();
        all.sort_by_key(|(_, n)| Reverse(*n));
        let mut names = Self::default();
        for (name, _) in all {
            let spelled = names.spelled.entry(name.to_lowercase());
            spelled.or_insert_with(|| name.to_owned());
        }
        names
    }

    /// `Robin/Harbor Lamp - Beginner`, without an ending; with a number where two would be one.
    pub(super) fn of(&mut self, student: &str, title: &str, version: &str) -> String {
        let key = student.trim().to_lowercase();
        let folder = self.folders.get(&key).cloned().unwrap_or_else(|| {
            let is_free = |name: &String| {
                let mut others = self.folders.values();
                !others.any(|other| other.to_lowercase() == name.to_lowercase())
            };
            let spelled = self.spelled.get(&key).map_or(student, String::as_str);
            let plain = plain(spelled, "student");
            numbered(&plain).find(is_free).unwrap_or(plain)
        });
        self.folders.insert(key, folder.clone());
        let name = format!(
            "{folder}/{} - {}",
            plain(title, "song"),
            plain(version, "version")
        );
        let is_free = |name: &String| !self.taken.contains(&name.to_lowercase());
        let name = numbered(&name).find(is_free).unwrap_or(name);
        self.taken.insert(name.to_lowercase());
        name
    }

    pub(super) fn n_students(&self) -> usize {
        self.folders.len()
    }
}

/// `name`, `name 2`, `name 3`, …
fn numbered(name: &str) -> impl Iterator<Item = String> + use<> {
    let name = name.to_owned();
    std::iter::once(name.clone()).chain((2..10_000).map(move |n| format!("{name} {n}")))
}

/// A text with the signs that a file name may have on every disk.
fn plain(text: &str, empty: &str) -> String {
    let usable = |c: char| c.is_alphanumeric() || " -_(),'&+".contains(c);
    let name: String = text
        .chars()
        .take(LONGEST)
        .map(|c| if usable(c) { c } else { '-' })
        .collect();
    match name.trim_matches([' ', '-']) {
        "" => empty.into(),
        name => name.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_plain_and_each_is_given_once() {
        let mut names = Names::default();
        let mut check = |student: &str, title: &str, version: &str, expected: &str| {
            assert_eq!(names.of(student, title, version), expected);
        };
        check(
            "Robin",
            "Harbor Lamp",
            "Beginner",
            "Robin/Harbor Lamp - Beginner",
        );
        check(
            "robin",
            "Harbor Lamp",
            "Beginner",
            "Robin/Harbor Lamp - Beginner 2",
        );
        check("Zoë", "Été ♭", "a/b", "Zoë/Été - a-b");
        check("../..", "..", "", "student/song - version");
        check("/", "C:\\x", ".", "student 2/C--x - version");
        assert_eq!(names.n_students(), 4);
    }
}
