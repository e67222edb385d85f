//! Forty invented songs as pictures: web pages in a browser at five sizes, scores in two engravers,
//! PNG beside PDF. What is held is where things stand, and a failure prints the place.
//!
//! Outside judges: headless Chromium and axe-core; verovio; a second engraver of MusicXML
//! (opensheetmusicdisplay); music21 plays jumps out; poppler draws the PDF.

use crate::invented::{AT, song, typed};
use crate::outside::{folder, python, root, takebook, tool};
use std::path::{Path, PathBuf};
use takebook::chart::{Format, Options, Page, write};
use takebook::foreign::{Kind, read};
use takebook::songlog::resolve;
use takebook::songlog::resolve::Settings;
use takebook::songlog::song::Song;

fn put(dir: &Path, name: &str, song: &Song, format: Format, options: &Options) -> PathBuf {
    let file = dir.join(name);
    let bytes = write(song, format, options).unwrap_or_else(|e| panic!("{name}: {e}"));
    std::fs::write(&file, bytes).expect("written");
    file
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a text path")
}

/// Runs a script of `tests/outside` with node; what it prints.
#[track_caller]
fn node(script: &str, dir: &Path) -> String {
    let output = tool("node")
        .arg(root().join("tests/outside").join(script))
        .arg(dir)
        .args(std::env::var_os("PICTURES"))
        .output()
        .expect("node starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{script}: {stderr}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Reference: where Chromium puts every text on a phone, a tablet, a laptop and paper.
#[test]
fn forty_charts_fit_phone_tablet_laptop_and_paper() {
    let (_keep, dir) = folder();
    for number in 0..40 {
        let song = song(&typed(number));
        let mut options = Options::default();
        match number % 4 {
            1 => options.large = true,
            2 => options.compact = true,
            3 => options.degrees_under = true,
            _ => {}
        }
        let small = number.is_multiple_of(3);
        if small {
            options.page = Page::A5;
        }
        let name = format!("{number:02}{}.html", if small { "-a5" } else { "" });
        put(&dir, &name, &song, Format::Html, &options);
    }
    assert_eq!(node("chart_pages.mjs", &dir).trim(), "40 pages");
}

/// Reference: where verovio draws heads, symbols, rests, section marks and lines.
#[test]
fn forty_scores_are_drawn_by_an_engraver_as_a_person_expects() {
    let (_keep, dir) = folder();
    let files: Vec<PathBuf> = (0..40)
        .map(|number| {
            let name = format!("{number:02}.musicxml");
            let options = Options::default();
            put(
                &dir,
                &name,
                &song(&typed(number)),
                Format::MusicXml,
                &options,
            )
        })
        .collect();
    for file in &files {
        let output = python("chart_verovio.py", &[text(file)]);
        let said = String::from_utf8_lossy(&output.stdout);
        assert!(said.contains("symbols"), "{}: {said}", file.display());
    }
}

/// Reference: the picture that a second engraver makes.
#[test]
fn a_second_engraver_draws_scores_as_a_person_expects() {
    let (_keep, dir) = folder();
    for number in 0..20 {
        let song = song(&typed(number));
        put(
            &dir,
            &format!("{number:02}.musicxml"),
            &song,
            Format::MusicXml,
            &Options::default(),
        );
    }
    let said = node("chart_engraved.mjs", &dir);
    assert_eq!(said.lines().count(), 20, "{said}");
}

/// Reference: music21 takes repeats, endings, D.C., D.S., coda and fine as they are written.
/// It plays a first ending twice where a file has a jump too, so that the last song is left to
/// this project's own reader, which reads all of them.
#[test]
fn jumps_are_played_in_the_order_of_the_song() {
    let (_keep, dir) = folder();
    let verse = "| G | C | D | Em |\n";
    let chorus = "| C | D7 | G | B7 |\n";
    let songs = [
        (
            format!(
                "Verse 1\n{verse}Chorus\n{chorus}Verse 2\n{verse}Chorus\n{chorus}Out\n| F | G |\n"
            ),
            "<repeat direction=\"backward\" times=\"2\"/>",
        ),
        (
            format!(
                "Verse\n{verse}Chorus\n{chorus}Bridge\n| Am | Bm |\nVerse\nChorus\nOut\n| F | G |\n"
            ),
            ">D.C. al Coda<",
        ),
        (
            format!(
                "Intro\n| Bb | F |\nVerse\n{verse}Chorus\n{chorus}Bridge\n| Am | Bm |\nVerse\nChorus\n"
            ),
            ">D.S. al Fine<",
        ),
        (
            format!(
                "- | D7 |\nVerse\n{verse}Chorus\n{chorus}Bridge\n| Am | Bm |\nVerse\nChorus\nOut\n| F | G |\n"
            ),
            ">D.S. al Coda<",
        ),
        (
            format!("Verse\n{verse}Chorus\n{chorus}Verse\nBridge\n| Am | Bm |\nVerse\nChorus\n"),
            ">D.C. al Fine<",
        ),
        (
            format!(
                "Intro\n| Bb | F |\nVerse x2\n|: G | C | 1. D | D7 :| 2. D | G |\nChorus\n{chorus}Bridge\n| Am | Bm |\nVerse\n| G | C | D | G |\nChorus\nOut\n| F | G |\n"
            ),
            ">D.S. al Coda<",
        ),
    ];
    for (i, (typed, words)) in songs.iter().enumerate() {
        let song = song(typed);
        let plain = Options::default();
        let out = Options {
            written_out: true,
            ..Options::default()
        };
        let folded = put(
            &dir,
            &format!("{i}.musicxml"),
            &song,
            Format::MusicXml,
            &plain,
        );
        let score = std::fs::read_to_string(&folded).expect("readable");
        assert!(score.contains(words), "no {words} for\n{typed}");
        let long = put(
            &dir,
            &format!("{i}-out.musicxml"),
            &song,
            Format::MusicXml,
            &out,
        );
        let played = |file: &Path| {
            let output = python("chart_jumps.py", &[text(file)]);
            String::from_utf8_lossy(&output.stdout).into_owned()
        };
        let whole = played(&long);
        if !typed.contains("1. ") {
            assert_eq!(played(&folded), whole, "{typed}");
        }
        let again = read(Kind::MusicXml, score.as_bytes(), &Settings::default()).expect("read");
        let take = Kind::MusicXml.record("x".into(), 1);
        let again = resolve(&again.into_log(take, AT.into(), Vec::new()));
        let labels = |s: &Song| s.spans.iter().map(|s| s.label.clone()).collect::<Vec<_>>();
        assert_eq!(labels(&again), labels(&song), "{typed}");
        let n_bars = song.bars.len();
        assert_eq!(whole.lines().count(), n_bars, "{whole}");
        // what plays the song in time is the same, folded on paper or not
        let midi = |o: &Options| write(&song, Format::Midi, o).expect("MIDI");
        assert!(midi(&plain) == midi(&out), "MIDI differs for\n{typed}");
    }
}

/// Reference: the PDF of the same chart as poppler draws it.
#[test]
fn a_picture_shows_what_the_pdf_shows() {
    let (_keep, dir) = folder();
    let long =
        "Verse\n| G | C | D | Em |\n| G/B | C#m7b5 | Ebmaj9 | F#7 |\nChorus\n| Am | D | G | G |\n"
            .repeat(4);
    for (name, typed, dpi) in [
        ("one", typed(4), 200u16),
        ("many", long.replace("Verse\n| G", "Part\n| A"), 96),
    ] {
        let log = dir.join(format!("{name}.takebook"));
        let source = dir.join(format!("{name}.txt"));
        std::fs::write(&source, typed).expect("written");
        let run = |args: &[&str]| {
            let output = takebook().args(args).output().expect("takebook starts");
            let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
            (output.status.code(), stderr)
        };
        run(&["draft", text(&source), "-o", text(&log)]);
        let (png, pdf) = (
            dir.join(format!("{name}.png")),
            dir.join(format!("{name}.pdf")),
        );
        let dpi = dpi.to_string();
        for file in [&png, &pdf] {
            let args = [
                "chart",
                text(&log),
                "-o",
                text(file),
                "--dpi",
                &dpi,
                "--page",
                "a5",
                "--written-out",
            ];
            let (code, stderr) = run(&args);
            assert_eq!(code, Some(0), "{stderr}");
        }
        let said = python("chart_png.py", &[text(&png), text(&pdf), &dpi]).stdout;
        let said = String::from_utf8_lossy(&said).into_owned();
        let n_pages = said.lines().count();
        assert!(n_pages > usize::from(name == "many"), "{said}");
        // one page alone, and one that is not there
        let alone = dir.join(format!("{name}-alone.png"));
        let page = n_pages.to_string();
        let (code, _) = run(&[
            "chart",
            text(&log),
            "-o",
            text(&alone),
            "--only-page",
            &page,
            "--page",
            "a5",
            "--written-out",
        ]);
        assert_eq!(code, Some(0));
        let none = dir.join("none.png");
        let (code, stderr) = run(&["chart", text(&log), "-o", text(&none), "--only-page", "99"]);
        assert_eq!(code, Some(2));
        assert!(stderr.contains("no page 99") && !none.exists(), "{stderr}");
    }
}
