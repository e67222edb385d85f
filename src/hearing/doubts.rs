//! What a take leaves open, in words.

use crate::hearing::pipeline::Sound;
use crate::hearing::reading::HeardSpan;
use crate::hearing::rhythm::bars::Count;
use crate::hearing::rhythm::grid::{Grid, median};
use crate::theory::Label;

/// What could not be heard for sure, in words.
pub(in crate::hearing) fn doubts(sound: &Sound, counted: Option<&Count>) -> Vec<String> {
    let mut said = Vec::new();
    match sound.front.tuning {
        Some((cents, _)) if cents.abs() > 40.0 => said.push(format!(
            "tuned {cents:+.0} cents from A4 = 440 Hz, near the middle between two semitones: all chords may be a semitone off"
        )),
        Some((_, agreement)) if agreement < 0.15 => {
            said.push("the pitches agree on no tuning: noisy, or no strings".into());
        }
        None => said.push("no strings heard: nothing tells the tuning".into()),
        Some(_) => {}
    }
    if sound.front.clipped_share > 0.001 {
        said.push(format!(
            "{:.1} % of the samples are at full scale: clipped, chords may be misheard",
            100.0 * sound.front.clipped_share
        ));
    }
    match counted {
        None => said.push("no beat found: there are no bars".into()),
        Some(count) => said.extend(other_way(count)),
    }
    said
}

/// The other way to count, in words, where it is nearly as likely.
fn other_way(count: &Count) -> Option<String> {
    /// So near in nats, both are worth a thought (ours).
    const CLOSE: f32 = 0.7;
    /// Tempos nearer than that are one.
    const SAME: f64 = 0.04;
    let other = count.other.filter(|o| o.behind < CLOSE)?;
    let gaps = count.beats_s.windows(2).map(|w| w[1] - w[0]).collect();
    let bpm = 60.0 / median(gaps).max(1e-3);
    let meter = match count.compound {
        true => (count.per_bar * 3, 8),
        false => (count.per_bar, 4),
    };
    let how = if (other.tempo_bpm / bpm - 1.0).abs() > SAME {
        format!("--tempo {:.0}", other.tempo_bpm)
    } else if meter != other.meter {
        format!("--meter {}/{}", other.meter.0, other.meter.1)
    } else {
        format!("--first-downbeat {:.2}", other.first_downbeat_s)
    };
    Some(format!(
        "two ways to count are close: {}/{} at {bpm:.0} beats a minute, and {}/{} at {:.0}; give {how} for the other",
        meter.0, meter.1, other.meter.0, other.meter.1, other.tempo_bpm
    ))
}

/// What the beats leave open: free time, and stretches without the guitar, in words.
/// `kept` as [`Grid::kept`] gives it.
pub(in crate::hearing) fn gaps(spans: &[HeardSpan], grid: &Grid, kept: f64) -> Vec<String> {
    /// More beats than this are off the one before: no tempo is kept (ours).
    const FREE: f64 = 0.2;
    /// Strokes that keep less than this to the beats keep to none (measured on 574
    /// rendered takes with a beat: three keep less, two of them miscounted).
    const KEPT: f64 = 0.45;
    /// Where so much is kept, the beats are a little off, not the player (ours).
    const WELL_KEPT: f64 = 0.7;
    /// A rest that long is silence, applause or talk, s (ours).
    const LONG_S: f64 = 4.0;
    let mut said = Vec::new();
    let is_free = kept < KEPT || (kept < WELL_KEPT && grid.unsteady() > FREE);
    if grid.beats.len() >= 12 && is_free {
        said.push(
            "the beats keep no tempo (played freely?): bars are guesses; tap the beats and give them with --beats".into(),
        );
    }
    let clock = |at_s: f64| format!("{}:{:04.1}", (at_s / 60.0) as u32, at_s % 60.0);
    for (i, span) in spans.iter().enumerate() {
        if span.candidates[0].0 != Label::NoChord || span.end_s - span.start_s < LONG_S {
            continue;
        }
        let where_it_is = format!("{} to {}", clock(span.start_s), clock(span.end_s));
        said.push(if i == 0 {
            format!("no guitar from {where_it_is}: bars are counted from there on")
        } else if i + 1 == spans.len() {
            format!("no guitar from {where_it_is}: bars end there")
        } else {
            format!(
                "no guitar from {where_it_is}: its beats are guesses; give a bar there its beats with --bar-beats if the count is wrong after it"
            )
        });
    }
    said
}
