//! One line of bars: bar lines, repeat signs, endings, chords on their beats.

use super::{ForeignError, n_beats, wrong};
use crate::songlog;
use crate::theory::{Key, Label};

/// A bar as it is typed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TypedBar {
    pub(super) chords: Vec<TypedChord>,
    pub(super) n_beats: u8,
    /// As the bar before.
    pub(super) simile: bool,
    pub(super) pickup: bool,
    pub(super) repeat_start: bool,
    pub(super) repeat_end: bool,
    pub(super) ending: Option<u8>,
    /// How often the repeat that ends here is played.
    pub(super) times: Option<u32>,
    /// A new key that begins here.
    pub(super) key: Option<Key>,
    /// Words under it, one text for each pass.
    pub(super) words: Vec<String>,
    /// Its line in the text, from 1.
    pub(super) line: usize,
    /// Its place among all bars of the text, from 0.
    pub(super) place: usize,
}

/// A chord with its place, half beats from the bar's start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TypedChord {
    pub(super) half_beat: u8,
    pub(super) label: Label,
    /// Typed with a question mark.
    pub(super) open: bool,
}

/// `×3`, `x3`, `(3x)`: how often.
pub(super) fn times(text: &str) -> Option<u32> {
    let bare = text.strip_prefix('(').and_then(|t| t.strip_suffix(')'));
    let text = bare.unwrap_or(text);
    let n = text
        .strip_prefix(['x', '×'])
        .or(text.strip_suffix(['x', '×']))?;
    n.parse().ok().filter(|n| (1..=100).contains(n))
}

/// The bars of a line; none where it is no line of bars.
pub(super) fn read(
    text: &str,
    line: usize,
    meter: (u8, u8),
) -> Result<Option<Vec<TypedBar>>, ForeignError> {
    let Some((before, music)) = text.split_once('|') else {
        return Ok(None);
    };
    let before = before.trim();
    let pickup = before == "-";
    if !(pickup || before.chars().all(|c| c.is_ascii_digit())) {
        return match is_string(before) && is_tablature(music) {
            // tablature is for the eye
            true => Ok(Some(Vec::new())),
            false => Err(wrong(
                line,
                format!(
                    "'{before}' stands before the first bar line (a bar number may, or - for a pickup)"
                ),
            )),
        };
    }
    let pieces: Vec<&str> = music.split('|').collect();
    let mut bars: Vec<TypedBar> = Vec::new();
    let mut repeat_start = false;
    for (i, piece) in pieces.iter().enumerate() {
        let mut piece = piece.trim();
        if let Some(rest) = piece.strip_prefix(':') {
            repeat_start = true;
            piece = rest.trim();
        }
        let last = i + 1 == pieces.len();
        if last {
            return after_last(piece, bars, line);
        }
        let repeat_end = piece.ends_with(':');
        piece = piece.trim_end_matches(':').trim();
        if piece.is_empty() {
            // a double line, or ':|' after blanks
            if let Some(bar) = bars.last_mut().filter(|_| repeat_end) {
                bar.repeat_end = true;
            }
            continue;
        }
        let mut bar = bar(piece, (line, bars.len() + 1), meter, pickup)?;
        bar.repeat_start = std::mem::take(&mut repeat_start);
        bar.repeat_end = repeat_end;
        bars.push(bar);
    }
    Ok(Some(bars))
}

/// What stands after the last bar line: nothing, or how often the repeat is played.
fn after_last(
    text: &str,
    mut bars: Vec<TypedBar>,
    line: usize,
) -> Result<Option<Vec<TypedBar>>, ForeignError> {
    if bars.is_empty() {
        return Err(wrong(line, "there is no bar between its bar lines"));
    }
    if text.is_empty() {
        return Ok(Some(bars));
    }
    let last = bars.last_mut().filter(|b| b.repeat_end);
    match (last, times(text)) {
        (Some(bar), Some(n)) => {
            bar.times = Some(n);
            Ok(Some(bars))
        }
        _ => Err(wrong(
            line,
            format!(
                "'{text}' stands after the last bar line (end the line with |; only x3 and the like may follow a :|)"
            ),
        )),
    }
}

/// Whether this is the name of a string: `E`, `A`, `e`, `F♯`.
fn is_string(text: &str) -> bool {
    let mut signs = text.trim_end_matches(':').chars();
    signs
        .next()
        .is_some_and(|c| ('a'..='g').contains(&c.to_ascii_lowercase()))
        && signs.all(|c| c.is_ascii_digit() || matches!(c, '#' | '♯' | 'b' | '♭'))
        && text.chars().count() <= 4
}

/// Whether only frets on a line stand in it.
fn is_tablature(text: &str) -> bool {
    text.contains('-') && text.chars().all(|c| "-0123456789| ".contains(c))
}

/// `G / C /`, `1. Am7 D7`, `%`, `2/4 G /`: one bar; `at` is its line and its place in it.
fn bar(
    text: &str,
    at: (usize, usize),
    meter: (u8, u8),
    pickup: bool,
) -> Result<TypedBar, ForeignError> {
    let (line, nth) = at;
    let fail = |reason: String| wrong(line, format!("bar {nth} of the line: {reason}"));
    let mut words = text.split_whitespace().peekable();
    let ending = words.next_if(|w| is_ending(w)).map(|w| {
        let digits = w.trim_end_matches('.');
        digits.parse().unwrap_or(1)
    });
    let own_length = match words.next_if(|w| is_meter(w)) {
        Some(word) => Some(n_beats(songlog::read_meter(word).map_err(fail)?)),
        None => None,
    };
    // a pickup is as long as what sounds in it
    let words: Vec<&str> = words.skip_while(|w| pickup && *w == "/").collect();
    let mut bar = TypedBar {
        chords: Vec::new(),
        n_beats: own_length.unwrap_or(n_beats(meter)),
        simile: words == ["%"],
        pickup,
        repeat_start: false,
        repeat_end: false,
        ending,
        times: None,
        key: None,
        words: Vec::new(),
        line,
        place: 0,
    };
    if bar.simile {
        return Ok(bar);
    }
    let n_on_beat = words.iter().filter(|w| !w.starts_with('&')).count();
    if n_on_beat == 0 {
        return Err(fail("it has no chord on its first beat".into()));
    }
    if pickup && own_length.is_none() {
        bar.n_beats = n_on_beat.min(16) as u8;
    }
    let written_out = words.iter().any(|w| *w == "/" || w.starts_with('&'));
    // every eighth of a 6/8 may be written
    if written_out && own_length.is_none() && n_on_beat == usize::from(meter.0) {
        bar.n_beats = meter.0;
    }
    let beats = usize::from(bar.n_beats);
    let step = step(n_on_beat, beats, written_out).map_err(fail)?;
    let mut half_beat = 0;
    for word in words {
        let (word, at) = match word.strip_prefix('&') {
            // on the second half of the beat before
            Some(word) => (word, half_beat.max(1) - 1),
            None => {
                half_beat += step;
                (word, half_beat - step)
            }
        };
        if word == "/" {
            continue;
        }
        let (label, open) = chord(word).map_err(fail)?;
        bar.chords.push(TypedChord {
            half_beat: at as u8,
            label,
            open,
        });
    }
    Ok(bar)
}

/// Half beats from one word to the next: without slashes the chords share the bar evenly.
fn step(n_words: usize, n_beats: usize, written_out: bool) -> Result<usize, String> {
    let even = n_words <= 2 * n_beats && (2 * n_beats).is_multiple_of(n_words);
    match (n_words == n_beats, written_out) {
        (true, _) => Ok(2),
        (_, false) if even => Ok(2 * n_beats / n_words),
        (_, true) => Err(format!(
            "{n_words} beats are written, it has {n_beats} (a chord or / for each beat; begin the bar with 2/4 and the like if it is shorter or longer)"
        )),
        _ => Err(format!(
            "{n_words} chords do not share {n_beats} beats evenly (write the beats between them as /)"
        )),
    }
}

fn is_ending(word: &str) -> bool {
    let digits = word.strip_suffix('.').unwrap_or_default();
    digits.len() == 1 && digits.chars().all(|c| ('1'..='9').contains(&c))
}

fn is_meter(word: &str) -> bool {
    let all = |t: &str| !t.is_empty() && t.chars().all(|c| c.is_ascii_digit());
    word.split_once('/').is_some_and(|(a, b)| all(a) && all(b))
}

/// A chord, less what a chart adds to it: `Am7?(a)[1,2]`.
fn chord(word: &str) -> Result<(Label, bool), String> {
    let word = match word.split_once('[') {
        Some((name, numbers)) if numbers.ends_with(']') => name,
        _ => word,
    };
    let signs: Vec<char> = word.chars().collect();
    let word = match signs[..] {
        [.., '(', letter, ')'] if letter.is_ascii_lowercase() => &word[..word.len() - 3],
        _ => word,
    };
    let (name, open) = match word.strip_suffix('?') {
        Some("") | None => (word, word == "?"),
        Some(name) => (name, true),
    };
    name.parse().map(|label| (label, open)).map_err(|e| {
        format!("{e} (expected a chord such as C♯m7 or Bb/D, N for no chord, / for another beat, % for the bar before)")
    })
}
