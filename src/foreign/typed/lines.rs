//! The text line by line: facts, headings, bars.

use super::bars::{self, TypedBar, times};
use super::jumps::{self, Signs};
use super::{ForeignError, wrong};
use crate::fretboard::{Shape, Tuning, read_capo};
use crate::songlog::decided::Feel;
use crate::songlog::{self};
use crate::theory::{Key, Label};
use crate::units::TEMPOS_BPM;

/// The most lines that are read.
const MAX_LINES: usize = 100_000;

/// The text as it is written.
#[derive(Debug, Default)]
pub(super) struct Typed {
    pub(super) title: Option<String>,
    pub(super) credit: Option<String>,
    pub(super) key: Option<Key>,
    pub(super) meter: (u8, u8),
    pub(super) tempo_bpm: Option<f64>,
    pub(super) tuning: Option<Tuning>,
    pub(super) capo: Option<u8>,
    /// Names are concert pitch, not the shapes behind the capo.
    pub(super) concert: bool,
    pub(super) shapes: Vec<(Label, Shape)>,
    pub(super) sections: Vec<TypedSection>,
}

/// A section as it is written.
#[derive(Debug)]
pub(super) struct TypedSection {
    pub(super) name: String,
    /// Its name or letter as written, primes included.
    pub(super) heading: String,
    pub(super) feel: Option<Feel>,
    /// How often its heading says that it is played.
    pub(super) times: Option<u32>,
    /// Where playing goes on at its start and end.
    pub(super) signs: Signs,
    pub(super) bars: Vec<TypedBar>,
    /// Line of its heading, from 1; 0 without one.
    pub(super) line: usize,
}

/// Reads all lines, up to one of three dashes or more.
pub(super) fn read(text: &str, meter: Option<(u8, u8)>) -> Result<Typed, ForeignError> {
    let mut typed = Typed {
        meter: meter.unwrap_or((4, 4)),
        ..Typed::default()
    };
    let mut new_key = None;
    // bars of the last line of bars, which words are for
    let mut fresh = 0;
    let lines: Vec<&str> = text.lines().collect();
    if lines.len() > MAX_LINES {
        return Err(wrong(MAX_LINES, "no song has more lines than that"));
    }
    for (i, text) in lines.iter().enumerate() {
        let (line, text) = (i + 1, text.trim());
        let ruled = lines.get(i + 1).is_some_and(|next| is_rule(next, '='));
        if is_rule(text, '-') {
            break;
        }
        if text.is_empty() || text.starts_with('#') || is_rule(text, '=') {
            continue;
        }
        if ruled && typed.title.is_none() && typed.sections.is_empty() {
            typed.title = Some(text.into());
            continue;
        }
        if let Some(words) = text.strip_prefix("Words:") {
            put_words(&mut typed, fresh, words, line)?;
            continue;
        }
        if fact(&mut typed, text, line, meter.is_some(), &mut new_key)? {
            continue;
        }
        let Some(mut bars) = bars::read(text, line, typed.meter)? else {
            let next = heading(text, line);
            match typed.sections.as_mut_slice() {
                // a pickup before the first heading belongs to its section
                [first] if first.line == 0 && first.bars.iter().all(|b| b.pickup) => {
                    let bars = std::mem::take(&mut first.bars);
                    *first = TypedSection { bars, ..next };
                }
                _ => typed.sections.push(next),
            }
            continue;
        };
        if typed.sections.is_empty() {
            typed.sections.push(heading("A", 0));
        }
        if let Some(bar) = bars.first_mut() {
            bar.key = new_key.take();
        }
        if !bars.is_empty() {
            fresh = bars.len();
        }
        if let Some(section) = typed.sections.last_mut() {
            section.bars.extend(bars);
        }
    }
    typed
        .sections
        .iter_mut()
        .for_each(|s| spread_endings(&mut s.bars));
    let bars = typed.sections.iter_mut().flat_map(|s| &mut s.bars);
    for (place, bar) in bars.enumerate() {
        bar.place = place;
    }
    if typed.sections.iter().all(|s| s.bars.is_empty()) {
        return Err(ForeignError::Empty {
            reason: "it has no bars; write chords between bar lines: | G | C / D / |".into(),
        });
    }
    Ok(typed)
}

/// An ending is numbered at its first bar and lasts to its repeat sign, the last one to the end.
fn spread_endings(bars: &mut [TypedBar]) {
    for i in 1..bars.len() {
        let before = &bars[i - 1];
        if bars[i].ending.is_none() && !before.repeat_end {
            bars[i].ending = before.ending;
        }
    }
}

/// Words to the bars of the line above, each part between bars to one.
fn put_words(typed: &mut Typed, n: usize, text: &str, line: usize) -> Result<(), ForeignError> {
    let parts: Vec<&str> = text.split('|').map(str::trim).collect();
    let bars = match typed.sections.last_mut() {
        Some(section) if section.bars.len() >= n => &mut section.bars,
        _ => return Err(wrong(line, "words stand under a line of bars")),
    };
    let from = bars.len() - n;
    if n == 0 || parts.len() > n {
        let way = format!("{} parts of words stand under {n} bars", parts.len());
        return Err(wrong(line, way));
    }
    for (i, bar) in bars[from..].iter_mut().enumerate() {
        bar.words
            .push(parts.get(i).copied().unwrap_or_default().into());
    }
    Ok(())
}

/// Three or more of a sign.
fn is_rule(text: &str, sign: char) -> bool {
    let text = text.trim();
    text.chars().count() >= 3 && text.chars().all(|c| c == sign)
}

/// Takes a line `Name: value` with a name that is known; whether it was one.
fn fact(
    typed: &mut Typed,
    text: &str,
    line: usize,
    meter_given: bool,
    new_key: &mut Option<Key>,
) -> Result<bool, ForeignError> {
    let Some((name, value)) = text.split_once(':') else {
        return Ok(false);
    };
    let (name, value) = (name.trim().to_lowercase(), value.trim());
    let begun = !typed.sections.is_empty();
    match &name[..] {
        "title" => {
            let title = typed.title.get_or_insert_default();
            *title = format!("{title} {value}").trim().to_owned();
        }
        "credit" => {
            let credit = typed.credit.get_or_insert_default();
            *credit = format!("{credit} {value}").trim().to_owned();
        }
        "key" if value.eq_ignore_ascii_case("open") => {}
        "key" => {
            let key = value.parse().map_err(|e| wrong(line, format!("{e}")))?;
            match begun {
                true => *new_key = Some(key),
                false => typed.key = Some(key),
            }
        }
        "meter" => {
            let meter = songlog::read_meter(value).map_err(|e| wrong(line, e))?;
            if begun && meter != typed.meter {
                let way = "the meter changes in the middle: begin each bar of another length with it, | 2/4 G / |";
                return Err(wrong(line, way));
            }
            if !meter_given {
                typed.meter = meter;
            }
        }
        "tempo" => typed.tempo_bpm = Some(tempo(value).map_err(|e| wrong(line, e))?),
        "tuning" => {
            let name = value.split('(').next().unwrap_or(value);
            typed.tuning = Some(name.parse().map_err(|e| wrong(line, format!("{e}")))?);
        }
        "capo" => {
            typed.capo = Some(read_capo(value).map_err(|e| wrong(line, format!("{e}")))?);
        }
        "names" => {
            typed.concert = match &value.to_lowercase()[..] {
                "concert pitch" => true,
                "shapes played" => false,
                _ => {
                    let way = format!("'{value}' is neither 'shapes played' nor 'concert pitch'");
                    return Err(wrong(line, way));
                }
            }
        }
        "shapes" => shapes(typed, value, line)?,
        _ => return Ok(false),
    }
    Ok(true)
}

/// `90`, `90 bpm`.
fn tempo(text: &str) -> Result<f64, String> {
    let number = text.trim_end_matches("bpm").trim();
    let bpm: Option<f64> = number.parse().ok();
    bpm.filter(|b| TEMPOS_BPM.contains(b))
        .ok_or_else(|| format!("'{text}' is not a tempo (10 to 600 bpm)"))
}

/// `G 320003, C x32010`.
fn shapes(typed: &mut Typed, text: &str, line: usize) -> Result<(), ForeignError> {
    for pair in text.split(',').map(str::trim).filter(|p| !p.is_empty()) {
        let Some((name, frets)) = pair.split_once(' ') else {
            let way = format!("'{pair}' is no chord with its frets (as in G 320003)");
            return Err(wrong(line, way));
        };
        let label = name.parse().map_err(|e| wrong(line, format!("{e}")))?;
        let shape: Shape = frets
            .trim()
            .parse()
            .map_err(|e| wrong(line, format!("{e}")))?;
        typed.shapes.push((label, shape));
    }
    Ok(())
}

/// `Verse x2 (swung eighths) (segno)`: name, how often, feel, signs.
fn heading(text: &str, line: usize) -> TypedSection {
    let mut section = TypedSection {
        name: String::new(),
        heading: String::new(),
        feel: None,
        times: None,
        signs: Signs::default(),
        bars: Vec::new(),
        line,
    };
    let mut rest = text.trim().trim_end_matches(':');
    jumps::strip_signs(&mut rest, &mut section.signs);
    strip_times(&mut rest, &mut section.times);
    for feel in [Feel::Straight, Feel::Swung] {
        let words = format!("({})", feel.words());
        if let Some(before) = rest.strip_suffix(&words[..]) {
            section.feel = Some(feel);
            rest = before.trim_end();
            strip_times(&mut rest, &mut section.times);
        }
    }
    section.heading = rest.into();
    // primes tell variants of a letter apart; what they are is seen from the bars
    let letter = rest.trim_end_matches(['\'', '′']);
    let is_letter = letter.len() == 1 && letter.chars().all(|c| c.is_ascii_uppercase());
    section.name = if is_letter { letter } else { rest }.into();
    section
}

fn strip_times(rest: &mut &str, found: &mut Option<u32>) {
    let (before, last) = rest.rsplit_once(char::is_whitespace).unwrap_or((rest, ""));
    if let Some(n) = times(last) {
        *found = Some(n);
        *rest = before.trim_end();
    }
}
