//! A log as text, and back.
//!
//! Reading looks at the version first, then at every field, then at the sense
//! of it all, and says where it goes wrong.

use super::act::VERSION;
use super::convert::{from_record, to_record};
use super::records::LogRecord;
use super::{Log, LogError, validate};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// What the first field of a log says.
pub(super) const FORMAT: &str = "takebook log";

/// What went wrong, and where in the document.
pub(super) struct Fault {
    pub(super) place: String,
    pub(super) reason: String,
}

/// Reads a log from its text; `path` is only for the words of an error.
///
/// # Errors
/// * [`LogError::NotALog`], [`LogError::Newer`], [`LogError::Wrong`].
pub fn read(path: &Path, text: &str) -> Result<Log, LogError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let record = match serde_json::from_str(text) {
        Ok(record) if is_known(&record) => record,
        // what is wrong, and where, takes several times as long to find out
        _ => read_in_steps(path, text)?,
    };
    let wrong = |fault: Fault| LogError::Wrong {
        path: path.into(),
        place: fault.place,
        reason: fault.reason,
    };
    let log = from_record(record).map_err(wrong)?;
    validate::check(&log).map_err(wrong)?;
    Ok(log)
}

fn is_known(record: &LogRecord) -> bool {
    record.format == FORMAT && (1..=VERSION).contains(&record.version)
}

/// Reads the head, then every field with its place.
fn read_in_steps(path: &Path, text: &str) -> Result<LogRecord, LogError> {
    check_head(path, text)?;
    let mut json = serde_json::Deserializer::from_str(text);
    serde_path_to_error::deserialize(&mut json).map_err(|error| LogError::Wrong {
        path: path.into(),
        place: error.path().to_string(),
        reason: in_words(error.inner()),
    })
}

/// What is wrong with JSON, said plainly; the place is told apart.
fn in_words(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let plain = text.split(" at line ").next().unwrap_or(&text);
    let rest = match error.classify() {
        serde_json::error::Category::Eof => {
            return "the file breaks off in the middle of the song".into();
        }
        serde_json::error::Category::Syntax => "it is not JSON any more: ",
        serde_json::error::Category::Data | serde_json::error::Category::Io => "",
    };
    format!("{rest}{plain}")
}

#[derive(Deserialize)]
struct Head {
    format: Option<serde_json::Value>,
    version: Option<serde_json::Value>,
}

fn check_head(path: &Path, text: &str) -> Result<(), LogError> {
    let not_a_log = |found: &str| LogError::NotALog {
        path: path.into(),
        found: found.into(),
    };
    if text.trim().is_empty() {
        return Err(not_a_log("it is empty"));
    }
    let head: Head = serde_json::from_str(text).map_err(|error| {
        if text.contains(FORMAT) {
            LogError::Wrong {
                path: path.into(),
                place: format!("line {} column {}", error.line(), error.column()),
                reason: in_words(&error),
            }
        } else {
            not_a_log("its content is not JSON")
        }
    })?;
    if head.format.as_ref().and_then(|f| f.as_str()) != Some(FORMAT) {
        return Err(not_a_log("it is JSON of another kind"));
    }
    match head.version.as_ref().and_then(serde_json::Value::as_u64) {
        Some(version) if version > VERSION => Err(LogError::Newer {
            path: path.into(),
            version,
        }),
        Some(1..) => Ok(()),
        _ => Err(LogError::Wrong {
            path: path.into(),
            place: "version".into(),
            reason: format!("expected a whole number from 1 to {VERSION}"),
        }),
    }
}

/// A log as text: JSON, one line for each beat, bar, chord, note and decision.
pub fn write(log: &Log) -> String {
    let mut bytes = Vec::new();
    let mut json = serde_json::Serializer::with_formatter(&mut bytes, Lines::default());
    // plain records of numbers and texts always serialize into memory
    let written = to_record(log).serialize(&mut json);
    debug_assert!(written.is_ok());
    bytes.push(b'\n');
    String::from_utf8(bytes).unwrap_or_default()
}

/// Breaks lines down to the members of the lists in `heard` and `decided`, not within them.
#[derive(Default)]
struct Lines {
    depth: usize,
    has_value: bool,
}

/// How deep lines are broken: document, `heard`, its lists.
const DEEPEST: usize = 3;

impl Lines {
    fn begin<W: ?Sized + std::io::Write>(&mut self, w: &mut W, sign: &[u8]) -> std::io::Result<()> {
        self.depth += 1;
        self.has_value = false;
        w.write_all(sign)
    }

    fn end<W: ?Sized + std::io::Write>(&mut self, w: &mut W, sign: &[u8]) -> std::io::Result<()> {
        self.depth -= 1;
        if self.has_value && self.depth < DEEPEST {
            self.indent(w)?;
        }
        self.has_value = true;
        w.write_all(sign)
    }

    fn item<W: ?Sized + std::io::Write>(&mut self, w: &mut W, first: bool) -> std::io::Result<()> {
        if !first {
            w.write_all(b",")?;
        }
        if self.depth <= DEEPEST {
            self.indent(w)
        } else if first {
            Ok(())
        } else {
            w.write_all(b" ")
        }
    }

    fn indent<W: ?Sized + std::io::Write>(&self, w: &mut W) -> std::io::Result<()> {
        w.write_all(b"\n")?;
        for _ in 0..self.depth {
            w.write_all(b" ")?;
        }
        Ok(())
    }
}

impl serde_json::ser::Formatter for Lines {
    fn begin_array<W: ?Sized + std::io::Write>(&mut self, w: &mut W) -> std::io::Result<()> {
        self.begin(w, b"[")
    }
    fn end_array<W: ?Sized + std::io::Write>(&mut self, w: &mut W) -> std::io::Result<()> {
        self.end(w, b"]")
    }
    fn begin_array_value<W: ?Sized + std::io::Write>(
        &mut self,
        w: &mut W,
        first: bool,
    ) -> std::io::Result<()> {
        self.item(w, first)
    }
    fn end_array_value<W: ?Sized + std::io::Write>(&mut self, _: &mut W) -> std::io::Result<()> {
        self.has_value = true;
        Ok(())
    }
    fn begin_object<W: ?Sized + std::io::Write>(&mut self, w: &mut W) -> std::io::Result<()> {
        self.begin(w, b"{")
    }
    fn end_object<W: ?Sized + std::io::Write>(&mut self, w: &mut W) -> std::io::Result<()> {
        self.end(w, b"}")
    }
    fn begin_object_key<W: ?Sized + std::io::Write>(
        &mut self,
        w: &mut W,
        first: bool,
    ) -> std::io::Result<()> {
        self.item(w, first)
    }
    fn begin_object_value<W: ?Sized + std::io::Write>(&mut self, w: &mut W) -> std::io::Result<()> {
        w.write_all(b": ")
    }
    fn end_object_value<W: ?Sized + std::io::Write>(&mut self, _: &mut W) -> std::io::Result<()> {
        self.has_value = true;
        Ok(())
    }
}

/// `4/4` as numbers.
///
/// # Errors
/// In words, if it is not two whole numbers, 1 to 32 beats of 1, 2, 4, 8 or 16.
pub fn read_meter(text: &str) -> Result<(u8, u8), String> {
    text.split_once('/')
        .and_then(|(beats, value)| Some((beats.trim().parse().ok()?, value.trim().parse().ok()?)))
        .filter(|(beats, value)| (1..=32).contains(beats) && [1, 2, 4, 8, 16].contains(value))
        .ok_or_else(|| format!("'{text}' is not a meter (expected for example 4/4, 3/4, 6/8)"))
}
