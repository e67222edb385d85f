//! Text made safe for HTML, SVG and XML.

/// Escapes the five signs of markup; control characters that XML 1.0 forbids become U+FFFD.
///
/// # Source
/// W3C, Extensible Markup Language 1.0, fifth edition, sections 2.2 and 4.6.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\r' | '\t' => out.push(' '),
            '\u{0}'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{fffe}' | '\u{ffff}' => {
                out.push('\u{fffd}');
            }
            c => out.push(c),
        }
    }
    out
}

/// A text on one line: line ends and other control characters become blanks.
pub(super) fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}
