//! Two fingerings beside each other: are they the same chord, and what differs?

use super::told::{degree_words, spelled};
use crate::cli::CliError;
use crate::cli::layout::write_under;
use crate::fretboard::{Comparison, Instrument, Played, Sameness, string_name};
use crate::theory::naming::Name;
use crate::theory::{Key, PitchClass};
use serde_json::{Value, json};
use std::io::Write;

pub(super) fn write_comparison(
    out: &mut dyn Write,
    first: &Played,
    second: &Played,
    seen: &Comparison,
    instrument: &Instrument,
    key: Option<Key>,
) -> Result<(), CliError> {
    let [a, b] = &seen.names;
    write_under(
        out,
        "",
        &format!(
            "{} ({}) and {} ({}): {}.",
            first.text(),
            a.text(),
            second.text(),
            b.text(),
            verdict(seen.sameness)
        ),
    )?;
    for (which, played, only, name) in [
        ("first", first, &seen.only_first, a),
        ("second", second, &seen.only_second, b),
    ] {
        let list = differences(played, only, name, instrument, key);
        if !list.is_empty() {
            write_under(
                out,
                "   ",
                &format!("only the {which} sounds {}", list.join(", ")),
            )?;
        }
    }
    Ok(())
}

pub(super) fn comparison_json(
    first: &Played,
    second: &Played,
    seen: &Comparison,
    instrument: &Instrument,
    key: Option<Key>,
) -> Value {
    let [a, b] = &seen.names;
    json!({
        "first": first.text(),
        "second": second.text(),
        "verdict": verdict_word(seen.sameness),
        "same": seen.sameness != Sameness::Different,
        "only_first": differences(first, &seen.only_first, a, instrument, key),
        "only_second": differences(second, &seen.only_second, b, instrument, key),
    })
}

/// What differs, tone by tone: `the second adds E, its fifth, on the D string`.
fn differences(
    played: &Played,
    only: &[PitchClass],
    name: &Name,
    instrument: &Instrument,
    key: Option<Key>,
) -> Vec<String> {
    only.iter()
        .map(|pc| {
            let at: Vec<String> = played
                .tones
                .iter()
                .filter(|t| t.pitch_class == *pc)
                .filter_map(|t| t.string)
                .map(|s| string_name(instrument, s))
                .collect();
            let place = if at.is_empty() {
                String::new()
            } else {
                let plural = if at.len() > 1 { "s" } else { "" };
                format!(" on the {} string{plural}", at.join(" and "))
            };
            format!(
                "{} ({} of {}){place}",
                spelled(name, *pc, key),
                degree_words(name.degree_of(*pc)),
                name.text()
            )
        })
        .collect()
}

const fn verdict(sameness: Sameness) -> &'static str {
    match sameness {
        Sameness::SameNotes => "the same notes",
        Sameness::SamePitchClasses => "the same chord: same tones over the same bass",
        Sameness::OtherBass => "the same tones over another bass",
        Sameness::SameName => "the same chord, one with a tone left out",
        Sameness::Different => "not the same chord",
    }
}

const fn verdict_word(sameness: Sameness) -> &'static str {
    match sameness {
        Sameness::SameNotes => "same_notes",
        Sameness::SamePitchClasses => "same_pitch_classes",
        Sameness::OtherBass => "other_bass",
        Sameness::SameName => "same_name",
        Sameness::Different => "different",
    }
}
