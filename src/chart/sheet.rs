//! The lead sheet as content: sections, rows of bars, repeats, legend, notes.
//!
//! Pages and MusicXML are written from it. Chords are put on the half beat
//! nearest to their start; a chord held over a bar line is written again at
//! the start of the bar. Nothing here has a position on paper; see
//! [`layout`](super::layout).

mod bars;
mod groups;
mod jumps;
mod legend;
mod moving;
mod places;
mod plucked;
mod print;
mod refer;
mod repeats;

pub(super) use bars::all_bars;
pub use jumps::{Jump, Signs};
pub use legend::{Entry, ShapeBox};
pub use plucked::TabNote;
pub(super) use plucked::strikes;
pub(super) use print::{bars_on_line, split_symbol};

use super::{ChartError, Options};
use crate::fretboard::string_name;
use crate::songlog::form;
use crate::songlog::song::Song;
use crate::theory::{Key, Label, midi_name};
use print::{Printer, annotate, printer};

/// Bars in a row: a phrase of four stays whole.
pub const BARS_IN_ROW: usize = 4;

/// A lead sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Title.
    pub title: String,
    /// Who made it.
    pub credit: Option<String>,
    /// Key, tempo, meter, tuning, capo: short texts in reading order.
    pub facts: Vec<String>,
    /// Number of strings of the instrument.
    pub n_strings: usize,
    /// Names of the strings, lowest first: `E`, `A` to `e`.
    pub strings: Vec<String>,
    /// Beats in a bar and note value of a beat; 4/4 where unknown.
    pub meter: (u8, u8),
    /// The sections in the order in which they are played, on one line; empty for a single one.
    pub order: String,
    /// Sections in order, repeats folded unless written out.
    pub blocks: Vec<Block>,
    /// The order of sections, one text each; only of a short sheet.
    pub form: Vec<String>,
    /// Each chord with its shapes, in order of first appearance.
    pub legend: Vec<Entry>,
    /// Numbered notes to places; number 1 is index 0.
    pub remarks: Vec<String>,
    /// Notes to the whole.
    pub notes: Vec<String>,
    /// What a player should mind.
    pub cautions: Vec<String>,
    /// Chords not confirmed.
    pub n_open: usize,
    /// All chords.
    pub n_chords: usize,
}

/// One section on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Letter.
    pub letter: String,
    /// Names given by the user, if any.
    pub name: Option<String>,
    /// How it differs from the first of its letter; empty if it does not.
    pub differs: String,
    /// How often it is played as it stands.
    pub times: u32,
    /// On what the hand was heard to strike or pick, in words; empty if it is not clear.
    pub strokes: String,
    /// The same as slots of the bar.
    pub pattern: Option<Pattern>,
    /// Where it is as a section printed before: how it is referred to, in place of its rows.
    pub as_before: Option<String>,
    /// Da capo, dal segno, coda and fine at its start and end.
    pub signs: Signs,
    /// Rows of at most [`BARS_IN_ROW`] bars; a pickup has a row of its own.
    pub rows: Vec<Vec<Measure>>,
    /// Words of the sections that refer to it.
    pub(super) later: Vec<refer::Later>,
}

/// Where in a bar the hand strums or picks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    /// Slots of the bar, from its start.
    pub hits: Vec<bool>,
    /// Slots in a beat: 2, or 3 where beats are dotted.
    pub per_beat: usize,
    /// Strummed rather than picked.
    pub strummed: bool,
}

/// One bar on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// Number in the take; 0 for a pickup.
    pub number: u32,
    /// Beats, at least 1.
    pub n_beats: u8,
    /// Chords by their place, first at the start of the bar.
    pub marks: Vec<Mark>,
    /// Plucked notes for the tablature, in order; none where chords are played whole.
    pub tab: Vec<TabNote>,
    /// Whether a line of single notes goes through it: without a note it is a rest.
    pub in_line: bool,
    /// The key it is in.
    pub key: Option<Key>,
    /// The key, where it is another than that of the bar printed before.
    pub new_key: Option<Key>,
    /// Whether it says the same as the bar before (a simile mark may stand for it).
    pub simile: bool,
    /// A forward repeat sign at its start.
    pub repeat_start: bool,
    /// A backward repeat sign at its end.
    pub repeat_end: bool,
    /// First or second ending that it belongs to.
    pub ending: Option<u8>,
    /// Words that are sung, one text for each time it is played; empty in songs without words.
    pub lyrics: Vec<String>,
}

/// One chord in a bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Half beats from the bar's start.
    pub half_beat: u8,
    /// What is printed.
    pub symbol: String,
    /// Whether it is still a proposal.
    pub open: bool,
    /// Which shape of the legend, where the chord has several: `a`, `b`.
    pub variant: Option<char>,
    /// Its degree of the key, where degrees are wanted under the symbols.
    pub degree: Option<String>,
    /// The top note here, where the top notes move by step over several chords.
    pub top: Option<String>,
    /// The bass note here, where the bass walks by step over several chords.
    pub bass: Option<String>,
    /// Numbers of the remarks that belong to it, from 1.
    pub remarks: Vec<usize>,
    /// Index of its span in the song.
    pub span: usize,
    /// Whether it began in an earlier bar.
    pub held: bool,
}

impl Mark {
    /// Whether two marks look and sound the same.
    fn same(&self, other: &Self) -> bool {
        (self.half_beat, &self.symbol, self.variant)
            == (other.half_beat, &other.symbol, other.variant)
    }

    /// Symbol, shape letter, remark numbers and the sign of doubt as plain text.
    pub fn text(&self) -> String {
        let mut text = self.symbol.clone();
        // an unknown chord is a question mark already
        if self.open && self.symbol != "?" {
            text.push('?');
        }
        if let Some(variant) = self.variant {
            text.push_str(&format!("({variant})"));
        }
        if !self.remarks.is_empty() {
            let numbers: Vec<String> = self.remarks.iter().map(usize::to_string).collect();
            text.push_str(&format!("[{}]", numbers.join(",")));
        }
        text
    }
}

impl Measure {
    fn same(&self, other: &Self) -> bool {
        (self.n_beats, self.key) == (other.n_beats, other.key)
            && self.marks.len() == other.marks.len()
            && self.marks.iter().zip(&other.marks).all(|(a, b)| a.same(b))
            // what sounds where no chord does are the notes
            && (self.has_chord() || self.tab == other.tab)
    }

    /// Whether it has tablature of its own.
    pub fn shows_tab(&self) -> bool {
        !self.simile && (self.in_line || !self.tab.is_empty())
    }

    fn has_chord(&self) -> bool {
        let none = Label::NoChord.symbol();
        self.marks.iter().any(|m| m.symbol != none)
    }
}

impl Measure {
    /// Whether the same strings are plucked at the same frets; where in the bar is left to the ear.
    fn same_tab(&self, other: &Self) -> bool {
        let pressed = |m: &Self| {
            let mut all: Vec<(usize, u8)> = m.tab.iter().map(|t| (t.string, t.fret)).collect();
            all.sort_unstable();
            all.dedup();
            all
        };
        pressed(self) == pressed(other)
    }

    /// Lines of words under it, up to the last that says something.
    pub fn n_lyrics(&self) -> usize {
        self.lyrics
            .iter()
            .rposition(|l| !l.is_empty())
            .map_or(0, |i| i + 1)
    }

    /// What is printed over it where a new key begins: `Key of A major`.
    pub fn key_text(&self) -> Option<String> {
        self.new_key.map(|key| format!("Key of {}", key.text()))
    }

    /// In words, for a reader who cannot see it: `bar 3: G, on 3 D over F♯`.
    pub fn words(&self) -> String {
        let number = match self.number {
            0 => "pickup".into(),
            n => format!("bar {n}"),
        };
        let mut parts: Vec<String> = Vec::new();
        parts.extend(self.new_key.map(|key| format!("key of {}", key.text())));
        if self.repeat_start {
            parts.push("repeat from here".into());
        }
        if let Some(ending) = self.ending {
            parts.push(format!("ending {ending}"));
        }
        for mark in &self.marks {
            let half = if mark.half_beat % 2 == 1 { " and" } else { "" };
            let on = match mark.half_beat {
                0 => String::new(),
                h => format!("on {}{half} ", h / 2 + 1),
            };
            let open = if mark.open { ", not confirmed" } else { "" };
            parts.push(format!("{on}{}{open}", mark.symbol));
        }
        if self.marks.is_empty() {
            parts.push("as before".into());
        }
        for text in self.lyrics.iter().filter(|l| !l.is_empty()) {
            parts.push(format!("sung: {text}"));
        }
        if self.repeat_end {
            parts.push("repeat to here".into());
        }
        format!("{number}: {}", parts.join(", "))
    }
}

impl Block {
    /// Its name, `Verse`; the letter where it has none.
    pub fn heading(&self) -> String {
        self.name.clone().unwrap_or_else(|| self.letter.clone())
    }

    /// As it is printed: with the words of all sections that refer to it, each line once.
    #[must_use]
    pub fn as_printed(&self) -> Self {
        self.with_words_of(|_| true).with_words_once()
    }

    /// The same with the words of sections that refer to it: of those whose place among all
    /// `which` takes, or that have none because they are played after a jump.
    pub(super) fn with_words_of(&self, which: impl Fn(Option<usize>) -> bool) -> Self {
        let mut block = self.clone();
        let mut bars: Vec<&mut Measure> = block.rows.iter_mut().flatten().collect();
        for later in self.later.iter().filter(|later| which(later.by)) {
            for (bar, words) in &later.lines {
                bars[*bar].lyrics.extend(words.iter().cloned());
            }
        }
        block
    }

    /// The same without lines of words that repeat an earlier line in every bar, as a chorus does.
    pub(super) fn with_words_once(&self) -> Self {
        let mut block = self.clone();
        let n = self.measures().map(|m| m.lyrics.len()).max().unwrap_or(0);
        let same = |a: usize, b: usize| {
            let mut lines = self.measures();
            // an ending has no line for a pass that leaves it out
            lines.all(|m| m.lyrics.get(b).is_none_or(|l| m.lyrics.get(a) == Some(l)))
        };
        for pass in (1..n).rev() {
            if (0..pass).any(|earlier| same(earlier, pass)) {
                for measure in block.rows.iter_mut().flatten() {
                    if pass < measure.lyrics.len() {
                        measure.lyrics.remove(pass);
                    }
                }
            }
        }
        block
    }

    /// The rows that are printed: none where the section is as one before.
    pub fn printed(&self) -> &[Vec<Measure>] {
        match self.as_before {
            Some(_) => &[],
            None => &self.rows,
        }
    }

    /// Whether it says the same bars, as often, as another.
    pub fn reads_as(&self, other: &Self) -> bool {
        let (n, m) = (self.measures().count(), other.measures().count());
        // repeat signs follow from how often it is played
        let signs = |m: &Measure| (m.ending, m.new_key);
        (self.times, n) == (other.times, m)
            && self
                .measures()
                .zip(other.measures())
                .all(|(a, b)| a.same(b) && signs(a) == signs(b))
    }

    /// All bars in order.
    pub fn measures(&self) -> impl Iterator<Item = &Measure> {
        self.rows.iter().flatten()
    }
}

impl Sheet {
    /// The sheet of a song that [`prepare`](super::prepare) has moved already.
    ///
    /// # Errors
    /// * [`ChartError::NoKey`] for degrees without a key.
    pub fn new(song: &Song, options: &Options) -> Result<Self, ChartError> {
        let print = printer(song, options)?;
        let (legend, variants) = legend::legend(song, options, &print);
        let mut remarks = Vec::new();
        let mut measures = bars::measures(song, &print, &variants, &mut remarks);
        annotate(song, options, &mut measures)?;
        plucked::tab(song, &mut measures);
        let (mut blocks, form, order) = repeats::blocks(song, measures, options);
        plucked::strokes(song, &mut blocks);
        if print::shift(song, options) != 0 {
            // these words name chords as they sound
            blocks.iter_mut().for_each(|b| b.differs.clear());
        }
        Ok(Self {
            title: song.title.clone(),
            credit: song.credit.clone(),
            facts: facts(song, options),
            n_strings: song.instrument.tuning.n_strings(),
            strings: (0..song.instrument.tuning.n_strings())
                .map(|s| string_name(&song.instrument, s))
                .collect(),
            meter: song.meter.unwrap_or((4, 4)),
            order,
            blocks,
            form,
            cautions: legend::cautions(&legend),
            legend,
            remarks,
            notes: song.notes.clone(),
            n_open: song.n_open(),
            n_chords: song.n_chords(),
        })
    }

    /// Bars that are printed.
    fn printed(&self) -> impl Iterator<Item = &Measure> {
        self.blocks.iter().flat_map(Block::printed).flatten()
    }

    /// Whether a chord starts between two beats.
    pub fn has_half_beats(&self) -> bool {
        self.printed()
            .filter(|m| !m.simile)
            .flat_map(|m| &m.marks)
            .any(|m| m.half_beat % 2 == 1)
    }

    /// Whether a bar shows more than chords, and what the signs mean.
    pub fn signs(&self) -> Vec<String> {
        let marks = || self.printed().flat_map(|m| &m.marks);
        let mut signs = Vec::new();
        if self.has_half_beats() {
            signs.push("& = on the second half of the beat".to_owned());
        }
        let strummed = |b: &Block| b.pattern.as_ref().is_some_and(|p| p.strummed);
        if self.blocks.iter().any(strummed) {
            signs.push("strums: down on the beat, up between beats, as the hand swings".into());
        }
        if self.skips_repeats() {
            signs.push("after the jump no repeat is played again, only its last ending".into());
        }
        if marks().any(|m| m.bass.is_some()) {
            signs.push("note at a beat = the bass walks".into());
        }
        if marks().any(|m| m.top.is_some()) {
            signs.push("note over the symbol = the top note moves".into());
        }
        if self.printed().any(|m| !m.tab.is_empty()) {
            signs.push(
                "tablature = notes heard, at one place they can be played; the highest string is the top line"
                    .into(),
            );
        }
        signs
    }

    /// Whether a jump goes back to sections with repeats.
    fn skips_repeats(&self) -> bool {
        let ends = |b: &Block| b.signs.to_coda || b.signs.fine;
        let from = self.blocks.iter().position(|b| b.signs.segno).unwrap_or(0);
        let to = self.blocks.iter().position(ends);
        let repeats = |b: &Block| b.times > 1 || b.signs.closes > 0;
        to.is_some_and(|to| (from..=to).any(|b| repeats(&self.blocks[b])))
    }

    /// What gray means on a page; none if all chords are confirmed.
    pub fn doubt_words(&self) -> Option<String> {
        let (n, all) = (self.n_open, self.n_chords);
        if n > 0 {
            return Some(format!(
                "Gray: proposed, not confirmed yet ({n} of {all} chords)"
            ));
        }
        let shapes = self.legend.iter().any(|e| e.open);
        shapes.then(|| "Gray over a diagram: a shape proposed, not confirmed yet".into())
    }

    /// What is said about chords that are open; none if all are confirmed.
    pub fn open_words(&self) -> Option<String> {
        (self.n_open > 0).then(|| {
            format!(
                "? = proposed, not confirmed yet ({} of {} chords)",
                self.n_open, self.n_chords
            )
        })
    }
}

fn facts(song: &Song, options: &Options) -> Vec<String> {
    let mut facts = Vec::new();
    facts.push(match song.key {
        Some(key) => {
            let all = std::iter::once(key.text()).chain(form::first_key_words(song));
            format!("Key of {}", all.collect::<Vec<_>>().join(", "))
        }
        None => {
            let later = form::first_key_words(song).into_iter();
            let all: Vec<_> = std::iter::once("open".into()).chain(later).collect();
            format!("Key {}", all.join(", "))
        }
    });
    if let Some((beats, value)) = song.meter {
        facts.push(format!("{beats}/{value}"));
    }
    facts.push(match song.tempo_bpm {
        Some(bpm) => format!("{bpm:.0} bpm"),
        None => "no steady beat: one bar a chord".into(),
    });
    facts.push(tuning_fact(song));
    let instrument = &song.instrument;
    if instrument.capo > 0 {
        facts.push(format!("Capo at fret {}", instrument.capo));
    }
    if instrument.above_shapes() != 0 {
        let names = if options.concert || options.degrees {
            "chord names are concert pitch"
        } else {
            "chord names are the shapes played"
        };
        facts.push(names.into());
    }
    if instrument.capo > 0 {
        facts.push("diagrams count from the capo".into());
    }
    facts
}

/// The tuning; its notes where its name does not say them to everyone.
fn tuning_fact(song: &Song) -> String {
    let tuning = &song.instrument.tuning;
    let notes: Vec<String> = tuning.open().iter().map(|m| midi_name(*m)).collect();
    let (name, notes) = (tuning.text(), notes.join(" "));
    match name == notes || name == "standard" {
        true => format!("Tuning {name}"),
        false => format!("Tuning {name} ({notes})"),
    }
}
