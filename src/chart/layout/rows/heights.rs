//! How high a line of bars is, and the tablature under it.

use super::Place;
use crate::chart::ChartError;
use crate::chart::layout::{Item, Pager, Style, line};
use crate::chart::sheet::Measure;

const TAB_THIN: f64 = 0.2;
/// Between two lines of the tablature, and above it, mm.
pub(super) const TAB_LINE: f64 = 2.1;
const TAB_ABOVE: f64 = 3.0;
const TAB_POINTS: f64 = 7.0;
/// A line of top notes or degrees, mm.
const NOTE_LINE: f64 = 3.6;
/// A line of words, mm.
pub(super) const LYRIC_LINE: f64 = 4.4;
/// From the symbols to the beats, and from there to the row's end, mm.
const SLASH: f64 = 3.2;
const UNDER_SLASH: f64 = 1.0;
const SYMBOL: f64 = 8.6;
/// From a symbol's baseline to that of the note over it, mm: its capitals are 5.7 mm high.
const ABOVE_SYMBOL: f64 = 6.5;

/// What a line of bars has besides symbols and slashes; mm from its top, at the print's scale.
pub(super) struct Heights {
    /// Baselines of the parts.
    pub(super) top_note: f64,
    pub(super) symbol: f64,
    pub(super) degree: f64,
    pub(super) slash: f64,
    /// Top line of the tablature, if there is one.
    pub(super) tab: Option<f64>,
    /// First line of words.
    pub(super) lyric: f64,
    /// The whole.
    pub(super) all: f64,
}

impl Heights {
    pub(super) fn of(page: &Pager, bars: &[Measure], n_strings: usize) -> Self {
        let shown = || bars.iter().filter(|m| !m.simile);
        let marks = || shown().flat_map(|m| &m.marks);
        let line = |any: bool| if any { NOTE_LINE } else { 0.0 };
        let top = line(marks().any(|m| m.top.is_some()));
        let degrees = line(marks().any(|m| m.degree.is_some()));
        let s = page.scale;
        let symbol = SYMBOL + top;
        let slash = symbol + degrees + SLASH;
        let n_lyrics = bars.iter().map(Measure::n_lyrics).max().unwrap_or(0);
        let under = slash + UNDER_SLASH + LYRIC_LINE * n_lyrics as f64;
        let tab = shown()
            .any(Measure::shows_tab)
            .then_some((under + TAB_ABOVE) * s);
        let tab_height = TAB_LINE * n_strings.saturating_sub(1) as f64;
        Self {
            top_note: (symbol - ABOVE_SYMBOL) * s,
            symbol: symbol * s,
            degree: (symbol + NOTE_LINE + 0.2) * s,
            slash: slash * s,
            lyric: (slash + LYRIC_LINE) * s,
            all: match tab {
                Some(tab) => tab + (tab_height + super::stems::HEIGHT) * s,
                None => under * s,
            },
            tab,
        }
    }

    /// Where bar lines end: the tablature has its own.
    pub(super) fn bar_bottom(&self, s: f64) -> f64 {
        self.tab.map_or(self.all, |tab| tab - TAB_ABOVE * s)
    }
}

/// Lines of the tablature of one bar, broken where a fret stands.
pub(super) fn tablature(
    page: &Pager,
    measure: &Measure,
    (left, right): (f64, f64),
    top: f64,
    place: &Place,
    items: &mut Vec<Item>,
) -> Result<(), ChartError> {
    let s = page.scale;
    let n = place.n_strings;
    let y = |string: usize| top + TAB_LINE * s * (n - 1 - string.min(n - 1)) as f64;
    // as the symbols above: a repeat sign takes its room
    let from = left + super::start_room(measure, s);
    let to = right - 1.2 * s;
    let x = |at: f64| from + (to - from) * at / f64::from(measure.n_beats.max(1));
    let size = page.points(TAB_POINTS);
    let mut gaps: Vec<Vec<(f64, f64)>> = vec![Vec::new(); n];
    for note in &measure.tab {
        let text = note.fret.to_string();
        let w = page.fonts.width(Style::Regular, size, &text)?;
        let at = x(note.at);
        let string = note.string.min(n - 1);
        items.push(page.text_item(at, y(string) + size * 0.36, size, Style::Regular, &text));
        gaps[string].push((at - 0.4 * s, at + w + 0.4 * s));
    }
    for (string, gaps) in gaps.iter_mut().enumerate() {
        gaps.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut at = left;
        for (from, to) in gaps.iter() {
            if *from > at {
                items.push(line((at, y(string)), (*from, y(string)), TAB_THIN));
            }
            at = at.max(*to);
        }
        if at < right {
            items.push(line((at, y(string)), (right, y(string)), TAB_THIN));
        }
    }
    for x in [left, right] {
        items.push(line((x, y(n - 1)), (x, y(0)), TAB_THIN));
    }
    let digit = page.fonts.width(Style::Regular, size, "0")?;
    super::stems::stems(measure, |at| x(at) + digit / 2.0, y(0), s, items);
    Ok(())
}
