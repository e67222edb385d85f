//! Sound files of every kind against other decoders, and files that are none.
//!
//! Files are written at test time by FFmpeg and SoX; what they hold is told by
//! libsndfile and FFmpeg. Formats: RIFF/WAVE, FLAC (RFC 9639), MPEG-1 layer
//! III, Ogg Vorbis, AAC in MP4 (ISO/IEC 14496), ALAC, AIFF, CAF.

use crate::outside::{folder, python, tool};
use std::path::{Path, PathBuf};
use takebook::audio::{self, AudioError};

/// Two tones that differ between the channels and die away, three seconds.
const TONES: &str = "aevalsrc=0.4*sin(2*PI*220*t)*exp(-mod(t\\,0.5)*3)|0.3*sin(2*PI*331*t)*exp(-mod(t\\,0.7)*3):s=44100:d=3";

/// Both sides read the same integers; only the mean of the channels is rounded.
const EXACT: f32 = 1e-6;
/// Two decoders of one lossy stream may differ in their arithmetic (-80 dB).
const LOSSY: f32 = 1e-4;
/// AAC decoders differ in how they fill bands with noise (-40 dB).
const NOISY: f32 = 1e-2;

fn ffmpeg(words: &[&str]) -> Vec<u8> {
    let output = tool("ffmpeg")
        .args(["-v", "error", "-nostdin", "-y"])
        .args(words)
        .output()
        .expect("ffmpeg starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "ffmpeg {words:?}: {stderr}");
    output.stdout
}

fn floats(bytes: &[u8]) -> Vec<f32> {
    bytes
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect()
}

/// The mean of the channels as FFmpeg decodes them.
fn by_ffmpeg(path: &Path, n_channels: usize) -> Vec<f32> {
    let path = path.to_string_lossy();
    floats(&ffmpeg(&["-i", &path, "-f", "f32le", "-"]))
        .chunks_exact(n_channels)
        .map(|f| f.iter().sum::<f32>() / n_channels as f32)
        .collect()
}

/// The mean of the channels as libsndfile decodes them.
fn by_sndfile(path: &Path) -> Vec<f32> {
    floats(&python("reference_audio.py", &[&path.to_string_lossy()]).stdout)
}

fn write(folder: &Path, name: &str, words: &[&str]) -> PathBuf {
    let path = folder.join(name);
    let mut all = vec!["-f", "lavfi", "-i", TONES];
    all.extend(words);
    let text = path.to_string_lossy().into_owned();
    all.push(&text);
    ffmpeg(&all);
    path
}

#[track_caller]
fn same(path: &Path, truth: &[f32], tolerance: f32) {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let ours = audio::decode(path).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(ours.facts.warnings, Vec::<String>::new(), "{name}");
    assert_eq!(ours.samples.len(), truth.len(), "samples in {name}");
    let loudest = truth.iter().fold(0.0f32, |m, x| m.max(x.abs()));
    assert!(loudest > 0.2, "{name}: the reference is silent");
    let worst = ours
        .samples
        .iter()
        .zip(truth)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0f32, f32::max);
    assert!(worst <= tolerance, "{name}: {worst} off");
}

#[test]
fn wav_of_every_kind_is_what_libsndfile_says() {
    let (_keep, dir) = folder();
    for codec in [
        "pcm_u8",
        "pcm_s16le",
        "pcm_s24le",
        "pcm_s32le",
        "pcm_f32le",
        "pcm_f64le",
        "pcm_mulaw",
        "pcm_alaw",
    ] {
        let path = write(&dir, &format!("{codec}.wav"), &["-c:a", codec]);
        same(&path, &by_sndfile(&path), EXACT);
    }
    for rate in ["8000", "11025", "22050", "48000", "96000", "192000"] {
        let path = write(&dir, &format!("{rate}.wav"), &["-ar", rate]);
        same(&path, &by_sndfile(&path), EXACT);
    }
    for channels in ["1", "6", "8"] {
        // FFmpeg writes the extensible header for these and for 24 bits
        let name = format!("{channels}.wav");
        let path = write(&dir, &name, &["-ac", channels, "-c:a", "pcm_s24le"]);
        let truth = by_sndfile(&path);
        let loudest = truth.iter().fold(0.0f32, |m, x| m.max(x.abs()));
        let ours = audio::decode(&path).unwrap_or_else(|e| panic!("{e}"));
        let pairs = ours.samples.iter().zip(&truth);
        assert_eq!(ours.samples.len(), truth.len());
        assert!(loudest > 0.05, "{name}: the reference is silent");
        assert!(
            pairs.into_iter().all(|(a, b)| (a - b).abs() <= EXACT),
            "{name}"
        );
    }
}

#[test]
fn a_wav_of_unknown_length_as_a_pipe_writes_it_is_read_whole() {
    let (_keep, dir) = folder();
    let bytes = ffmpeg(&["-f", "lavfi", "-i", TONES, "-f", "wav", "-"]);
    let path = dir.join("piped.wav");
    std::fs::write(&path, bytes).expect("writable");
    same(&path, &by_ffmpeg(&path, 2), EXACT);
}

#[test]
fn lossless_files_are_what_libsndfile_or_ffmpeg_says() {
    let (_keep, dir) = folder();
    for name in ["a.flac", "a.aiff", "a.caf"] {
        let path = write(&dir, name, &[]);
        same(&path, &by_sndfile(&path), EXACT);
    }
    let path = write(&dir, "a.m4a", &["-c:a", "alac"]);
    same(&path, &by_ffmpeg(&path, 2), EXACT);
    let path = dir.join("sox.wav");
    let status = tool("sox")
        .args(["-n", "-b", "24", "-r", "48000"])
        .arg(&path)
        .args(["synth", "2", "pluck", "A2", "gain", "-3"])
        .status()
        .expect("sox starts");
    assert!(status.success());
    same(&path, &by_sndfile(&path), EXACT);
}

#[test]
fn lossy_files_are_what_ffmpeg_says_in_time_to_the_sample() {
    let (_keep, dir) = folder();
    for (name, tolerance) in [("a.mp3", LOSSY), ("a.ogg", LOSSY), ("a.m4a", NOISY)] {
        let path = write(&dir, name, &[]);
        // FFmpeg keeps the filling of the last AAC frame, which the edit list cuts off
        same(&path, &by_ffmpeg(&path, 2)[..132_300], tolerance);
    }
    let path = dir.join("video.mp4");
    let text = path.to_string_lossy().into_owned();
    ffmpeg(&[
        "-f",
        "lavfi",
        "-i",
        "testsrc=d=3:s=64x64",
        "-f",
        "lavfi",
        "-i",
        TONES,
        "-c:v",
        "mpeg4",
        &text,
    ]);
    same(&path, &by_ffmpeg(&path, 2)[..132_300], NOISY);
}

#[test]
fn opus_of_telephones_and_browsers_is_what_libopus_says() {
    let (_keep, dir) = folder();
    let voice = [
        "-ac",
        "1",
        "-c:a",
        "libopus",
        "-application",
        "voip",
        "-b:a",
        "16k",
    ];
    // one coding for voices, one for music, and both in turns
    let kinds: [(&str, &[&str], usize); 7] = [
        ("voice.opus", &voice, 1),
        (
            "voice.ogg",
            &[&voice[..], &["-frame_duration", "60"]].concat(),
            1,
        ),
        ("music.opus", &["-c:a", "libopus", "-b:a", "96k"], 2),
        (
            "both.opus",
            &["-ac", "1", "-c:a", "libopus", "-b:a", "32k"],
            1,
        ),
        (
            "short.opus",
            &["-ac", "1", "-c:a", "libopus", "-frame_duration", "2.5"],
            1,
        ),
        ("music.mp4", &["-c:a", "libopus", "-b:a", "96k"], 2),
        (
            "browser.webm",
            &["-ac", "1", "-c:a", "libopus", "-b:a", "48k"],
            1,
        ),
    ];
    for (name, words, n_channels) in kinds {
        let path = write(&dir, name, words);
        let text = path.to_string_lossy();
        let truth = floats(&ffmpeg(&[
            "-c:a", "libopus", "-i", &text, "-f", "f32le", "-",
        ]));
        let truth: Vec<f32> = truth
            .chunks_exact(n_channels)
            .map(|f| f.iter().sum::<f32>() / n_channels as f32)
            .collect();
        let ours = audio::decode(&path).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(ours.facts.warnings, Vec::<String>::new(), "{name}");
        assert_eq!(ours.rate.0, 48_000);
        // the padding of the last packet: WebM does not tell it, and of an MP4, whose edit list
        // tells it, ffmpeg plays it all the same
        let longer = ours.samples.len().abs_diff(truth.len());
        let tells = [".opus", ".ogg"].iter().any(|end| name.ends_with(end));
        let most = if tells { 0 } else { 960 };
        assert!(longer <= most, "{name}: {longer} samples more or less");
        let worst = ours.samples.iter().zip(&truth).map(|(a, b)| (a - b).abs());
        let worst = worst.fold(0.0f32, f32::max);
        assert!(worst <= LOSSY, "{name}: {worst} off");
    }
}

#[test]
fn the_stream_for_hearing_is_what_ffmpegs_resampler_says() {
    // two good filters differ near half the rate; the tones lie far below
    const FILTERS: f32 = 0.01;
    let (_keep, dir) = folder();
    for rate in ["44100", "48000", "96000"] {
        let name = format!("{rate}.wav");
        let path = write(&dir, &name, &["-ar", rate, "-ac", "1", "-c:a", "pcm_f32le"]);
        let text = path.to_string_lossy();
        let words = ["-i", &text, "-ar", "22050", "-f", "f32le", "-"];
        let truth = floats(&ffmpeg(&words));
        let mut source = audio::open(&path).unwrap_or_else(|e| panic!("{e}"));
        let mut ours = Vec::new();
        source
            .read_mono_22050(&mut |block| ours.extend_from_slice(block), &|_| {})
            .unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(ours.len(), 66_150, "{name}");
        // the strokes themselves are steps that every filter rounds its own way
        let far_from_stroke = |i: &usize| {
            let t = *i as f64 / 22_050.0;
            [0.5, 0.7].iter().all(|p| t % p > 0.02 && t % p < p - 0.02)
        };
        let worst = (0..truth.len().min(ours.len()))
            .filter(far_from_stroke)
            .map(|i| (ours[i] - truth[i]).abs())
            .fold(0.0f32, f32::max);
        assert!(worst < FILTERS, "{name}: {worst} off");
    }
}

#[test]
fn one_take_is_known_again_in_another_coding_and_another_take_is_not() {
    let (_keep, dir) = folder();
    let print = |path: &Path| {
        let mut source = audio::open(path).unwrap_or_else(|e| panic!("{e}"));
        source
            .read_mono_22050(&mut |_| {}, &|_| {})
            .unwrap_or_else(|e| panic!("{e}"));
        source.facts().fingerprint.clone().expect("read to the end")
    };
    let wav = print(&write(&dir, "a.wav", &[]));
    for name in ["b.mp3", "b.ogg", "b.m4a", "b.flac"] {
        let other = print(&write(&dir, name, &["-ar", "48000"]));
        assert!(wav.is_same_take(&other), "{name}: {wav:?} {other:?}");
    }
    let louder = print(&write(
        &dir,
        "c.wav",
        &["-af", "asetrate=48000,atrim=0:2.75,apad=whole_dur=3"],
    ));
    assert!(!wav.is_same_take(&louder));
}

fn bytes(dir: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, bytes).expect("writable");
    path
}

#[test]
fn what_is_no_sound_is_refused_in_words() {
    let (_keep, dir) = folder();
    let check = |path: &Path, kind: fn(&AudioError) -> bool, part: &str| {
        let error = audio::open(path).expect_err("no sound");
        assert!(kind(&error), "{error:?}");
        let text = error.to_string();
        assert!(text.contains(part), "{text}");
        assert!(text.contains(&*path.to_string_lossy()), "{text}");
    };
    let noise: Vec<u8> = (0..5000u32).map(|i| ((i * i * 7) >> 5) as u8).collect();
    let not_audio: fn(&AudioError) -> bool = |e| matches!(e, AudioError::NotAudio { .. });
    let nothing: fn(&AudioError) -> bool = |e| matches!(e, AudioError::Nothing { .. });
    let unsupported: fn(&AudioError) -> bool = |e| matches!(e, AudioError::Unsupported { .. });
    check(
        &dir.join("none.wav"),
        |e| matches!(e, AudioError::Open { .. }),
        "cannot read",
    );
    check(
        &dir,
        |e| matches!(e, AudioError::Folder { .. }),
        "is a folder",
    );
    check(
        &bytes(&dir, "a.wav", b""),
        |e| matches!(e, AudioError::Empty { .. }),
        "is empty",
    );
    check(
        &bytes(&dir, "b.wav", &noise),
        not_audio,
        "is not a sound file",
    );
    check(
        &bytes(&dir, "c.mp3", b"dear diary"),
        not_audio,
        "is not a sound file",
    );
    check(
        &bytes(&dir, "d.mid", b"MThd\0\0\0\x06"),
        unsupported,
        "MIDI notes, not sound",
    );
    let wav = write(&dir, "whole.wav", &[]);
    let whole = std::fs::read(&wav).expect("readable");
    check(&bytes(&dir, "e.wav", &whole[..44]), nothing, "ends");
    let mut no_rate = whole.clone();
    no_rate[24..28].copy_from_slice(&[3, 0, 0, 0]);
    check(
        &bytes(&dir, "f.wav", &no_rate),
        |e| matches!(e, AudioError::Rate { rate_hz: 3, .. }),
        "3 Hz",
    );
    let m4a = std::fs::read(write(&dir, "whole.m4a", &[])).expect("readable");
    check(
        &bytes(&dir, "g.m4a", &m4a[..m4a.len() / 2]),
        nothing,
        "not finished",
    );
    let six: &[&str] = &["-ac", "6", "-c:a", "libopus"];
    for (name, words) in [("h.opus", six), ("h.wma", &[])] {
        check(
            &write(&dir, name, words),
            unsupported,
            "convert it first, for example: ffmpeg -i",
        );
    }
}

#[test]
fn a_file_cut_short_gives_what_there_is_and_says_so() {
    let (_keep, dir) = folder();
    // an Ogg page of FFmpeg's lasts a second and is lost as a whole
    for (name, tenths) in [("a.wav", 4), ("a.flac", 4), ("a.mp3", 4), ("a.ogg", 7)] {
        let whole = std::fs::read(write(&dir, name, &[])).expect("readable");
        let cut = bytes(
            &dir,
            &format!("cut-{name}"),
            &whole[..whole.len() * tenths / 10],
        );
        let take = audio::decode(&cut).unwrap_or_else(|e| panic!("{e}"));
        let seconds = take.facts.duration_s.expect("known once read");
        assert!((0.7..2.2).contains(&seconds), "{name}: {seconds} s");
        assert!(
            take.facts.warnings[0].contains("breaks off"),
            "{name}: {:?}",
            take.facts.warnings
        );
    }
}

/// A mono WAV of 32-bit floats at 8 kHz.
fn float_wav(dir: &Path, name: &str, samples: &[f32]) -> PathBuf {
    let path = dir.join(name);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 8_000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("writable");
    for x in samples {
        writer.write_sample(*x).expect("writable");
    }
    writer.finalize().expect("writable");
    path
}

#[test]
fn odd_sound_is_read_with_a_warning() {
    let (_keep, dir) = folder();
    let tone: Vec<f32> = (0..4_000).map(|i| (0.2 * i as f32).sin()).collect();
    let check = |name: &str, samples: &[f32], part: &str| {
        let path = float_wav(&dir, name, samples);
        let take = audio::decode(&path).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(take.samples.len(), samples.len());
        assert!(take.samples.iter().all(|x| x.is_finite()));
        let all = take.facts.warnings.join("; ");
        assert!(all.contains(part), "{name}: {all}");
    };
    check("silence.wav", &[0.0; 4_000], "the take is silent");
    let loud: Vec<f32> = tone.iter().map(|x| (x * 4.0).clamp(-1.0, 1.0)).collect();
    check("loud.wav", &loud, "are clipped");
    let mut holes = tone.clone();
    holes[7] = f32::NAN;
    holes[9] = f32::INFINITY;
    check("holes.wav", &holes, "2 samples are no numbers");
    let offset: Vec<f32> = tone.iter().map(|x| 0.5 * x + 0.2).collect();
    check("offset.wav", &offset, "a constant offset of 20 %");
    let half_a_second =
        audio::decode(&float_wav(&dir, "short.wav", &tone)).map(|t| t.facts.warnings);
    assert_eq!(half_a_second.ok(), Some(vec![]));
}

#[test]
fn channels_out_of_phase_are_not_lost() {
    let (_keep, dir) = folder();
    let path = write(&dir, "phase.wav", &["-af", "pan=stereo|c0=c0|c1=-0.9*c0"]);
    let take = audio::decode(&path).unwrap_or_else(|e| panic!("{e}"));
    assert!(take.samples.iter().any(|x| x.abs() > 0.3));
    assert!(take.facts.warnings[0].contains("only channel 1 is heard"));
}

#[test]
fn a_small_file_that_is_hours_of_silence_is_refused_in_time() {
    let (_keep, dir) = folder();
    let path = dir.join("night.flac");
    let seconds = (audio::LONGEST_S + 60).to_string();
    ffmpeg(&[
        "-f",
        "lavfi",
        "-i",
        "anullsrc=r=4000:cl=mono",
        "-t",
        &seconds,
        &path.to_string_lossy(),
    ]);
    assert!(std::fs::metadata(&path).expect("written").len() < 16 << 20);
    let mut source = audio::open(&path).unwrap_or_else(|e| panic!("{e}"));
    let error = source
        .read_mono_22050(&mut |_| {}, &|_| {})
        .expect_err("too long");
    assert!(matches!(error, AudioError::TooLong { .. }), "{error}");
    assert!(
        error.to_string().contains("longer than 12 hours"),
        "{error}"
    );
}
