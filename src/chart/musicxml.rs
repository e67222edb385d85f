//! MusicXML 4.0, partwise: bars of rhythm slashes with chord symbols and frames.
//!
//! Repeats and endings are those of the [`sheet`](super::sheet). A tension is
//! said once: as a kind where the standard has one, else in `degree` elements.
//!
//! # Source
//! W3C Music Notation Community Group, MusicXML 4.0 reference: `harmony`,
//! `kind-value`, `degree`, `frame`, `repeat`, `ending`.

mod harmony;
mod tab;

use super::sheet::{Block, Measure, Sheet, Signs};
use super::xml::escape;
use super::{ChartError, Options, PERMISSION};
use crate::songlog::song::Song;
use crate::theory::{Key, Label, midi_name};
use std::fmt::Write;

/// Divisions of a quarter note: sixteenths, so that half beats of eighths are whole.
const DIVISIONS: u32 = 4;

/// The document.
///
/// # Errors
/// * [`ChartError::NoKey`] never in practice: symbols are written, not degrees.
pub(super) fn write(song: &Song, options: &Options) -> Result<String, ChartError> {
    // the standard has its own way to say degrees: the chords themselves are written
    let plain = Options {
        degrees: false,
        ..options.clone()
    };
    let mut sheet = Sheet::new(song, &plain)?;
    for block in &mut sheet.blocks {
        // a section that refers to another is written out, with its words
        *block = block.with_words_of(|by| by.is_none()).with_words_once();
    }
    let mut measures = sheet.blocks.iter().flat_map(|b| b.measures());
    let has_tab = measures.any(|m| !m.tab.is_empty());
    let mut out = String::new();
    // writing to a string cannot fail
    let _ = write!(
        out,
        "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>\n\
         <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n\
         <score-partwise version=\"4.0\">\n\
         <work><work-title>{}</work-title></work>\n\
         <identification>{}<rights>{}</rights><encoding><software>takebook {}</software></encoding></identification>\n\
         <part-list><score-part id=\"P1\"><part-name>Guitar</part-name></score-part>{}</part-list>\n\
         <part id=\"P1\">\n",
        escape(&song.title),
        song.credit.as_ref().map_or(String::new(), |credit| format!(
            "<creator type=\"composer\">{}</creator>",
            escape(credit)
        )),
        escape(PERMISSION),
        env!("CARGO_PKG_VERSION"),
        if has_tab {
            "<score-part id=\"P2\"><part-name>Tablature</part-name></score-part>"
        } else {
            ""
        }
    );
    let mut writer = Writer {
        song,
        sheet: &sheet,
        out,
        meter: None,
        key: None,
    };
    let bars = bars(&sheet);
    for bar in &bars {
        writer.measure(bar);
    }
    writer.out.push_str("</part>\n");
    if has_tab {
        writer.tab_part(&bars);
    }
    let mut out = writer.out;
    out.push_str("</score-partwise>\n");
    Ok(out)
}

/// A bar with what its neighbors make of its lines.
struct Placed<'a> {
    measure: &'a Measure,
    block: &'a Block,
    /// Whether it is the first of its section, of its row, of the song's end.
    opens_section: bool,
    opens_row: bool,
    /// Where its section begins to be played again, behind a pickup; where it ends.
    begins: bool,
    ends: bool,
    last: bool,
    /// Endings of the bars before and after it in its section.
    before: Option<u8>,
    after: Option<u8>,
}

/// Every bar of the sheet in order.
fn bars(sheet: &Sheet) -> Vec<Placed<'_>> {
    let mut out: Vec<Placed<'_>> = Vec::new();
    for block in &sheet.blocks {
        let measures: Vec<&Measure> = block.measures().collect();
        // a pickup shares the line of the bar it leads to
        let rows = || block.rows.iter().filter(|r| r[0].number > 0);
        for (i, measure) in measures.iter().enumerate() {
            let in_row = rows().any(|r| std::ptr::eq(&r[0], *measure)) && i > 0;
            let after_pickup = i == 1 && measures[0].number == 0;
            out.push(Placed {
                measure,
                block,
                opens_section: i == 0,
                begins: i == usize::from(measures[0].number == 0 && measures.len() > 1),
                ends: i + 1 == measures.len(),
                opens_row: !out.is_empty() && (i == 0 || in_row && !after_pickup),
                last: false,
                before: i.checked_sub(1).and_then(|j| measures[j].ending),
                after: measures.get(i + 1).and_then(|m| m.ending),
            });
        }
    }
    if let Some(last) = out.last_mut() {
        last.last = true;
    }
    out
}

/// The words of a bar, under its first beat, a verse each time it is played.
fn lyrics(measure: &Measure) -> String {
    let lines = measure
        .lyrics
        .iter()
        .zip(1..)
        .filter(|(l, _)| !l.is_empty());
    lines
        .map(|(text, n)| {
            format!(
                "<lyric number=\"{n}\"><syllabic>single</syllabic><text>{}</text></lyric>",
                escape(text)
            )
        })
        .collect()
}

struct Writer<'a> {
    song: &'a Song,
    sheet: &'a Sheet,
    out: String,
    meter: Option<(u8, u8)>,
    /// The key of the bar whose plucks are written.
    key: Option<Key>,
}

impl Writer<'_> {
    /// Note value and dots of a beat, and its length in divisions.
    fn beat(&self, measure: &Measure) -> (&'static str, bool, u32) {
        let (n, value) = self.sheet.meter;
        if value == 8 && measure.n_beats * 3 == n {
            return ("quarter", true, DIVISIONS * 3 / 2);
        }
        match value {
            2 => ("half", false, DIVISIONS * 2),
            8 => ("eighth", false, DIVISIONS / 2),
            _ => ("quarter", false, DIVISIONS),
        }
    }

    fn measure(&mut self, bar: &Placed<'_>) {
        let measure = bar.measure;
        let first = self.meter.is_none();
        self.begin(bar);
        let (name, dotted, length) = self.beat(measure);
        let key = if first { measure.key } else { measure.new_key };
        self.attributes(self.meter_of(measure), key, first);
        if bar.opens_section {
            // a name says more than its letter; a box with both is wider than engravers expect
            let block = bar.block;
            let heading = block.name.clone().unwrap_or_else(|| block.letter.clone());
            if !heading.is_empty() {
                self.direction("above", "rehearsal", &heading);
            }
        }
        if first && let Some(bpm) = self.song.tempo_bpm {
            let quarters = bpm * f64::from(length) / f64::from(DIVISIONS);
            let dot = if dotted { "<beat-unit-dot/>" } else { "" };
            let _ = writeln!(
                self.out,
                "<direction placement=\"above\"><direction-type><metronome><beat-unit>{name}</beat-unit>{dot}<per-minute>{bpm:.0}</per-minute></metronome></direction-type><sound tempo=\"{quarters:.2}\"/></direction>"
            );
        }
        if first {
            self.words_to_all();
        }
        if bar.begins {
            self.signs_at_start(bar.block.signs);
        }
        if bar.opens_section && bar.block.times > 2 {
            let times = format!("play {} times", bar.block.times);
            self.direction("below", "words", &times);
        }
        self.remarks(measure);
        let silent = self.silent_beats(measure);
        if silent.iter().all(|s| *s) && !measure.marks.is_empty() {
            for mark in &measure.marks {
                self.harmony(mark, 0);
            }
            let whole = length * u32::from(measure.n_beats);
            let _ = writeln!(
                self.out,
                "<note><rest measure=\"yes\"/><duration>{whole}</duration></note>"
            );
        } else {
            self.slashes(measure, &silent);
        }
        if bar.ends {
            self.signs_at_end(bar.block.signs);
        }
        self.right_barline(bar);
        self.out.push_str("</measure>\n");
    }

    /// Segno and coda, for the eye and for players.
    fn signs_at_start(&mut self, signs: Signs) {
        for (is, name) in [(signs.segno, "segno"), (signs.coda, "coda")] {
            if is {
                let _ = writeln!(
                    self.out,
                    "<direction placement=\"above\"><direction-type><{name}/></direction-type><sound {name}=\"{name}\"/></direction>"
                );
            }
        }
    }

    /// To Coda, Fine, D.C. and D.S., for the eye and for players.
    fn signs_at_end(&mut self, signs: Signs) {
        let Some(words) = signs.at_end() else {
            return;
        };
        let sound = match signs.jump {
            Some(jump) if jump.to_segno => "<sound dalsegno=\"segno\"/>",
            Some(_) => "<sound dacapo=\"yes\"/>",
            None if signs.fine => "<sound fine=\"yes\"/>",
            None if signs.to_coda => "<sound tocoda=\"coda\"/>",
            None => "",
        };
        let _ = writeln!(
            self.out,
            "<direction placement=\"above\"><direction-type><words font-weight=\"bold\" halign=\"right\">{words}</words></direction-type>{sound}</direction>"
        );
    }

    /// A slash a beat with the chords over them; a rest where nothing is played.
    fn slashes(&mut self, measure: &Measure, silent: &[bool]) {
        let (name, dotted, length) = self.beat(measure);
        let dot = if dotted { "<dot/>" } else { "" };
        for beat in 0..measure.n_beats {
            for half in [2 * beat, 2 * beat + 1] {
                for mark in measure.marks.iter().filter(|m| m.half_beat == half) {
                    let offset = if half % 2 == 1 { length / 2 } else { 0 };
                    self.harmony(mark, offset);
                }
            }
            let silent = silent.get(usize::from(beat)).copied().unwrap_or(false);
            let (what, head) = if silent {
                ("<rest/>", "")
            } else {
                (
                    "<unpitched><display-step>B</display-step><display-octave>4</display-octave></unpitched>",
                    "<stem>none</stem><notehead>slash</notehead>",
                )
            };
            let words = match beat {
                0 => lyrics(measure),
                _ => String::new(),
            };
            let _ = writeln!(
                self.out,
                "<note>{what}<duration>{length}</duration><type>{name}</type>{dot}{head}{words}</note>"
            );
        }
    }

    /// Which beats of a measure have no chord at all.
    fn silent_beats(&self, measure: &Measure) -> Vec<bool> {
        (0..measure.n_beats)
            .map(|beat| {
                let over = measure.marks.iter().rfind(|m| m.half_beat <= 2 * beat);
                let within = measure.marks.iter().any(|m| m.half_beat == 2 * beat + 1);
                !within && over.is_some_and(|m| self.song.spans[m.span].label == Label::NoChord)
            })
            .collect()
    }

    /// What is said once at the start: the capo, what gray means, the teacher's notes.
    fn words_to_all(&mut self) {
        let mut words = Vec::new();
        if self.song.instrument.capo > 0 {
            words.push(format!("capo {}", self.song.instrument.capo));
        }
        if self.sheet.n_open > 0 {
            words.push(format!(
                "{} of {} chords not confirmed yet (gray where colors are drawn)",
                self.sheet.n_open, self.sheet.n_chords
            ));
        }
        // in one text and below: the tempo stands above, and engravers put texts on each other
        if !words.is_empty() {
            self.direction("below", "words", &words.join("; "));
        }
        for note in &self.song.notes {
            self.direction("below", "words", note);
        }
    }

    /// The teacher's notes to places in this measure.
    fn remarks(&mut self, measure: &Measure) {
        for mark in measure.marks.iter().filter(|m| !m.held) {
            for note in &self.song.spans[mark.span].notes {
                self.direction("below", "words", note);
            }
        }
    }

    fn direction(&mut self, placement: &str, what: &str, text: &str) {
        // a heading's own look is bold; words at a place are small
        let look = if what == "words" {
            " font-size=\"8\" font-style=\"italic\""
        } else {
            ""
        };
        let _ = writeln!(
            self.out,
            "<direction placement=\"{placement}\"><direction-type><{what}{look}>{}</{what}></direction-type></direction>",
            escape(text)
        );
    }

    /// Opens a measure, numbered as on paper, on a new line where a row begins.
    fn begin(&mut self, bar: &Placed<'_>) {
        let number = bar.measure.number;
        let implicit = if number == 0 { " implicit=\"yes\"" } else { "" };
        let _ = writeln!(self.out, "<measure number=\"{number}\"{implicit}>");
        if bar.opens_row {
            self.out.push_str("<print new-system=\"yes\"/>\n");
        }
        self.left_barline(bar);
    }

    /// The meter that a measure is in: a short bar has one of its own, a pickup has not.
    fn meter_of(&self, measure: &Measure) -> (u8, u8) {
        let (_, dotted, _) = self.beat(measure);
        let (_, value) = self.sheet.meter;
        match (measure.number == 0, dotted, value) {
            (true, ..) => self.sheet.meter,
            (_, true, _) => (measure.n_beats * 3, 8),
            _ => (
                measure.n_beats,
                if value == 2 || value == 8 { value } else { 4 },
            ),
        }
    }

    fn left_barline(&mut self, bar: &Placed<'_>) {
        let measure = bar.measure;
        let starts = measure.ending.filter(|e| bar.before != Some(*e));
        if !measure.repeat_start && starts.is_none() {
            return;
        }
        self.out.push_str("<barline location=\"left\">");
        if measure.repeat_start {
            self.out.push_str("<bar-style>heavy-light</bar-style>");
        }
        if let Some(e) = starts {
            let _ = write!(self.out, "<ending number=\"{e}\" type=\"start\"/>");
        }
        if measure.repeat_start {
            self.out.push_str("<repeat direction=\"forward\"/>");
        }
        self.out.push_str("</barline>\n");
    }

    fn right_barline(&mut self, bar: &Placed<'_>) {
        let (measure, last) = (bar.measure, bar.last);
        let times = bar.block.times.max(bar.block.signs.closes);
        let ends = measure.ending.filter(|e| bar.after != Some(*e));
        let signs = if bar.ends {
            bar.block.signs
        } else {
            Signs::default()
        };
        let double = signs.jump.is_some();
        if !measure.repeat_end && ends.is_none() && !last && !double && !signs.fine {
            return;
        }
        self.out.push_str("<barline location=\"right\">");
        if measure.repeat_end || last || signs.fine {
            self.out.push_str("<bar-style>light-heavy</bar-style>");
        } else if double {
            self.out.push_str("<bar-style>light-light</bar-style>");
        }
        if let Some(e) = ends {
            let how = if e == 1 { "stop" } else { "discontinue" };
            let _ = write!(self.out, "<ending number=\"{e}\" type=\"{how}\"/>");
        }
        if measure.repeat_end {
            // endings say themselves that there are two passes
            let times = match measure.ending {
                None => format!(" times=\"{times}\""),
                Some(_) => String::new(),
            };
            let _ = write!(self.out, "<repeat direction=\"backward\"{times}/>");
        }
        self.out.push_str("</barline>\n");
    }

    fn attributes(&mut self, meter: (u8, u8), key: Option<Key>, first: bool) {
        let new_meter = self.meter != Some(meter);
        if !new_meter && key.is_none() {
            return;
        }
        self.meter = Some(meter);
        self.out.push_str("<attributes>");
        if first {
            let _ = write!(self.out, "<divisions>{DIVISIONS}</divisions>");
        }
        if let Some(key) = key {
            let mode = key.mode.name();
            let _ = write!(
                self.out,
                "<key><fifths>{}</fifths><mode>{mode}</mode></key>",
                key.signature()
            );
        }
        if new_meter {
            let _ = write!(
                self.out,
                "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
                meter.0, meter.1
            );
        }
        if first {
            self.out
                .push_str("<clef><sign>G</sign><line>2</line></clef>");
        }
        self.out.push_str("</attributes>\n");
    }

    /// Lines, tuning and capo of the tablature. On the staff of slashes they
    /// would make an engraver draw that as tablature.
    fn staff_details(&mut self) {
        let instrument = &self.song.instrument;
        let n = instrument.tuning.n_strings();
        let _ = write!(self.out, "<staff-details><staff-lines>{n}</staff-lines>");
        for (line, midi) in (1..).zip(instrument.tuning.open()) {
            let name = midi_name(*midi);
            let step = name.chars().next().unwrap_or('C');
            let alter = if name.contains('♯') {
                "<tuning-alter>1</tuning-alter>"
            } else {
                ""
            };
            let octave = i32::from(*midi) / 12 - 1;
            let _ = write!(
                self.out,
                "<staff-tuning line=\"{line}\"><tuning-step>{step}</tuning-step>{alter}<tuning-octave>{octave}</tuning-octave></staff-tuning>"
            );
        }
        if instrument.capo > 0 {
            let _ = write!(self.out, "<capo>{}</capo>", instrument.capo);
        }
        self.out.push_str("</staff-details>");
    }
}
