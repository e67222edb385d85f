//! What is delivered beyond one plain chart: tablature, titles of any kind, binders, the same bytes twice.

use crate::chart::demo_log;
use crate::outside::{folder, python, takebook, tool};
use std::path::{Path, PathBuf};
use std::process::Output;

fn text(path: &Path) -> &str {
    path.to_str().expect("a text path")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[track_caller]
fn ran(args: &[&str], code: i32) -> Output {
    let output = takebook().args(args).output().expect("takebook starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{args:?}: {stderr}");
    output
}

/// A log made of labels, every chord open.
#[track_caller]
fn log_of(dir: &Path, name: &str, title: &str, labels: &str) -> PathBuf {
    let lab = dir.join(format!("{name}.lab"));
    std::fs::write(&lab, labels).expect("written");
    let log = dir.join(format!("{name}.takebook"));
    ran(
        &[
            "draft",
            text(&lab),
            "-o",
            text(&log),
            "--title",
            title,
            "--tempo",
            "120",
        ],
        0,
    );
    log
}

fn pdf_text(pdf: &Path) -> String {
    said(
        &tool("pdftotext")
            .args(["-layout", text(pdf), "-"])
            .output()
            .expect("runs"),
    )
}

#[track_caller]
fn sound_pdf(pdf: &Path) {
    let check = tool("qpdf")
        .args(["--check", text(pdf)])
        .output()
        .expect("runs");
    assert!(
        check.status.success(),
        "{}{}",
        said(&check),
        String::from_utf8_lossy(&check.stderr)
    );
    let fonts = said(&tool("pdffonts").arg(pdf).output().expect("runs"));
    for row in fonts.lines().skip(2) {
        let words: Vec<&str> = row.split_whitespace().collect();
        assert_eq!(words[words.len() - 5..words.len() - 2], ["yes"; 3], "{row}");
    }
}

/// Reference: the MusicXML 4.0 schema, music21 and verovio.
#[test]
fn two_plucked_strings_are_tablature_that_others_read() {
    let (_keep, dir) = folder();
    let log = dir.join("attic.takebook");
    ran(
        &["draft", "fixtures/attic-letters.wav", "-o", text(&log)],
        0,
    );
    let score = dir.join("attic.musicxml");
    ran(&["chart", text(&log), "-o", text(&score)], 0);
    let read = said(&python("chart_tab.py", &[text(&score)]));
    // seven bars; the first begins with the third and root of A
    assert!(read.starts_with("7 measures with notes; C#4 A4"), "{read}");
    let drawn = said(&python("chart_verovio.py", &[text(&score)]));
    assert!(drawn.starts_with("7 measures, 2 systems"), "{drawn}");
    let page = dir.join("attic.pdf");
    ran(&["chart", text(&log), "-o", text(&page)], 0);
    assert!(pdf_text(&page).contains("tablature"));
    let html = dir.join("attic.html");
    ran(
        &[
            "chart",
            text(&log),
            "-o",
            text(&html),
            "--degrees=under",
            "--save-ink",
        ],
        0,
    );
    let page = std::fs::read_to_string(&html).expect("readable");
    assert!(page.contains("tablature of bar 2"));
}

/// Reference: where verovio draws notes, rests, repeats, endings and chord symbols.
#[test]
fn an_engraver_draws_a_score_where_a_person_expects_it() {
    let (_keep, dir) = folder();
    let score = dir.join("demo.musicxml");
    ran(&["chart", text(&demo_log(&dir)), "-o", text(&score)], 0);
    let drawn = said(&python("chart_verovio.py", &[text(&score)]));
    assert!(
        drawn.starts_with("5 measures, 2 systems, 6 symbols"),
        "{drawn}"
    );
    // a silent bar has a rest, a crowded one no symbols on each other, a second ending its bracket
    let labels = "0 2 C:maj\n2 4 N\n4 5 A:min7\n5 6 D:7\n6 8 G:maj\n8 10 C:maj\n10 12 N\n\
                  12 13 A:min7\n13 14 D:7\n14 16 E:min7\n16 16.5 C:maj7\n16.5 17 D:min7\n\
                  17 17.5 E:min7\n17.5 18 F:maj7/3\n";
    let log = log_of(&dir, "rests", "Silent Bars", &labels.replace(' ', "\t"));
    let score = dir.join("rests.musicxml");
    ran(&["chart", text(&log), "-o", text(&score)], 0);
    let drawn = said(&python("chart_verovio.py", &[text(&score)]));
    assert!(!drawn.contains(" 0 rests"), "{drawn}");
}

/// Reference: Chromium's own track element.
#[test]
fn captions_are_read_by_a_browsers_track() {
    let (_keep, dir) = folder();
    let vtt = dir.join("demo.vtt");
    ran(&["chart", text(&demo_log(&dir)), "-o", text(&vtt)], 0);
    let page = dir.join("track.html");
    std::fs::write(&page, python("chart_track.py", &[text(&vtt)]).stdout).expect("written");
    let profile = dir.join("profile");
    let output = tool("chromium")
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--virtual-time-budget=5000",
            "--dump-dom",
        ])
        .arg(format!("--user-data-dir={}", text(&profile)))
        .arg(format!("file://{}", text(&page)))
        .output()
        .expect("runs");
    let dom = said(&output);
    assert!(dom.contains("12 cues, first at 0: "), "{dom}");
}

/// Reference: poppler gives the text back as it was typed.
#[test]
fn titles_of_every_kind_come_out_as_text() {
    let (_keep, dir) = folder();
    for (name, title, found) in [
        (
            "markup",
            "<script>alert(1)</script> & \\textbf{50%} $x_1$",
            "<script>alert(1)</script> & \\textbf{50%} $x_1$",
        ),
        (
            "hebrew",
            "\u{5e9}\u{5d9}\u{5e8} \u{5e2}\u{5e8}\u{5d1}",
            "\u{5e9}\u{5d9}\u{5e8} \u{5e2}\u{5e8}\u{5d1}",
        ),
        (
            "arabic",
            "\u{623}\u{63a}\u{646}\u{64a}\u{629} \u{627}\u{644}\u{645}\u{633}\u{627}\u{621}",
            "\u{623}\u{63a}\u{646}\u{64a}\u{629} \u{627}\u{644}\u{645}\u{633}\u{627}\u{621}",
        ),
        ("none", " ", "Key"),
    ] {
        let log = log_of(&dir, name, title, "0 2 C#m7b5/G\n2 4 A7\n4 6 Dm\n");
        let pdf = dir.join(format!("{name}.pdf"));
        ran(&["chart", text(&log), "-o", text(&pdf)], 0);
        sound_pdf(&pdf);
        let got = pdf_text(&pdf);
        // poppler marks the direction of the text
        let plain: String = got
            .chars()
            .filter(|c| !('\u{202a}'..='\u{202e}').contains(c))
            .collect();
        assert!(plain.contains(found), "no '{found}' in {plain}");
        let squeezed: String = plain.split_whitespace().collect();
        assert!(squeezed.contains("C♯m7♭5/G"), "{plain}");
        for ending in [
            "svg", "html", "txt", "musicxml", "mid", "vtt", "lab", "jams", "json",
        ] {
            let file = dir.join(format!("{name}-out.{ending}"));
            ran(&["chart", text(&log), "-o", text(&file)], 0);
            if matches!(ending, "svg" | "musicxml") {
                let check = tool("xmllint")
                    .args(["--noout", "--nonet", text(&file)])
                    .output();
                assert!(check.expect("runs").status.success(), "{name}.{ending}");
            }
        }
    }
}

#[test]
fn the_same_log_gives_the_same_bytes_in_every_format() {
    let (_keep, dir) = folder();
    let log = demo_log(&dir);
    for ending in [
        "pdf", "svg", "html", "txt", "musicxml", "mid", "vtt", "lab", "jams", "json",
    ] {
        let once = ran(&["chart", text(&log), "-o", "-", "--format", ending], 0).stdout;
        let twice = ran(&["chart", text(&log), "-o", "-", "--format", ending], 0).stdout;
        assert!(!once.is_empty());
        assert!(once == twice, "{ending}");
        if ending == "pdf" {
            assert!(once.len() < 200_000, "{} bytes", once.len());
        }
    }
}

/// Reference: qpdf for the structure, poppler for pages and text.
#[test]
fn a_folder_becomes_a_binder_with_contents_and_page_numbers() {
    let (_keep, dir) = folder();
    let songs = dir.join("lessons");
    std::fs::create_dir(&songs).expect("made");
    let long: String = (0..240)
        .map(|i| format!("{} {} {}\n", 2 * i, 2 * i + 2, ["G", "C", "D"][i % 3]))
        .collect();
    log_of(&songs, "b", "Zither Hill", "0 2 G\n2 4 C\n");
    log_of(&songs, "a", "attic road", &long);
    log_of(&songs, "c", "Middle & Field", "0 2 D\n2 4 A7\n");
    let pdf = dir.join("binder.pdf");
    let output = ran(&["chart", text(&songs), "-o", text(&pdf)], 0);
    assert!(said(&output).contains("3 songs"), "{}", said(&output));
    sound_pdf(&pdf);
    let page = |n: usize| {
        let n = n.to_string();
        let args = ["-layout", "-f", &n, "-l", &n, text(&pdf), "-"];
        said(&tool("pdftotext").args(args).output().expect("runs"))
    };
    let contents = page(1);
    let numbers: Vec<usize> = ["attic road", "Middle & Field", "Zither Hill"]
        .iter()
        .map(|title| {
            let line = contents.lines().find(|l| l.contains(title)).expect(title);
            let number = line.split_whitespace().next_back().expect("a number");
            number.parse().expect("a page number")
        })
        .collect();
    assert_eq!(numbers[0], 2);
    assert!(
        numbers[1] > 3,
        "the long one takes several pages: {numbers:?}"
    );
    assert!(page(numbers[1]).contains("Middle & Field"));
    assert!(page(numbers[2]).contains("Zither Hill"));
    let once = std::fs::read(&pdf).expect("readable");
    ran(&["chart", text(&songs), "-o", text(&pdf), "--overwrite"], 0);
    assert!(
        once == std::fs::read(&pdf).expect("readable"),
        "other bytes"
    );
    // kept unless forced; only a PDF; a damaged log is named and nothing is written
    ran(&["chart", text(&songs), "-o", text(&pdf)], 2);
    ran(&["chart", text(&songs), "-o", text(&dir.join("b.html"))], 2);
    std::fs::write(songs.join("bad.takebook"), "{").expect("written");
    let other = dir.join("other.pdf");
    let output = ran(&["chart", text(&songs), "-o", text(&other)], 2);
    assert!(String::from_utf8_lossy(&output.stderr).contains("bad.takebook"));
    assert!(!other.exists());
    let empty = dir.join("empty");
    std::fs::create_dir(&empty).expect("made");
    let output = ran(&["chart", text(&empty), "-o", text(&other)], 2);
    assert!(String::from_utf8_lossy(&output.stderr).contains("no log"));
}

/// A set list, on pages that are printed on both sides. Reference: poppler for pages and text.
#[test]
fn a_set_list_keeps_its_order_and_opens_without_a_turn() {
    let (_keep, dir) = folder();
    let long: String = (0..240)
        .map(|i| format!("{} {} {}\n", 2 * i, 2 * i + 2, ["G", "C", "D"][i % 3]))
        .collect();
    let last = log_of(&dir, "z", "Zither Hill", "0 2 G\n2 4 C\n");
    let wide = log_of(&dir, "a", "attic road", &long);
    let pdf = dir.join("set.pdf");
    let order = [text(&last), text(&wide), text(&last)];
    let mut args = vec!["chart"];
    args.extend(order);
    args.extend(["-o", text(&pdf), "--title", "Friday, late", "--two-sided"]);
    let output = ran(&args, 0);
    assert!(said(&output).contains("3 songs"), "{}", said(&output));
    sound_pdf(&pdf);
    let whole = pdf_text(&pdf);
    // poppler ends each page with a form feed
    let pages: Vec<&str> = whole.split('\u{c}').collect();
    assert!(pages[0].contains("Friday, late"), "{}", pages[0]);
    let at = |title: &str| pages[0].find(title).expect(title);
    assert!(at("Zither Hill") < at("attic road"), "{}", pages[0]);
    // the contents, the first song, a blank page on the right, the long one from the left on
    assert!(
        pages[1].contains("Zither Hill") && pages[1].contains("2"),
        "{whole}"
    );
    assert_eq!(pages[2].trim(), "", "{whole}");
    assert!(pages[3].contains("attic road"), "{whole}");
    let listed = pages[0]
        .lines()
        .find(|l| l.contains("attic road"))
        .expect("a line");
    assert_eq!(listed.split_whitespace().next_back(), Some("4"));
    // a title and sides belong to a binder, and a binder is a PDF
    let output = ran(
        &[
            "chart",
            text(&last),
            "-o",
            text(&dir.join("x.pdf")),
            "--title",
            "x",
        ],
        2,
    );
    assert!(String::from_utf8_lossy(&output.stderr).contains("confirm"));
    let html = dir.join("x.html");
    ran(&["chart", text(&last), text(&wide), "-o", text(&html)], 2);
    ran(
        &[
            "chart",
            text(&last),
            text(&wide),
            "-o",
            text(&html),
            "--with-sound",
        ],
        2,
    );
    assert!(!html.exists());
}

#[test]
fn a_beginners_chart_lists_every_simplification() {
    let (_keep, dir) = folder();
    let log = log_of(
        &dir,
        "hard",
        "Hard",
        "0 2 B13sus4\n2 4 F#m7b5\n4 6 Am9\n6 8 G\n",
    );
    let output = ran(
        &["chart", text(&log), "-o", "-", "--format", "txt", "--easy"],
        0,
    );
    let page = said(&output);
    for part in [
        "Simplified: B13sus4 is played as B7sus4",
        "Simplified: Am9 is played",
    ] {
        assert!(page.contains(part), "no '{part}' in {page}");
    }
    let output = ran(
        &[
            "chart",
            text(&log),
            "-o",
            "-",
            "--format",
            "txt",
            "--tuning",
            "dadgad",
        ],
        0,
    );
    assert!(said(&output).contains("DADGAD"), "{}", said(&output));
    let output = ran(
        &["chart", text(&log), "-o", "x.pdf", "--tuning", "banana"],
        2,
    );
    assert!(String::from_utf8_lossy(&output.stderr).contains("banana"));
}
