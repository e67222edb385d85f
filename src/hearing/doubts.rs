//! What a take leaves open: in words, and as choices where there is another way to hear it.

use crate::fretboard::Instrument;
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::learned;
use crate::hearing::outputs::{Choice, HeardSpan, Note, Preset};
use crate::hearing::rhythm::count::Count;
use crate::hearing::rhythm::grid::{Grid, median};
use crate::hearing::weight_files::DOUBTS;
use crate::theory::Label;
use crate::units::LINE_NOTES_A_S;
use std::sync::LazyLock;

/// From when on a doubt is worth a word.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::hearing) struct DoubtWeights {
    /// Tuned so far from A4 = 440 Hz, cents, all may be a semitone off.
    between_semitones_cents: f64,
    /// Pitches that agree less than this on a tuning agree on none.
    tuning_agreement: f64,
    /// Share of samples at full scale from which on a take is clipped.
    clipped_share: f64,
    /// So near in nats, two ways to count are both worth a thought (ours).
    close: f32,
    /// Tempos nearer than that share are one.
    same_tempo: f64,
    /// More beats than this share are off the one before: no tempo is kept (ours).
    unsteady: f64,
    /// Strokes that keep less than this to the beats keep to none (measured on 574
    /// rendered takes with a beat: three keep less, two of them miscounted).
    kept: f64,
    /// Where so much is kept, the beats are a little off, not the player (ours).
    well_kept: f64,
    /// Fewer beats say nothing of the tempo's being kept.
    least_beats: usize,
    /// A rest that long is silence, applause or talk, s (ours).
    long_s: f64,
}

static WEIGHTS: LazyLock<DoubtWeights> = LazyLock::new(|| learned::read(&DOUBTS));

/// What could not be heard for sure, in words.
pub(in crate::hearing) fn doubts(sound: &Sound, counted: Option<&Count>) -> Vec<String> {
    let mut said = Vec::new();
    match sound.front.tuning {
        Some((cents, _)) if cents.abs() > WEIGHTS.between_semitones_cents => said.push(format!(
            "tuned {cents:+.0} cents from A4 = 440 Hz, near the middle between two semitones: all chords may be a semitone off"
        )),
        Some((_, agreement)) if agreement < WEIGHTS.tuning_agreement => {
            said.push("the pitches agree on no tuning: noisy, or no strings".into());
        }
        None => said.push("no strings heard: nothing tells the tuning".into()),
        Some(_) => {}
    }
    if sound.front.clipped_share > WEIGHTS.clipped_share {
        said.push(format!(
            "{:.1} % of the samples are at full scale: clipped, chords may be misheard",
            100.0 * sound.front.clipped_share
        ));
    }
    if counted.is_none() {
        said.push("no beat found: there are no bars".into());
    }
    said
}

/// Another capo or tuning than was taken for granted.
pub(in crate::hearing) fn set_up_otherwise(suggested: &Instrument) -> Choice {
    let tuning = suggested.tuning.text();
    let (words, instead) = match suggested.capo {
        0 if suggested.above_shapes() == 0 => (
            format!("a string lower than in standard tuning sounds: it may be {tuning}"),
            tuning,
        ),
        0 => (
            format!("the chords lie better on a guitar tuned {tuning}"),
            tuning,
        ),
        fret => (
            format!("the chords lie as open shapes behind a capo at fret {fret}"),
            format!("capo {fret}"),
        ),
    };
    let of = |instrument: &Instrument| match suggested.capo {
        0 => Preset {
            tuning: Some(instrument.tuning.clone()),
            ..Preset::default()
        },
        _ => Preset {
            capo: Some(instrument.capo),
            ..Preset::default()
        },
    };
    Choice {
        words,
        instead,
        set: of(suggested),
        keep: of(&Instrument::default()),
        margin_nats: None,
    }
}

/// The other way to count, where it is nearly as likely.
pub(in crate::hearing) fn counted_otherwise(count: &Count) -> Option<Choice> {
    let other = count.other.filter(|o| o.behind < WEIGHTS.close)?;
    let gaps = count.beats_s.windows(2).map(|w| w[1] - w[0]).collect();
    let bpm = 60.0 / median(gaps).max(1e-3);
    let meter = match count.compound {
        true => (count.per_bar * 3, 8),
        false => (count.per_bar, 4),
    };
    let other_tempo = (other.tempo_bpm / bpm - 1.0).abs() > WEIGHTS.same_tempo;
    let other_meter = meter != other.meter;
    let mut set = Preset {
        meter: other_meter.then_some(other.meter),
        tempo_bpm: other_tempo.then(|| other.tempo_bpm.round()),
        ..Preset::default()
    };
    let mut instead = format!(
        "{}/{} at {:.0} bpm",
        other.meter.0, other.meter.1, other.tempo_bpm
    );
    let mut words = format!(
        "meter is unclear: {}/{} at {bpm:.0} bpm or {}/{} at {:.0}",
        meter.0, meter.1, other.meter.0, other.meter.1, other.tempo_bpm
    );
    let mut keep = Preset {
        meter: other_meter.then_some(meter),
        tempo_bpm: (other_tempo && !other_meter).then(|| bpm.round()),
        ..Preset::default()
    };
    if set == Preset::default() {
        // the same count from another beat on
        let hundredths = |at_s: f64| (at_s * 100.0).round() / 100.0;
        let at_s = hundredths(other.first_downbeat_s);
        let own = count.beats_s.iter().zip(&count.places);
        let own = own.filter(|(_, place)| **place == 1).map(|(t, _)| *t);
        set.first_downbeat_s = Some(at_s);
        keep.first_downbeat_s = own.map(hundredths).next();
        instead = format!("first beat at {at_s:.2} s");
        words = format!("the first beat of the bars is unclear: it may be at {at_s:.2} s");
    }
    Some(Choice {
        words,
        instead,
        set,
        keep,
        margin_nats: Some(f64::from(other.behind)),
    })
}

/// Whether single notes are played through a stretch.
fn is_line(span: &HeardSpan, notes: &[Note]) -> bool {
    let sure = notes
        .iter()
        .filter(|n| n.probability > 0.5 && n.start_s >= span.start_s && n.start_s < span.end_s);
    sure.count() as f64 >= LINE_NOTES_A_S * (span.end_s - span.start_s)
}

/// What the beats leave open: free time, and stretches without chords, in words.
/// `kept` as [`Grid::kept`] gives it.
pub(in crate::hearing) fn gaps(
    spans: &[HeardSpan],
    notes: &[Note],
    grid: &Grid,
    kept: f64,
) -> Vec<String> {
    let w = &*WEIGHTS;
    let mut said = Vec::new();
    let is_free = kept < w.kept || (kept < w.well_kept && grid.unsteady() > w.unsteady);
    if grid.beats.len() >= w.least_beats && is_free {
        said.push(
            "the beats keep no tempo (played freely?): bars are guesses; tap the beats and give them with --beats".into(),
        );
    }
    let clock = |at_s: f64| format!("{}:{:04.1}", (at_s / 60.0) as u32, at_s % 60.0);
    for (i, span) in spans.iter().enumerate() {
        if span.candidates[0].0 != Label::NoChord || span.end_s - span.start_s < w.long_s {
            continue;
        }
        let where_it_is = format!("{} to {}", clock(span.start_s), clock(span.end_s));
        said.push(if is_line(span, notes) {
            format!("single notes and no chord from {where_it_is}")
        } else if i == 0 {
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
