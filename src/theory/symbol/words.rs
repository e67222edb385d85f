//! Words of a symbol: `maj`, `dim`, `sus4`, `add9`, `no3`.

use super::Reading;
use super::plain::starts_without_case;
use crate::theory::Degree;

/// What a word means.
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

impl Reading {
    /// Reads a word at the start of the text: what follows, or nothing if the word is
    /// not possible here; `None` if there is no word.
    #[expect(clippy::option_option, reason = "no word, and a word that is refused")]
    pub(super) fn word<'a>(&mut self, text: &'a str) -> Option<Option<&'a str>> {
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
}
