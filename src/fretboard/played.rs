//! Typed fingerings and notes: `x79987`, `A6 B4 e5`, `D# A`, `B3 G4`.

use super::{FretboardError, Instrument, Shape};
use crate::theory::{PitchClass, PitchClassSet, Spelled, midi_name, parse_midi_name};

/// How words such as `B3 G4` are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Typed {
    /// Strings with frets if their strings ascend (`A6 B4 e5`) or descend from a string
    /// written small (`e5 B4 A6`), else notes with octaves (`B3 G4`).
    #[default]
    Either,
    /// Strings with frets.
    Strings,
    /// Notes.
    Notes,
}

/// Where notes without an octave begin, MIDI: C3 (ours; double stops lie about there).
const LOWEST_TYPED: u8 = 48;

/// One sounding note of what was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tone {
    /// String index, if a string was named.
    pub string: Option<usize>,
    /// Fret on that string.
    pub fret: Option<u8>,
    /// MIDI note, if an octave is known.
    pub midi: Option<u8>,
    /// Its pitch class.
    pub pitch_class: PitchClass,
    /// As it was typed, if it was typed as a note.
    pub spelled: Option<Spelled>,
}

/// What was typed, as sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Played {
    /// The shape, if strings were named.
    pub shape: Option<Shape>,
    /// Sounding notes: in order of strings, or as typed.
    pub tones: Vec<Tone>,
    /// Whether the lowest of its notes is a bass: not on a ukulele.
    pub has_bass: bool,
    /// Whether these notes could be strings with frets, from a high string to a low one.
    pub may_be_strings: bool,
}

impl Tone {
    /// Its note as typed, with the octave if that is known: `E♭`, `B3`.
    fn note_text(&self) -> String {
        match (self.spelled, self.midi) {
            (Some(spelled), Some(midi)) => {
                // the octave belongs to the letter: C♭4 is MIDI 59
                let octave = (i32::from(midi) - i32::from(spelled.alter())).div_euclid(12) - 1;
                format!("{}{octave}", spelled.text())
            }
            (Some(spelled), None) => spelled.text(),
            (None, Some(midi)) => midi_name(midi),
            (None, None) => Spelled::from_fifths(sharp_fifths(self.pitch_class)).text(),
        }
    }
}

impl Played {
    /// The notes as they were typed, for their spelling; empty for shapes.
    pub fn spellings(&self) -> Vec<Spelled> {
        self.tones.iter().filter_map(|t| t.spelled).collect()
    }

    /// What a shape sounds on an instrument.
    pub fn of_shape(instrument: &Instrument, shape: Shape) -> Self {
        let tones = instrument
            .sounding(&shape)
            .into_iter()
            .enumerate()
            .filter_map(|(s, midi)| {
                let midi = midi?;
                Some(Tone {
                    string: Some(s),
                    fret: shape.frets()[s],
                    midi: Some(midi),
                    pitch_class: PitchClass::new(i32::from(midi)),
                    spelled: None,
                })
            })
            .collect();
        Self {
            shape: Some(shape),
            tones,
            has_bass: instrument.tuning.has_bass(),
            may_be_strings: false,
        }
    }

    /// Notes that were typed without an octave, each the next above the one before, the
    /// first at C3 or above; unchanged where one has its octave.
    #[must_use]
    pub fn in_close_position(mut self) -> Self {
        if self.tones.iter().any(|t| t.midi.is_some()) {
            return self;
        }
        let mut below: u8 = LOWEST_TYPED - 1;
        for tone in &mut self.tones {
            let up = tone.pitch_class.above(PitchClass::new(i32::from(below)));
            // the same note again is its octave
            below += if up == 0 { 12 } else { up as u8 };
            tone.midi = Some(below);
        }
        self
    }

    /// The pitch classes that sound.
    pub fn pitch_classes(&self) -> PitchClassSet {
        self.tones.iter().map(|t| t.pitch_class).collect()
    }

    /// The lowest: by pitch where octaves are known, else the first typed; none on an
    /// instrument without a bass.
    pub fn bass(&self) -> Option<PitchClass> {
        if !self.has_bass {
            return None;
        }
        if self.tones.iter().all(|t| t.midi.is_some()) {
            self.tones
                .iter()
                .min_by_key(|t| t.midi)
                .map(|t| t.pitch_class)
        } else {
            self.tones.first().map(|t| t.pitch_class)
        }
    }

    /// `x79987`, or the notes: `B3 G4`.
    pub fn text(&self) -> String {
        match &self.shape {
            Some(shape) => shape.text(),
            None => self
                .tones
                .iter()
                .map(Tone::note_text)
                .collect::<Vec<_>>()
                .join(" "),
        }
    }
}

/// Position of a pitch class on the line of fifths between E♭ and G♯.
fn sharp_fifths(pc: PitchClass) -> i32 {
    (-3..9)
        .find(|f| Spelled::from_fifths(*f).pitch_class() == pc)
        .unwrap_or(0)
}

/// The open notes of a tuning as its players write them, all with sharps or all with flats,
/// whichever lie closer together on the line of fifths: E♭ A♭ D♭ G♭ B♭ e♭, but D A D F♯ A d.
fn open_notes(instrument: &Instrument) -> Vec<Spelled> {
    let spelled = |lowest: i32| -> Vec<i32> {
        let open = instrument.tuning.open().iter();
        let classes = open.map(|m| PitchClass::new(i32::from(*m)));
        classes
            .filter_map(|pc| {
                let mut fifths = lowest..lowest + 12;
                fifths.find(|f| Spelled::from_fifths(*f).pitch_class() == pc)
            })
            .collect()
    };
    // E♯ and B♯, C♭ and F♭ are not written: F to B and A♯, or G♭ and D♭ to B
    let [sharps, flats] = [spelled(-1), spelled(-6)];
    let width = |notes: &[i32]| {
        let (low, high) = (notes.iter().min(), notes.iter().max());
        let from_c: i32 = notes.iter().map(|f| f.abs()).sum();
        (high.zip(low).map_or(0, |(high, low)| high - low), from_c)
    };
    let closer = match width(&flats) < width(&sharps) {
        true => flats,
        false => sharps,
    };
    closer.into_iter().map(Spelled::from_fifths).collect()
}

/// A string's name: its open note, lower case where a lower string has the same (`E` and `e`).
pub fn string_name(instrument: &Instrument, string: usize) -> String {
    let open = instrument.tuning.open();
    let (Some(midi), Some(note)) = (
        open.get(string),
        open_notes(instrument).get(string).copied(),
    ) else {
        return format!("string {}", string + 1);
    };
    let name = note.text();
    let twin = |other: &u8| other % 12 == midi % 12;
    let same = open.iter().filter(|o| twin(o)).count();
    let below = open[..string].iter().filter(|o| twin(o)).count();
    match (same, below) {
        (1, _) | (_, 0) => name,
        (n, at) if at + 1 == n => name.to_lowercase(),
        // a middle one of several goes by its number, counted from the highest
        _ => format!("{}:", open.len() - string),
    }
}

/// Finds a string by its name (`A`, `e`, `b♭`) or its number from the highest (`5`).
///
/// # Errors
/// * [`FretboardError::StringName`] if no string is called so.
pub fn string_by_name(instrument: &Instrument, name: &str) -> Result<usize, FretboardError> {
    let n = instrument.tuning.n_strings();
    let strings = || 0..n;
    let bad = || FretboardError::StringName {
        text: name.into(),
        strings: strings()
            .map(|s| string_name(instrument, s).trim_end_matches(':').to_owned())
            .collect::<Vec<_>>()
            .join(" "),
    };
    if let Ok(number) = name.trim_end_matches(':').parse::<usize>() {
        return if (1..=n).contains(&number) {
            Ok(n - number)
        } else {
            Err(bad())
        };
    }
    let plain = name.replace('#', "♯");
    // `b` behind a letter is a flat
    let typed: Spelled = plain.parse().map_err(|_| bad())?;
    let pc = typed.pitch_class();
    let lower = name.starts_with(|c: char| c.is_ascii_lowercase());
    let fits: Vec<usize> = strings()
        .filter(|s| instrument.tuning.open()[*s] % 12 == pc.index() as u8)
        .collect();
    match (&fits[..], lower) {
        ([], _) => Err(bad()),
        ([.., last], true) => Ok(*last),
        ([first, ..], false) => Ok(*first),
    }
}

/// Reads one fingering or set of notes: a shape, strings with frets, or notes with or without octave.
///
/// Takes the text, the instrument, and how ambiguous words are read. Strings
/// are named by their open note (`E A D G B e`) or by number from the highest
/// with a colon (`5:7`); the frets count from the capo.
///
/// # Errors
/// * [`FretboardError::StringCount`], [`FretboardError::FretRange`] for a shape that does not fit the instrument.
/// * [`FretboardError::StringName`] for a string that does not exist, [`FretboardError::TwiceOnString`] for one named twice.
/// * [`FretboardError::Played`] for words that are neither; nothing sounding is also an error.
pub fn read_played(
    text: &str,
    instrument: &Instrument,
    typed: Typed,
) -> Result<Played, FretboardError> {
    let text = text.trim();
    let bad = |part: &str| FretboardError::Played {
        text: text.chars().take(60).collect(),
        part: part.chars().take(20).collect(),
    };
    let words: Vec<&str> = text
        .split([' ', ',', '\t'])
        .filter(|w| !w.is_empty())
        .collect();
    if words.is_empty() {
        return Err(bad(""));
    }
    let looks_like_shape = |w: &str| {
        w.len() > 1
            && w.chars()
                .all(|c| c.is_ascii_digit() || matches!(c, 'x' | 'X' | '-' | '.'))
    };
    if words.len() == 1 && looks_like_shape(words[0])
        || words.len() > 1
            && words
                .iter()
                .all(|w| matches!(*w, "x" | "X") || w.bytes().all(|b| b.is_ascii_digit()))
    {
        return whole_shape(instrument, text);
    }
    if words.len() > 12 {
        return Err(bad(words[12]));
    }
    let mut may_be_strings = false;
    if typed != Typed::Notes {
        match strings_with_frets(&words, instrument) {
            Ok(placed) => {
                let ascending = placed.windows(2).all(|w| w[0].0 < w[1].0);
                // nobody writes a note small: `e5 B4 A6` are strings from the highest down
                let descending = placed.windows(2).all(|w| w[0].0 > w[1].0);
                let small = text.starts_with(|c: char| c.is_ascii_lowercase());
                may_be_strings = descending && placed.len() > 1;
                if ascending || descending && small || typed == Typed::Strings {
                    let mut frets = vec![None; instrument.tuning.n_strings()];
                    for (string, fret) in placed {
                        if frets[string].replace(fret).is_some() {
                            return Err(FretboardError::TwiceOnString {
                                text: text.into(),
                                string: string_name(instrument, string),
                            });
                        }
                    }
                    return shaped(instrument, Shape::new(frets)?, text);
                }
            }
            Err(error) if typed == Typed::Strings => return Err(error),
            // a fret too high, or a string that is none, may still be a note
            Err(error) => {
                if let Some(word) = words.iter().find(|w| note(w).is_none()) {
                    let unread = matches!(error, FretboardError::Played { .. });
                    return Err(if unread { bad(word) } else { error });
                }
            }
        }
    }
    let tones = words
        .iter()
        .map(|w| note(w).ok_or_else(|| bad(w)))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Played {
        shape: None,
        tones,
        has_bass: true,
        may_be_strings,
    })
}

/// A shape in the signs of one word, or of several.
fn whole_shape(instrument: &Instrument, text: &str) -> Result<Played, FretboardError> {
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    let shape = text.parse::<Shape>().map_err(|error| match error {
        // the instrument's limit, not that of all shapes
        FretboardError::FretRange { fret, .. } => FretboardError::FretRange {
            fret,
            highest: neck,
        },
        other => other,
    })?;
    shaped(instrument, shape, text)
}

/// A note with or without octave.
fn note(word: &str) -> Option<Tone> {
    let midi = parse_midi_name(word).ok();
    let letter = word.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-');
    let spelled = letter.parse::<Spelled>().ok();
    let pitch_class = match midi {
        Some(m) => PitchClass::new(i32::from(m)),
        None => word.parse::<Spelled>().ok()?.pitch_class(),
    };
    Some(Tone {
        string: None,
        fret: None,
        midi,
        pitch_class,
        spelled,
    })
}

fn shaped(instrument: &Instrument, shape: Shape, text: &str) -> Result<Played, FretboardError> {
    let n = instrument.tuning.n_strings();
    if shape.frets().len() != n {
        return Err(FretboardError::StringCount {
            text: text.into(),
            found: shape.frets().len(),
            expected: n,
            meant: Shape::divided(text, n).map(|shape| shape.text()),
        });
    }
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    if let Some(f) = shape.frets().iter().flatten().find(|f| **f > neck) {
        return Err(FretboardError::FretRange {
            fret: u32::from(*f),
            highest: neck,
        });
    }
    let played = Played::of_shape(instrument, shape);
    if played.tones.is_empty() {
        return Err(FretboardError::Played {
            text: text.into(),
            part: super::error::SILENT.into(),
        });
    }
    Ok(played)
}

/// Reads `A6 B4 e5` as string indexes with frets.
fn strings_with_frets(
    words: &[&str],
    instrument: &Instrument,
) -> Result<Vec<(usize, u8)>, FretboardError> {
    words
        .iter()
        .map(|word| {
            let bad = || FretboardError::Played {
                text: (*word).into(),
                part: (*word).into(),
            };
            let at = match word.split_once(':') {
                Some((number, _)) => number.len() + 1,
                None => word.find(|c: char| c.is_ascii_digit()).ok_or_else(bad)?,
            };
            let (name, fret) = word.split_at(at);
            let string = string_by_name(instrument, name)?;
            let fret: u32 = fret.parse().map_err(|_| bad())?;
            let neck = instrument.highest_fret.saturating_sub(instrument.capo);
            u8::try_from(fret)
                .ok()
                .filter(|f| *f <= neck)
                .map(|f| (string, f))
                .ok_or(FretboardError::FretRange {
                    fret,
                    highest: neck,
                })
        })
        .collect()
}
