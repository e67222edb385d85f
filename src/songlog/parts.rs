//! Sections: what is known of one, and what decisions do to them.

use super::decided::{Act, Feel};
use super::heard::Heard;
use super::song::Bar;
use super::text;
use super::timeline::Misfit;
use crate::theory::Key;

/// One section. Serialized as in the JSON of a song.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
pub struct Section {
    /// The same letter for the same music.
    pub letter: String,
    /// The user's name, if any: "Verse".
    pub name: Option<String>,
    /// First bar number, inclusive.
    pub first_bar: u32,
    /// Last bar number, inclusive.
    pub last_bar: u32,
    /// Straight or swung, if the user set it.
    pub feel: Option<Feel>,
    /// The key that it starts in, where that is another than the song's first.
    #[serde(with = "text::optional")]
    pub key: Option<Key>,
    /// How it differs from the first of its letter, in words; empty if it does not.
    pub differs: String,
}

/// Sections while decisions are applied to them; they cover the whole take.
pub(super) struct Parts {
    parts: Vec<Part>,
    bar_s: f64,
}

/// A section in time.
struct Part {
    start_s: f64,
    end_s: f64,
    /// Its bars are counted at the end.
    section: Section,
}

impl Parts {
    pub(super) fn new(heard: &Heard, bars: &[Bar]) -> Self {
        let start_of = |n: u32| heard.bars.iter().find(|b| b.number == n).map(|b| b.start_s);
        let mut parts: Vec<Part> = heard
            .sections
            .iter()
            .filter_map(|s| {
                Some(Part {
                    start_s: start_of(s.first_bar)?,
                    end_s: 0.0,
                    section: lettered(&s.letter),
                })
            })
            .collect();
        if parts.is_empty() {
            parts.push(Part {
                start_s: 0.0,
                end_s: 0.0,
                section: lettered("A"),
            });
        }
        parts[0].start_s = 0.0;
        let mut all = Self {
            parts,
            bar_s: bars.first().map_or(2.0, |b| (b.end_s - b.start_s).max(0.2)),
        };
        all.close(heard.duration_s);
        all
    }

    /// Applies an act about sections; others do nothing here.
    pub(super) fn apply(&mut self, act: &Act) -> Result<(), Misfit> {
        match act {
            Act::SectionName {
                start_s,
                end_s,
                name,
            } => self.each_in(*start_s, *end_s, |section| {
                section.name = Some(name.clone()).filter(|n| !n.is_empty());
            }),
            Act::SectionLetter {
                start_s,
                end_s,
                letter,
            } => self.each_in(*start_s, *end_s, |section| {
                section.letter.clone_from(letter);
            }),
            Act::SectionFeel {
                start_s,
                end_s,
                feel,
            } => self.each_in(*start_s, *end_s, |section| section.feel = Some(*feel)),
            Act::SectionSplit { at_s } => self.split(*at_s),
            Act::SectionJoin { at_s } => self.join(*at_s),
            _ => Ok(()),
        }
    }

    /// Each part ends where the next starts.
    fn close(&mut self, end_s: f64) {
        for i in 0..self.parts.len() {
            self.parts[i].end_s = self.parts.get(i + 1).map_or(end_s, |p| p.start_s);
        }
    }

    fn each_in(
        &mut self,
        start_s: f64,
        end_s: f64,
        mut change: impl FnMut(&mut Section),
    ) -> Result<(), Misfit> {
        let mut n = 0;
        for part in &mut self.parts {
            let common = part.end_s.min(end_s) - part.start_s.max(start_s);
            let shorter = (part.end_s - part.start_s).min(end_s - start_s);
            if common > 0.5 * shorter && common > 0.0 {
                change(&mut part.section);
                n += 1;
            }
        }
        if n == 0 {
            return Err(Misfit("no section is there now"));
        }
        Ok(())
    }

    /// The start of a part other than the first that is nearest, within half a bar.
    fn edge(&self, at_s: f64) -> Option<usize> {
        (1..self.parts.len())
            .map(|i| (i, (self.parts[i].start_s - at_s).abs()))
            .filter(|(_, off)| *off < 0.5 * self.bar_s)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(i, _)| i)
    }

    fn split(&mut self, at_s: f64) -> Result<(), Misfit> {
        if self.edge(at_s).is_some() {
            return Ok(());
        }
        let end_s = self.parts.last().map_or(0.0, |p| p.end_s);
        let i = self
            .parts
            .iter()
            .position(|p| p.start_s < at_s && at_s < p.end_s)
            .ok_or(Misfit("the take is not that long"))?;
        let letter = ('A'..='Z')
            .map(String::from)
            .find(|l| self.parts.iter().all(|p| p.section.letter != *l))
            .unwrap_or_else(|| "Z".into());
        self.parts.insert(
            i + 1,
            Part {
                start_s: at_s,
                end_s: 0.0,
                section: lettered(&letter),
            },
        );
        self.close(end_s);
        Ok(())
    }

    fn join(&mut self, at_s: f64) -> Result<(), Misfit> {
        let i = self
            .edge(at_s)
            .ok_or(Misfit("no section starts there now"))?;
        let end_s = self.parts.last().map_or(0.0, |p| p.end_s);
        self.parts.remove(i);
        self.close(end_s);
        Ok(())
    }

    /// As bars: each section from the bar that starts nearest.
    pub(super) fn sections(&self, bars: &[Bar]) -> Vec<Section> {
        let Some(last) = bars.last() else {
            return Vec::new();
        };
        let first_bar = |part: &Part| {
            bars.iter()
                .min_by(|a, b| {
                    let off = |bar: &Bar| (bar.start_s - part.start_s).abs();
                    off(a).total_cmp(&off(b))
                })
                .map_or(bars[0].number, |b| b.number)
        };
        let mut sections: Vec<Section> = Vec::new();
        for (i, part) in self.parts.iter().enumerate() {
            let first = if i == 0 {
                bars[0].number
            } else {
                first_bar(part)
            };
            if let Some(before) = sections.last_mut() {
                if before.first_bar >= first {
                    continue;
                }
                before.last_bar = first - 1;
            }
            sections.push(Section {
                first_bar: first,
                last_bar: last.number,
                ..part.section.clone()
            });
        }
        sections
    }
}

fn lettered(letter: &str) -> Section {
    Section {
        letter: letter.into(),
        ..Section::default()
    }
}
