//! Files that are damaged in thousands of ways: every reader refuses in words or
//! reads, and never panics. The seeds are those of the fuzzing in `tests/fuzz`;
//! what is changed comes from a fixed row of random numbers.

use crate::outside::{folder, root};
use std::path::Path;
use takebook::foreign::Kind;
use takebook::songlog;

/// xorshift64* (Marsaglia 2003, Vigna 2016; from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize % n.max(1)
    }
}

/// Files of a folder of seeds, in order of their names.
fn seeds(kind: &str) -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<(String, Vec<u8>)> =
        std::fs::read_dir(root().join("tests/fuzz/seeds").join(kind))
            .expect("seeds")
            .map(|e| {
                let path = e.expect("an entry").path();
                let name = path
                    .file_name()
                    .expect("a name")
                    .to_string_lossy()
                    .into_owned();
                (name, std::fs::read(path).expect("a seed"))
            })
            .collect();
    all.sort();
    assert!(!all.is_empty(), "no seeds of {kind}");
    all
}

/// One to four changes: a byte, a bit, a cut, a doubled, a moved or an extreme piece.
fn damage(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=dice.below(4) {
        let (at, n) = (dice.below(bytes.len()), 1 + dice.below(8));
        let end = (at + n).min(bytes.len());
        match dice.below(7) {
            0 if !bytes.is_empty() => bytes[at] = dice.below(256) as u8,
            1 if !bytes.is_empty() => bytes[at] ^= 1 << dice.below(8),
            2 => bytes.truncate(at),
            3 => drop(bytes.drain(at..end)),
            4 => {
                let piece = bytes[at..end].to_vec();
                let to = dice.below(bytes.len());
                bytes.splice(to..to, piece);
            }
            5 => {
                let piece: &[u8] = [
                    &[0xFF; 4][..],
                    &[0; 4],
                    &[0x7F, 0xFF, 0xFF, 0xFF],
                    b"-1",
                    b"1e999",
                ][dice.below(5)];
                bytes.splice(at..end, piece.iter().copied());
            }
            _ => bytes.insert(at, dice.below(256) as u8),
        }
    }
    bytes
}

#[test]
fn damaged_sound_files_are_refused_in_words_or_heard_as_far_as_they_go() {
    let (_keep, dir) = folder();
    let (mut n_read, mut n_refused) = (0, 0);
    for (name, seed) in seeds("sound") {
        let mut dice = Dice(1 + seed.len() as u64);
        for round in 0..250 {
            let path = dir.join(format!("take-{name}"));
            // damage the head more often than the sound behind it
            let (head, tail) = seed.split_at(if round % 2 == 0 {
                seed.len().min(120)
            } else {
                seed.len()
            });
            let mut bytes = damage(head, &mut dice);
            bytes.extend_from_slice(tail);
            std::fs::write(&path, bytes).expect("writable");
            match takebook::audio::decode(&path) {
                Ok(take) => {
                    n_read += 1;
                    assert!(take.samples.iter().all(|x| x.is_finite()), "{name} {round}");
                    assert!(!take.samples.is_empty());
                }
                Err(error) => {
                    n_refused += 1;
                    let said = error.to_string();
                    assert!(
                        said.contains(&name) && said.len() < 400,
                        "{name} {round}: {said}"
                    );
                }
            }
        }
    }
    assert!(
        n_read > 200 && n_refused > 200,
        "{n_read} read, {n_refused} refused"
    );
}

/// Found by fuzzing: sums of huge samples gave what is no number.
#[test]
fn samples_far_beyond_full_scale_are_heard_as_silence() {
    let (_keep, dir) = folder();
    let path = dir.join("loud.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("writable");
    for i in 0..44_100u32 {
        let x = if i % 100 == 7 { f32::MAX } else { 0.3 };
        writer.write_sample(x).expect("writable");
        writer.write_sample(x).expect("writable");
    }
    writer.finalize().expect("writable");
    let take = takebook::audio::decode(&path).unwrap_or_else(|e| panic!("{e}"));
    assert!(take.samples.iter().all(|x| x.abs() < 1.0));
    assert_eq!(take.facts.n_not_finite, 882);
    let warnings = take.facts.warnings.join("\n");
    assert!(warnings.contains("far beyond full scale"), "{warnings}");
}

#[test]
fn damaged_logs_are_refused_with_their_place_or_make_a_song() {
    let path = Path::new("damaged.takebook");
    let (mut n_read, mut n_refused) = (0, 0);
    for (name, seed) in seeds("log") {
        let mut dice = Dice(7);
        for round in 0..3_000 {
            let text = String::from_utf8_lossy(&damage(&seed, &mut dice)).into_owned();
            match songlog::read(path, &text) {
                Ok(log) => {
                    n_read += 1;
                    let song = songlog::resolve(&log);
                    takebook::checking::read_chart(&song);
                    let written = songlog::write(&log);
                    let again = songlog::read(path, &written)
                        .unwrap_or_else(|e| panic!("{name} {round}: {e}"));
                    assert_eq!(songlog::write(&again), written, "{name} {round}");
                }
                Err(error) => {
                    n_refused += 1;
                    assert!(
                        error.to_string().contains("damaged.takebook"),
                        "{name} {round}"
                    );
                }
            }
        }
    }
    assert!(
        n_read > 40 && n_refused > 1_000,
        "{n_read} read, {n_refused} refused"
    );
}

#[test]
fn damaged_words_and_labels_are_refused_or_said_again() {
    let mut n_read = 0;
    for (name, seed) in seeds("words") {
        let mut dice = Dice(11);
        for round in 0..2_000 {
            let text = String::from_utf8_lossy(&damage(&seed, &mut dice)).into_owned();
            if let Ok(label) = text.parse::<takebook::theory::Label>() {
                n_read += 1;
                let again: Result<takebook::theory::Label, _> = label.label().parse();
                assert_eq!(
                    again.map(|l| l.label()).ok(),
                    Some(label.label()),
                    "{name} {round} '{text}'"
                );
            }
            if let Ok(shape) = text.parse::<takebook::fretboard::Shape>() {
                n_read += 1;
                assert_eq!(
                    shape.text().parse().ok(),
                    Some(shape),
                    "{name} {round} '{text}'"
                );
            }
            let _ = text.parse::<takebook::fretboard::Tuning>();
            let _ = text.parse::<takebook::theory::Key>();
            let _ = songlog::read_meter(&text);
        }
    }
    assert!(n_read > 1_000, "only {n_read} were read");
    let (mut n_tried, mut n_read) = (0, 0);
    for (name, seed) in seeds("labels") {
        let mut dice = Dice(13);
        for round in 0..2_000 {
            let text = String::from_utf8_lossy(&damage(&seed, &mut dice)).into_owned();
            n_tried += 1;
            if let Ok(timeline) = takebook::grading::parse_lab(&text) {
                n_read += 1;
                let spans = timeline.spans();
                assert!(spans.iter().all(|s| s.start_s < s.end_s), "{name} {round}");
                assert!(
                    spans.is_sorted_by(|a, b| a.end_s <= b.start_s),
                    "{name} {round}"
                );
            }
        }
    }
    assert!(
        n_read > n_tried / 20 && n_read < n_tried,
        "{n_read} of {n_tried} were read"
    );
}

#[test]
fn damaged_files_of_other_programs_are_refused_in_words_or_make_a_log() {
    let path = Path::new("damaged.takebook");
    let (mut n_written, mut n_senseless, mut n_refused) = (0, 0, 0);
    let kinds = [
        ("jams", Kind::Jams),
        ("labels", Kind::Lab),
        ("midi", Kind::Midi),
        ("typed", Kind::Typed),
        ("xml", Kind::MusicXml),
    ];
    let files = kinds.map(|(folder, kind)| seeds(folder).into_iter().map(move |f| (kind, f)));
    for (kind, (name, seed)) in files.into_iter().flatten() {
        let mut dice = Dice(17);
        for round in 0..1_200 {
            let bytes = damage(&seed, &mut dice);
            let taken = match takebook::foreign::read(kind, &bytes, &Default::default()) {
                Ok(taken) => taken,
                Err(error) => {
                    n_refused += 1;
                    let said = error.to_string();
                    assert!(
                        !said.is_empty() && said.len() < 400,
                        "{name} {round}: {said}"
                    );
                    continue;
                }
            };
            let record = kind.record(name.clone(), bytes.len() as u64);
            let log = taken.into_log(record, "2031-05-02T18:30:00Z".into(), Vec::new());
            // `draft` refuses what makes no sense and says where; seldom, for the readers see most
            if songlog::validate::sense(&log).is_err() {
                n_senseless += 1;
                continue;
            }
            n_written += 1;
            let written = songlog::write(&log);
            let again =
                songlog::read(path, &written).unwrap_or_else(|e| panic!("{name} {round}: {e}"));
            assert_eq!(songlog::write(&again), written, "{name} {round}");
        }
    }
    assert!(
        n_written > 900 && n_refused > 1_000 && n_senseless < n_written / 20,
        "{n_written} written, {n_senseless} made no sense, {n_refused} refused"
    );
}

#[cfg(feature = "desk")]
#[test]
fn damaged_requests_of_the_page_are_refused_in_a_sentence_and_leave_a_log() {
    use takebook::desk::{Answer, Desk};
    let (_keep, dir) = folder();
    let log = dir.join("damaged.takebook");
    let whole = std::fs::read(root().join("tests/fuzz/seeds/log/decided.json")).expect("a seed");
    std::fs::write(&log, &whole).expect("writable");
    let desk = Desk::open(log.clone(), Some(0), Box::new(|_| {})).expect("a desk");
    let desk = desk.answering().expect("its page");
    let (mut n_done, mut n_refused) = (0, 0);
    for (name, seed) in seeds("desk") {
        let mut dice = Dice(19);
        for round in 0..100 {
            // as it is at first
            let bytes = match round {
                0 => seed.clone(),
                _ => damage(&seed, &mut dice),
            };
            let end = bytes.iter().position(|b| *b == b'\n').unwrap_or(0);
            let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
            let (method, target) = head.split_once(' ').unwrap_or(("", ""));
            let body = bytes[end..].to_vec();
            let Some(Answer { status, body }) = desk.answer(method, target, body) else {
                continue;
            };
            let said = String::from_utf8_lossy(&body);
            assert_ne!(status, 500, "{name} {round} '{head}': {said}");
            if status < 400 {
                n_done += 1;
            } else if target.starts_with("/api/") && method != "HEAD" {
                n_refused += 1;
                let said: serde_json::Value = serde_json::from_slice(&body)
                    .unwrap_or_else(|e| panic!("{name} {round} '{head}': {e}: {said}"));
                assert!(
                    said["error"].as_str().is_some_and(|e| e.len() > 5),
                    "{said}"
                );
            }
            if method == "POST" && status == 200 {
                let text = std::fs::read_to_string(&log).expect("the log");
                songlog::read(&log, &text).unwrap_or_else(|e| panic!("{name} {round}: {e}"));
                std::fs::write(&log, &whole).expect("writable");
            }
        }
    }
    assert!(
        n_done > 15 && n_refused > 500,
        "{n_done} done, {n_refused} refused"
    );
}
