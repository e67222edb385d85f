//! Sections folded into repeats, endings and rows.

use super::{BARS_IN_ROW, Block, Measure};
use crate::chart::Options;
use crate::songlog::decided::Feel;
use crate::songlog::form;
use crate::songlog::song::{Section, Song};
use crate::theory::Key;

/// One section before it is set in rows.
struct Part {
    letter: String,
    in_roadmap: String,
    name: Option<String>,
    feel: Option<Feel>,
    differs: String,
    measures: Vec<Measure>,
    /// Bars of a second ending.
    second: Vec<Measure>,
    times: u32,
    /// How it refers to a part before that it repeats.
    as_before: Option<String>,
}

impl Part {
    /// Its name, or its place among the letters.
    fn title(&self) -> String {
        self.name.clone().unwrap_or_else(|| self.in_roadmap.clone())
    }
}

/// The blocks of a sheet, the form of a short one, and the roadmap.
pub(super) fn blocks(
    song: &Song,
    measures: Vec<Measure>,
    options: &Options,
) -> (Vec<Block>, Vec<String>, String) {
    let mut parts = split(song, measures);
    let mut form = Vec::new();
    let mut roadmap = roadmap(&parts);
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
        roadmap = self::roadmap(&parts);
    }
    mark_keys(&mut parts, song.key);
    if !options.short && !options.written_out {
        refer_back(&mut parts);
    }
    (parts.into_iter().map(block).collect(), form, roadmap)
}

/// The parts in the order in which they are played, as `songlog::form` names
/// them; neighbors that say the same are counted. Empty for a single section.
fn roadmap(parts: &[Part]) -> String {
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
    let start = |(s, in_roadmap): (&Section, String)| Part {
        letter: s.letter.clone(),
        in_roadmap,
        name: s.name.clone(),
        feel: s.feel,
        differs: s.differs.clone(),
        measures: Vec::new(),
        second: Vec::new(),
        times: 1,
        as_before: None,
    };
    let mut parts: Vec<Part> = song
        .sections
        .iter()
        .zip(form::roadmap(song))
        .map(start)
        .collect();
    if parts.is_empty() {
        parts.push(Part {
            letter: String::new(),
            in_roadmap: String::new(),
            name: None,
            feel: None,
            differs: String::new(),
            measures: Vec::new(),
            second: Vec::new(),
            times: 1,
            as_before: None,
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

/// Neighbors of one letter that say the same become one, those with other last bars get endings.
fn fold(parts: Vec<Part>) -> Vec<Part> {
    let mut out: Vec<Part> = Vec::new();
    for part in parts {
        let Some(last) = out
            .last_mut()
            .filter(|l| l.letter == part.letter && l.feel == part.feel)
        else {
            out.push(part);
            continue;
        };
        // what leads in is played once
        let lead = last.measures.iter().take_while(|m| m.number == 0).count();
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
            last.in_roadmap.clone_from(&last.letter);
            last.name = both_names(last.name.take(), part.name);
        } else {
            out.push(part);
        }
    }
    out
}

/// The printed bar is open if any pass is, and carries the remarks of all.
fn join(printed: &mut [Measure], again: &[Measure]) {
    for (a, b) in printed.iter_mut().zip(again) {
        a.lyrics.extend(b.lyrics.iter().cloned());
        for (x, y) in a.marks.iter_mut().zip(&b.marks) {
            x.open |= y.open;
            x.remarks.extend(&y.remarks);
        }
    }
}

/// A section that comes again with the same bars, or nearly, refers to where it is printed.
fn refer_back(parts: &mut [Part]) {
    for i in 1..parts.len() {
        let (before, rest) = parts.split_at_mut(i);
        let part = &mut rest[0];
        let printed = |p: &&mut Part| p.as_before.is_none();
        let alike = |p: &&mut Part| {
            let name = p.name == part.name && (p.name.is_some() || p.letter == part.letter);
            let n = p.measures.len() == part.measures.len();
            let endings = p.second.len() == part.second.len()
                && differing(&p.second, &part.second).is_empty();
            name && n && endings
        };
        if part.measures.len() < 2 {
            continue;
        }
        let mut same = before.iter_mut().filter(|p| printed(p) && alike(p));
        let Some((earlier, other)) = same.find_map(|p| {
            let mut other = differing(&p.measures, &part.measures);
            if !p.second.is_empty() && !other.is_empty() {
                // which of the endings differs is quicker read
                other = (0..part.measures.len()).collect();
            }
            // more than that is quicker read than told
            (other.len() <= (part.measures.len() / 8).max(1)).then_some((p, other))
        }) else {
            continue;
        };
        let n = part.measures.len();
        let mut words = "as above".to_owned();
        if let Some(key) = part.measures.first().and_then(|m| m.new_key) {
            words.push_str(&format!(", in {}", key.text()));
        }
        match (earlier.times, part.times) {
            (a, b) if a == b => {}
            (_, 1) => words.push_str(", once"),
            (_, times) => words.push_str(&format!(", {times} times")),
        }
        for bar in &other {
            let symbols: Vec<&str> = part.measures[*bar]
                .marks
                .iter()
                .map(|m| &m.symbol[..])
                .collect();
            let place = match *bar + 1 {
                last if last == n => "last bar".to_owned(),
                k => format!("bar {k} of it"),
            };
            words.push_str(&format!(", {place} {}", symbols.join(" ")));
        }
        for bar in 0..n {
            if !other.contains(&bar) {
                join(&mut earlier.measures[bar..=bar], &part.measures[bar..=bar]);
            } else if !part.measures[bar].lyrics.is_empty() {
                // its words are under the line of their own pass
                earlier.measures[bar]
                    .lyrics
                    .extend(part.measures[bar].lyrics.clone());
            }
        }
        join(&mut earlier.second, &part.second);
        part.as_before = Some(words);
    }
}

/// Bars that are not alike in two parts of one length.
fn differing(a: &[Measure], b: &[Measure]) -> Vec<usize> {
    let tabs = |a: &Measure, b: &Measure| a.tab.is_empty() || b.tab.is_empty() || a.same_tab(b);
    let pairs = a.iter().zip(b).enumerate();
    pairs
        .filter(|(_, (a, b))| !a.same(b) || a.number == 0 || b.number == 0 || !tabs(a, b))
        .map(|(i, _)| i)
        .collect()
}

fn both_names(a: Option<String>, b: Option<String>) -> Option<String> {
    match (a, b) {
        (Some(a), Some(b)) if !a.split(" / ").any(|n| n == b) => Some(format!("{a} / {b}")),
        (a, b) => a.or(b),
    }
}

/// The name over a section, with its feel.
fn with_feel(name: Option<String>, feel: Option<Feel>) -> Option<String> {
    match (name, feel.map(Feel::words)) {
        (Some(name), Some(feel)) => Some(format!("{name} ({feel})")),
        (name, feel) => name.or(feel.map(str::to_owned)),
    }
}

/// Signs, similes and rows.
fn block(mut part: Part) -> Block {
    if part.times > 1 {
        // a pickup is played once: the repeat starts after it
        let first = usize::from(part.measures[0].number == 0 && part.measures.len() > 1);
        part.measures[first].repeat_start = true;
        if let Some(last) = part.measures.last_mut() {
            last.repeat_end = true;
        }
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
        letter: part.in_roadmap,
        name: with_feel(part.name, part.feel),
        differs: part.differs,
        times: part.times,
        strokes: String::new(),
        pattern: None,
        as_before: part.as_before,
        rows,
    }
}
