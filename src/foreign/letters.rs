//! Letters of sections: those that a file gives, and those that are free.

use std::collections::HashSet;

/// A heading as its letter and its name: `A Verse`, `B`, `Chorus`.
pub(super) fn heading(text: &str) -> (Option<String>, Option<String>) {
    let text = text.trim();
    let (first, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let mut signs = first.chars();
    let letter = signs.next().is_some_and(|c| c.is_ascii_uppercase())
        && signs.all(|c| c.is_ascii_digit() || matches!(c, '\'' | '′'))
        && first.chars().count() <= 3;
    if letter {
        let rest = rest.trim();
        (
            Some(first.into()),
            (!rest.is_empty()).then(|| rest.to_owned()),
        )
    } else {
        (None, (!text.is_empty()).then(|| text.to_owned()))
    }
}

/// `A` to `Z`, then `A2` and so on, less those that are used.
pub(super) fn free_letters(used: &HashSet<String>) -> impl Iterator<Item = String> {
    (1u32..)
        .flat_map(|round| {
            ('A'..='Z').map(move |c| match round {
                1 => c.to_string(),
                n => format!("{c}{n}"),
            })
        })
        .filter(|letter| !used.contains(letter))
}
