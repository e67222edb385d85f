//! Makes the demo takes in `fixtures/` and their truth, all invented here.
//!
//!     cargo run --release --example make_fixtures [FOLDER]
//!
//! The same code gives the same files. What is played and what is written
//! down as truth come from one list of strikes, so the truth is exact.

use serde_json::{Value, json};
use std::path::Path;
use takebook::fretboard::{Instrument, Shape};
use takebook::units::{SampleRate, Seconds};
use takebook::voice::{Strike, Stroke, perform, strum};

/// Half of the usual rate: enough for a guitar, and small.
pub(crate) const RATE: SampleRate = SampleRate(22_050);

/// One demo take: what is played and what is true of it.
pub(crate) struct Take {
    /// File name without ending.
    pub(crate) name: &'static str,
    key: &'static str,
    tempo_bpm: f64,
    beats_in_bar: usize,
    brightness: f64,
    /// Letter, first bar, bars; the first bar is 1.
    sections: Vec<(&'static str, usize, usize)>,
    /// Start, label, shape as text.
    chords: Vec<(f64, &'static str, &'static str)>,
    /// When the last chord is damped, s.
    damped_s: f64,
    n_bars: usize,
    strikes: Vec<Strike>,
}

/// Seconds before the first beat, and after the last note is damped.
const LEAD_IN_S: f64 = 0.6;
const TAIL_S: f64 = 0.6;

/// All demo takes.
pub(crate) fn takes() -> Vec<Take> {
    vec![lantern_porch(), river_stairs(), attic_letters()]
}

/// A hand that is a little early or late, always in the same way.
struct Hand {
    state: u32,
}

impl Hand {
    /// -1 to 1 (constants: Knuth, The Art of Computer Programming 2, 3.3.4, from memory).
    fn sway(&mut self) -> f64 {
        self.state = self
            .state
            .wrapping_mul(1_664_525)
            .wrapping_add(1_013_904_223);
        f64::from(self.state >> 8) / f64::from(1u32 << 23) - 1.0
    }
}

/// Times are whole tenths of a millisecond, so that the truth can say them exactly.
fn rounded(time_s: f64) -> f64 {
    (time_s * 1e4).round() / 1e4
}

struct Player {
    take: Take,
    hand: Hand,
}

impl Player {
    fn new(name: &'static str, key: &'static str, tempo_bpm: f64, beats_in_bar: usize) -> Self {
        Self {
            hand: Hand {
                state: name.len() as u32,
            },
            take: Take {
                name,
                key,
                tempo_bpm,
                beats_in_bar,
                brightness: 0.6,
                sections: Vec::new(),
                chords: Vec::new(),
                damped_s: 0.0,
                n_bars: 0,
                strikes: Vec::new(),
            },
        }
    }

    /// When a beat of the take falls, counted from 0.
    fn beat_s(&self, beat: f64) -> f64 {
        LEAD_IN_S + beat * 60.0 / self.take.tempo_bpm
    }

    fn section(&mut self, letter: &'static str, n_bars: usize) {
        let first = self.take.n_bars + 1;
        self.take.sections.push((letter, first, n_bars));
    }

    /// Plays strikes and, if they start another chord, writes it down.
    fn play(&mut self, chord: Option<(&'static str, &'static str)>, strikes: Vec<Strike>) {
        let late_s = 0.005 * self.hand.sway();
        let strikes: Vec<Strike> = strikes
            .into_iter()
            .map(|s| Strike {
                on_s: rounded(s.on_s + late_s),
                off_s: rounded(s.off_s),
                velocity: s.velocity * (1.0 + 0.06 * self.hand.sway()),
                ..s
            })
            .collect();
        if let (Some((label, shape)), Some(first)) = (chord, strikes.first()) {
            self.take.chords.push((first.on_s, label, shape));
        }
        self.take.strikes.extend(strikes);
    }

    fn finish(mut self, ring_s: f64) -> Take {
        let beats = self.take.n_bars * self.take.beats_in_bar;
        self.take.damped_s = rounded(self.beat_s(beats as f64) + ring_s);
        let off_s = self.take.damped_s;
        let strings = 6;
        // a string rings until it is struck again, the hand moves, or the end
        self.take.strikes.sort_by(|a, b| a.on_s.total_cmp(&b.on_s));
        for i in 0..self.take.strikes.len() {
            let strike = self.take.strikes[i];
            assert!(strike.string < strings);
            let again_s = self.take.strikes[i + 1..]
                .iter()
                .find(|s| s.string == strike.string)
                .map_or(off_s, |s| s.on_s);
            self.take.strikes[i].off_s = strike.off_s.min(again_s).min(off_s);
        }
        self.take
    }
}

/// The sounding notes of a shape in standard tuning: string and pitch, low first.
fn notes(shape: &str) -> Vec<(usize, u8)> {
    let shape: Shape = shape.parse().expect("a shape");
    Instrument::default()
        .sounding(&shape)
        .into_iter()
        .enumerate()
        .filter_map(|(string, midi)| Some((string, midi?)))
        .collect()
}

/// Strummed, G major, 4/4: intro, A, A, B, and A with another ending.
fn lantern_porch() -> Take {
    const G: (&str, &str) = ("G:maj", "320003");
    const C: (&str, &str) = ("C:maj", "x32010");
    const D: (&str, &str) = ("D:maj", "xx0232");
    const EM: (&str, &str) = ("E:min", "022000");
    const AM: (&str, &str) = ("A:min", "x02210");
    const D7: (&str, &str) = ("D:7", "xx0212");
    let a = [(G, 4), (D, 4), (EM, 4), (C, 4)];
    let form: [(&str, &[_]); 6] = [
        ("I", &[(G, 4), (C, 4)]),
        ("A", &a),
        ("A", &a),
        ("B", &[(AM, 4), (C, 4), (D, 4), (D7, 4)]),
        ("A", &[(G, 4), (D, 4), (EM, 4), (C, 2), (D, 2)]),
        ("E", &[(G, 4)]),
    ];
    // down and up strokes on the eighths of a bar: where, which way, how hard
    let bar = [
        (0.0, Stroke::Down, 0.9),
        (1.0, Stroke::Down, 0.75),
        (1.5, Stroke::Up, 0.6),
        (2.0, Stroke::Down, 0.8),
        (2.5, Stroke::Up, 0.6),
        (3.0, Stroke::Down, 0.75),
        (3.5, Stroke::Up, 0.6),
    ];
    let mut player = Player::new("lantern-porch", "G", 138.0, 4);
    let mut beat = 0.0;
    for (letter, chords) in form {
        let n_beats: usize = chords.iter().map(|(_, n)| n).sum();
        player.section(letter, n_beats / 4);
        for (chord, n_beats) in chords {
            let last = letter == "E";
            let end = beat + *n_beats as f64;
            let off_s = if last { f64::MAX } else { player.beat_s(end) };
            for (i, (at, stroke, velocity)) in bar.iter().enumerate() {
                if *at >= *n_beats as f64 || (last && i > 0) {
                    continue;
                }
                let mut strings = notes(chord.1);
                if *stroke == Stroke::Up {
                    // an up stroke catches the high strings only
                    strings = strings.split_off(strings.len().saturating_sub(4));
                }
                let on_s = player.beat_s(beat + at);
                let strikes = strum(&strings, *stroke, on_s, off_s, 0.011, *velocity);
                player.play((i == 0).then_some(*chord), strikes);
            }
            beat = end;
        }
        player.take.n_bars += n_beats / 4;
    }
    player.finish(0.4)
}

/// Picked, D major, 3/4: one chord a bar over a bass that walks down.
fn river_stairs() -> Take {
    let bars = [
        ("D:maj", "xx0232"),
        ("D:maj/7", "x40232"),
        ("B:min", "x24432"),
        ("D:maj/5", "x00232"),
        ("G:maj", "320003"),
        ("D:maj/3", "2x0232"),
        ("E:min7", "022030"),
        ("A:7", "x02020"),
        ("D:maj", "xx0232"),
    ];
    let mut player = Player::new("river-stairs", "D", 108.0, 3);
    player.take.brightness = 0.45;
    player.section("A", bars.len());
    for (i, chord) in bars.into_iter().enumerate() {
        let strings = notes(chord.1);
        let top = strings.len() - 1;
        // bass, then the upper strings up and down in eighths
        let order = [0, top - 2, top - 1, top, top - 1, top - 2];
        let start = (3 * i) as f64;
        let last = i + 1 == bars.len();
        let off_s = if last {
            f64::MAX
        } else {
            player.beat_s(start + 3.0)
        };
        for (k, string) in order.into_iter().enumerate() {
            let strike = Strike {
                string: strings[string].0,
                midi: strings[string].1,
                on_s: player.beat_s(start + 0.5 * k as f64),
                off_s,
                velocity: if k == 0 { 0.85 } else { 0.65 },
            };
            player.play((k == 0).then_some(chord), vec![strike]);
        }
        player.take.n_bars += 1;
    }
    player.finish(0.8)
}

/// Two strings at a time, A major, 4/4: third and root stand for the chord.
fn attic_letters() -> Take {
    let bars = [
        ("A:maj", "x-x-11-x-10-x"),
        ("D:maj", "xx4x3x"),
        ("E:maj", "xx6x5x"),
        ("F#:min", "xx7x7x"),
        ("D:maj", "xx4x3x"),
        ("E:maj", "xx6x5x"),
        ("A:maj", "x-x-11-x-10-x"),
    ];
    let mut player = Player::new("attic-letters", "A", 116.0, 4);
    player.section("A", bars.len());
    for (i, (label, shape)) in bars.into_iter().enumerate() {
        let strings = notes(shape);
        let start = (4 * i) as f64;
        let last = i + 1 == bars.len();
        for (k, at) in [0.0, 1.5, 2.0, 3.0].into_iter().enumerate() {
            if last && k > 1 {
                continue;
            }
            // the hand lifts a little before it moves to the next pair
            let off_s = if last {
                f64::MAX
            } else {
                player.beat_s(start + 4.0) - 0.06
            };
            let on_s = player.beat_s(start + at);
            let velocity = if k == 0 { 0.85 } else { 0.7 };
            let strikes = strum(&strings, Stroke::Down, on_s, off_s, 0.004, velocity);
            player.play((k == 0).then_some((label, shape)), strikes);
        }
        player.take.n_bars += 1;
    }
    player.finish(0.4)
}

impl Take {
    /// Length of the take, s.
    pub(crate) fn duration_s(&self) -> f64 {
        rounded(self.damped_s + TAIL_S)
    }

    /// The take as 16-bit samples.
    pub(crate) fn samples(&self) -> Vec<i16> {
        perform(
            &self.strikes,
            self.brightness,
            Seconds(self.duration_s()),
            RATE,
        )
        .into_iter()
        .map(|x| (f64::from(x) * 32_767.0).round() as i16)
        .collect()
    }

    /// Its chords as a labelled timeline: silence, chords, silence.
    pub(crate) fn lab(&self) -> String {
        let mut rows = vec![(0.0, "N")];
        rows.extend(self.chords.iter().map(|(start, label, _)| (*start, *label)));
        rows.push((self.damped_s, "N"));
        let ends = rows.iter().skip(1).map(|r| r.0).chain([self.duration_s()]);
        rows.iter()
            .zip(ends)
            .map(|((start, label), end)| format!("{start:.4}\t{end:.4}\t{label}\n"))
            .collect()
    }

    /// Everything else that is true of it.
    pub(crate) fn truth(&self) -> Value {
        let beat_s = |beat: usize| rounded(LEAD_IN_S + beat as f64 * 60.0 / self.tempo_bpm);
        let n_beats = self.n_bars * self.beats_in_bar;
        let sections: Vec<Value> = self
            .sections
            .iter()
            .map(|(letter, first, n)| {
                json!({
                    "letter": letter,
                    "first_bar": first,
                    "last_bar": first + n - 1,
                    "start_s": beat_s((first - 1) * self.beats_in_bar),
                    "end_s": beat_s((first - 1 + n) * self.beats_in_bar),
                })
            })
            .collect();
        let notes: Vec<Value> = self
            .strikes
            .iter()
            .map(|s| json!([s.on_s, s.off_s, s.midi, s.string]))
            .collect();
        let chords: Vec<Value> = self
            .chords
            .iter()
            .map(|(start, label, shape)| json!([start, label, shape]))
            .collect();
        json!({
            "key": self.key,
            "tempo_bpm": self.tempo_bpm,
            "meter": [self.beats_in_bar, 4],
            "beats_s": (0..n_beats).map(beat_s).collect::<Vec<_>>(),
            "downbeats_s": (0..self.n_bars).map(|b| beat_s(b * self.beats_in_bar)).collect::<Vec<_>>(),
            "sections": sections,
            "chords_start_label_shape": chords,
            "notes_on_off_midi_string": notes,
        })
    }

    /// Writes NAME.wav, truth/NAME.lab and truth/NAME.json under a folder.
    pub(crate) fn write(&self, folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: RATE.0,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        std::fs::create_dir_all(folder.join("truth"))?;
        let mut wav = hound::WavWriter::create(folder.join(format!("{}.wav", self.name)), spec)?;
        for sample in self.samples() {
            wav.write_sample(sample)?;
        }
        wav.finalize()?;
        let truth = folder.join("truth");
        std::fs::write(truth.join(format!("{}.lab", self.name)), self.lab())?;
        let text = serde_json::to_string(&self.truth())? + "\n";
        std::fs::write(truth.join(format!("{}.json", self.name)), text)?;
        Ok(())
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "fixtures".into());
    for take in takes() {
        take.write(Path::new(&folder))?;
    }
    Ok(())
}
