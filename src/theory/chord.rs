//! A chord: root, quality, added and omitted degrees, bass.
//!
//! Read from a published label (`C#:hdim7/b5`) or a trade symbol (`C#m7b5/G`),
//! and printed as either. `N` (no chord) and `X` (unknown) are [`Label`]s.

use super::{Degree, PitchClass, PitchClassSet, QUALITIES, Quality, Spelled, TheoryError};

/// A chord with a spelled root.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chord {
    /// The root as spelled.
    pub root: Spelled,
    /// The row of the vocabulary it is named after.
    pub quality: &'static Quality,
    /// Degrees beyond the row's.
    pub added: Vec<Degree>,
    /// Degrees of the row that are left out.
    pub omitted: Vec<Degree>,
    /// The bass, if it is not the root.
    pub bass: Option<Degree>,
}

impl Chord {
    /// A chord with nothing added, root in the bass.
    pub fn new(root: Spelled, quality: &'static Quality) -> Self {
        Self {
            root,
            quality,
            added: Vec::new(),
            omitted: Vec::new(),
            bass: None,
        }
    }

    /// The same chord over another bass; the root as bass is none.
    #[must_use]
    pub fn over(mut self, bass: Degree) -> Self {
        self.bass = (bass.semitones() % 12 != 0).then_some(bass);
        self
    }

    /// Degrees that the chord names, the bass not included.
    pub fn degrees(&self) -> Vec<Degree> {
        let mut degrees: Vec<Degree> = self
            .quality
            .degrees
            .iter()
            .filter(|d| !self.omitted.contains(d))
            .copied()
            .collect();
        for d in &self.added {
            if !degrees.contains(d) {
                degrees.push(*d);
            }
        }
        degrees
    }

    /// Pitch classes that the chord names, the bass included.
    pub fn pitch_classes(&self) -> PitchClassSet {
        let root = self.root.pitch_class();
        self.degrees()
            .into_iter()
            .chain(self.bass)
            .map(|d| d.over(root))
            .collect()
    }

    /// The lowest pitch class.
    pub fn bass_pitch_class(&self) -> PitchClass {
        self.bass_note().pitch_class()
    }

    /// The lowest note as spelled.
    pub fn bass_note(&self) -> Spelled {
        self.bass.map_or(self.root, |d| d.note_over(self.root))
    }

    /// The chord's notes as spelled, root first, the bass not included.
    pub fn notes(&self) -> Vec<Spelled> {
        self.degrees()
            .into_iter()
            .map(|d| d.note_over(self.root))
            .collect()
    }

    /// The same chord with its root spelled otherwise (the pitch class must agree).
    #[must_use]
    pub fn with_root(&self, root: Spelled) -> Self {
        Self {
            root,
            ..self.clone()
        }
    }

    /// Published label syntax, for files: `C#:hdim7/b5`.
    pub fn label(&self) -> String {
        let mut text = format!("{}:", self.root.ascii());
        let (shorthand, inner) = match self.quality.harte.split_once('(') {
            Some((s, inner)) => (s, inner.trim_end_matches(')')),
            None => (self.quality.harte, ""),
        };
        text.push_str(shorthand);
        let mut parts: Vec<String> = inner
            .split(',')
            .filter(|p| !p.is_empty())
            .map(str::to_owned)
            .collect();
        parts.extend(self.omitted.iter().map(|d| format!("*{}", d.ascii())));
        parts.extend(self.added.iter().map(|d| d.ascii()));
        if !parts.is_empty() {
            text.push_str(&format!("({})", parts.join(",")));
        }
        if let Some(bass) = self.bass {
            text.push('/');
            text.push_str(&bass.ascii());
        }
        text
    }

    /// The trade's symbol with real accidentals, for people: `C♯m7♭5/G`.
    pub fn symbol(&self) -> String {
        let mut text = self.root.text();
        text.push_str(&pretty(&self.symbol_tail()));
        if self.bass.is_some() {
            text.push('/');
            text.push_str(&self.bass_note().text());
        }
        text
    }

    /// What follows the root in the ASCII symbol, the bass not included.
    pub fn symbol_tail(&self) -> String {
        let mut tail = self.quality.symbol.to_owned();
        let mut parts: Vec<String> = self
            .added
            .iter()
            .map(|d| format!("add{}", d.ascii()))
            .collect();
        parts.extend(self.omitted.iter().map(|d| format!("no{}", d.ascii())));
        if !parts.is_empty() {
            tail.push_str(&format!("({})", parts.join(",")));
        }
        tail
    }

    fn parse_label(text: &str) -> Result<Self, TheoryError> {
        let bad = |part: &str| TheoryError::ChordLabel {
            text: text.into(),
            part: part.into(),
        };
        let (root, rest) = Spelled::read(text, false).ok_or_else(|| bad(""))?;
        let (body, bass) = match rest.rsplit_once('/') {
            Some((body, bass)) => (body, Some(bass.parse().map_err(|_| bad(bass))?)),
            None => (rest, None),
        };
        let chord = match body.strip_prefix(':') {
            None if body.is_empty() => Self::new(root, &QUALITIES[0]),
            None => return Err(bad(body)),
            Some(body) => Self::label_body(root, body).ok_or_else(|| bad(body))?,
        };
        Ok(match bass {
            Some(bass) => chord.over(bass),
            None => chord,
        })
    }

    fn label_body(root: Spelled, body: &str) -> Option<Self> {
        if let Some(row) = Quality::by_harte(body) {
            return Some(Self::new(root, row));
        }
        let (shorthand, list) = match body.split_once('(') {
            Some((s, list)) => (s, list.strip_suffix(')')?),
            None => (body, ""),
        };
        // a bare list of degrees stands on the root alone
        if body.is_empty() {
            return None;
        }
        let row = Quality::by_harte(if shorthand.is_empty() { "1" } else { shorthand })?;
        let mut chord = Self::new(root, row);
        for part in list.split(',').map(str::trim).filter(|p| !p.is_empty()) {
            if let Some(omit) = part.strip_prefix('*') {
                chord.omitted.push(omit.parse().ok()?);
            } else {
                let degree: Degree = part.parse().ok()?;
                if !row.degrees.contains(&degree) && !chord.added.contains(&degree) {
                    chord.added.push(degree);
                }
            }
        }
        Some(chord.canonical())
    }

    /// The same degrees under a row of their own, if one has exactly these and
    /// the chord was written as a shorthand with additions.
    fn canonical(self) -> Self {
        if self.added.is_empty() && self.omitted.is_empty() {
            return self;
        }
        let mut mine = self.degrees();
        mine.sort();
        let same = QUALITIES.iter().find(|q| {
            let mut theirs = q.degrees.to_vec();
            theirs.sort();
            theirs == mine
        });
        match same {
            Some(row) => Self {
                quality: row,
                added: Vec::new(),
                omitted: Vec::new(),
                ..self
            },
            None => self,
        }
    }

    fn parse_symbol(text: &str) -> Result<Self, TheoryError> {
        let bad = |part: &str| TheoryError::ChordLabel {
            text: text.into(),
            part: part.into(),
        };
        let (root, rest) = Spelled::read(text, false).ok_or_else(|| bad(""))?;
        let rest = rest.replace('♯', "#").replace('♭', "b");
        if rest.matches('(').count() != rest.matches(')').count() {
            return Err(bad(&rest));
        }
        let (tail, bass) = match rest.rsplit_once('/') {
            // `6/9` is a quality, not a bass
            Some((tail, bass)) if !bass.starts_with(|c: char| c.is_ascii_digit()) => {
                let note: Spelled = bass.parse().map_err(|_| bad(bass))?;
                (tail, Some(Degree::between(root, note)))
            }
            _ => (rest.as_str(), None),
        };
        let (row, mut left) = QUALITIES
            .iter()
            .flat_map(|q| {
                std::iter::once(q.symbol)
                    .chain(q.aliases.iter().copied())
                    .map(move |name| (q, name))
            })
            .filter_map(|(q, name)| Some((q, name, tail.strip_prefix(name)?)))
            .max_by_key(|(_, name, _)| name.len())
            .map(|(q, _, left)| (q, left))
            .ok_or_else(|| bad(tail))?;
        let mut chord = Self::new(root, row);
        while !left.is_empty() {
            left = chord.read_modifier(left).ok_or_else(|| bad(left))?;
        }
        let chord = chord.canonical();
        Ok(match bass {
            Some(bass) => chord.over(bass),
            None => chord,
        })
    }

    /// Reads `add9`, `(no3)`, `b5`, `#9` … at the start of `text`; gives what follows.
    fn read_modifier<'a>(&mut self, text: &'a str) -> Option<&'a str> {
        if let Some(rest) = text.strip_prefix(['(', ')', ',', ' ']) {
            return Some(rest);
        }
        let (kind, rest) = [("add", 0), ("no", 1), ("omit", 1), ("", 2)]
            .into_iter()
            .find_map(|(word, kind)| Some((kind, text.strip_prefix(word)?)))?;
        let end = rest
            .char_indices()
            .find(|(i, c)| {
                !(c.is_ascii_digit()
                    || (matches!(c, 'b' | '#')
                        && rest[..*i].trim_start_matches(['b', '#']).is_empty()))
            })
            .map_or(rest.len(), |(i, _)| i);
        let degree: Degree = rest[..end].parse().ok()?;
        match kind {
            0 => self.added.push(degree),
            1 => {
                let held = *self
                    .quality
                    .degrees
                    .iter()
                    .find(|d| d.number() == degree.number())?;
                self.omitted.push(held);
            }
            _ if degree.alter() == 0 => return None,
            _ => {
                // an altered degree replaces the plain one of its number
                if let Some(held) = self
                    .quality
                    .degrees
                    .iter()
                    .find(|d| d.number() == degree.number() && d.number() == 5)
                {
                    self.omitted.push(*held);
                }
                self.added.push(degree);
            }
        }
        Some(&rest[end..])
    }
}

/// What follows the root in the symbol, with real accidentals, the bass not included: `m7♭5`.
pub fn chord_tail_text(chord: &Chord) -> String {
    pretty(&chord.symbol_tail())
}

fn pretty(tail: &str) -> String {
    // an accidental is a `b` or `#` before a digit; other letters stay
    let mut out = String::new();
    let chars: Vec<char> = tail.chars().collect();
    for (i, c) in chars.iter().enumerate() {
        let before_digit = chars[i + 1..]
            .iter()
            .find(|c| !matches!(c, 'b' | '#'))
            .is_some_and(char::is_ascii_digit);
        out.push(match c {
            'b' if before_digit => '♭',
            '#' if before_digit => '♯',
            _ => *c,
        });
    }
    out
}

impl std::str::FromStr for Chord {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        let text = text.trim();
        if text.chars().count() > 80 {
            return Err(TheoryError::ChordLabel {
                text: text.chars().take(64).collect(),
                part: "longer than 80 characters".into(),
            });
        }
        let degree_bass = text
            .rsplit_once('/')
            .is_some_and(|(_, bass)| bass.parse::<Degree>().is_ok());
        if text.contains(':') {
            Self::parse_label(text)
        } else {
            match Self::parse_symbol(text) {
                Ok(chord) => Ok(chord),
                Err(_) if degree_bass => Self::parse_label(text),
                Err(error) => Err(error),
            }
        }
    }
}

/// What a span of time may be labelled: a chord, no chord, or unknown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Label {
    /// A chord.
    Chord(Chord),
    /// Nothing, or nothing pitched, sounds: `N`.
    NoChord,
    /// Not known or not nameable: `X`.
    Unknown,
}

impl Label {
    /// Published label syntax: `N`, `X`, or the chord's label.
    pub fn label(&self) -> String {
        match self {
            Self::Chord(c) => c.label(),
            Self::NoChord => "N".into(),
            Self::Unknown => "X".into(),
        }
    }

    /// For people: the symbol, `N.C.` or `?`.
    pub fn symbol(&self) -> String {
        match self {
            Self::Chord(c) => c.symbol(),
            Self::NoChord => "N.C.".into(),
            Self::Unknown => "?".into(),
        }
    }

    /// The chord, if it is one.
    pub fn chord(&self) -> Option<&Chord> {
        match self {
            Self::Chord(c) => Some(c),
            _ => None,
        }
    }
}

impl std::str::FromStr for Label {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        match text.trim() {
            "N" | "N.C." | "NC" => Ok(Self::NoChord),
            "X" | "?" => Ok(Self::Unknown),
            chord => chord.parse().map(Self::Chord),
        }
    }
}
