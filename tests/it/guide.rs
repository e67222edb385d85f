//! Every command of docs/guide.md, run in its order as a reader would.

use crate::outside::{folder, root, takebook};

/// Commands of the guide's `sh` blocks, with the exit code each says, else 0.
fn commands(guide: &str) -> Vec<(String, i32)> {
    let mut inside = false;
    let mut all = Vec::new();
    for line in guide.lines() {
        if line.starts_with("```") {
            inside = line == "```sh";
        } else if let Some(command) = line.strip_prefix("takebook ").filter(|_| inside) {
            let (words, said) = command.split_once('#').unwrap_or((command, ""));
            let code = said.trim().strip_prefix("exit code ");
            let code = code.map_or(0, |code| code.parse().expect("an exit code"));
            all.push((words.trim().to_owned(), code));
        } else {
            assert!(!inside, "a line of a block that is no command: {line}");
        }
    }
    all
}

#[test]
fn the_guide_can_be_followed_from_the_take_to_paper() {
    let guide = std::fs::read_to_string(root().join("docs/guide.md")).expect("docs/guide.md");
    let (_keep, dir) = folder();
    std::fs::create_dir(dir.join("fixtures")).expect("writable");
    let take = "fixtures/lantern-porch.wav";
    std::fs::copy(root().join(take), dir.join(take)).expect("copied");
    let commands = commands(&guide);
    assert!(commands.len() >= 15, "only {} commands", commands.len());
    for (words, expected) in &commands {
        let output = takebook()
            .args(crate::readme::words(words))
            .current_dir(&dir)
            .output()
            .expect("it runs");
        let said =
            String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
        assert_eq!(
            output.status.code(),
            Some(*expected),
            "takebook {words}:\n{said}"
        );
        let mut after = words.split_whitespace().skip_while(|w| *w != "-o").skip(1);
        if let Some(file) = after.next() {
            let size = std::fs::metadata(dir.join(file)).map_or(0, |m| m.len());
            assert!(size > 500, "takebook {words}: {file} has {size} bytes");
        }
    }
}
