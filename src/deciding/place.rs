//! Places in a song as a user types them: `12`, `12.3`, `5-8`, `A`, `Verse`, `all`, `31.2s`.

use super::DecideError;
use crate::songlog::form;
use crate::songlog::song::{Bar, Song, Span};

/// Chords that share less than this with a stretch are not in it, s.
const TOUCH_S: f64 = 0.05;
/// Nor are longer ones that share less than this part of it: a change a little
/// before or after the beat belongs to the beat.
const TOUCH_PART: f64 = 0.15;

/// A place: a point that a chord sounds at, or a stretch of bars.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// A moment, s.
    Point(f64),
    /// From, to, s.
    Stretch(f64, f64),
}

impl Place {
    /// Where it starts, s.
    pub fn start_s(self) -> f64 {
        match self {
            Self::Point(at_s) | Self::Stretch(at_s, _) => at_s,
        }
    }

    /// Chords in it, by index, in order.
    pub fn spans(self, song: &Song) -> Vec<usize> {
        let inside = |s: &Span| match self {
            Self::Point(at_s) => s.start_s <= at_s + 1e-6 && at_s + 1e-6 < s.end_s,
            Self::Stretch(from, to) => {
                let common = s.end_s.min(to) - s.start_s.max(from);
                let shorter = (s.end_s - s.start_s).min(to - from);
                common > TOUCH_S.min(0.5 * shorter) && common > TOUCH_PART * shorter
            }
        };
        let found = |(i, s)| inside(s).then_some(i);
        song.spans.iter().enumerate().filter_map(found).collect()
    }

    /// The silence before the first bar, if it begins there, and after the last,
    /// if it ends there: whoever takes those bars takes it too.
    pub fn silence_beside(self, song: &Song) -> Vec<usize> {
        let (Self::Stretch(from, to), Some(first), Some(last)) =
            (self, song.bars.first(), song.bars.last())
        else {
            return Vec::new();
        };
        let beside = |s: &Span| {
            song.is_outside(s)
                && (s.start_s < first.start_s && from <= first.start_s + 1e-6
                    || s.end_s > last.end_s && to >= last.end_s - 1e-6)
        };
        let found = |(i, s)| beside(s).then_some(i);
        song.spans.iter().enumerate().filter_map(found).collect()
    }
}

/// Where something is to be decided, before it is held against a song.
///
/// In JSON a text as people type it (`"5-8"`), `{"start_s": 2.0, "end_s": 4.0}`
/// or `{"at_s": 2.0}`, in seconds of the take.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(
    untagged,
    expecting = "a place is a text such as \"12\" or \"5-8\", or has start_s and end_s, or at_s"
)]
pub enum Where {
    /// As typed: `12`, `12.3`, `5-8`, `A`, `Verse`, `all`, `31.2s`.
    Text(String),
    /// A stretch of time.
    Stretch {
        /// From, s.
        start_s: f64,
        /// To, s.
        end_s: f64,
    },
    /// A moment.
    Point {
        /// When, s.
        at_s: f64,
    },
}

impl std::str::FromStr for Where {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(Self::Text(text.into()))
    }
}

impl Where {
    /// The places of a song that are meant; a section's letter may stand for several.
    ///
    /// # Errors
    /// * [`DecideError::Asked`] if there is no such place, with what there is instead.
    pub fn places(&self, song: &Song) -> Result<Vec<Place>, DecideError> {
        match *self {
            Self::Text(ref text) => read(text, song),
            Self::Point { at_s } => Ok(vec![Place::Point(check_time(at_s, song)?)]),
            Self::Stretch { start_s, end_s } => {
                let start_s = check_time(start_s, song)?;
                if end_s <= start_s {
                    return Err(DecideError::asked(format!(
                        "the stretch from {start_s} s to {end_s} s is empty"
                    )));
                }
                Ok(vec![Place::Stretch(start_s, end_s)])
            }
        }
    }
}

/// A moment, before it is held against a song: seconds, or as typed (`12.3`, `12`, `31.2s`).
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(
    untagged,
    expecting = "a moment is a number of seconds, or a text such as \"12.3\" or \"31.2s\""
)]
pub enum Moment {
    /// Seconds from the take's start.
    Seconds(f64),
    /// As typed.
    Text(String),
}

impl std::str::FromStr for Moment {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(Self::Text(text.into()))
    }
}

impl Moment {
    /// The moment of a song that is meant, s.
    ///
    /// # Errors
    /// * [`DecideError::Asked`] if there is no such moment, with what there is instead.
    pub fn seconds(&self, song: &Song) -> Result<f64, DecideError> {
        match self {
            Self::Seconds(at_s) => check_time(*at_s, song),
            Self::Text(text) => read_moment(text, song),
        }
    }

    /// A time, where no song is known yet, s.
    pub(super) fn without_song(&self) -> Result<f64, DecideError> {
        match self {
            Self::Seconds(at_s) => Some(*at_s),
            Self::Text(text) => read_time(text.trim()),
        }
        .ok_or_else(|| {
            DecideError::asked("a time in seconds is needed here: no bars are known yet")
        })
    }
}

/// Reads a place; a section's letter may stand for several.
///
/// # Errors
/// If there is no such place, with what there is instead.
pub fn read(text: &str, song: &Song) -> Result<Vec<Place>, DecideError> {
    let text = text.trim();
    if text.eq_ignore_ascii_case("all") {
        return Ok(vec![Place::Stretch(0.0, song.duration_s)]);
    }
    if let Some(places) = sections(text, song) {
        return Ok(places);
    }
    if let Some(at_s) = read_time(text) {
        return check_time(at_s, song).map(|at_s| vec![Place::Point(at_s)]);
    }
    if let Some((from, to)) = text.split_once('-')
        && let (Some(from), Some(to)) = (read_spot(from), read_spot(to))
    {
        let (start_s, end_s) = (spot_start(from, song)?, spot_end(to, song)?);
        if end_s <= start_s {
            return Err(DecideError::asked(format!(
                "'{text}' ends before it starts; write the earlier bar first"
            )));
        }
        return Ok(vec![Place::Stretch(start_s, end_s)]);
    }
    match read_spot(text) {
        Some((number, None)) => {
            let bar = find_bar(number, song)?;
            Ok(vec![Place::Stretch(bar.start_s, bar.end_s)])
        }
        Some(spot) => Ok(vec![Place::Point(spot_start(spot, song)?)]),
        None => Err(DecideError::asked(format!(
            "'{text}' is not a place here (expected a bar 12, a beat 12.3, bars 5-8, a time 31.2s or 0:31.2, a section {}, or all)",
            section_list(song)
        ))),
    }
}

/// Reads a place as a moment: a bar is its downbeat.
///
/// # Errors
/// As [`read`], and for a place that is not a moment.
pub fn read_moment(text: &str, song: &Song) -> Result<f64, DecideError> {
    let text = text.trim();
    if let Some(at_s) = read_time(text) {
        return check_time(at_s, song);
    }
    match read_spot(text) {
        Some(spot) => spot_start(spot, song),
        None => Err(DecideError::asked(format!(
            "'{text}' is not a moment (expected a beat 12.3, a bar 12 for its downbeat, or a time 31.2s or 0:31.2)"
        ))),
    }
}

/// The same place in another section with the same letter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Twin {
    /// Where.
    pub place: Place,
    /// Index of its section.
    pub section: usize,
    /// Its first bar.
    pub bar: u32,
    /// Whether what is decided for the one may stand for this one too.
    pub same: bool,
}

/// A place in all other sections with the same letter, by bars from the start of
/// the section; none for a pickup, which takes no part in a repeat.
pub fn twins(place: Place, song: &Song) -> Vec<Twin> {
    let Some((here, bar)) = section_at(place.start_s(), song) else {
        return Vec::new();
    };
    let section = &song.sections[here];
    let bars = form::whole_bars(song, section);
    let Some(into) = bars.iter().position(|b| b.number == bar.number) else {
        return Vec::new();
    };
    // bars the place touches beyond the first, within the section
    let more = match place {
        Place::Point(_) => 0,
        Place::Stretch(_, to) => {
            let last = bar_at(to - 1e-3, song).map_or(bar.number, |b| b.number);
            (last.saturating_sub(bar.number) as usize).min(bars.len() - 1 - into)
        }
    };
    let mut found = Vec::new();
    for (i, other) in song.sections.iter().enumerate() {
        if i == here || other.letter != section.letter {
            continue;
        }
        let others = form::whole_bars(song, other);
        let Some(twin_bars) = others.get(into..=into + more) else {
            continue;
        };
        let pairs = || bars[into..=into + more].iter().zip(twin_bars);
        // the same part of the same bar
        let moved = |at_s: f64| {
            let (from, to) = pairs().rfind(|(b, _)| b.start_s <= at_s + 1e-6)?;
            let part = (at_s - from.start_s) / (from.end_s - from.start_s);
            Some(to.start_s + part * (to.end_s - to.start_s))
        };
        let twin_place = match place {
            Place::Point(at_s) => moved(at_s).map(Place::Point),
            Place::Stretch(from, to) => moved(from)
                .zip(moved(to))
                .filter(|(from, to)| from < to)
                .map(|(from, to)| Place::Stretch(from, to)),
        };
        found.extend(twin_place.map(|place| Twin {
            place,
            section: i,
            bar: twin_bars[0].number,
            same: pairs().all(|(a, b)| form::may_follow(song, a, b)),
        }));
    }
    found
}

/// The bar that sounds at a time; what comes before the first belongs to it, what comes after the last to that.
pub fn bar_at(at_s: f64, song: &Song) -> Option<&Bar> {
    song.bars
        .iter()
        .rev()
        .find(|b| b.start_s <= at_s + 1e-6)
        .or(song.bars.first())
}

/// Index of the section that sounds at a time, and the bar there.
pub fn section_at(at_s: f64, song: &Song) -> Option<(usize, &Bar)> {
    let bar = bar_at(at_s, song)?;
    let i = song
        .sections
        .iter()
        .position(|s| (s.first_bar..=s.last_bar).contains(&bar.number))?;
    Some((i, bar))
}

/// Nearer than this it is on the beat, s.
const ON_S: f64 = 0.12;

/// What [`name_of`] calls a time before the first bar, and one after the last.
pub(super) const START: &str = "start";
pub(super) const END: &str = "end";

/// A time as bar and beat: `12` on a downbeat, `12.3` on a beat, `12.2+` between
/// beats; `start` before the first bar, `end` after the last.
pub fn name_of(at_s: f64, song: &Song) -> String {
    if let (Some(first), Some(last)) = (song.bars.first(), song.bars.last()) {
        if at_s < first.start_s - ON_S {
            return START.into();
        }
        if at_s > last.end_s - ON_S {
            return END.into();
        }
    }
    if let Some(bar) = bar_at(at_s + ON_S, song) {
        let beats = beats_of(bar, song);
        let n = beats.iter().rposition(|b| *b <= at_s + ON_S).unwrap_or(0);
        let off = at_s > beats[n] + ON_S;
        return match (n, off) {
            (0, false) => bar.number.to_string(),
            (n, false) => format!("{}.{}", bar.number, n + 1),
            (n, true) => format!("{}.{}+", bar.number, n + 1),
        };
    }
    format!("{at_s:.2}s")
}

/// Beat times of a bar: as heard, else evenly spread.
pub fn beats_of(bar: &Bar, song: &Song) -> Vec<f64> {
    let heard: Vec<f64> = song
        .beats_s
        .iter()
        .copied()
        .filter(|t| *t >= bar.start_s - 0.02 && *t < bar.end_s - 0.02)
        .collect();
    let n = usize::from(bar.n_beats.max(1));
    if heard.len() == n {
        return heard;
    }
    let beat_s = (bar.end_s - bar.start_s) / n as f64;
    (0..n).map(|i| bar.start_s + i as f64 * beat_s).collect()
}

/// A bar and perhaps a beat in it, from 1.
type Spot = (u32, Option<usize>);

fn read_spot(text: &str) -> Option<Spot> {
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    match text.trim().split_once('.') {
        None if digits(text.trim()) => Some((text.trim().parse().ok()?, None)),
        Some((bar, beat)) if digits(bar) && digits(beat) => {
            Some((bar.parse().ok()?, Some(beat.parse().ok()?)))
        }
        _ => None,
    }
}

/// `31.2s` or `1:05.3`, in seconds.
fn read_time(text: &str) -> Option<f64> {
    let number = |t: &str| {
        let plain = t.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        t.parse::<f64>().ok().filter(|_| plain)
    };
    if let Some(seconds) = text.strip_suffix('s') {
        return number(seconds);
    }
    let (minutes, seconds) = text.split_once(':')?;
    Some(60.0 * number(minutes)? + number(seconds)?)
}

fn check_time(at_s: f64, song: &Song) -> Result<f64, DecideError> {
    if (0.0..song.duration_s).contains(&at_s) {
        Ok(at_s)
    } else {
        Err(DecideError::asked(format!(
            "there is no {at_s} s: the take lasts {:.1} s",
            song.duration_s
        )))
    }
}

fn find_bar(number: u32, song: &Song) -> Result<&Bar, DecideError> {
    song.bars
        .iter()
        .find(|b| b.number == number)
        .ok_or_else(|| match (song.bars.first(), song.bars.last()) {
            (Some(first), Some(last)) => DecideError::asked(format!(
                "there is no bar {number}: the take has bars {} to {}",
                first.number, last.number
            )),
            _ => DecideError::asked(format!(
                "there is no bar {number}: no bars were heard in this take"
            )),
        })
}

fn spot_start((number, beat): Spot, song: &Song) -> Result<f64, DecideError> {
    let bar = find_bar(number, song)?;
    let beats = beats_of(bar, song);
    let beat = beat.unwrap_or(1);
    beat.checked_sub(1)
        .and_then(|i| beats.get(i).copied())
        .ok_or_else(|| {
            DecideError::asked(format!(
                "there is no beat {beat} in bar {number}: it has beats 1 to {}",
                beats.len()
            ))
        })
}

fn spot_end((number, beat): Spot, song: &Song) -> Result<f64, DecideError> {
    let bar = find_bar(number, song)?;
    spot_start((number, beat), song)?;
    let next = beat.and_then(|n| beats_of(bar, song).get(n).copied());
    Ok(next.unwrap_or(bar.end_s))
}

/// Sections by name, by letter (all of that letter), or by letter and count (`A2`).
fn sections(text: &str, song: &Song) -> Option<Vec<Place>> {
    let stretch = |i: usize| {
        let section = &song.sections[i];
        let first = find_bar(section.first_bar, song).ok()?;
        let last = find_bar(section.last_bar, song).ok()?;
        Some(Place::Stretch(first.start_s, last.end_s))
    };
    let which = |wanted: &dyn Fn(usize) -> bool| {
        let found: Vec<Place> = (0..song.sections.len())
            .filter(|i| wanted(*i))
            .filter_map(stretch)
            .collect();
        (!found.is_empty()).then_some(found)
    };
    let named = which(&|i| {
        let name = song.sections[i].name.as_deref();
        name.is_some_and(|n| n.eq_ignore_ascii_case(text))
    });
    named
        .or_else(|| which(&|i| song.sections[i].letter == text))
        .or_else(|| {
            let end = text.trim_end_matches(|c: char| c.is_ascii_digit());
            let n: usize = text[end.len()..].parse().ok()?;
            let same = (0..song.sections.len()).filter(|i| song.sections[*i].letter == end);
            same.collect::<Vec<_>>()
                .get(n.checked_sub(1)?)
                .and_then(|i| stretch(*i))
                .map(|place| vec![place])
        })
}

fn section_list(song: &Song) -> String {
    let mut letters: Vec<&str> = Vec::new();
    for section in &song.sections {
        let name = section.name.as_deref().unwrap_or(&section.letter);
        if !letters.contains(&name) {
            letters.push(name);
        }
    }
    letters.join(", ")
}
