//! Joins files, hearing and the log: a sound file in, what was heard out.

use super::{DraftError, Watch};
use crate::audio::Source;
use crate::hearing::{
    self, Given, HeardSpan, Hearing, Listener, Sound, StretchEvidence, Weights, interpret_once,
};
use crate::songlog::heard::{
    Candidate, Choice, FittedShape, Heard, HeardBeat, HeardChord, HeardNote, HeardSection,
    HeardStrum, Preset,
};

/// Hears one take.
///
/// # Errors
/// * [`DraftError::Cancelled`] once `watch.cancel` is set.
/// * [`DraftError::Audio`] if the sound cannot be read, [`DraftError::Hearing`] if hearing fails.
pub fn hear(source: &mut Source, given: &Given, watch: &Watch) -> Result<Heard, DraftError> {
    let sound = listen(source, watch)?;
    let heard = interpret_once(sound, given, &Weights::default());
    (watch.progress)(1.0);
    Ok(for_the_log(heard, given))
}

/// The acoustic stage on a whole take.
fn listen(source: &mut Source, watch: &Watch) -> Result<Sound, DraftError> {
    let mut listener = Listener::new();
    let progress = watch.progress;
    source.read_mono_22050(
        &mut |block| {
            // a cancelled take is only decoded to its end
            if watch.check().is_ok() {
                listener.push(block);
            }
        },
        &|share| progress(0.35 * share),
    )?;
    watch.check()?;
    let sound = listener.finish(&|share| {
        progress(0.35 + 0.6 * share);
        watch.check().is_ok()
    });
    watch.check()?;
    Ok(sound?)
}

/// Hears samples that are in memory (mono, 22,050 Hz).
///
/// # Errors
/// * [`DraftError::Hearing`] if hearing fails.
pub fn hear_samples(samples: &[f32], given: &Given) -> Result<Heard, DraftError> {
    let mut listener = Listener::new();
    listener.push(samples);
    hear_out(listener, given)
}

/// Hears what `check` weighs: the take's stretches between two strums, without a decision.
///
/// # Errors
/// As [`hear`].
pub fn hear_stretches(
    source: &mut Source,
    watch: &Watch,
) -> Result<Vec<StretchEvidence>, DraftError> {
    Ok(listen(source, watch)?.evidence())
}

/// What a listener that has all samples hears.
///
/// # Errors
/// * [`DraftError::Hearing`] if hearing fails.
pub(super) fn hear_out(listener: Listener, given: &Given) -> Result<Heard, DraftError> {
    let sound = listener.finish(&|_| true)?;
    let heard = interpret_once(sound, given, &Weights::default());
    Ok(for_the_log(heard, given))
}

/// The hearing room's values as the log's.
fn for_the_log(heard: Hearing, given: &Given) -> Heard {
    Heard {
        by_version: String::new(),
        settings: Vec::new(),
        duration_s: heard.duration_s,
        tuning_cents: heard.tuning_cents,
        instrument: given.instrument.clone(),
        tempo_bpm: heard.tempo_bpm,
        meter: heard.meter,
        key: heard.key,
        key_changes: heard.key_changes,
        beats: heard
            .beats
            .iter()
            .map(|(time_s, place)| HeardBeat {
                time_s: *time_s,
                place: *place,
            })
            .collect(),
        bars: heard.bars,
        sections: heard
            .sections
            .into_iter()
            .map(|s| HeardSection {
                letter: s.letter,
                first_bar: s.first_bar,
                last_bar: s.last_bar,
                differs: String::new(),
            })
            .collect(),
        chords: heard.chords.into_iter().map(chord).collect(),
        detail: heard.detail.into_iter().map(chord).collect(),
        strums: heard
            .strums
            .iter()
            .map(|s| HeardStrum {
                time_s: s.time_s,
                down: s.down,
                probability: s.probability,
            })
            .collect(),
        notes: heard
            .notes
            .iter()
            .map(|n| HeardNote {
                start_s: n.start_s,
                end_s: n.end_s,
                midi: n.midi,
                probability: f64::from(n.probability),
            })
            .collect(),
        choices: heard.choices.into_iter().map(choice).collect(),
        warnings: heard.warnings,
    }
}

fn choice(of: hearing::Choice) -> Choice {
    let preset = |p: hearing::Preset| Preset {
        meter: p.meter,
        tempo_bpm: p.tempo_bpm,
        first_downbeat: p.first_downbeat_s,
        capo: p.capo,
        tuning: p.tuning,
    };
    Choice {
        words: of.words,
        instead: of.instead,
        set: preset(of.set),
        keep: preset(of.keep),
        margin_nats: of.margin_nats,
    }
}

fn chord(span: HeardSpan) -> HeardChord {
    HeardChord {
        start_s: span.start_s,
        end_s: span.end_s,
        candidates: span
            .candidates
            .into_iter()
            .map(|(label, probability, reason)| Candidate {
                label,
                probability,
                reason,
            })
            .collect(),
        shapes: span
            .shapes
            .into_iter()
            .map(|(shape, fit)| FittedShape { shape, fit })
            .collect(),
        bass_midi: span.bass_midi,
        chroma: span.chroma,
        fragment: span.fragment,
    }
}
