//! README shows what the program says. Checked are the commands that answer
//! from the keyboard; what is heard in the demo take changes with hearing and
//! is made anew by running README's commands in their order.

use crate::outside;

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
