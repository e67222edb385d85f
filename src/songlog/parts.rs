//! Sections while decisions are applied to them.

use super::heard::Heard;
use super::song::{Bar, Section};
use super::timeline::Misfit;

/// Sections while decisions are applied to them; they cover the whole take.
pub(super) struct Parts {
    parts: Vec<Part>,
    bar_s: f64,
}

/// A section in time.
pub(super) struct Part {
    start_s: f64,
    end_s: f64,
    pub(super) letter: String,
    pub(super) name: Option<String>,
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
                    letter: s.letter.clone(),
                    name: None,
                })
            })
            .collect();
        if parts.is_empty() {
            parts.push(Part {
                start_s: 0.0,
                end_s: 0.0,
                letter: "A".into(),
                name: None,
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

    /// Each part ends where the next starts.
    pub(super) fn close(&mut self, end_s: f64) {
        for i in 0..self.parts.len() {
            self.parts[i].end_s = self.parts.get(i + 1).map_or(end_s, |p| p.start_s);
        }
    }

    pub(super) fn each_in(
        &mut self,
        start_s: f64,
        end_s: f64,
        mut change: impl FnMut(&mut Part),
    ) -> Result<(), Misfit> {
        let mut n = 0;
        for part in &mut self.parts {
            let common = part.end_s.min(end_s) - part.start_s.max(start_s);
            let shorter = (part.end_s - part.start_s).min(end_s - start_s);
            if common > 0.5 * shorter && common > 0.0 {
                change(part);
                n += 1;
            }
        }
        if n == 0 {
            return Err(Misfit("no section is there now"));
        }
        Ok(())
    }

    /// The start of a part other than the first that is nearest, within half a bar.
    pub(super) fn edge(&self, at_s: f64) -> Option<usize> {
        (1..self.parts.len())
            .map(|i| (i, (self.parts[i].start_s - at_s).abs()))
            .filter(|(_, off)| *off < 0.5 * self.bar_s)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(i, _)| i)
    }

    pub(super) fn split(&mut self, at_s: f64) -> Result<(), Misfit> {
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
            .find(|l| self.parts.iter().all(|p| p.letter != *l))
            .unwrap_or_else(|| "Z".into());
        self.parts.insert(
            i + 1,
            Part {
                start_s: at_s,
                end_s: 0.0,
                letter,
                name: None,
            },
        );
        self.close(end_s);
        Ok(())
    }

    pub(super) fn join(&mut self, at_s: f64) -> Result<(), Misfit> {
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
                letter: part.letter.clone(),
                name: part.name.clone(),
                first_bar: first,
                last_bar: last.number,
                key: None,
                differs: String::new(),
            });
        }
        sections
    }
}
