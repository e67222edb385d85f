//! Signs of many hands as plain ones, before a symbol is read.

/// Signs that mean the same, each as one plain sign.
pub(super) fn plain(text: &str) -> String {
    text.chars()
        .filter_map(|c| match c {
            '♯' => Some('#'),
            '♭' => Some('b'),
            '−' | '–' | '—' | '‐' | '‑' => Some('-'),
            'Δ' | '△' | '∆' | '^' => Some('Δ'),
            'ø' | 'Ø' | '∅' => Some('ø'),
            '°' | 'º' | '˚' => Some('°'),
            '\\' => Some('/'),
            '[' => Some('('),
            ']' => Some(')'),
            '♮' => None,
            other => Some(other),
        })
        .collect()
}

/// A symbol without the brackets or the full stop that stand round it in running text.
pub(super) fn unwrapped(text: &str) -> &str {
    let inner = [("[", "]"), ("(", ")")]
        .into_iter()
        .find_map(|(open, close)| {
            let inner = text.strip_prefix(open)?.strip_suffix(close)?;
            (!inner.contains(['(', ')', '[', ']'])).then_some(inner)
        });
    let text = inner.unwrap_or(text);
    text.strip_suffix('.').unwrap_or(text)
}

/// An accidental in words behind the root as its sign: `E flat sus4`.
pub(in crate::theory) fn as_signs(text: &str) -> String {
    let Some(root) = text
        .get(..1)
        .filter(|root| root.as_bytes()[0].is_ascii_alphabetic())
    else {
        return text.to_owned();
    };
    let rest = text[1..].trim_start_matches([' ', '-']);
    for (word, sign) in [("flat", "b"), ("sharp", "#")] {
        if starts_without_case(rest, word) {
            return format!("{root}{sign}{}", rest[word.len()..].trim_start());
        }
    }
    text.to_owned()
}

/// Whether a text begins with a word, in large letters or small.
pub(super) fn starts_without_case(text: &str, word: &str) -> bool {
    text.get(..word.len())
        .is_some_and(|head| head.eq_ignore_ascii_case(word))
}
