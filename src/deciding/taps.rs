//! What the user enters about time: tapped beats, and bars with their beats.

use std::path::Path;

/// Tapped beats, s, ascending, at least four; in JSON a list of numbers.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(try_from = "Vec<f64>")]
pub struct Taps(pub(crate) Vec<f64>);

impl TryFrom<Vec<f64>> for Taps {
    type Error = String;

    fn try_from(times_s: Vec<f64>) -> Result<Self, String> {
        let entries = times_s.iter().enumerate();
        ascending(entries.map(|(i, at_s)| (format!("beat {}", i + 1), Ok(*at_s))))
    }
}

impl std::str::FromStr for Taps {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        read_taps(text)
    }
}

/// A bar with other beats than the rest; as text `9=2`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct BarBeats {
    /// Its number.
    pub bar: u32,
    /// How many beats it has, 1 to 16.
    pub n_beats: u8,
}

impl std::str::FromStr for BarBeats {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        read_bar_beats(text).map(|(bar, n_beats)| Self { bar, n_beats })
    }
}

/// Fastest beats that a hand taps, s from one to the next: 600 a minute.
const SHORTEST_S: f64 = 0.1;

/// Reads `0.5,1.02,1.55`, or a file with a time on each line (what follows it
/// there, empty lines and lines that start with `#` do not count).
///
/// # Errors
/// In words: the entry or the line that is no time, or does not follow the one before.
fn read_taps(text: &str) -> Result<Taps, String> {
    let path = Path::new(text);
    let looks_like_times = text
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | ' ' | 's'));
    if !path.is_file() && looks_like_times {
        let entries = text.split(',').map(str::trim).filter(|t| !t.is_empty());
        return times(
            entries
                .enumerate()
                .map(|(i, t)| (format!("beat {}", i + 1), t)),
        );
    }
    let content = std::fs::read_to_string(path)
        .map_err(|e| format!("cannot read the beats in '{text}': {e} (expected a file with a time in seconds on each line, or times such as 0.5,1.02,1.55)"))?;
    let lines = content.lines().enumerate();
    let entries = lines.filter_map(|(i, line)| {
        let first = line.split([' ', '\t', ',', ';']).find(|t| !t.is_empty())?;
        (!first.starts_with('#')).then(|| (format!("'{text}' line {}", i + 1), first))
    });
    times(entries)
}

fn times<'a>(entries: impl Iterator<Item = (String, &'a str)>) -> Result<Taps, String> {
    ascending(entries.map(|(place, entry)| {
        let at_s = entry.trim_end_matches('s').parse();
        (place, at_s.map_err(|_| entry.to_owned()))
    }))
}

/// Checks times, each with its place for an error, or what it is instead of a number.
fn ascending(entries: impl Iterator<Item = (String, Result<f64, String>)>) -> Result<Taps, String> {
    let mut times_s: Vec<f64> = Vec::new();
    for (place, entry) in entries {
        let at_s = match entry {
            Ok(at_s) if (0.0..604_800.0).contains(&at_s) => at_s,
            Ok(at_s) => return Err(format!("{place}: '{at_s}' is not a time in seconds")),
            Err(text) => return Err(format!("{place}: '{text}' is not a time in seconds")),
        };
        if let Some(last) = times_s.last().filter(|last| at_s - **last < SHORTEST_S) {
            return Err(format!(
                "{place}: the beat at {at_s} s does not follow the one at {last} s by at least {SHORTEST_S} s; take one of the two out"
            ));
        }
        times_s.push(at_s);
    }
    if times_s.len() < 4 {
        return Err(format!(
            "{} tapped beats are too few: tap at least four",
            times_s.len()
        ));
    }
    Ok(Taps(times_s))
}

/// Reads `9=2`: bar 9 has two beats.
///
/// # Errors
/// In words, with an example.
fn read_bar_beats(text: &str) -> Result<(u32, u8), String> {
    let parts = text.split_once('=');
    parts
        .and_then(|(bar, n)| Some((bar.trim().parse().ok()?, n.trim().parse().ok()?)))
        .filter(|(bar, n)| *bar > 0 && (1..=16).contains(n))
        .ok_or_else(|| {
            format!(
                "'{text}' is not a bar and its beats (1 to 16), such as 9=2: bar 9 has two beats"
            )
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn taps_are_read_from_a_list_or_a_file_and_refused_with_their_place() {
        let check = |text: &str, expected: Result<&[f64], &str>| match (read_taps(text), expected) {
            (Ok(taps), Ok(times)) => assert_eq!(taps.0, times, "{text}"),
            (Err(words), Err(part)) => assert!(words.contains(part), "{text}: {words}"),
            (found, _) => panic!("{text}: {found:?}"),
        };
        check("0.5,1, 1.5s,2.02", Ok(&[0.5, 1.0, 1.5, 2.02]));
        check("0.5,1,1.5", Err("too few"));
        check(
            "0.5,1,0.9,2",
            Err("beat 3: the beat at 0.9 s does not follow"),
        );
        check("0.5,1,1..5,2", Err("beat 3: '1..5' is not a time"));
        check("no-such-file.txt", Err("no-such-file.txt"));
        let file = tempfile::NamedTempFile::new().unwrap_or_else(|e| panic!("{e}"));
        let path = file.path().to_string_lossy().into_owned();
        let write = |text: &str| std::fs::write(&path, text).unwrap_or_else(|e| panic!("{e}"));
        write("# tapped\n0.5\t1\n\n1.0\t2\n1.5\n2.0\n");
        check(&path, Ok(&[0.5, 1.0, 1.5, 2.0]));
        write("0.5\n1.0\n0.7\n2.0\n");
        check(&path, Err("line 3"));
    }

    #[test]
    fn a_bar_and_its_beats() {
        assert_eq!(read_bar_beats("9=2"), Ok((9, 2)));
        for wrong in ["9", "9=0", "0=2", "9=17", "a=b", "9=2=3"] {
            assert!(read_bar_beats(wrong).is_err(), "{wrong}");
        }
    }
}
