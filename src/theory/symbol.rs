//! Chord symbols as people write them: one reader for every spelling.
//!
//! A symbol is a root, then words and numbers in any usual order: triad (`m`, `-`, `dim`, `+`),
//! seventh (`7`, `maj7`, `Δ`, `ø`), extensions, alterations (`b9`, `-9`, `♭9`), `sus`, `add`, `no`,
//! with brackets, commas, slashes and spaces between them, then a bass behind a slash. Two
//! chords, `D over C`, are read as the lower one with the notes of the upper one added.
//! What cannot be meant (`Cm#7`) is refused with the nearest spelling.
//!
//! # Source
//! Common practice, no source; `fixtures/naming/spellings.tsv` lists what must read.

use super::{Chord, Degree, QUALITIES, Spelled, TheoryError};

/// Signs that mean the same, each as one plain sign.
fn plain(text: &str) -> String {
    text.chars()
        .filter_map(|c| match c {
            '♯' => Some('#'),
            '♭' => Some('b'),
            '−' | '–' | '—' | '‐' | '‑' => Some('-'),
            'Δ' | '△' | '∆' | '^' => Some('Δ'),
            'ø' | 'Ø' | '∅' => Some('ø'),
            '°' | 'º' | '˚' => Some('°'),
            '\\' => Some('/'),
            '[' => Some('('),
            ']' => Some(')'),
            '♮' => None,
            other => Some(other),
        })
        .collect()
}

/// A symbol without the brackets or the full stop that stand round it in running text.
fn unwrapped(text: &str) -> &str {
    let inner = [("[", "]"), ("(", ")")]
        .into_iter()
        .find_map(|(open, close)| {
            let inner = text.strip_prefix(open)?.strip_suffix(close)?;
            (!inner.contains(['(', ')', '[', ']'])).then_some(inner)
        });
    let text = inner.unwrap_or(text);
    text.strip_suffix('.').unwrap_or(text)
}

/// An accidental in words behind the root as its sign: `E flat sus4`.
pub(super) fn as_signs(text: &str) -> String {
    let Some(root) = text
        .get(..1)
        .filter(|root| root.as_bytes()[0].is_ascii_alphabetic())
    else {
        return text.to_owned();
    };
    let rest = text[1..].trim_start_matches([' ', '-']);
    for (word, sign) in [("flat", "b"), ("sharp", "#")] {
        if starts_without_case(rest, word) {
            return format!("{root}{sign}{}", rest[word.len()..].trim_start());
        }
    }
    text.to_owned()
}

/// Reads a chord symbol.
///
/// # Errors
/// * [`TheoryError::ChordLabel`] for anything that is none, with the nearest spelling where there is one.
pub(super) fn read(text: &str) -> Result<Chord, TheoryError> {
    let written = as_signs(&plain(unwrapped(text.trim())));
    let refuse = |part: &str, nearest: Option<String>| TheoryError::ChordLabel {
        text: text.into(),
        part: part.into(),
        nearest,
    };
    if let Some((upper, lower)) = written.split_once(" over ") {
        return Ok(stacked(&read(upper)?, &read(lower)?));
    }
    let (root, rest) =
        Spelled::read(&written, true).ok_or_else(|| refuse("", other_root(&written)))?;
    let (tail, bass) = match rest.rsplit_once('/') {
        // `6/9` and `7/b9` hold no bass
        Some((tail, bass)) => match bass.trim().parse::<Spelled>() {
            Ok(note) => (tail.trim_end(), Some(Degree::between(root, note))),
            Err(_) if bass.contains(|c: char| c.is_ascii_digit()) => (rest, None),
            Err(_) => return Err(refuse(bass, None)),
        },
        None => (rest, None),
    };
    let chord = tail_on(root, tail).map_err(|part| {
        let over = if tail.len() < rest.len() {
            &rest[tail.len()..]
        } else {
            ""
        };
        let better = nearest(root, tail).map(|t| format!("{}{t}{over}", root.ascii()));
        refuse(&part, better)
    })?;
    Ok(match bass {
        Some(bass) => chord.over(bass),
        None => chord,
    })
}

/// The nearest spelling of a symbol whose root is none: H is the German B.
fn other_root(written: &str) -> Option<String> {
    let tail = written.strip_prefix(['H', 'h'])?;
    let root: Spelled = "B".parse().ok()?;
    tail_on(root, tail).is_ok().then(|| format!("B{tail}"))
}

/// The lower chord with the notes of the upper one as its tensions.
fn stacked(upper: &Chord, lower: &Chord) -> Chord {
    let root = lower.root.pitch_class();
    let mut degrees = lower.degrees();
    for note in upper.notes() {
        let above = note.pitch_class().above(root);
        if degrees.iter().any(|d| d.over(root) == note.pitch_class()) {
            continue;
        }
        degrees.push(match above {
            1 => Degree::new(9, -1),
            2 => Degree::new(9, 0),
            3 => Degree::new(9, 1),
            5 => Degree::new(11, 0),
            6 => Degree::new(11, 1),
            8 => Degree::new(13, -1),
            9 if degrees.iter().all(|d| d.number() != 7) => Degree::new(6, 0),
            9 => Degree::new(13, 0),
            other => Degree::plain(other),
        });
    }
    Chord {
        bass: lower.bass,
        ..of_degrees(lower.root, &degrees, &[])
    }
}

/// What is known of a chord while its symbol is read.
#[derive(Default)]
struct Reading {
    minor: bool,
    /// `maj`, `M` or `Δ`, which make the next number's seventh a major one.
    major: bool,
    /// `Δ`, which is a seventh by itself.
    triangle: bool,
    diminished: bool,
    half_diminished: bool,
    power: bool,
    single: bool,
    sus: Vec<Degree>,
    fifths: Vec<Degree>,
    sixth: bool,
    /// Alteration of the seventh, -1 for a minor one.
    seventh: Option<i8>,
    /// The number the chord is stacked up to: 9, 11, 13.
    stack: u8,
    /// Alterations and further numbers, which replace the plain tension of their number.
    tensions: Vec<Degree>,
    /// What `add` adds, which replaces nothing.
    added: Vec<Degree>,
    /// What `no` leaves out: a number, or exactly one degree (`nob3`).
    omitted: Vec<Degree>,
    altered: bool,
    /// Whether anything was read.
    any: bool,
    /// A suspension was just read: `sus` in `sus2`, `sus24`.
    after_sus: bool,
    /// A bracket was just opened.
    in_bracket: bool,
}

fn starts_without_case(text: &str, word: &str) -> bool {
    text.get(..word.len())
        .is_some_and(|head| head.eq_ignore_ascii_case(word))
}

/// Reads all that follows the root; the part that is not understood as error.
fn tail_on(root: Spelled, tail: &str) -> Result<Chord, String> {
    if tail.matches('(').count() != tail.matches(')').count() {
        return Err(tail.into());
    }
    // a single note, and what may be added to it
    let behind = tail.strip_prefix("(1)");
    let mut reading = Reading {
        single: behind.is_some(),
        any: behind.is_some(),
        ..Reading::default()
    };
    let mut rest = behind.unwrap_or(tail);
    while let Some(c) = rest.chars().next() {
        // a slash first is no separator: `C/3` is an inversion in label syntax
        if matches!(c, ' ' | ',' | '(' | ')') || c == '/' && reading.any {
            reading.in_bracket = c == '(';
            if c != '/' {
                reading.after_sus = false;
            }
            rest = &rest[c.len_utf8()..];
            continue;
        }
        rest = reading.token(rest).ok_or_else(|| rest.to_owned())?;
        (reading.any, reading.in_bracket) = (true, false);
    }
    let (degrees, omitted) = reading.degrees().ok_or_else(|| tail.to_owned())?;
    Ok(of_degrees(root, &degrees, &omitted))
}

/// A sign that stands behind the number it alters, `E7/9+`, and what follows.
fn behind(number: u8, rest: &str) -> Option<(&'static str, &str)> {
    let sign = match rest.chars().next()? {
        '+' => "+",
        '-' => "-",
        _ => return None,
    };
    let after = &rest[1..];
    let ends = after.is_empty() || after.starts_with([')', ',', '/', ' ']);
    (matches!(number, 5 | 9 | 11 | 13) && ends).then_some((sign, after))
}

impl Reading {
    /// Reads one word, number or alteration; gives what follows.
    fn token<'a>(&mut self, text: &'a str) -> Option<&'a str> {
        if let Some(rest) = self.word(text) {
            return rest;
        }
        // a zero typed for the sign of a diminished chord
        if let Some(rest) = text.strip_prefix('0').filter(|_| !self.any) {
            self.diminished = true;
            return Some(rest);
        }
        let signed = text.trim_start_matches(['#', 'b', '+', '-']);
        let signs = &text[..text.len() - signed.len()];
        let end = signed
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(signed.len());
        let (digits, rest) = signed.split_at(end);
        let number: u8 = digits.parse().ok().filter(|_| digits.len() < 3)?;
        let (signs, rest) = match behind(number, rest) {
            Some((sign, rest)) if signs.is_empty() && (self.any || number == 5) => (sign, rest),
            _ => (signs, rest),
        };
        match signs {
            "" => self.number(number)?,
            "#" | "+" => self.alteration(number, 1)?,
            "b" | "-" => self.alteration(number, -1)?,
            _ => return None,
        }
        self.after_sus = false;
        Some(rest)
    }

    /// Reads a word at the start of the text: what follows, or nothing if the word is
    /// not possible here; `None` if there is no word.
    #[expect(clippy::option_option, reason = "no word, and a word that is refused")]
    fn word<'a>(&mut self, text: &'a str) -> Option<Option<&'a str>> {
        const WORDS: [(&str, Word); 29] = [
            ("suspended", Word::Sus),
            ("altered", Word::Alt),
            ("major", Word::Major),
            ("minor", Word::Minor),
            ("half-diminished", Word::Half),
            ("half-dim", Word::Half),
            ("halfdim", Word::Half),
            ("hdim", Word::Half),
            ("diminished", Word::Dim),
            ("augmented", Word::Aug),
            ("without", Word::No),
            ("omit", Word::No),
            ("maj", Word::Major),
            ("min", Word::Minor),
            ("dim", Word::Dim),
            ("aug", Word::Aug),
            ("dom", Word::Dominant),
            ("sus", Word::Sus),
            ("alt", Word::Alt),
            ("add", Word::Add),
            ("no", Word::No),
            ("ma", Word::Major),
            ("mi", Word::Minor),
            ("Δ", Word::Triangle),
            ("ø", Word::Half),
            ("°", Word::Dim),
            ("M", Word::Major),
            ("m", Word::Minor),
            ("o", Word::Dim),
        ];
        // `madd9` is minor with an addition, not `ma`
        let (word, n) = if starts_without_case(text, "madd") {
            (Word::Minor, 1)
        } else if let Some(found) = WORDS.iter().find(|(w, _)| match w.chars().count() {
            1 => text.starts_with(w),
            _ => starts_without_case(text, w),
        }) {
            (found.1, found.0.len())
        } else if !self.any && !self.in_bracket && text.starts_with('-') {
            // a flat sign elsewhere
            (Word::Minor, 1)
        } else if let Some(behind) = text.strip_prefix('+') {
            let number = behind.starts_with(|c: char| c.is_ascii_digit());
            let five = text.starts_with("+5");
            if number && (self.any || self.in_bracket || five) {
                return None;
            }
            (Word::Aug, 1)
        } else {
            return None;
        };
        let rest = &text[n..];
        Some(self.understood(word, rest))
    }

    fn understood<'a>(&mut self, word: Word, rest: &'a str) -> Option<&'a str> {
        let third_known = self.minor || self.diminished || self.half_diminished || self.power;
        self.after_sus = false;
        match word {
            Word::Major | Word::Triangle => {
                // `7M`: the seventh before it is a major one
                let ends = rest.is_empty() || rest.starts_with(['(', '/', ' ', ',']);
                if self.seventh == Some(-1) && ends && self.stack < 8 {
                    self.seventh = Some(0);
                } else if self.seventh.is_some() || self.major {
                    return None;
                }
                (self.major, self.triangle) = (true, matches!(word, Word::Triangle));
            }
            Word::Minor if third_known || self.major => return None,
            Word::Minor => self.minor = true,
            Word::Dim if third_known || self.major => return None,
            Word::Dim => self.diminished = true,
            Word::Half if third_known || self.major => return None,
            Word::Half => self.half_diminished = true,
            Word::Aug if !self.fifths.is_empty() => return None,
            Word::Aug => self.fifths.push(Degree::new(5, 1)),
            Word::Dominant => {
                return rest
                    .starts_with(|c: char| c.is_ascii_digit())
                    .then_some(rest);
            }
            Word::Alt => self.altered = true,
            Word::Sus => return self.suspension(rest),
            Word::Add | Word::No => return self.addition(word, rest),
        }
        Some(rest)
    }

    fn suspension<'a>(&mut self, rest: &'a str) -> Option<&'a str> {
        let mut rest = match rest.trim_start() {
            number if number.starts_with(['2', '4']) => number,
            _ => rest,
        };
        let mut found = false;
        for (sign, degree) in [
            ("2", Degree::new(2, 0)),
            ("/4", Degree::new(4, 0)),
            ("4", Degree::new(4, 0)),
            ("#4", Degree::new(4, 1)),
            ("/2", Degree::new(2, 0)),
        ] {
            if sign.starts_with('/') && !found {
                continue;
            }
            if let Some(after) = rest.strip_prefix(sign)
                && !self.sus.contains(&degree)
            {
                self.sus.push(degree);
                (rest, found) = (after, true);
            }
        }
        if !found {
            self.sus.push(Degree::new(4, 0));
        }
        self.after_sus = true;
        Some(rest)
    }

    /// `add9`, `add#11`, `no3`, `omit5`.
    fn addition<'a>(&mut self, word: Word, rest: &'a str) -> Option<&'a str> {
        let rest = rest.trim_start();
        // `add(9,11)`: the brackets say nothing
        let rest = rest.strip_prefix('(').unwrap_or(rest);
        let signed = rest.trim_start_matches(['#', 'b', '+', '-']);
        let signs = &rest[..rest.len() - signed.len()];
        let end = signed
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(signed.len());
        let (digits, after) = signed.split_at(end);
        let signs: String = signs
            .chars()
            .map(|c| match c {
                '+' => '#',
                '-' => 'b',
                c => c,
            })
            .collect();
        let degree: Degree = format!("{signs}{digits}").parse().ok()?;
        if matches!(word, Word::No) {
            self.omitted.push(degree);
            let after = ["rd", "th", "d"]
                .into_iter()
                .find_map(|w| after.strip_prefix(w))
                .unwrap_or(after);
            return Some(after);
        }
        match (degree.number(), degree.alter()) {
            (6, 0) if self.seventh.is_none() => self.sixth = true,
            (7, 0) if self.seventh.is_none() => self.seventh = Some(0),
            _ => self.added.push(degree),
        }
        // a list: `add9,11` adds both
        let next = after.strip_prefix([',', '/']).map(str::trim_start);
        // but an altered number there alters
        let goes_on = |next: &&str| next.starts_with(|c: char| c.is_ascii_digit());
        match next.filter(goes_on) {
            Some(next) => self.addition(word, next),
            None => Some(after),
        }
    }

    /// Whether a fourth behind a seventh is a suspension: `A7/4`.
    fn may_suspend(&self) -> bool {
        let third = self.minor || self.diminished || self.half_diminished;
        self.seventh == Some(-1) && self.sus.is_empty() && !third
    }

    fn number(&mut self, number: u8) -> Option<()> {
        match number {
            2 if !self.any || self.minor => self.tensions.push(Degree::new(9, 0)),
            4 if !self.any || self.may_suspend() => self.sus.push(Degree::new(4, 0)),
            5 if !self.any => self.power = true,
            // `aug5`
            5 if self.fifths == [Degree::new(5, 1)] => {}
            // `9/6`, the other way round
            6 if self.stack == 9 && self.seventh == Some(-1) && !self.minor => {
                (self.seventh, self.stack, self.sixth) = (None, 0, true);
                self.tensions.push(Degree::new(9, 0));
            }
            6 if self.seventh.is_some() => self.tensions.push(Degree::new(13, 0)),
            6 | 69 if !self.sixth && !self.diminished && !self.half_diminished => {
                self.sixth = true;
                if number == 69 {
                    self.tensions.push(Degree::new(9, 0));
                }
            }
            9 if self.sixth => self.tensions.push(Degree::new(9, 0)),
            7 if self.half_diminished && self.seventh.is_none() => self.seventh = Some(-1),
            7 | 9 | 11 | 13 if self.seventh.is_none() && !self.sixth && !self.power => {
                self.seventh = Some(if self.major {
                    0
                } else if self.diminished {
                    -2
                } else {
                    -1
                });
                self.stack = number;
            }
            9 | 11 | 13 if self.seventh.is_some() && number > self.stack => {
                self.tensions.push(Degree::new(number, 0));
            }
            _ => return None,
        }
        Some(())
    }

    fn alteration(&mut self, number: u8, alter: i8) -> Option<()> {
        let degree = Degree::new(number, alter);
        match (number, alter) {
            (5, _) if !self.power && !self.diminished && !self.half_diminished => {
                self.fifths.push(degree);
            }
            (9, _) | (11, 1) | (13, -1) => {
                // `maj#11` leaves open whether a seventh is meant
                if self.major && self.seventh.is_none() && !self.triangle && !self.sixth {
                    return None;
                }
                self.tensions.push(degree);
            }
            (6, -1) if self.seventh.is_some() => self.tensions.push(Degree::new(13, -1)),
            (6, -1) => self.tensions.push(degree),
            (4, 1) => self.tensions.push(Degree::new(11, 1)),
            _ => return None,
        }
        Some(())
    }

    /// The degrees that were named, and the numbers that were left out; `None` if they make no chord.
    fn degrees(mut self) -> Option<(Vec<Degree>, Vec<u8>)> {
        if self.altered {
            self.seventh.get_or_insert(-1);
            self.fifths = vec![Degree::new(5, 1)];
            self.tensions
                .extend([Degree::new(9, -1), Degree::new(9, 1)]);
        }
        if self.triangle {
            self.seventh.get_or_insert(0);
        }
        if self.half_diminished {
            self.seventh.get_or_insert(-1);
        }
        if self.minor && self.major && self.seventh != Some(0) {
            return None;
        }
        let mut degrees = vec![Degree::ROOT];
        let flat_third = self.minor || self.diminished || self.half_diminished;
        if self.sus.is_empty() && !self.power && !self.single {
            degrees.push(Degree::new(3, if flat_third { -1 } else { 0 }));
        }
        degrees.extend(&self.sus);
        if self.fifths.is_empty() && !self.single {
            let flat = self.diminished || self.half_diminished;
            self.fifths.push(Degree::new(5, if flat { -1 } else { 0 }));
        }
        degrees.extend(&self.fifths);
        if self.sixth {
            degrees.push(Degree::new(6, 0));
        }
        degrees.extend(self.seventh.map(|alter| Degree::new(7, alter)));
        // the project's thirteenths leave the eleventh out, as players do
        let stacked: &[u8] = match self.stack {
            9 => &[9],
            11 => &[9, 11],
            13 => &[9, 13],
            _ => &[],
        };
        let replaced = |n: u8| {
            self.tensions
                .iter()
                .any(|t| t.number() == n && t.alter() != 0)
        };
        let kept = stacked.iter().filter(|n| !replaced(**n));
        degrees.extend(kept.map(|n| Degree::new(*n, 0)));
        for omit in &self.omitted {
            let is_it =
                |d: &Degree| d.number() == omit.number() && (omit.alter() == 0 || d == omit);
            let n = degrees.len();
            degrees.retain(|d| !is_it(d));
            let said_twice = self.power && omit.number() == 3;
            if degrees.len() == n && !said_twice {
                return None;
            }
        }
        let has_third = degrees.iter().any(|d| d.number() == 3);
        let one_fourth = self.sus == [Degree::new(4, 0)] && self.seventh.is_none();
        for tension in self.tensions.iter().chain(&self.added) {
            let degree = match (tension.number(), tension.alter()) {
                // a fourth with a second is one suspension
                (2, 0) if one_fourth => Degree::new(2, 0),
                (2, a) => Degree::new(9, a),
                (4, a) if has_third => Degree::new(11, a),
                (6, a) if self.seventh.is_some() => Degree::new(13, a),
                _ => *tension,
            };
            if !degrees.contains(&degree) {
                degrees.push(degree);
            }
        }
        Some((degrees, self.omitted.iter().map(|d| d.number()).collect()))
    }
}

#[derive(Clone, Copy)]
enum Word {
    Major,
    Triangle,
    Minor,
    Dim,
    Half,
    Aug,
    Dominant,
    Alt,
    Sus,
    Add,
    No,
}

/// The chord with exactly these degrees: under the row that has them, else under the one that
/// needs least added and left out.
fn of_degrees(root: Spelled, degrees: &[Degree], omitted: &[u8]) -> Chord {
    let altered_fifth = degrees.iter().any(|d| d.number() == 5 && d.alter() != 0);
    let best = QUALITIES
        .iter()
        .filter_map(|q| {
            let missing: Vec<Degree> = q
                .degrees
                .iter()
                .filter(|d| !degrees.contains(d))
                .copied()
                .collect();
            let may_lack = |d: &Degree| {
                omitted.contains(&d.number()) || (altered_fifth && *d == Degree::new(5, 0))
            };
            let added: Vec<Degree> = degrees
                .iter()
                .filter(|d| !q.degrees.contains(d))
                .copied()
                .collect();
            missing.iter().all(may_lack).then_some((q, missing, added))
        })
        .min_by_key(|(_, missing, added)| {
            2 * missing.len() + 2 * added.len() - usize::from(!missing.is_empty())
        });
    let Some((quality, missing, added)) = best else {
        return Chord::new(root, &QUALITIES[0]);
    };
    Chord {
        added,
        omitted: missing,
        ..Chord::new(root, quality)
    }
    .canonical()
}

/// The nearest spelling of a tail that is none: usual slips first, then one wrong letter.
fn nearest(root: Spelled, tail: &str) -> Option<String> {
    const SLIPS: [(&str, &str); 11] = [
        ("m+7", "m(maj7)"),
        ("m(+7)", "m(maj7)"),
        ("m#7", "m(maj7)"),
        ("(b7)", "7"),
        ("(b3)", "m"),
        ("maj#11", "maj7#11"),
        ("-5", "(b5)"),
        ("dim5", "dim"),
        ("m5", "m"),
        ("min5", "m"),
        ("m(#7)", "m(maj7)"),
    ];
    let slip = SLIPS.iter().find(|(wrong, _)| *wrong == tail);
    let reads = |t: &String| tail_on(root, t).is_ok();
    if let Some((_, right)) = slip {
        return Some((*right).to_owned());
    }
    if let Some((head, bass)) = tail.split_once('|') {
        let is_bass = bass.parse::<Spelled>().is_ok();
        return (is_bass && tail_on(root, head).is_ok()).then(|| format!("{head}/{bass}"));
    }
    if tail.contains(['(', ')']) {
        let bare: String = tail.chars().filter(|c| !matches!(c, '(' | ')')).collect();
        if let Some(closed) = Some(format!("({bare})")).filter(reads) {
            return Some(closed);
        }
    }
    QUALITIES
        .iter()
        .map(|q| q.symbol)
        .filter(|symbol| symbol.len() > 2)
        .find(|symbol| one_letter_apart(symbol, tail))
        .map(str::to_owned)
}

/// Whether one letter changed, added or dropped turns one text into the other.
fn one_letter_apart(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let (short, long) = if a.len() <= b.len() { (a, b) } else { (b, a) };
    let same = short.iter().zip(&long).take_while(|(x, y)| x == y).count();
    match long.len() - short.len() {
        0 => same < short.len() && short[same + 1..] == long[same + 1..],
        1 => short[same..] == long[same + 1..],
        _ => false,
    }
}
