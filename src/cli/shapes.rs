//! `takebook shapes`: fingerings for a chord or a progression.

mod boxes;
mod limits;
mod moves;
mod told;

use self::boxes::write_box;
use self::limits::{key_of, limits, over_bass, pitch_class, raised};
use self::told::{capo_text, degree_text, sounding_chord, voicing_json, write_row, write_voicing};
use super::layout::write_under;
use super::name::instrument;
use super::{CliError, Outcome};
use crate::fretboard::{
    Instrument, Limits, Row, Tuning, Typed, Use, Voicing, Wanted, distinct_uses,
    first_without_shape, is_on_usual_strings, read_capo, read_played, smoothest, use_of,
    usual_first, voicings, wanted_for,
};
use crate::theory::{Chord, Key, Label, PitchClass, number, roman, transpose};
use clap::Args;
use serde_json::json;
use std::io::Write;

/// Words of `--use`.
const USES: [(&str, Use); 5] = [
    ("full", Use::Full),
    ("small", Use::Small),
    ("shell", Use::Shell),
    ("power", Use::Power),
    ("rootless", Use::Rootless),
];

/// Arguments of `takebook shapes`.
#[derive(Args)]
#[command(after_help = "Example: takebook shapes Bm --frets 1-5 --no-barre\n\n\
Several chords give their usual shapes with the smoothest changes: takebook shapes G D Em C.\n\
Fingers: 1 index to 4 little finger, T thumb; - open or muted. Spans are in mm\n\
on a 650 mm scale. Exit code 1: no shape under these limits.")]
pub(crate) struct ShapesArgs {
    /// Chords: Am7, D/F#, C#m7b5
    #[arg(required_unless_present = "capo_for", value_name = "CHORD")]
    chords: Vec<String>,
    /// What the shape is for
    #[arg(long = "use", value_name = "USE", value_parser = USES.map(|(word, _)| word))]
    purpose: Option<String>,
    /// Frets to press, as LOWEST-HIGHEST, counted from the capo
    #[arg(long, value_name = "LOW-HIGH")]
    frets: Option<String>,
    /// The lowest pressed fret lies here
    #[arg(long, conflicts_with = "frets")]
    position: Option<u8>,
    /// Widest span, mm
    #[arg(long)]
    span: Option<f64>,
    /// Strings that must not sound, by name or number from the highest: "E e"
    #[arg(long, value_name = "STRINGS")]
    leave_out: Option<String>,
    /// Strings that must sound
    #[arg(long, value_name = "STRINGS")]
    with: Option<String>,
    /// Strings that must ring open
    #[arg(long, value_name = "STRINGS")]
    ring: Option<String>,
    /// Note on top
    #[arg(long, value_name = "NOTE")]
    top: Option<String>,
    /// Note in the bass
    #[arg(long, value_name = "NOTE")]
    bass: Option<String>,
    /// Top note of each chord of a progression, quoted: "B A G"
    #[arg(long, value_name = "NOTES", conflicts_with = "top")]
    top_line: Option<String>,
    /// No finger across several strings
    #[arg(long)]
    no_barre: bool,
    /// No open strings
    #[arg(long)]
    no_open: bool,
    /// How many shapes to show
    #[arg(long, default_value_t = 5)]
    count: usize,
    /// Tuning: a name, or notes low to high
    #[arg(long, default_value = "standard")]
    tuning: Tuning,
    /// Capo fret; chords are named as they are fingered, frets count from it
    #[arg(long, value_name = "FRET", default_value_t = 0, value_parser = read_capo)]
    capo: u8,
    /// Key of the progression, for spelling, degrees and walks
    #[arg(long)]
    key: Option<Key>,
    /// Shows each chord as a degree of the key: Roman numeral and number
    #[arg(long, requires = "key")]
    degrees: bool,
    /// Ways to walk the bass between neighboring chords
    #[arg(long)]
    walk: bool,
    /// Capo frets at which a sounding key is played with open shapes, and the shapes of the
    /// chords as they sound
    #[arg(long, value_name = "KEY", conflicts_with = "capo")]
    capo_for: Option<String>,
    /// Moves all chords by semitones first
    #[arg(long, value_name = "SEMITONES", allow_hyphen_values = true)]
    transpose: Option<i32>,
    /// Draws a chord box under each shape
    #[arg(long)]
    boxes: bool,
    /// Chord boxes for a left-handed player: the lowest string on the right
    #[arg(long)]
    left_handed: bool,
    /// Prints JSON (docs/naming-json.md)
    #[arg(long)]
    json: bool,
}

impl ShapesArgs {
    /// Whether chord boxes are drawn, and for the left hand.
    fn hand(&self) -> Option<bool> {
        (self.boxes || self.left_handed).then_some(self.left_handed)
    }
}

pub(crate) fn run(args: &ShapesArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let instrument = instrument(&args.tuning, args.capo);
    let mut key = args.key;
    let mut chords = args
        .chords
        .iter()
        .map(|c| match c.parse::<Label>() {
            Ok(Label::NoChord) => Err(CliError::new(format!(
                "'{c}' is no chord: no shape plays it"
            ))),
            _ => c.parse::<Chord>().map_err(|error| {
                let played = read_played(c, &instrument, Typed::Strings);
                match played.ok().and_then(|played| played.shape) {
                    Some(_) => CliError::new(format!(
                        "'{c}' is a fingering; takebook name {c} says which chord it is"
                    )),
                    None => error.into(),
                }
            }),
        })
        .collect::<Result<Vec<_>, _>>()?;
    if let Some(by) = args.transpose {
        if by.abs() > 24 {
            return Err(CliError::new(format!(
                "transposing by {by} semitones is too far (expected -24 to 24)"
            )));
        }
        let from = key.unwrap_or_else(|| key_of(&chords));
        let to = Key::usual(from.tonic.pitch_class().up(by), from.mode);
        chords = chords.iter().map(|c| transpose(c, by, to)).collect();
        key = key.map(|_| to);
    }
    if let Some(sounding) = &args.capo_for {
        let limits = limits(args, &instrument)?;
        let sounding = sounding.parse()?;
        return moves::run_capo(args, sounding, &chords, &limits, &instrument, out);
    }
    let bass = args.bass.as_deref().map(pitch_class).transpose()?;
    if bass.is_some() && chords.len() > 1 {
        return Err(CliError::new(
            "--bass is for one chord; write slash chords in a progression, for example D/F#",
        ));
    }
    if args.purpose.is_some() && chords.len() > 1 {
        return Err(CliError::new(
            "--use is for one chord; a progression takes each chord's usual shape",
        ));
    }
    if args.top_line.is_some() && chords.len() == 1 {
        return Err(CliError::new(
            "--top-line is for a progression; one chord takes --top",
        ));
    }
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    if let Some(fret) = args.position.filter(|fret| *fret > neck) {
        return Err(CliError::new(format!(
            "fret {fret} is beyond the neck (0 to {neck})"
        )));
    }
    let chords: Vec<Chord> = chords
        .into_iter()
        .map(|c| over_bass(c, bass, key))
        .collect();
    let mut limits = limits(args, &instrument)?;
    if args.walk {
        return moves::run_walks(args, &chords, key, &limits, &instrument, out);
    }
    match &chords[..] {
        [chord] => {
            if let Some(fret) = args.position {
                limits.lowest_fret = fret.max(1);
            }
            run_one(args, chord, key, &limits, &instrument, out)
        }
        _ => run_row(args, &chords, key, &limits, &instrument, out),
    }
}

fn run_one(
    args: &ShapesArgs,
    chord: &Chord,
    key: Option<Key>,
    limits: &Limits,
    instrument: &Instrument,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    let purpose = USES
        .iter()
        .find(|(word, _)| args.purpose.as_deref() == Some(word))
        .map(|(_, purpose)| *purpose);
    let mut all = found(chord, purpose, limits, instrument)?;
    if let Some(fret) = args.position {
        all.retain(|v| {
            let lowest = v.shape.frets().iter().flatten().filter(|f| **f > 0).min();
            lowest == Some(&fret.max(1))
        });
    }
    let shown: Vec<&Voicing> = match purpose {
        // of one use every shape can be reached
        Some(_) => all.iter().take(args.count.max(1)).collect(),
        None => {
            let sounding = sounding_chord(chord, instrument);
            distinct_uses(instrument, &sounding, &all, args.count.max(1))
        }
    };
    let symbol = chord.symbol();
    if args.json {
        let shapes = shown.iter().map(|v| voicing_json(v, chord, instrument));
        let value = json!({
            "schema": "takebook-shapes-1",
            "tuning": instrument.tuning.text(),
            "capo": instrument.capo,
            "chord": chord.label(),
            "symbol": symbol,
            "found": all.len(),
            "shapes": shapes.collect::<Vec<_>>(),
        });
        writeln!(out, "{value:#}")?;
    } else if shown.is_empty() {
        let why = "no shape under these limits; allow more frets, a wider --span or other strings.";
        write_under(out, "", &format!("{symbol}: {why}"))?;
    } else {
        let (tuning, capo) = (instrument.tuning.text(), capo_text(chord, instrument));
        let degrees = degree_text(chord, key, args.degrees);
        let n = all.len();
        writeln!(
            out,
            "{symbol} ({tuning}{capo}){degrees}: {n} shapes, most usual first"
        )?;
        for v in &shown {
            write_voicing(out, v, chord, instrument)?;
            if let Some(left) = args.hand() {
                write_box(out, v, left)?;
            }
        }
    }
    Ok(if shown.is_empty() {
        Outcome::Open
    } else {
        Outcome::Done
    })
}

/// All shapes of a chord, or those of one use, the most usual first.
fn found(
    chord: &Chord,
    purpose: Option<Use>,
    limits: &Limits,
    instrument: &Instrument,
) -> Result<Vec<Voicing>, CliError> {
    let sounding = sounding_chord(chord, instrument);
    let mut limits = raised(limits, instrument);
    let Some(purpose) = purpose else {
        let all = voicings(instrument, wanted(chord, instrument), &limits);
        return Ok(usual_first(instrument, chord, all));
    };
    limits.min_strings = limits.min_strings.min(2);
    let wanted = wanted_for(&sounding, purpose).ok_or_else(|| {
        CliError::new(format!(
            "{} has no {} (a shell has root, third and seventh, a power chord root and fifth)",
            chord.symbol(),
            purpose.words()
        ))
    })?;
    let all = voicings(instrument, wanted, &limits);
    let mut all = usual_first(instrument, chord, all);
    all.retain(|v| use_of(instrument, &sounding, &v.shape) == purpose);
    // a shell is three notes: none of them twice
    let spare = |v: &Voicing| match purpose {
        Use::Shell => v.shape.frets().iter().flatten().count(),
        _ => 0,
    };
    let usual = |v: &Voicing| is_on_usual_strings(instrument, &sounding, purpose, &v.shape);
    all.sort_by_key(|v| (!usual(v), spare(v)));
    Ok(all)
}

fn run_row(
    args: &ShapesArgs,
    chords: &[Chord],
    key: Option<Key>,
    limits: &Limits,
    instrument: &Instrument,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    let top_line: Vec<Option<PitchClass>> = args
        .top_line
        .as_deref()
        .unwrap_or_default()
        .split_whitespace()
        .map(|n| pitch_class(n).map(Some))
        .collect::<Result<_, _>>()?;
    if !top_line.is_empty() && top_line.len() != chords.len() {
        return Err(CliError::new(format!(
            "the top line has {} notes for {} chords (expected one each)",
            top_line.len(),
            chords.len()
        )));
    }
    let row = match find_row(chords, limits, &top_line, instrument) {
        Ok(row) => row,
        Err(at) => {
            let symbol = chords.get(at).map_or_else(String::new, Chord::symbol);
            if args.json {
                let value =
                    json!({"schema": "takebook-shapes-1", "row": null, "without_shape": symbol});
                writeln!(out, "{value:#}")?;
            } else {
                write_under(
                    out,
                    "",
                    &format!(
                        "{symbol} (chord {}) has no shape under these limits.",
                        at + 1
                    ),
                )?;
            }
            return Ok(Outcome::Open);
        }
    };
    if args.json {
        let value = json!({
            "schema": "takebook-shapes-1",
            "tuning": instrument.tuning.text(),
            "capo": instrument.capo,
            "travel_mm": row.travel_mm.round(),
            "row": chords.iter().zip(&row.shapes).map(|(c, v)| {
                let mut value = voicing_json(v, c, instrument);
                value["chord"] = json!(c.label());
                value["symbol"] = json!(c.symbol());
                if let Some(key) = key {
                    value["roman"] = json!(roman(c, key));
                    value["number"] = json!(number(c, key));
                }
                value
            }).collect::<Vec<_>>(),
        });
        writeln!(out, "{value:#}")?;
        return Ok(Outcome::Done);
    }
    let capo = match instrument.capo {
        0 => String::new(),
        n => format!(", capo {n}"),
    };
    writeln!(
        out,
        "The smoothest changes ({}{capo}): fingers travel {:.0} mm in all",
        instrument.tuning.text(),
        row.travel_mm
    )?;
    write_row(out, chords, &row, key.filter(|_| args.degrees), instrument)?;
    write_boxes(args, chords, &row, out)?;
    Ok(Outcome::Done)
}

/// The chord boxes of a progression, if they are asked for.
fn write_boxes(
    args: &ShapesArgs,
    chords: &[Chord],
    row: &Row,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    let Some(left_handed) = args.hand() else {
        return Ok(());
    };
    for (chord, v) in chords.iter().zip(&row.shapes) {
        writeln!(out, "  {}", chord.symbol())?;
        write_box(out, v, left_handed)?;
    }
    Ok(())
}

fn find_row(
    chords: &[Chord],
    limits: &Limits,
    top_line: &[Option<PitchClass>],
    instrument: &Instrument,
) -> Result<Row, usize> {
    let sounding: Vec<Chord> = chords
        .iter()
        .map(|c| sounding_chord(c, instrument))
        .collect();
    let limits = raised(limits, instrument);
    let top: Vec<Option<PitchClass>> = top_line
        .iter()
        .map(|t| t.map(|pc| pc.up(i32::from(instrument.capo))))
        .collect();
    smoothest(instrument, &sounding, &limits, &top)
        .ok_or_else(|| first_without_shape(instrument, &sounding, &limits, &top).unwrap_or(0))
}

/// Shapes are searched on the instrument as fingered: the capo only moves spans.
fn wanted(chord: &Chord, instrument: &Instrument) -> Wanted {
    Wanted::chord(&sounding_chord(chord, instrument))
}
