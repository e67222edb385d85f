//! Charts held against readers of each format that know nothing of this project.

use crate::outside::{folder, python, root, takebook, tool};
use std::path::{Path, PathBuf};
use std::process::Output;
use takebook::fretboard::Instrument;
use takebook::songlog::decided::{Act, How};
use takebook::songlog::heard::{
    Bar, Candidate, FittedShape, Heard, HeardBeat, HeardChord, HeardSection,
};
use takebook::songlog::{Log, Take};

const AT: &str = "2031-05-02T18:30:00Z";

/// Three bars twice and a bar that lasts two, all decided but one chord.
pub(crate) fn demo_log(dir: &Path) -> PathBuf {
    let spans = [
        (0.0, 2.0, "G", "320003"),
        (2.0, 4.0, "C", "x32010"),
        (4.0, 5.0, "Am7", "x02010"),
        (5.0, 6.0, "D7", "xx0212"),
        (6.0, 8.0, "G", "320003"),
        (8.0, 10.0, "C", "x32010"),
        (10.0, 11.0, "Am7", "x02010"),
        (11.0, 12.0, "D7", "xx0212"),
        (12.0, 16.0, "F#m7b5", "2x221x"),
    ];
    let chord = |(start_s, end_s, name, shape): (f64, f64, &str, &str)| HeardChord {
        start_s,
        end_s,
        candidates: vec![Candidate {
            label: name.parse().expect("a label"),
            probability: 0.75,
            reason: "root and third heard".into(),
        }],
        shapes: vec![FittedShape {
            shape: shape.parse().expect("a shape"),
            fit: 0.9,
        }],
        bass_midi: None,
        chroma: [0.0; 12],
        fragment: false,
    };
    let section = |letter: &str, first_bar, last_bar| HeardSection {
        letter: letter.into(),
        first_bar,
        last_bar,
        differs: String::new(),
    };
    let mut log = Log {
        take: Take {
            file: "lantern.wav".into(),
            kind: "WAV".into(),
            rate_hz: 44_100,
            channels: 1,
            bytes: 1_411_244,
            fingerprint: None,
            tags: Default::default(),
        },
        drafted: AT.into(),
        heard: Heard {
            by_version: "0.1.0".into(),
            settings: vec![],
            duration_s: 16.0,
            tuning_cents: 0.0,
            instrument: Instrument::default(),
            tempo_bpm: Some(120.0),
            meter: Some((4, 4)),
            key: "G".parse().ok(),
            key_changes: Vec::new(),
            beats: (0..32)
                .map(|i| HeardBeat {
                    time_s: 0.5 * f64::from(i),
                    place: (i % 4 + 1) as u8,
                })
                .collect(),
            bars: (0..8)
                .map(|i| Bar {
                    number: i + 1,
                    start_s: 2.0 * f64::from(i),
                    end_s: 2.0 * f64::from(i + 1),
                    n_beats: 4,
                })
                .collect(),
            sections: vec![section("A", 1, 3), section("A", 4, 6), section("B", 7, 8)],
            chords: spans.map(chord).to_vec(),
            detail: vec![],
            choices: vec![],
            strums: vec![],
            notes: vec![],
            warnings: vec![],
        },
        decided: vec![],
    };
    let mut acts = vec![
        Act::Title {
            text: "Lantern Walk".into(),
        },
        Act::SectionName {
            start_s: 0.0,
            end_s: 12.0,
            name: "Verse".into(),
        },
        Act::Note {
            start_s: Some(2.0),
            end_s: Some(4.0),
            text: "let it ring".into(),
        },
    ];
    // the second Am7 stays open
    for (start_s, end_s, name, shape) in spans.into_iter().filter(|s| s.0 != 10.0) {
        acts.push(Act::Chord {
            start_s,
            end_s,
            label: name.parse().expect("a label"),
            how: How::Proposed,
        });
        acts.push(Act::Shape {
            start_s,
            end_s,
            shape: shape.parse().expect("a shape"),
            or_shape: None,
        });
    }
    log.decide(AT.into(), acts);
    let path = dir.join("demo.takebook");
    std::fs::write(&path, takebook::songlog::write(&log)).expect("written");
    path
}

fn run(log: &Path, args: &[&str]) -> Output {
    takebook()
        .arg("chart")
        .arg(log)
        .args(args)
        .output()
        .expect("takebook starts")
}

/// Writes the demo in a format; gives the file.
#[track_caller]
fn written(dir: &Path, name: &str, args: &[&str]) -> PathBuf {
    let log = demo_log(dir);
    let file = dir.join(name);
    let path = file.to_str().expect("a text path");
    let output = run(&log, &[&["-o", path], args].concat());
    let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(
        output.status.code(),
        Some(0),
        "one chord is unconfirmed: {stderr}"
    );
    assert!(stderr.contains("not confirmed yet"), "{stderr}");
    file
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[track_caller]
fn node(args: &[&str]) -> Output {
    let modules = root().join(".venv/node/node_modules");
    assert!(
        modules.exists(),
        "no .venv/node/node_modules: run tests/setup"
    );
    tool("node")
        .args(args)
        .env("NODE_PATH", modules)
        .current_dir(root())
        .output()
        .expect("node starts")
}

/// Reference: mir_eval's label reader and chord grammar.
#[test]
fn labels_are_read_by_mir_eval() {
    let (_keep, dir) = folder();
    let lab = written(&dir, "demo.lab", &[]);
    let output = python("chart_lab.py", &[lab.to_str().expect("text")]);
    assert_eq!(said(&output).trim(), "9 spans, 0.000000 to 16.000000");
}

/// Reference: the jsonschema library, JSON Schema 2020-12.
#[test]
fn json_fits_its_schema() {
    let (_keep, dir) = folder();
    let json = written(&dir, "demo.json", &[]);
    let schema = root().join("docs/song.schema.json");
    python(
        "chart_json.py",
        &[json.to_str().expect("text"), schema.to_str().expect("text")],
    );
}

/// Reference: html-validate, an independent conformance checker.
#[test]
fn html_conforms_and_asks_for_nothing() {
    let (_keep, dir) = folder();
    let html = written(&dir, "demo.html", &["--capo", "2", "--left-handed"]);
    let cli = root().join(".venv/node/node_modules/html-validate/bin/html-validate.mjs");
    assert!(cli.exists(), "no html-validate: run tests/setup");
    let output = node(&[cli.to_str().expect("text"), html.to_str().expect("text")]);
    assert!(output.status.success(), "{}", said(&output));
    let text = std::fs::read_to_string(&html).expect("readable");
    for asks in [
        "<script", "http:", "https:", "@import", "url(", "src=", "<link",
    ] {
        assert!(!text.contains(asks), "the page holds '{asks}'");
    }
}

/// Reference: the MusicXML 4.0 schema (in the `musicxml` package) and music21.
#[test]
fn musicxml_fits_the_schema_and_is_read_by_music21() {
    let (_keep, dir) = folder();
    let file = written(&dir, "demo.musicxml", &[]);
    let output = python("chart_musicxml.py", &[file.to_str().expect("text")]);
    assert_eq!(
        said(&output).trim(),
        "G C Am7 D7 F#m7b5\n8 bars played\n6 frames"
    );
}

/// Reference: mido reads the file; times must be those of the labels.
#[test]
fn midi_is_read_by_mido_and_keeps_time() {
    let (_keep, dir) = folder();
    let mid = written(&dir, "demo.mid", &[]);
    let lab = dir.join("demo.lab");
    written(&dir, "demo.lab", &[]);
    python(
        "chart_midi.py",
        &[mid.to_str().expect("text"), lab.to_str().expect("text")],
    );
}

/// Reference: the jams library with its schema.
#[test]
fn jams_validates() {
    let (_keep, dir) = folder();
    let file = written(&dir, "demo.jams", &[]);
    let output = python("chart_jams.py", &[file.to_str().expect("text")]);
    assert_eq!(
        said(&output).trim(),
        "chord 9, beat 32, segment_open 3, key_mode 1"
    );
}

/// Reference: webvtt-parser, written after the standard's grammar.
#[test]
fn captions_are_read_by_a_strict_parser() {
    let (_keep, dir) = folder();
    let file = written(&dir, "demo.vtt", &["--offset", "1.5"]);
    let output = node(&["tests/outside/chart_vtt.js", file.to_str().expect("text")]);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(said(&output).trim(), "12 cues, first at 1.5");
}

/// Reference: qpdf for the structure, poppler for fonts and text.
#[test]
fn pdf_is_sound_embeds_its_fonts_and_gives_its_text() {
    let (_keep, dir) = folder();
    for page in ["a4", "letter"] {
        let file = written(&dir, &format!("{page}.pdf"), &["--page", page]);
        let check = tool("qpdf")
            .arg("--check")
            .arg(&file)
            .output()
            .expect("runs");
        assert!(
            check.status.success(),
            "{}{}",
            said(&check),
            String::from_utf8_lossy(&check.stderr)
        );
        let fonts = said(&tool("pdffonts").arg(&file).output().expect("runs"));
        let rows: Vec<&str> = fonts.lines().skip(2).collect();
        assert!(!rows.is_empty(), "{fonts}");
        for row in rows {
            // columns: … emb sub uni object ID
            let words: Vec<&str> = row.split_whitespace().collect();
            assert_eq!(
                words[words.len() - 5..words.len() - 2],
                ["yes", "yes", "yes"],
                "{row}"
            );
        }
        let text = said(
            &tool("pdftotext")
                .arg("-layout")
                .arg(&file)
                .arg("-")
                .output()
                .expect("runs"),
        );
        for part in ["Lantern Walk", "Verse", "Am7", "x02010", "permission"] {
            let squeezed: String = text.split_whitespace().collect();
            assert!(
                squeezed.contains(&part.replace(' ', "")),
                "no '{part}' in {text}"
            );
        }
        let info = said(&tool("pdfinfo").arg(&file).output().expect("runs"));
        assert!(info.contains("Tagged:          yes"), "{info}");
        let size = if page == "a4" {
            "595.276 x 841.89"
        } else {
            "612 x 792"
        };
        assert!(info.contains(size), "{info}");
    }
}

/// Reference: libxml2.
#[test]
fn svg_is_well_formed() {
    let (_keep, dir) = folder();
    let file = written(&dir, "demo.svg", &[]);
    let check = tool("xmllint")
        .arg("--noout")
        .arg(&file)
        .output()
        .expect("runs");
    assert!(
        check.status.success(),
        "{}",
        String::from_utf8_lossy(&check.stderr)
    );
}

#[test]
fn an_existing_file_is_kept_unless_forced() {
    let (_keep, dir) = folder();
    let log = demo_log(&dir);
    let file = dir.join("mine.txt");
    std::fs::write(&file, "mine").expect("written");
    let path = file.to_str().expect("text");
    let output = run(&log, &["-o", path]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--overwrite"));
    assert_eq!(std::fs::read_to_string(&file).expect("readable"), "mine");
    assert_eq!(
        run(&log, &["-o", path, "--overwrite"]).status.code(),
        Some(0)
    );
    assert!(
        std::fs::read_to_string(&file)
            .expect("readable")
            .contains("Lantern Walk")
    );
}

#[test]
fn what_cannot_be_written_is_said_with_the_way_out() {
    let (_keep, dir) = folder();
    let log = demo_log(&dir);
    for (args, says) in [
        (vec!["-o", "x.docx"], "'docx' is not a format"),
        (vec!["-o", "x"], "no ending"),
        (vec!["-o", "x.pdf", "--key", "Am"], "same mode"),
        (vec!["-o", "x.pdf", "--key", "H"], "not a key"),
        (vec!["-o", "x.pdf", "--capo", "14"], "0 to 12"),
        (vec!["-o", "no/such/folder/x.pdf"], "no/such/folder/x.pdf"),
    ] {
        let output = run(&log, &args);
        let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{stderr}");
        assert!(stderr.contains(says), "no '{says}' in {stderr}");
    }
    let missing = run(&dir.join("none.takebook"), &["-o", "x.pdf"]);
    assert_eq!(missing.status.code(), Some(2));
}

#[test]
fn standard_output_takes_a_named_format() {
    let (_keep, dir) = folder();
    let output = run(&demo_log(&dir), &["-o", "-", "--format", "lab"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(
        said(&output).starts_with("0.000000\t2.000000\tG:maj\n"),
        "{}",
        said(&output)
    );
}

/// References: Python's zipfile, music21.
#[test]
fn words_are_printed_and_leave_in_compressed_musicxml() {
    let (_keep, dir) = folder();
    let log = demo_log(&dir);
    let path = |name: &str| dir.join(name).to_str().expect("text").to_owned();
    std::fs::write(dir.join("words.txt"), "Lay the\nlantern\n\ndown\n").expect("written");
    let confirm = |args: &[&str]| {
        let output = takebook()
            .current_dir(&dir)
            .args(["confirm", "demo.takebook"])
            .args(args)
            .output();
        output.expect("takebook starts")
    };
    for args in [
        &["1", "--lyric", "words.txt"][..],
        &["7", "--lyric", "home | at last"],
        &["--credit", "words and music: nobody"],
    ] {
        let output = confirm(args);
        assert!(output.status.success(), "{output:?}");
    }
    let refused = confirm(&["8", "--lyric", "one | two | three"]);
    let stderr = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(2), "{stderr}");
    assert!(stderr.contains("3 parts of words, but only 1"), "{stderr}");
    let (mxl, xml) = (path("demo.mxl"), path("demo.musicxml"));
    for file in [&mxl, &xml, &path("demo.pdf")] {
        assert_eq!(run(&log, &["-o", file]).status.code(), Some(0));
    }
    // the verse is folded: bars 1 and 4 are one, with a line for each time
    let read = said(&python("chart_mxl.py", &[&mxl, &xml]));
    assert_eq!(
        read.trim(),
        "5 measures, words and music: nobody, Lay the\ndown | lantern | home | at last"
    );
    let pdf = tool("pdftotext").args([&path("demo.pdf"), "-"]).output();
    let text = said(&pdf.expect("pdftotext runs"));
    for part in [
        "Lay the",
        "down",
        "lantern",
        "at last",
        "words and music: nobody",
    ] {
        assert!(text.contains(part), "no '{part}' in {text}");
    }
    // another key keeps them
    let moved = run(&log, &["-o", "-", "--format", "txt", "--key", "A"]);
    assert!(
        said(&moved).contains("Words: Lay the | lantern"),
        "{}",
        said(&moved)
    );
}

/// Reference: mido.
#[test]
fn midi_strums_what_was_strummed_and_keeps_one_tempo_if_asked() {
    let (_keep, dir) = folder();
    let log = dir.join("lantern.takebook");
    let path = |name: &str| dir.join(name).to_str().expect("text").to_owned();
    let take = root().join("fixtures/lantern-porch.wav");
    let drafted = takebook()
        .arg("draft")
        .arg(take)
        .arg("-o")
        .arg(&log)
        .output();
    assert!(drafted.expect("takebook starts").status.success());
    for (name, args, tempi) in [("a.mid", &[][..], false), ("b.mid", &["--steady"], true)] {
        let output = run(&log, &[&["-o", &path(name)][..], args].concat());
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let read = said(&python("chart_steady.py", &[&path(name)]));
        let (n_tempi, rest) = read.split_once(" tempi; ").expect("tempi");
        assert_eq!(n_tempi == "1", tempi, "{read}");
        let starts: usize = rest
            .split(' ')
            .next()
            .and_then(|n| n.parse().ok())
            .expect("a number");
        // 20 chords, strummed on six eighths of a bar and more
        assert!(starts > 80, "{read}");
    }
}

#[test]
fn detail_is_charted_only_where_it_is_asked_for() {
    let (_keep, dir) = folder();
    let mut log = crate::log_sample::log();
    // over the first bar's G its top note moves
    log.heard.detail = log.heard.chords.clone();
    let mut moved = log.heard.detail[0].clone();
    moved.candidates[0].label = "Gsus4".parse().expect("a chord");
    moved.start_s = 1.0;
    log.heard.detail[0].end_s = 1.0;
    log.heard.detail.insert(1, moved);
    let path = dir.join("evening.takebook");
    std::fs::write(&path, takebook::songlog::write(&log)).expect("written");
    let printed = |more: &[&str]| {
        let mut args = vec!["-o", "-", "--format", "txt"];
        args.extend(more);
        String::from_utf8(run(&path, &args).stdout).expect("text")
    };
    assert!(!printed(&[]).contains("Gsus4"), "{}", printed(&[]));
    let detail = printed(&["--detail"]);
    let first = detail
        .lines()
        .find(|l| l.contains('|'))
        .expect("a line of bars");
    assert!(first.contains("G?") && first.contains("Gsus4?"), "{detail}");
}

#[test]
fn every_format_and_import_stands_in_help_and_documents() {
    let document = |name: &str| std::fs::read_to_string(root().join(name)).expect("a document");
    let help = takebook().args(["chart", "--help"]).output().expect("help");
    let texts = [
        (
            "chart --help",
            String::from_utf8(help.stdout).expect("text"),
        ),
        ("docs/chart.md", document("docs/chart.md")),
        ("README.md", document("README.md")),
    ];
    let words = |text: &str| -> Vec<String> {
        let is_word = |c: char| c.is_alphanumeric() || c == '.';
        text.split(|c| !is_word(c)).map(str::to_owned).collect()
    };
    for (ending, _) in takebook::chart::FORMATS {
        for (name, text) in &texts {
            let known = words(text).contains(&format!(".{ending}"));
            assert!(known, "{name}: no .{ending}");
        }
    }
    let imports = document("docs/taking-in.md");
    for (ending, _) in takebook::foreign::ENDINGS {
        let cell = format!("`.{ending}`");
        assert!(imports.contains(&cell), "docs/taking-in.md: no {cell}");
    }
}
