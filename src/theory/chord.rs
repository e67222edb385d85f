//! A chord: root, quality, added and omitted degrees, bass.
//!
//! Read from a published label (`C#:hdim7/b5`) or a trade symbol (`C#m7b5/G`),
//! and printed as either. `N` (no chord) and `X` (unknown) are [`Label`]s.

use super::{Degree, PitchClass, PitchClassSet, QUALITIES, Quality, Spelled, TheoryError};

/// Most characters of a label or symbol that is read.
const MOST_CHARACTERS: usize = 80;

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
    ///
    /// Read again, a label gives the same label: what is left out stands before
    /// what is added, each in order of its degrees.
    pub fn label(&self) -> String {
        let chord = self.clone().canonical();
        let mut text = format!("{}:", chord.root.ascii());
        if chord.added.is_empty() && chord.omitted.is_empty() {
            text.push_str(chord.quality.harte);
        } else {
            let parts = chord.parts();
            text.push_str(chord.shorthand());
            if !parts.is_empty() {
                text.push_str(&format!("({})", parts.join(",")));
            }
        }
        if let Some(bass) = chord.bass {
            text.push('/');
            text.push_str(&bass.ascii());
        }
        text
    }

    /// What the list of degrees must say behind the shorthand.
    fn parts(&self) -> Vec<String> {
        let (plain, degrees) = (self.plain(), self.degrees());
        let sorted = |from: &[Degree], without: &[Degree]| -> Vec<Degree> {
            let mut kept: Vec<Degree> = from.to_vec();
            kept.retain(|d| !without.contains(d));
            kept.sort();
            kept
        };
        let omitted = sorted(plain, &degrees);
        let added = sorted(&degrees, plain);
        let omitted = omitted.iter().map(|d| format!("*{}", d.ascii()));
        omitted.chain(added.iter().map(|d| d.ascii())).collect()
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
        let has_seventh = self.quality.degrees.iter().any(|d| d.number() == 7);
        let minor = self.quality.degrees.contains(&Degree::new(3, -1));
        let fifth = Degree::new(5, 0);
        let full = self.quality.degrees.len() > 2;
        let new_fifth = |d: &Degree| full && d.number() == 5 && self.omitted.contains(&fifth);
        let mut parts: Vec<String> = self
            .added
            .iter()
            .map(|d| {
                // a tension on a seventh chord and a changed fifth say themselves
                let own = self.quality.degrees.iter().map(|q| q.number());
                let open = matches!(
                    (d.number(), d.alter()),
                    (9, -1..=1) | (11, 0 | 1) | (13, -1 | 0)
                ) && own.clone().all(|n| n != d.number())
                    && (d.alter() != 0 || !minor && own.max() < Some(d.number()));
                // a dominant with both ninths altered has them both as tensions
                let is_dominant = !minor
                    && self.quality.degrees.contains(&Degree::new(7, -1))
                    && self.quality.degrees.contains(&Degree::new(3, 0));
                let other_ninth = Degree::new(9, -d.alter());
                let both = matches!((d.number(), d.alter()), (9, -1 | 1))
                    && self.quality.degrees.contains(&other_ninth);
                let tension = has_seventh && open || is_dominant && both;
                let add = if tension || new_fifth(d) { "" } else { "add" };
                format!("{add}{}", d.ascii())
            })
            .collect();
        let replaced = self.added.iter().any(new_fifth);
        let left_out = self.omitted.iter().filter(|d| !(replaced && **d == fifth));
        parts.extend(left_out.map(|d| format!("no{}", d.ascii())));
        if !parts.is_empty() {
            tail.push_str(&format!("({})", parts.join(",")));
        }
        tail
    }

    fn parse_label(text: &str) -> Result<Self, TheoryError> {
        let bad = |part: &str| TheoryError::ChordLabel {
            text: text.into(),
            part: part.into(),
            nearest: None,
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
                chord.added.push(degree);
            }
        }
        Some(chord.canonical())
    }

    /// The same degrees under a row of their own, if one has exactly these and
    /// the chord was written as a shorthand with additions.
    pub(super) fn canonical(mut self) -> Self {
        // said twice, or added to what has it, or left out and added: said once;
        // left out of what does not have it: not said
        let (mut added, mut omitted) = (Vec::new(), Vec::new());
        for degree in &self.omitted {
            let is_there = self.quality.degrees.contains(degree);
            if is_there && !omitted.contains(degree) && !self.added.contains(degree) {
                omitted.push(*degree);
            }
        }
        for degree in &self.added {
            if !added.contains(degree) && !self.quality.degrees.contains(degree) {
                added.push(*degree);
            }
        }
        (self.added, self.omitted) = (added, omitted);
        if self.added.is_empty() && self.omitted.is_empty() {
            return self;
        }
        let row_of = |mut degrees: Vec<Degree>| {
            degrees.sort();
            QUALITIES.iter().find(|q| {
                let mut theirs = q.degrees.to_vec();
                theirs.sort();
                theirs == degrees
            })
        };
        if let Some(quality) = row_of(self.degrees()) {
            return Self {
                quality,
                added: Vec::new(),
                omitted: Vec::new(),
                ..self
            };
        }
        // or a row that has all of it, with as little as can be left out
        let degrees = self.degrees();
        let mut may_lack = self.omitted.clone();
        may_lack.extend(self.plain().iter().filter(|d| !degrees.contains(d)));
        let lacking = |q: &Quality| -> Vec<Degree> {
            let theirs = q.degrees.iter().filter(|d| !degrees.contains(d));
            theirs.copied().collect()
        };
        let row = QUALITIES
            .iter()
            .filter(|q| degrees.iter().all(|d| q.degrees.contains(d)))
            .map(|q| (q, lacking(q)))
            .filter(|(_, lacks)| lacks.iter().all(|d| may_lack.contains(d)))
            .min_by_key(|(_, lacks)| lacks.len());
        if let Some((quality, lacks)) = row {
            let is_new = quality != self.quality;
            (self.quality, self.added, self.omitted) = (quality, Vec::new(), lacks);
            // each step has a row with less to leave out, or ends
            if is_new {
                return self.canonical();
            }
        }
        self.added.sort();
        self.omitted.sort();
        self
    }

    /// Degrees of the shorthand alone that the row is written with: of `7` for `7(*5,b5)`.
    fn plain(&self) -> &'static [Degree] {
        Quality::by_harte(self.shorthand()).map_or(&[], |row| row.degrees)
    }

    fn shorthand(&self) -> &'static str {
        let harte = self.quality.harte;
        harte.split_once('(').map_or(harte, |(s, _)| s)
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
        let too_long = |part: &str| TheoryError::ChordLabel {
            text: text.chars().take(64).collect(),
            part: part.into(),
            nearest: None,
        };
        let is_long = |text: &str| text.chars().count() > MOST_CHARACTERS;
        if is_long(text) {
            return Err(too_long("longer than 80 characters"));
        }
        let degree_bass = text
            .rsplit_once('/')
            .is_some_and(|(_, bass)| bass.parse::<Degree>().is_ok());
        let chord = if text.contains(':') {
            Self::parse_label(text)?
        } else {
            match super::symbol::read(text) {
                Ok(chord) => chord,
                Err(_) if degree_bass => Self::parse_label(text)?,
                Err(error) => return Err(error),
            }
        };
        // what a log or a page would say of it must be read again
        let has_parts = !(chord.added.is_empty() && chord.omitted.is_empty());
        if has_parts && (is_long(&chord.label()) || is_long(&chord.symbol())) {
            return Err(too_long("written out, longer than 80 characters"));
        }
        Ok(chord)
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
            "X" | "?" => Ok(Self::Unknown),
            text if ["N", "NC", "N.C.", "N.C"]
                .iter()
                .any(|n| n.eq_ignore_ascii_case(text)) =>
            {
                Ok(Self::NoChord)
            }
            chord => chord.parse().map(Self::Chord),
        }
    }
}
