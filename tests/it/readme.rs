//! README shows what the program says. Checked are the commands that answer
//! from the keyboard; what is heard in the demo take changes with hearing and
//! is made anew by running README's commands in their order.

use crate::outside;
use std::path::{Component, Path, PathBuf};

/// Commands of README with the output shown under each.
fn shown(readme: &str) -> Vec<(String, String)> {
    let mut list: Vec<(String, String)> = Vec::new();
    let (mut open, mut inside) = (false, false);
    for line in readme.lines() {
        if line.starts_with("```") {
            open = !open;
            inside = open && line == "```";
        } else if let Some(command) = line.strip_prefix("$ takebook ").filter(|_| inside) {
            list.push((command.into(), String::new()));
        } else if let Some((_, output)) = list.last_mut().filter(|_| inside) {
            output.push_str(line);
            output.push('\n');
        }
    }
    list
}

/// Words of a command line; double quotes hold words together.
pub(crate) fn words(command: &str) -> Vec<String> {
    command
        .split('"')
        .enumerate()
        .flat_map(|(i, part)| match i % 2 {
            1 => vec![part.to_owned()],
            _ => part.split_whitespace().map(str::to_owned).collect(),
        })
        .collect()
}

#[test]
fn readme_shows_what_the_program_says() {
    let readme = std::fs::read_to_string(outside::root().join("README.md")).expect("README.md");
    let mut checked = 0;
    for (command, expected) in shown(&readme) {
        let words = words(&command);
        if !matches!(words[0].as_str(), "name" | "imply" | "shapes") {
            continue;
        }
        let output = outside::takebook().args(&words).output().expect("it runs");
        let said: String = String::from_utf8_lossy(&output.stdout)
            .lines()
            .map(|line| format!("{}\n", line.trim_end()))
            .collect();
        assert_eq!(said, expected, "takebook {command}");
        checked += 1;
    }
    assert!(checked >= 4, "only {checked} commands found in README.md");
}

/// The files that the Debian package ships, source and destination, by the list in `Cargo.toml`.
fn shipped(root: &Path) -> Vec<(PathBuf, PathBuf)> {
    let manifest = std::fs::read_to_string(root.join("Cargo.toml")).expect("Cargo.toml");
    let (_, list) = manifest.split_once("\nassets = [").expect("assets");
    let (list, _) = list.split_once("\n]").expect("the end of the list");
    let mut all = Vec::new();
    for line in list.lines().filter(|l| l.contains('"')) {
        let words: Vec<&str> = line.split('"').collect();
        let (from, to) = (Path::new(words[1]), words[3]);
        let (folder, name) = (from.parent().expect("a folder"), from.file_name());
        let name = name.expect("a name").to_string_lossy().into_owned();
        // what is built is not there before it is built
        if from.starts_with("target") {
            continue;
        }
        let files = std::fs::read_dir(root.join(folder)).expect("a folder of the list");
        let mut n = 0;
        for file in files {
            let file = file.expect("an entry").path();
            let own = file
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            let fits = match name.split_once('*') {
                Some((start, end)) => own.starts_with(start) && own.ends_with(end),
                None => own == name,
            };
            if fits && file.is_file() {
                n += 1;
                all.push((file, Path::new("/").join(to).join(own)));
            }
        }
        assert!(n > 0, "{} names no file", from.display());
    }
    all
}

/// Where `](…)` in a document points, as far as it is a file.
fn links(text: &str) -> impl Iterator<Item = &str> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split_once(')'))
        .map(|(link, _)| link.split('#').next().unwrap_or_default())
        .filter(|link| !link.is_empty() && !link.contains("://"))
}

/// A path without `..`, from the words alone.
fn plain(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            Component::ParentDir => {
                out.pop();
            }
            Component::CurDir => {}
            other => out.push(other),
        }
    }
    out
}

#[test]
fn documents_point_at_what_is_there_in_a_clone_and_in_the_package() {
    let root = outside::root();
    let shipped = shipped(root);
    let mut n = 0;
    for (from, to) in &shipped {
        if from.extension().is_none_or(|e| e != "md") {
            continue;
        }
        let text = std::fs::read_to_string(from).expect("a document");
        for link in links(&text) {
            let in_clone = from.parent().expect("a folder").join(link);
            assert!(in_clone.exists(), "{}: no {link}", from.display());
            let wanted = plain(&to.parent().expect("a folder").join(link));
            let there = shipped.iter().any(|(_, to)| to.starts_with(&wanted));
            assert!(there, "{}: the package has no {link}", from.display());
            n += 1;
        }
    }
    assert!(n > 30, "only {n} links");
}
