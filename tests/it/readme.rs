//! README and docs/keyboard.md show what the program prints.
//!
//! Each command is run, in its order, in a folder of its own with the demo takes.
//! After a change of the output write the documents anew and read the difference:
//! `UPDATE_DOCS=1 cargo test --release --test it readme`.

use crate::outside;
use std::path::{Component, Path, PathBuf};

/// Runs the commands that a document shows (`$ takebook …` in a plain block) and
/// gives the document with what they print.
fn with_output(text: &str, dir: &Path) -> (String, usize) {
    let (mut out, mut n) = (String::new(), 0);
    let (mut open, mut inside, mut shown) = (false, false, false);
    for line in text.lines() {
        if line.starts_with("```") {
            open = !open;
            inside = open && line == "```";
            shown = false;
        } else if let Some(command) = line.strip_prefix("$ takebook ").filter(|_| inside) {
            out += &format!("{line}\n{}", printed(command, dir));
            (shown, n) = (true, n + 1);
            continue;
        } else if inside && shown {
            continue;
        }
        out += &format!("{line}\n");
    }
    (out, n)
}

fn printed(command: &str, dir: &Path) -> String {
    let output = outside::takebook()
        .args(words(command))
        .current_dir(dir)
        .output()
        .expect("it runs");
    assert_ne!(output.status.code(), Some(2), "takebook {command}");
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(|line| format!("{}\n", line.trim_end()))
        .collect()
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
fn documents_show_what_the_program_prints() {
    for (name, least) in [("README.md", 6), ("docs/keyboard.md", 4)] {
        let (_keep, dir) = outside::folder();
        std::fs::create_dir(dir.join("fixtures")).expect("writable");
        let take = "fixtures/lantern-porch.wav";
        std::fs::copy(outside::root().join(take), dir.join(take)).expect("a copy");
        let path = outside::root().join(name);
        let text = std::fs::read_to_string(&path).expect(name);
        let (now, n) = with_output(&text, &dir);
        assert!(n >= least, "only {n} commands found in {name}");
        if std::env::var_os("UPDATE_DOCS").is_some() {
            std::fs::write(&path, &now).expect("writable");
        }
        assert_eq!(text, now, "{name}: run with UPDATE_DOCS=1");
    }
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
