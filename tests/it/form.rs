//! Beats, bars and form of long takes against outside truth: Standard MIDI
//! Files with a tempo map, rendered by FluidSynth, heard by the real program,
//! graded by mir_eval; librosa's beat tracker is the peer.

use crate::outside;
use serde_json::{Value, json};
use std::path::Path;
use takebook::songlog::{Log, form, resolve, store};

/// What each take must reach: beats, downbeats, boundaries at 0.5 s and 3 s, letters.
/// Set under what was measured when the floors were last raised.
const FLOORS: [(&str, f64); 5] = [
    ("beats", 0.98),
    ("downbeats", 0.98),
    ("sections_0.5", 0.95),
    ("sections_3", 0.95),
    ("letters", 0.95),
];

fn hear(wav: &Path) -> (Log, String) {
    let (_keep, folder) = outside::folder();
    let path = folder.join("take.takebook");
    let run = |words: &[&str]| {
        let output = outside::takebook().args(words).output();
        let output = output.expect("takebook runs");
        assert!(output.status.code() != Some(2), "{output:?}");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let log = path.to_string_lossy();
    run(&["draft", &wav.to_string_lossy(), "-o", &log]);
    let shown = run(&["show", &log]);
    (store::load(&path).expect("a log"), shown)
}

fn estimate(log: &Log) -> Value {
    let song = resolve(log);
    let beats = &log.heard.beats;
    let sections: Vec<Value> = song
        .sections
        .iter()
        .map(|s| {
            let bars = form::whole_bars(&song, s);
            let (first, last) = (bars[0], bars[bars.len() - 1]);
            json!([first.start_s, last.end_s, s.letter])
        })
        .collect();
    json!({
        "beats_s": beats.iter().map(|b| b.time_s).collect::<Vec<_>>(),
        "downbeats_s": beats.iter().filter(|b| b.place == 1).map(|b| b.time_s).collect::<Vec<_>>(),
        "tempo_bpm": song.tempo_bpm,
        "sections": sections,
    })
}

/// Whether the changed ending of a section is named with its bars.
fn names_ending(log: &Log, section: usize, first: u64, last: u64) -> bool {
    let song = resolve(log);
    song.sections.get(section).is_some_and(|s| {
        let bars = if first == last {
            format!("bar {first} is")
        } else {
            format!("bars {first} to {last} are")
        };
        s.differs.contains(&bars)
    })
}

#[test]
#[expect(clippy::print_stdout, reason = "the table is wanted with --nocapture")]
fn long_takes_are_counted_and_divided_as_their_midi_files_say() {
    outside::tool("fluidsynth");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("forms");
    std::fs::create_dir_all(&folder).expect("a folder for the takes");
    outside::python("render_forms.py", &[&folder.to_string_lossy()]);
    let mut wrong = Vec::new();
    for name in ["orchard-gate", "mill-waltz", "tide-lamp"] {
        let (log, shown) = hear(&folder.join(format!("{name}.wav")));
        let text = estimate(&log).to_string();
        std::fs::write(folder.join(format!("{name}.est.json")), text).expect("written");
        let truth = std::fs::read_to_string(folder.join(format!("{name}.json")));
        let truth: Value = serde_json::from_str(&truth.expect("a truth")).expect("JSON");
        for ending in truth["endings"].as_array().expect("endings") {
            let number = |i: usize| ending[i].as_u64().expect("a number");
            if !names_ending(&log, number(0) as usize, number(1), number(2)) {
                wrong.push(format!("{name}: ending {ending} is not named in\n{shown}"));
            }
        }
    }
    let graded = outside::python("grade_forms.py", &[&folder.to_string_lossy()]);
    for line in String::from_utf8_lossy(&graded.stdout).lines() {
        println!("{line}");
        let scores: Value = serde_json::from_str(line).expect("JSON");
        if scores["by"] != "takebook" {
            continue;
        }
        wrong.extend(outside::under_floors(&scores, &FLOORS));
        let tempo = scores["tempo"].as_f64().expect("a measure");
        if (tempo - 1.0).abs() > 0.04 {
            wrong.push(format!(
                "{}: tempo {tempo:.2} of the true one",
                scores["take"]
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The demo take: samples at 22,050 Hz; beats lie at 0.6 s and every 60/138 s, four a bar
/// (fixtures/truth/lantern-porch.json).
struct Demo {
    folder: tempfile::TempDir,
    samples: Vec<i16>,
}

const RATE: f64 = 22_050.0;
const FIRST_S: f64 = 0.6;
const BEAT_S: f64 = 60.0 / 138.0;

impl Demo {
    fn new() -> Self {
        let path = outside::root().join("fixtures/lantern-porch.wav");
        let mut reader = hound::WavReader::open(path).expect("the demo take");
        assert_eq!(f64::from(reader.spec().sample_rate), RATE);
        Self {
            folder: tempfile::tempdir().expect("a folder"),
            samples: reader.samples().map(|s| s.expect("a sample")).collect(),
        }
    }

    /// Drafts samples with options; gives exit code, the log if there is one, and stderr.
    fn draft(&self, samples: &[i16], options: &str) -> (i32, Option<Log>, String) {
        let take = self.folder.path().join("take.wav");
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 22_050,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(&take, spec).expect("writable");
        for sample in samples {
            writer.write_sample(*sample).expect("writable");
        }
        writer.finalize().expect("writable");
        let log = self.folder.path().join("take.takebook");
        if log.exists() {
            std::fs::remove_file(&log).expect("removed");
        }
        let mut command = outside::takebook();
        command.arg("draft").arg(&take).arg("-o").arg(&log);
        let output = command.args(options.split_whitespace()).output();
        let output = output.expect("takebook runs");
        let code = output.status.code().expect("it was not killed");
        let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
        (
            code,
            log.exists().then(|| store::load(&log).expect("a log")),
            stderr,
        )
    }

    fn heard(&self, samples: &[i16], options: &str) -> Log {
        let (code, log, stderr) = self.draft(samples, options);
        assert!(code != 2, "{options}: {stderr}");
        log.expect("a log")
    }
}

fn n_samples(seconds: f64) -> usize {
    (seconds * RATE) as usize
}

/// Near enough for a beat, s (Davies et al. 2009, as in mir_eval's F).
const NEAR_S: f64 = 0.07;

fn starts(log: &Log, number: u32, at_s: f64) {
    let bars = &log.heard.bars;
    let bar = bars.iter().find(|b| b.number == number);
    let bar = bar.unwrap_or_else(|| panic!("no bar {number}: {bars:?}"));
    assert!(
        (bar.start_s - at_s).abs() < NEAR_S,
        "bar {number} at {at_s}: {bars:?}"
    );
}

#[test]
fn the_users_word_on_time_is_taken_as_it_is() {
    let demo = Demo::new();
    // taps a little off, as a hand taps
    let taps: Vec<f64> = (0..76)
        .map(|i| FIRST_S + f64::from(i) * BEAT_S + 0.02 * f64::from(i % 3 - 1))
        .map(|t| (t * 1e4).round() / 1e4)
        .collect();
    let list: Vec<String> = taps.iter().map(f64::to_string).collect();
    let log = demo.heard(
        &demo.samples,
        &format!("--beats {} --first-downbeat 0.6", list.join(",")),
    );
    let beats: Vec<f64> = log.heard.beats.iter().map(|b| b.time_s).collect();
    assert_eq!(beats, taps);
    assert_eq!(log.heard.beats[4].place, 1);

    // bar 3 has two beats: what follows is counted from there
    let log = demo.heard(&demo.samples, "--bar-beats 3=2");
    let n_beats: Vec<u8> = log.heard.bars.iter().map(|b| b.n_beats).collect();
    assert_eq!(n_beats[..3], [4, 4, 2]);
    starts(&log, 4, FIRST_S + 10.0 * BEAT_S);

    let log = demo.heard(
        &demo.samples,
        &format!("--first-downbeat {}", FIRST_S + 2.0 * BEAT_S),
    );
    starts(&log, 1, FIRST_S + 2.0 * BEAT_S);
    assert_eq!(log.heard.bars[0].number, 0);

    for (options, part) in [
        ("--bar-beats 90=2", "there is no bar 90"),
        ("--beats 1,2,3,4 --tempo 138", "leave one of the two out"),
        ("--first-downbeat 400", "the take lasts only"),
        ("--beats 1,2,1.5,4", "does not follow"),
    ] {
        let (code, log, stderr) = demo.draft(&demo.samples, options);
        assert_eq!((code, log.is_some()), (2, false), "{options}");
        assert!(stderr.contains(part), "{options}: {stderr}");
    }
}

#[test]
fn what_is_no_music_is_left_out_of_the_bars_and_said() {
    let demo = Demo::new();
    let said = |log: &Log, part: &str| {
        let warnings = &log.heard.warnings;
        assert!(warnings.iter().any(|w| w.contains(part)), "{warnings:?}");
    };
    // a linear congruential generator (Knuth, TAOCP 2, 3.3.4, from memory) as applause
    let mut state = 7u32;
    let mut noise = |seconds: f64| -> Vec<i16> {
        (0..n_samples(seconds))
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                ((state >> 20) as i16 - 2048) / 2
            })
            .collect()
    };
    let mut before = noise(10.0);
    before.extend(&demo.samples);
    let log = demo.heard(&before, "");
    starts(&log, 1, 10.0 + FIRST_S);
    said(&log, "no guitar from 0:00.0");

    // it starts in the middle of a bar
    let log = demo.heard(&demo.samples[n_samples(FIRST_S + 1.9 * BEAT_S)..], "");
    starts(&log, 1, 2.1 * BEAT_S);
    assert_eq!(log.heard.bars[0].number, 0);

    // six seconds of applause before bar 7
    let cut = n_samples(FIRST_S + 24.0 * BEAT_S - 0.03);
    let mut applause = demo.samples[..cut].to_vec();
    applause.extend(noise(6.0));
    applause.extend(&demo.samples[cut..]);
    let log = demo.heard(&applause, "");
    said(&log, "no guitar from");
    starts(&log, 6, FIRST_S + 20.0 * BEAT_S);

    // five seconds of silence before bar 7
    let mut middle = demo.samples[..cut].to_vec();
    middle.extend(std::iter::repeat_n(0, n_samples(5.0)));
    middle.extend(&demo.samples[cut..]);
    let log = demo.heard(&middle, "");
    said(&log, "its beats are guesses");
    starts(&log, 6, FIRST_S + 20.0 * BEAT_S);
    let again_s = 5.0 + FIRST_S + 24.0 * BEAT_S;
    assert!(
        log.heard
            .bars
            .iter()
            .any(|b| (b.start_s - again_s).abs() < NEAR_S),
        "no bar starts where the music goes on: {:?}",
        log.heard.bars
    );
}

#[test]
fn free_time_is_said_and_leaves_a_log_to_work_on() {
    let demo = Demo::new();
    // one stroke after another, each let ring as long as the player likes; now
    // and then such strokes happen to fit a steady beat
    let (mut n_said, mut log) = (0, None);
    for seed in 1..=8u32 {
        let (mut state, mut free) = (seed * 7_919, Vec::new());
        for i in 0..24 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let length_s = 0.35 + 2.4 * f64::from(state >> 16) / 65_536.0;
            let from = n_samples(FIRST_S + 4.0 * f64::from(i % 6) * BEAT_S);
            let stroke = &demo.samples[from..from + n_samples(0.85 * BEAT_S)];
            free.extend(stroke);
            let rest = n_samples(length_s).saturating_sub(stroke.len());
            free.extend(std::iter::repeat_n(0, rest));
        }
        let heard = demo.heard(&free, "");
        let choices = heard.heard.choices.iter().map(|c| &c.words);
        let doubts: Vec<&String> = heard.heard.warnings.iter().chain(choices).collect();
        let said = |part: &str| doubts.iter().any(|w| w.contains(part));
        n_said += u32::from(said("keep no tempo") || said("no beat found") || said("is unclear"));
        log = Some(heard);
    }
    let log = log.expect("eight were heard");
    // measured: 8, and 22 of 24 such takes
    assert!(n_said >= 7, "said of {n_said} of 8");
    assert!(log.heard.chords.len() > 4, "{:?}", log.heard.chords.len());
}
