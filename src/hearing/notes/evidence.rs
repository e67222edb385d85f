//! What speaks for a struck note: the input of the judge in [`crate::hearing::notes::events`].
//!
//! A candidate is a local peak in time of a pitch's struck probability. Around
//! it is read what the net says of the pitch and of those whose overtone it
//! could be (or which could be its own), before and after; how loud the first
//! six partials are from a quarter of a second before to one after, so that a
//! string struck again differs from one that rings on; and how loud the places
//! between are, where an octave's lower note has partials that the upper lacks.
//! Levels count from the loudest place about the candidate, read at the take's
//! tuning. `docs/training/note_evidence.py` computes the same numbers for the
//! fit; a test holds both against each other.

use crate::hearing::acoustic::net::{Acoustic, N_PITCHES};
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::acoustic::spectrum::{LONG_MARGIN, SHORT_MARGIN, Spectra};
use crate::hearing::partials::PARTIALS;
use crate::hearing::small_net::log_odds;

/// Peaks of the acoustic stage under this are not looked at.
const FLOOR: f32 = 0.08;
/// How far a level may lie under the loudest, dB.
const DEEPEST_DB: f32 = -60.0;
/// How near to 0 and 1 a probability may come.
const MARGIN: f32 = 0.004;
/// Level beyond the spectra's ends, dB.
const SILENT_DB: f32 = -200.0;
/// Semitones from C1, bin 0 of the spectra, to the lowest pitch (MIDI 28).
const LOWEST: i32 = 4;

// Frames from the candidate, and semitones from its pitch.
const STRUCK_AT: [i32; 5] = [-2, -1, 0, 1, 2];
const SOUNDING_AT: [i32; 10] = [-6, -4, -3, -2, -1, 0, 1, 2, 4, 6];
/// Partials whose levels are read in the short spectrum, in the long one, and for their rise.
const N_SHORT: usize = 6;
const SHORT_AT: [i32; 7] = [-4, -2, -1, 0, 1, 2, 4];
const N_LONG: usize = 4;
const N_RISING: usize = 5;
const LONG_AT: [i32; 4] = [-5, -2, 1, 4];
pub(crate) const STRUCK_BESIDE: [i32; 25] = [
    -36, -31, -28, -24, -19, -16, -12, -9, -7, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 7, 9, 12, 16, 19,
    24,
];
const SOUNDING_BESIDE: [i32; 13] = [-36, -31, -28, -24, -19, -12, -7, -5, 5, 7, 12, 19, 24];
const LEVEL_BESIDE: [i32; 19] = [
    -28, -24, -19, -16, -12, -9, -7, -5, -4, -3, -1, 1, 4, 5, 7, 9, 16, 21, 26,
];
pub(crate) const HISTORY: [(i32, i32); 4] = [(-64, -13), (-12, -3), (3, 12), (13, 64)];

/// How many numbers speak for a note.
pub(crate) const N_EVIDENCE: usize = STRUCK_AT.len()
    + SOUNDING_AT.len()
    + N_SHORT * SHORT_AT.len()
    + N_LONG * LONG_AT.len()
    + STRUCK_BESIDE.len()
    + 2 * SOUNDING_BESIDE.len()
    + 2 * LEVEL_BESIDE.len()
    + 5
    + 9
    + HISTORY.len();

/// A moment where a pitch may have been struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Candidate {
    pub(crate) pitch: usize,
    pub(crate) frame: usize,
    /// Center of the peak's three frames, in frames.
    pub(crate) center: f32,
}

/// Every local peak of a pitch's struck probability over a low floor, by pitch, then time.
pub(crate) fn candidates(acoustic: &Acoustic) -> Vec<Candidate> {
    let n = acoustic.n_frames();
    let mut all = Vec::new();
    for frame in 0..n {
        for (pitch, here) in acoustic.struck_in(frame).filter(|(_, p)| *p >= FLOOR) {
            let at = |t: usize| acoustic.struck(t, pitch);
            let before = if frame > 0 { at(frame - 1) } else { 0.0 };
            let after = if frame + 1 < n { at(frame + 1) } else { 0.0 };
            if here < before || here <= after {
                continue;
            }
            let offset = (after - before) / (before + here + after);
            all.push(Candidate {
                pitch,
                frame,
                center: (frame as f32 + offset).max(0.0),
            });
        }
    }
    // what is of one pitch stays in order of time
    all.sort_by_key(|c| c.pitch);
    all
}

/// What the net says of every pitch about a frame.
pub(crate) struct Moment {
    frame: usize,
    /// The most a pitch is struck in the frame and both beside it.
    near: [f32; N_PITCHES],
    /// How much it sounds from the frame on.
    rings: [f32; N_PITCHES],
    /// How much it sounded before.
    rang: [f32; N_PITCHES],
    /// Notes struck in the frame, in sum.
    struck: f32,
}

/// Reads the evidence of candidates of one take.
pub(crate) struct Reader<'a> {
    acoustic: &'a Acoustic,
    spectra: &'a Spectra,
    n: usize,
    /// The take's tuning in semitones.
    tuning: f32,
    /// Of each frame the loudest bin of either spectrum, dB.
    top_short: Vec<f32>,
    top_long: Vec<f32>,
    /// Of each frame the mean rise over all bins of the short spectrum, dB.
    flux: Vec<f32>,
    /// The take's loudness: the 97th percentile of `top_short`.
    loudness: f32,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(sound: &'a Sound) -> Self {
        let spectra = &sound.front.spectra;
        let n = sound.acoustic.n_frames();
        let top_short: Vec<f32> = (0..n)
            .map(|t| spectra.short_db(t).fold(f32::MIN, f32::max))
            .collect();
        let top_long = (0..n)
            .map(|t| spectra.long_db(t).fold(f32::MIN, f32::max))
            .collect();
        let mut sorted = top_short.clone();
        sorted.sort_by(f32::total_cmp);
        let loudness = match n {
            0 => 0.0,
            _ => sorted[((n - 1) as f64 * 0.97) as usize],
        };
        let near = |t: usize, o: i32| (t as i32 + o).clamp(0, n as i32 - 1) as usize;
        let louder = |a: usize, b: usize| {
            let both = spectra.short_db(a).zip(spectra.short_db(b));
            both.map(|(x, y)| x.max(y))
        };
        let flux = (0..n)
            .map(|t| {
                let now = louder(near(t, 1), near(t, 2));
                let was = louder(near(t, -1), near(t, -2));
                let rises = now.zip(was).map(|(x, y)| (x - y).clamp(0.0, 20.0));
                let n_bins = spectra.short_db(t).len();
                rises.sum::<f32>() / n_bins as f32
            })
            .collect();
        Self {
            acoustic: &sound.acoustic,
            spectra,
            n,
            tuning: sound.front.tuning.map_or(0.0, |t| t.0 as f32 / 100.0),
            top_short,
            top_long,
            flux,
            loudness,
        }
    }

    /// What all candidates of a frame have in common.
    pub(crate) fn moment(&self, frame: usize) -> Moment {
        let t = frame as i32;
        let of = |value: &dyn Fn(i32) -> f32| std::array::from_fn(|q| value(q as i32));
        Moment {
            frame,
            near: of(&|q| self.near(t, q)),
            rings: of(&|q| self.rings(t, q)),
            rang: of(&|q| self.rang(t, q)),
            struck: (0..N_PITCHES as i32).map(|q| self.struck(t, q)).sum(),
        }
    }

    /// The numbers of a pitch at a moment, in the order of `note_evidence.py`.
    pub(crate) fn evidence(&self, moment: &Moment, pitch: usize) -> [f32; N_EVIDENCE] {
        let (p, t) = (pitch as i32, moment.frame as i32);
        let mut all = Numbers {
            values: [0.0; N_EVIDENCE],
            n: 0,
        };
        for o in STRUCK_AT {
            all.add(log_odds(self.struck(t + o, p), MARGIN) / 3.0);
        }
        for o in SOUNDING_AT {
            all.add(log_odds(self.sounding(t + o, p), MARGIN) / 3.0);
        }
        let top = |tops: &[f32]| {
            let about = (t - 1..=t + 3).map(|f| tops[self.inside(f)]);
            about.fold(f32::MIN, f32::max)
        };
        let (loudest, loudest_long) = (top(&self.top_short), top(&self.top_long));
        let below = |level: f32, top: f32| (level - top).max(DEEPEST_DB) / 20.0;
        let place = p + LOWEST;
        let partials = PARTIALS.map(|h| h as i32);
        for h in &partials[..N_SHORT] {
            for o in SHORT_AT {
                all.add(below(self.short(t + o, place + h), loudest));
            }
        }
        for h in &partials[..N_LONG] {
            for o in LONG_AT {
                all.add(below(self.long(t + o, place + h), loudest_long));
            }
        }
        let beside = |values: &[f32; N_PITCHES], r: i32| {
            let q = usize::try_from(p + r).ok();
            q.and_then(|q| values.get(q)).copied().unwrap_or(0.0)
        };
        for r in STRUCK_BESIDE {
            all.add(beside(&moment.near, r));
        }
        for r in SOUNDING_BESIDE {
            all.add(beside(&moment.rings, r));
            all.add(beside(&moment.rang, r));
        }
        let after = |b: i32| self.short(t + 1, b).max(self.short(t + 2, b));
        let before = |b: i32| self.short(t - 1, b).max(self.short(t - 2, b));
        for r in LEVEL_BESIDE {
            let (now, was) = (after(place + r), before(place + r));
            all.add(below(now, loudest));
            all.add(((now - was) / 20.0).clamp(-1.5, 1.5));
        }
        for h in &partials[..N_RISING] {
            let rise = after(place + h) - before(place + h);
            all.add((rise / 10.0).clamp(-2.0, 3.0));
        }
        all.add((moment.struck - self.struck(t, p)).min(6.0) / 2.0);
        all.add(moment.near.iter().filter(|v| **v > 0.5).count() as f32 / 4.0);
        all.add(moment.rings.iter().sum::<f32>() / 4.0);
        all.add(moment.rang.iter().sum::<f32>() / 4.0);
        let height = p as f32 / 32.0 - 1.0;
        all.add(height);
        all.add(height * height);
        let tops = |o: i32| self.top_short[self.inside(t + o)];
        all.add(((tops(1) - tops(-1).max(tops(-2))) / 10.0).clamp(-2.0, 3.0));
        all.add(self.flux[self.inside(t)] / 5.0);
        all.add(((loudest - self.loudness) / 20.0).max(-3.0));
        for (first, last) in HISTORY {
            let frames = (t + first).max(0)..=(t + last).min(self.n as i32 - 1);
            all.add(frames.map(|f| self.struck(f, p)).fold(0.0, f32::max));
        }
        debug_assert_eq!(all.n, N_EVIDENCE);
        all.values
    }

    fn inside(&self, frame: i32) -> usize {
        frame.clamp(0, self.n as i32 - 1) as usize
    }

    fn struck(&self, frame: i32, pitch: i32) -> f32 {
        self.acoustic.struck(self.inside(frame), pitch as usize)
    }

    fn sounding(&self, frame: i32, pitch: i32) -> f32 {
        match usize::try_from(pitch) {
            Ok(p) if p < N_PITCHES => self.acoustic.sounding(self.inside(frame), p),
            _ => 0.0,
        }
    }

    /// The most a pitch is struck in the frame and both beside it.
    fn near(&self, t: i32, pitch: i32) -> f32 {
        let frames = (t - 1..=t + 1).map(|f| self.struck(f, pitch));
        frames.fold(0.0, f32::max)
    }

    /// How much a pitch sounds from the frame on.
    fn rings(&self, t: i32, pitch: i32) -> f32 {
        (t..t + 4).map(|f| self.sounding(f, pitch)).sum::<f32>() / 4.0
    }

    /// How much a pitch sounded before.
    fn rang(&self, t: i32, pitch: i32) -> f32 {
        (t - 4..t - 1).map(|f| self.sounding(f, pitch)).sum::<f32>() / 3.0
    }

    /// Level of the short spectrum so many semitones above C1, dB.
    fn short(&self, frame: i32, semitone: i32) -> f32 {
        let at = semitone as f32 + SHORT_MARGIN as f32 + self.tuning;
        between(at, |bin| self.spectra.short_at(self.inside(frame), bin))
    }

    /// Level of the long spectrum so many semitones above C1, dB.
    fn long(&self, frame: i32, semitone: i32) -> f32 {
        let at = 3.0 * (semitone as f32 + self.tuning) + LONG_MARGIN as f32;
        between(at, |bin| self.spectra.long_at(self.inside(frame), bin))
    }
}

struct Numbers {
    values: [f32; N_EVIDENCE],
    n: usize,
}

impl Numbers {
    fn add(&mut self, value: f32) {
        self.values[self.n] = value;
        self.n += 1;
    }
}

/// A level between two bins; silence where there is none.
fn between(at: f32, level: impl Fn(usize) -> Option<f32>) -> f32 {
    if at < 0.0 {
        return SILENT_DB;
    }
    let low = at as usize;
    let part = at - low as f32;
    match (level(low), level(low + 1)) {
        (Some(a), Some(b)) => a * (1.0 - part) + b * part,
        _ => SILENT_DB,
    }
}
