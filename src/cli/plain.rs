//! Names and texts of others as a terminal may show them.
//!
//! A file may be called anything, and a log may come from anyone: what would
//! end a line, move the cursor or turn the reading direction is spelled out.

use std::fmt::Write;
use std::path::Path;

/// The text with every character spelled out that is no plain character of a line: `\\n`, `\\u{1b}`.
pub(crate) fn one_line(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\n' => plain.push_str("\\n"),
            '\r' => plain.push_str("\\r"),
            '\t' => plain.push_str("\\t"),
            c if c.is_control() || turns(c) => {
                // writing to a text cannot fail
                let _ = write!(plain, "\\u{{{:x}}}", u32::from(c));
            }
            c => plain.push(c),
        }
    }
    plain
}

/// Whether a character turns the reading direction of what follows (Unicode Standard
/// Annex 9: explicit embeddings, overrides and isolates).
fn turns(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A file's name as it is shown.
pub(crate) fn shown(path: &Path) -> String {
    one_line(&path.to_string_lossy())
}

/// A file's name as it can be typed after a command: quoted where a shell would
/// read it otherwise (POSIX.1-2017, Shell Command Language, 2.2 Quoting).
pub(crate) fn shell_word(path: &Path) -> String {
    let text = shown(path);
    let plain = |c: char| c.is_alphanumeric() || "/._-+,:@%=".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        return text;
    }
    format!("'{}'", text.replace('\'', r"'\''"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_steer_a_terminal_is_spelled_out() {
        assert_eq!(one_line("café ♯ 日本"), "café ♯ 日本");
        assert_eq!(one_line("a\nb\tc\r"), "a\\nb\\tc\\r");
        assert_eq!(one_line("\x1b[31mred\u{7}"), "\\u{1b}[31mred\\u{7}");
        assert_eq!(
            one_line("\u{9b}31m \u{202e}gnos"),
            "\\u{9b}31m \\u{202e}gnos"
        );
    }

    #[test]
    fn names_are_quoted_for_a_shell() {
        let word = |text: &str| shell_word(Path::new(text));
        assert_eq!(word("songs/café-2.takebook"), "songs/café-2.takebook");
        assert_eq!(word("my song.takebook"), "'my song.takebook'");
        assert_eq!(word("it's; rm"), r"'it'\''s; rm'");
        assert_eq!(word("two\nlines"), "'two\\nlines'");
    }
}
