//! `takebook shapes`: fingerings for a chord or a progression.

mod moves;

use super::name::{instrument, wrap};
use super::{CliError, Outcome};
use crate::fretboard::{
    Finger, Instrument, Limits, Row, STRETCH_CAUTION, Voicing, Wanted, distinct,
    first_without_shape, smoothest, string_by_name, string_name, voicings,
};
use crate::theory::{Chord, Degree, Key, Mode, PitchClass, Spelled, number, roman, transpose};
use clap::Args;
use serde_json::{Value, json};
use std::io::Write;

/// Arguments of `takebook shapes`.
#[derive(Args)]
#[command(after_help = "Example: takebook shapes Bm --frets 1-5 --no-barre\n\n\
Several chords give the row of shapes that moves least: takebook shapes G D Em C.\n\
Fingers: 1 index to 4 little finger, T thumb; - open or muted. Spans are in mm\n\
on a 650 mm scale. Exit code 1: no shape under these limits.")]
pub(crate) struct ShapesArgs {
    /// Chords: Am7, D/F#, C#m7b5
    #[arg(required_unless_present = "capo_for", value_name = "CHORD")]
    chords: Vec<String>,
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
    tuning: String,
    /// Capo fret; chords are named as they are fingered, frets count from it
    #[arg(long, default_value_t = 0)]
    capo: u8,
    /// Key of the progression, for spelling, degrees and walks
    #[arg(long)]
    key: Option<String>,
    /// Shows each chord as a degree of the key: Roman numeral and number
    #[arg(long, requires = "key")]
    degrees: bool,
    /// Ways to walk the bass between neighboring chords
    #[arg(long)]
    walk: bool,
    /// Capo frets at which a sounding key is played with open shapes
    #[arg(long, value_name = "KEY", conflicts_with = "capo")]
    capo_for: Option<String>,
    /// Moves all chords by semitones first
    #[arg(long, value_name = "SEMITONES", allow_hyphen_values = true)]
    transpose: Option<i32>,
    /// Prints JSON (docs/naming-json.md)
    #[arg(long)]
    json: bool,
}

fn pitch_class(text: &str) -> Result<PitchClass, CliError> {
    Ok(text.parse::<Spelled>()?.pitch_class())
}

fn strings(text: Option<&str>, instrument: &Instrument) -> Result<Vec<usize>, CliError> {
    text.unwrap_or_default()
        .split([' ', ','])
        .filter(|w| !w.is_empty())
        .map(|w| string_by_name(instrument, w).map_err(CliError::from))
        .collect()
}

fn limits(args: &ShapesArgs, instrument: &Instrument) -> Result<Limits, CliError> {
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    let mut limits = Limits {
        highest_fret: Limits::default().highest_fret.min(neck),
        left_out: strings(args.leave_out.as_deref(), instrument)?,
        used: strings(args.with.as_deref(), instrument)?,
        ring_open: strings(args.ring.as_deref(), instrument)?,
        top: args.top.as_deref().map(pitch_class).transpose()?,
        no_barre: args.no_barre,
        no_open: args.no_open,
        ..Limits::default()
    };
    if let Some(text) = &args.frets {
        let bad = || {
            CliError::new(format!(
                "'{text}' is not a range of frets (expected LOWEST-HIGHEST, for example 5-9)"
            ))
        };
        let (low, high) = text.split_once('-').ok_or_else(bad)?;
        limits.lowest_fret = low.trim().parse().map_err(|_| bad())?;
        limits.highest_fret = high.trim().parse().map_err(|_| bad())?;
        if limits.highest_fret > neck {
            return Err(crate::fretboard::FretboardError::FretRange {
                fret: u32::from(limits.highest_fret),
                highest: neck,
            }
            .into());
        }
    }
    if let Some(fret) = args.position {
        limits.lowest_fret = fret.max(1);
        limits.highest_fret = neck;
    }
    if let Some(span) = args.span {
        limits.span_mm = span;
    }
    limits.check(instrument)?;
    Ok(limits)
}

/// The chord over another bass, as asked for.
fn over_bass(chord: Chord, bass: Option<PitchClass>, key: Option<Key>) -> Chord {
    let Some(bass) = bass else {
        return chord;
    };
    let own = chord
        .degrees()
        .into_iter()
        .find(|d| d.over(chord.root.pitch_class()) == bass);
    let degree = own.unwrap_or_else(|| {
        let key = key.unwrap_or(Key::usual(bass, Mode::Major));
        Degree::between(chord.root, key.spell(bass))
    });
    chord.over(Degree::new((degree.number() - 1) % 7 + 1, degree.alter()))
}

/// Key for walks and transposing where none is given: the first chord's.
fn key_of(chords: &[Chord]) -> Key {
    chords
        .first()
        .map_or(Key::new(Spelled::new(0, 0), Mode::Major), |c| {
            let minor = c.degrees().contains(&Degree::new(3, -1));
            let mode = if minor { Mode::Minor } else { Mode::Major };
            Key::usual(c.root.pitch_class(), mode)
        })
}

pub(crate) fn run(args: &ShapesArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let instrument = instrument(&args.tuning, args.capo)?;
    let mut key = args.key.as_deref().map(str::parse::<Key>).transpose()?;
    let mut chords = args
        .chords
        .iter()
        .map(|c| c.parse::<Chord>())
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
        return moves::run_capo(sounding.parse()?, &chords, args.json, out);
    }
    let bass = args.bass.as_deref().map(pitch_class).transpose()?;
    if bass.is_some() && chords.len() > 1 {
        return Err(CliError::new(
            "--bass is for one chord; write slash chords in a progression, for example D/F#",
        ));
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

fn fingers_text(v: &Voicing) -> String {
    v.hand
        .fingers
        .iter()
        .map(|f| f.map_or_else(|| "-".into(), Finger::text))
        .collect()
}

fn notes_text(v: &Voicing, chord: &Chord, instrument: &Instrument) -> String {
    instrument
        .sounding(&v.shape)
        .into_iter()
        .flatten()
        .map(|m| {
            let pc = PitchClass::new(i32::from(m));
            spell_in(chord, pc, instrument.capo)
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// A sounding pitch class as the chord spells it, the capo taken into account.
fn spell_in(chord: &Chord, pc: PitchClass, capo: u8) -> String {
    let fingered = pc.up(-i32::from(capo));
    let root = chord.root;
    let own = chord
        .degrees()
        .into_iter()
        .chain(chord.bass)
        .find(|d| d.over(root.pitch_class()) == fingered);
    own.map_or_else(
        || Key::usual(fingered, Mode::Major).tonic.text(),
        |d| d.note_over(root).text(),
    )
}

/// Chords are named as fingered: the capo moves what sounds, not the shape.
fn sounding_chord(chord: &Chord, instrument: &Instrument) -> Chord {
    let by = i32::from(instrument.capo);
    if by == 0 {
        return chord.clone();
    }
    let from = key_of(std::slice::from_ref(chord));
    transpose(
        chord,
        by,
        Key::usual(from.tonic.pitch_class().up(by), from.mode),
    )
}

fn voicing_json(v: &Voicing, chord: &Chord, instrument: &Instrument) -> Value {
    json!({
        "shape": v.shape.text(),
        "fingers": fingers_text(v),
        "notes": notes_text(v, chord, instrument),
        "midi": instrument.sounding(&v.shape),
        "n_fingers": v.hand.n_fingers,
        "span_mm": (v.hand.span_mm * 10.0).round() / 10.0,
        "barres": v.hand.barres.iter().map(|b| json!({
            "fret": b.fret,
            "from_string": string_name(instrument, b.from),
            "to_string": string_name(instrument, b.to),
            "finger": b.finger,
        })).collect::<Vec<_>>(),
        "muted_inside": v.hand.muted_inside,
        "effort": (v.rank * 100.0).round() / 100.0,
        "caution": v.hand.is_wide().then_some(STRETCH_CAUTION),
        "missing": v.missing.iter().map(|pc| spell_in(chord, pc, instrument.capo)).collect::<Vec<_>>(),
    })
}

fn write_voicing(
    out: &mut dyn Write,
    v: &Voicing,
    chord: &Chord,
    instrument: &Instrument,
) -> Result<(), CliError> {
    let missing: Vec<String> = v
        .missing
        .iter()
        .map(|pc| spell_in(chord, pc, instrument.capo))
        .collect();
    let missing = if missing.is_empty() {
        String::new()
    } else {
        format!("; without {}", missing.join(", "))
    };
    writeln!(
        out,
        "  {:<18} fingers {:<8} {}",
        v.shape.text(),
        fingers_text(v),
        notes_text(v, chord, instrument)
    )?;
    wrap(
        out,
        "      ",
        &format!("effort {:.1}: {}{missing}", v.rank, v.hand.words()),
    )?;
    if v.hand.is_wide() {
        wrap(out, "      ", STRETCH_CAUTION)?;
    }
    Ok(())
}

fn degree_text(chord: &Chord, key: Option<Key>, wanted: bool) -> String {
    match key.filter(|_| wanted) {
        Some(key) => format!("  ({}, {})", roman(chord, key), number(chord, key)),
        None => String::new(),
    }
}

fn capo_text(chord: &Chord, instrument: &Instrument) -> String {
    match instrument.capo {
        0 => String::new(),
        n => format!(
            ", capo {n}: sounds {}",
            sounding_chord(chord, instrument).symbol()
        ),
    }
}

/// Shapes are searched on the instrument as fingered: the capo only moves spans.
fn wanted(chord: &Chord, instrument: &Instrument) -> Wanted {
    Wanted::chord(&sounding_chord(chord, instrument))
}

fn raised(limits: &Limits, instrument: &Instrument) -> Limits {
    Limits {
        // a note asked for is named as fingered, like the chord
        top: limits.top.map(|pc| pc.up(i32::from(instrument.capo))),
        ..limits.clone()
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
    let mut all = voicings(
        instrument,
        wanted(chord, instrument),
        &raised(limits, instrument),
    );
    if let Some(fret) = args.position {
        all.retain(|v| {
            let lowest = v.shape.frets().iter().flatten().filter(|f| **f > 0).min();
            lowest == Some(&fret.max(1))
        });
    }
    let shown = distinct(&all, args.count.max(1));
    if args.json {
        let value = json!({
            "schema": "takebook-shapes-1",
            "tuning": instrument.tuning.text(),
            "capo": instrument.capo,
            "chord": chord.label(),
            "symbol": chord.symbol(),
            "found": all.len(),
            "shapes": shown.iter().map(|v| voicing_json(v, chord, instrument)).collect::<Vec<_>>(),
        });
        writeln!(out, "{value:#}")?;
    } else if shown.is_empty() {
        wrap(
            out,
            "",
            &format!(
                "{}: no shape under these limits; allow more frets, a wider --span or other strings.",
                chord.symbol()
            ),
        )?;
    } else {
        writeln!(
            out,
            "{} ({}{}){}: {} shapes, easiest first",
            chord.symbol(),
            instrument.tuning.text(),
            capo_text(chord, instrument),
            degree_text(chord, key, args.degrees),
            all.len()
        )?;
        for v in &shown {
            write_voicing(out, v, chord, instrument)?;
        }
    }
    Ok(if shown.is_empty() {
        Outcome::Open
    } else {
        Outcome::Done
    })
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
                wrap(
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
        "The row that moves least ({}{capo}): fingers travel {:.0} mm in all",
        instrument.tuning.text(),
        row.travel_mm
    )?;
    write_row(out, chords, &row, key.filter(|_| args.degrees), instrument)?;
    Ok(Outcome::Done)
}

fn write_row(
    out: &mut dyn Write,
    chords: &[Chord],
    row: &Row,
    key: Option<Key>,
    instrument: &Instrument,
) -> Result<(), CliError> {
    for (chord, v) in chords.iter().zip(&row.shapes) {
        writeln!(
            out,
            "  {:<10} {:<18} fingers {:<8} {}{}",
            chord.symbol(),
            v.shape.text(),
            fingers_text(v),
            notes_text(v, chord, instrument),
            degree_text(chord, key, true)
        )?;
        if v.hand.is_wide() {
            wrap(out, "      ", STRETCH_CAUTION)?;
        }
    }
    Ok(())
}
