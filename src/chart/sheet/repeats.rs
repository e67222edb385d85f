//! Sections folded into repeats, endings and rows.

use super::groups;
use super::jumps::{self, Signs};
use super::refer::{Later, join, refer_back};
use super::{BARS_IN_ROW, Block, Measure};
use crate::chart::Options;
use crate::songlog::decided::Feel;
use crate::songlog::form;
use crate::songlog::song::{Section, Song};
use crate::theory::Key;

/// One section before it is set in rows.
#[derive(Default)]
pub(super) struct Part {
    pub(super) letter: String,
    /// The letter with a prime for each variant.
    pub(super) in_form: String,
    pub(super) name: Option<String>,
    pub(super) feel: Option<Feel>,
    pub(super) differs: String,
    pub(super) measures: Vec<Measure>,
    /// Bars of a second ending.
    pub(super) second: Vec<Measure>,
    pub(super) times: u32,
    /// How it refers to a part before that it repeats.
    pub(super) as_before: Option<String>,
    /// Index of the part that it plays once more, bar for bar, if it is one.
    pub(super) once_more: Option<usize>,
    /// Words of the parts that refer to it.
    pub(super) later: Vec<Later>,
    pub(super) signs: Signs,
}

impl Part {
    /// Its name, or its place among the letters.
    pub(super) fn title(&self) -> String {
        self.name.clone().unwrap_or_else(|| self.in_form.clone())
    }

    /// Bars that lead in: they are played once, also where the part comes again.
    pub(super) fn n_lead(&self) -> usize {
        let lead = self.measures.iter().take_while(|m| m.number == 0).count();
        if lead < self.measures.len() { lead } else { 0 }
    }

    /// Whether both go by one name, or by one letter where they have none.
    pub(super) fn same_name(&self, other: &Self) -> bool {
        self.name == other.name && (self.name.is_some() || self.letter == other.letter)
    }

    /// Whether they may hold the same music: one letter, or `Verse 1` and `Verse 2`.
    pub(super) fn is_kin(&self, other: &Self) -> bool {
        let stems = (stem(self.name.as_deref()), stem(other.name.as_deref()));
        self.letter == other.letter || (stems.0.is_some() && stems.0 == stems.1)
    }
}

/// A name without the number at its end; of several, `Verse 1 / Verse 2`, the first.
fn stem(name: Option<&str>) -> Option<&str> {
    let first = name?.split(" / ").next()?;
    let stem = first.trim_end_matches(|c: char| c.is_ascii_digit() || c == ' ');
    (!stem.is_empty()).then_some(stem)
}

/// The blocks of a sheet, the form of a short one, and the order of its sections.
pub(super) fn blocks(
    song: &Song,
    measures: Vec<Measure>,
    options: &Options,
) -> (Vec<Block>, Vec<String>, String) {
    let mut parts = split(song, measures);
    let mut form = Vec::new();
    let mut order = order(&parts);
    if options.short {
        form = parts.iter().map(form_words).collect();
        let mut seen: Vec<String> = Vec::new();
        parts.retain(|p| {
            let new = !seen.contains(&p.letter);
            seen.push(p.letter.clone());
            new
        });
    } else if !options.written_out {
        parts = fold(parts);
        order = self::order(&parts);
    }
    mark_keys(&mut parts, song.key);
    if !options.short && !options.written_out {
        groups::fold(&mut parts);
        refer_back(&mut parts);
        jumps::fold(&mut parts);
    }
    (parts.into_iter().map(block).collect(), form, order)
}

/// The parts in the order in which they are played, as `songlog::form` names
/// them; neighbors that say the same are counted. Empty for a single section.
fn order(parts: &[Part]) -> String {
    let mut told: Vec<(String, u32)> = Vec::new();
    for part in parts {
        let text = part.title();
        match told.last_mut().filter(|t| t.0 == text) {
            Some(before) => before.1 += part.times,
            None => told.push((text, part.times)),
        }
    }
    if told.iter().map(|t| t.1).sum::<u32>() < 2 {
        return String::new();
    }
    let words: Vec<String> = told
        .into_iter()
        .map(|(text, n)| if n > 1 { format!("{text} ×{n}") } else { text })
        .collect();
    words.join(" – ")
}

/// Says where a new key begins: at the first bar printed in it, and where a repeat goes back to another.
fn mark_keys(parts: &mut [Part], first: Option<Key>) {
    let mut before = first;
    for part in parts {
        let (n, times) = (part.measures.len(), part.times);
        let begins = usize::from(part.measures[0].number == 0 && n > 1);
        let mut split = before;
        let goes_back = times > 1 && part.measures[begins].key != part.measures[n - 1].key;
        for (i, measure) in part.measures.iter_mut().enumerate() {
            if measure.ending.is_none() {
                split = measure.key;
            }
            if measure.key != before || (goes_back && i == begins) {
                measure.new_key = measure.key;
            }
            before = measure.key;
        }
        if !part.second.is_empty() {
            before = split;
        }
        for measure in &mut part.second {
            if measure.key != before {
                measure.new_key = measure.key;
            }
            before = measure.key;
        }
    }
}

fn form_words(part: &Part) -> String {
    let mut text = part.title();
    if let (Some(first), Some(last)) = (part.measures.first(), part.measures.last()) {
        text.push_str(&format!(" (bars {}–{})", first.number, last.number));
    }
    if !part.differs.is_empty() {
        text.push_str(&format!(": {}", part.differs));
    }
    text
}

/// Bars by section; bars outside all sections join their neighbors.
fn split(song: &Song, measures: Vec<Measure>) -> Vec<Part> {
    let start = |(s, in_form): (&Section, String)| Part {
        letter: s.letter.clone(),
        in_form,
        name: s.name.clone(),
        feel: s.feel,
        differs: s.differs.clone(),
        times: 1,
        ..Part::default()
    };
    let mut parts: Vec<Part> = song
        .sections
        .iter()
        .zip(form::letters(song))
        .map(start)
        .collect();
    if parts.is_empty() {
        parts.push(Part {
            times: 1,
            ..Part::default()
        });
    }
    for measure in measures {
        let at = song
            .sections
            .iter()
            .rposition(|s| s.first_bar <= measure.number)
            .unwrap_or(0);
        parts[at].measures.push(measure);
    }
    parts.retain(|p| !p.measures.is_empty());
    parts
}

/// Neighbors of one letter or name that say the same become one, those with other last bars get endings.
fn fold(parts: Vec<Part>) -> Vec<Part> {
    let mut out: Vec<Part> = Vec::new();
    for part in parts {
        let Some(last) = out
            .last_mut()
            .filter(|l| l.is_kin(&part) && l.feel == part.feel)
        else {
            out.push(part);
            continue;
        };
        let lead = last.n_lead();
        let common = last.measures[lead..]
            .iter()
            .zip(&part.measures)
            .take_while(|(a, b)| a.same(b))
            .count();
        let (n, m) = (last.measures.len() - lead, part.measures.len());
        let pickup = part.measures[0].number == 0;
        if last.second.is_empty() && !pickup && common == n && common == m {
            join(&mut last.measures[lead..], &part.measures);
            last.times += 1;
            last.name = both_names(last.name.take(), part.name);
        } else if last.second.is_empty()
            && last.times == 1
            && common * 2 >= n
            && common * 2 >= m
            && common < n
            && common < m
        {
            join(
                &mut last.measures[lead..lead + common],
                &part.measures[..common],
            );
            for measure in &mut last.measures[lead + common..] {
                measure.ending = Some(1);
            }
            last.second = part.measures[common..].to_vec();
            for measure in &mut last.second {
                measure.ending = Some(2);
            }
            last.times = 2;
            // with its two endings it is the one as much as the other
            last.in_form.clone_from(&last.letter);
            last.name = both_names(last.name.take(), part.name);
        } else {
            out.push(part);
        }
    }
    out
}

pub(super) fn both_names(a: Option<String>, b: Option<String>) -> Option<String> {
    match (a, b) {
        (Some(a), Some(b)) if !a.split(" / ").any(|n| n == b) => Some(format!("{a} / {b}")),
        (a, b) => a.or(b),
    }
}

/// The name over a section, or its letter, with its feel.
fn with_feel(name: Option<String>, letter: &str, feel: Option<Feel>) -> Option<String> {
    let Some(feel) = feel.map(Feel::words) else {
        return name;
    };
    match name.as_deref().unwrap_or(letter) {
        "" => Some(feel.into()),
        named => Some(format!("{named} ({feel})")),
    }
}

/// Signs, similes and rows.
fn block(mut part: Part) -> Block {
    if part.times > 1 || part.signs.opens {
        // a pickup is played once: the repeat starts after it
        let first = usize::from(part.measures[0].number == 0 && part.measures.len() > 1);
        part.measures[first].repeat_start = true;
    }
    if let Some(last) = part.measures.last_mut() {
        last.repeat_end = part.times > 1 || part.signs.closes > 0;
    }
    let mut rows: Vec<Vec<Measure>> = Vec::new();
    let (pickup, full): (Vec<_>, Vec<_>) = part.measures.into_iter().partition(|m| m.number == 0);
    if !pickup.is_empty() {
        rows.push(pickup);
    }
    for bars in [full, part.second] {
        // a new key starts a row, so that it can stand over it
        for bars in bars.chunk_by(|_, next| next.new_key.is_none()) {
            rows.extend(bars.chunks(BARS_IN_ROW).map(<[Measure]>::to_vec));
        }
    }
    for row in &mut rows {
        for i in 1..row.len() {
            let plain = row[i].marks.iter().all(|m| m.remarks.is_empty())
                && row[i].ending == row[i - 1].ending
                && row[i].n_lyrics() == 0
                && !row[i].repeat_start
                && row[i].new_key.is_none();
            let doubt = |m: &Measure| m.marks.iter().any(|x| x.open);
            row[i].simile = plain
                && row[i].same(&row[i - 1])
                && row[i].same_tab(&row[i - 1])
                && doubt(&row[i]) == doubt(&row[i - 1]);
        }
    }
    Block {
        name: with_feel(part.name, &part.in_form, part.feel),
        letter: part.in_form,
        differs: part.differs,
        times: part.times,
        strokes: String::new(),
        pattern: None,
        as_before: part.as_before,
        signs: part.signs,
        rows,
        later: part.later,
    }
}
