//! What an XML document may hold before it is parsed at all.
//!
//! The parser compares each attribute with all others of its element, and each
//! namespace with all those in force, so that a small file could take hours. One
//! pass over the bytes, linear in their number, refuses such files first. A
//! score has at most a few dozen attributes on an element, one or two namespaces
//! and no entities.

/// The most attributes that one element may have.
const MAX_ATTRIBUTES: usize = 100;
/// The most namespaces that a document may declare.
const MAX_NAMESPACES: usize = 100;

/// Whether a document is within the bounds.
///
/// # Errors
/// In words, with the line where it goes beyond them.
pub(super) fn check(text: &str) -> Result<(), String> {
    let bytes = text.as_bytes();
    let line = |at: usize| 1 + bytes[..at].iter().filter(|b| **b == b'\n').count();
    let (mut at, mut n_namespaces) = (0, 0);
    while let Some(open) = find(bytes, at, b"<") {
        let rest = &bytes[open..];
        at = if rest.starts_with(b"<!--") {
            after(bytes, open + 4, b"-->")
        } else if rest.starts_with(b"<![CDATA[") {
            after(bytes, open + 9, b"]]>")
        } else if rest.starts_with(b"<?") {
            after(bytes, open + 2, b"?>")
        } else if rest.starts_with(b"<!ENTITY") {
            return Err(format!(
                "line {}: it defines entities, which a score does not need; save it again with the program that made it",
                line(open)
            ));
        } else if rest.starts_with(b"<!") {
            // declarations nest: go on behind the opening
            open + 2
        } else {
            let (end, n_attributes, n_here) = tag(bytes, open + 1);
            n_namespaces += n_here;
            if n_attributes > MAX_ATTRIBUTES {
                return Err(format!(
                    "line {}: an element has more than {MAX_ATTRIBUTES} attributes",
                    line(open)
                ));
            }
            if n_namespaces > MAX_NAMESPACES {
                return Err(format!(
                    "line {}: it declares more than {MAX_NAMESPACES} namespaces",
                    line(open)
                ));
            }
            end
        };
    }
    Ok(())
}

/// The end of a tag, how many attributes it has, and how many of them declare namespaces.
fn tag(bytes: &[u8], from: usize) -> (usize, usize, usize) {
    let (mut at, mut n, mut n_namespaces) = (from, 0, 0);
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'>' => return (at + 1, n, n_namespaces),
            b'"' | b'\'' => {
                at = after(bytes, at + 1, std::slice::from_ref(byte));
                n += 1;
            }
            b'x' if bytes[at..].starts_with(b"xmlns") => {
                n_namespaces += 1;
                at += 5;
            }
            _ => at += 1,
        }
    }
    (at, n, n_namespaces)
}

fn find(bytes: &[u8], from: usize, what: &[u8]) -> Option<usize> {
    let rest = bytes.get(from..)?;
    let first = what.first()?;
    let mut at = 0;
    while let Some(next) = rest[at..].iter().position(|b| b == first) {
        if rest[at + next..].starts_with(what) {
            return Some(from + at + next);
        }
        at += next + 1;
    }
    None
}

/// Behind the next `what`, or the end.
fn after(bytes: &[u8], from: usize, what: &[u8]) -> usize {
    find(bytes, from, what).map_or(bytes.len(), |at| at + what.len())
}

#[cfg(test)]
mod tests {
    use super::check;

    #[test]
    fn what_would_take_the_parser_hours_is_refused_with_its_line() {
        let many = |name: &str, n: usize| -> String {
            (0..n).map(|i| format!(" {name}{i}='v'")).collect()
        };
        for (text, part) in [
            (
                format!("<a>\n<b{}/></a>", many("k", 80_000)),
                "line 2: an element has more than 100",
            ),
            (format!("<a{}/>", many("xmlns:n", 101)), "more than 100"),
            (
                (0..200).map(|i| format!("<a xmlns:n{i}='u'>")).collect(),
                "namespaces",
            ),
            (
                "<!DOCTYPE x [\n<!ENTITY a 'b'>]><x/>".into(),
                "line 2: it defines entities",
            ),
        ] {
            let why = check(&text).expect_err("refused");
            assert!(why.contains(part), "{why}");
        }
    }

    #[test]
    fn usual_documents_pass() {
        for text in [
            "<?xml version=\"1.0\"?><!DOCTYPE score-partwise PUBLIC \"-//x//y\" \"z.dtd\"><a b='>' c=\"<\"><!-- <d e='1'> --><![CDATA[<f g='1'>]]></a>",
            "",
            "no markup",
            "<a b='never closed",
        ] {
            assert_eq!(check(text), Ok(()), "{text}");
        }
        let full: String = (0..100).map(|i| format!(" k{i}='v'")).collect();
        assert_eq!(check(&format!("<a{full}/>").repeat(50)), Ok(()));
    }
}
