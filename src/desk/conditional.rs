//! Conditional and partial requests, RFC 9110 sections 13 and 14. Pure.
//!
//! Every resource here has a strong entity tag and no modification date, so
//! that the dated conditions do not apply (13.1.3 and 13.1.4 say to ignore
//! them) and `If-Range` with a date never matches (13.1.5).

use axum::http::{HeaderMap, HeaderName, Method, header};

/// What part of a representation to send.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// All of it, 200.
    Whole,
    /// Bytes from and to, both included, 206.
    Range(u64, u64),
    /// No byte asked for is there, 416.
    Unsatisfiable,
    /// The client has it already, 304.
    NotModified,
    /// The client wanted another version, 412.
    Failed,
}

/// Which part a request wants of `length` bytes with this tag (quotes included).
pub(super) fn part(method: &Method, headers: &HeaderMap, tag: &str, length: u64) -> Part {
    // in the order of section 13.2.2
    if let Some(wanted) = list(headers, header::IF_MATCH)
        && !matches(&wanted, tag, true)
    {
        return Part::Failed;
    }
    if let Some(known) = list(headers, header::IF_NONE_MATCH)
        && matches(&known, tag, false)
    {
        return Part::NotModified;
    }
    // only GET knows ranges (14.2)
    if *method != Method::GET {
        return Part::Whole;
    }
    let same_version = headers
        .get(header::IF_RANGE)
        .is_none_or(|v| v.as_bytes() == tag.as_bytes());
    match headers.get(header::RANGE).and_then(|v| v.to_str().ok()) {
        Some(range) if same_version => read_range(range, length),
        _ => Part::Whole,
    }
}

fn list(headers: &HeaderMap, name: HeaderName) -> Option<String> {
    let all: Vec<&str> = headers
        .get_all(name)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .collect();
    (!all.is_empty()).then(|| all.join(","))
}

/// Whether a list of tags has this one; `strong` as in section 8.8.3.2.
fn matches(list: &str, tag: &str, strong: bool) -> bool {
    list.split(',').map(str::trim).any(|one| {
        one == "*"
            || one == tag
            || (!strong && one.strip_prefix("W/").is_some_and(|weak| weak == tag))
    })
}

/// `bytes=0-99`, `bytes=100-`, `bytes=-50`; several ranges, other units and
/// what is malformed are ignored, as section 14.2 allows.
fn read_range(text: &str, length: u64) -> Part {
    let Some((unit, ranges)) = text.split_once('=') else {
        return Part::Whole;
    };
    if !unit.trim().eq_ignore_ascii_case("bytes") || ranges.contains(',') {
        return Part::Whole;
    }
    let Some((first, last)) = ranges.trim().split_once('-') else {
        return Part::Whole;
    };
    let number = |t: &str| -> Option<Option<u64>> {
        if t.is_empty() {
            return Some(None);
        }
        // digits only: parse would take a sign; more than fits is beyond any end
        t.bytes()
            .all(|b| b.is_ascii_digit())
            .then(|| Some(t.parse().unwrap_or(u64::MAX)))
    };
    match (number(first), number(last)) {
        (Some(Some(first)), Some(last)) => {
            if last.is_some_and(|last| last < first) {
                Part::Whole
            } else if first >= length {
                Part::Unsatisfiable
            } else {
                Part::Range(first, last.unwrap_or(u64::MAX).min(length - 1))
            }
        }
        (Some(None), Some(Some(n))) => {
            if n == 0 || length == 0 {
                Part::Unsatisfiable
            } else {
                Part::Range(length - n.min(length), length - 1)
            }
        }
        _ => Part::Whole,
    }
}
