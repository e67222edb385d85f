//! What holds of every format: refusals, the same bytes twice, odd titles, times.

use super::*;

#[test]
#[ignore = "writes the demo for a person to look at; give the folder as DEMO_OUT"]
fn demo_files_to_look_at() {
    let dir = std::path::PathBuf::from(std::env::var("DEMO_OUT").expect("DEMO_OUT is set"));
    for (ending, format) in FORMATS {
        let bytes = write(&demo(), format, &Options::default()).unwrap_or_else(|e| panic!("{e}"));
        std::fs::write(dir.join(format!("demo.{ending}")), bytes).expect("written");
        let bytes = write(
            &crowded(),
            format,
            &options(|o| (o.large, o.left_handed, o.capo) = (true, true, Some(2))),
        )
        .unwrap_or_else(|e| panic!("{e}"));
        std::fs::write(dir.join(format!("crowded.{ending}")), bytes).expect("written");
    }
}

#[test]
fn an_empty_song_and_a_missing_key_are_refused_in_every_format() {
    let mut bare = song("x", 4, &[("A", &["G"])]);
    bare.key = None;
    assert_eq!(
        write(&bare, Format::Txt, &options(|o| o.degrees = true)),
        Err(ChartError::NoKey {
            option: "--degrees"
        })
    );
    bare.spans.clear();
    for (_, format) in FORMATS {
        assert_eq!(
            write(&bare, format, &Options::default()),
            Err(ChartError::Empty)
        );
    }
}

#[test]
fn every_format_is_the_same_twice_and_takes_every_option() {
    for (ending, format) in FORMATS {
        for large in [false, true] {
            let options = Options {
                page: Page::Letter,
                key: Some("Bb".parse().expect("a key")),
                capo: Some(3),
                degrees: !large,
                degrees_under: large,
                left_handed: true,
                large,
                compact: false,
                landscape: !large,
                two_sided: true,
                alternatives: true,
                concert: true,
                save_ink: true,
                easy: true,
                tuning: Some("drop-d".parse().expect("a tuning")),
                written_out: true,
                short: false,
                steady: large,
                offset_s: -3.0,
                only_page: None,
                lesson_notes: Some(LessonNotes::All),
                dpi: Some(72),
            };
            let once = write(&demo(), format, &options);
            assert!(
                once.as_ref().is_ok_and(|b| !b.is_empty()),
                "{ending}: {once:?}"
            );
            assert_eq!(once, write(&demo(), format, &options), "{ending}");
        }
    }
}

#[test]
fn options_that_contradict_each_other_are_refused_in_every_format() {
    let base = Options::default;
    for (options, pair) in [
        (
            Options {
                large: true,
                compact: true,
                ..base()
            },
            ("large", "compact"),
        ),
        (
            Options {
                written_out: true,
                short: true,
                ..base()
            },
            ("written_out", "short"),
        ),
        (
            Options {
                degrees: true,
                degrees_under: true,
                ..base()
            },
            ("degrees", "degrees_under"),
        ),
    ] {
        let (one, other) = pair;
        for (_, format) in FORMATS {
            assert_eq!(
                write(&demo(), format, &options),
                Err(ChartError::Exclusive { one, other })
            );
        }
    }
}

#[test]
fn odd_titles_are_text_everywhere() {
    let mut odd = demo();
    odd.title = "<script>alert(1)</script> & \"50%\" \\textbf{x} $y_1$ -->\nnext".into();
    odd.notes = vec!["]]> <b> & --> {{x}}".into()];
    odd.sections[0].name = Some("<i>&".into());
    for format in [Format::Html, Format::Svg, Format::MusicXml] {
        let made = text(&odd, format, &Options::default());
        assert!(!made.contains("<script") && !made.contains("<b>") && !made.contains("<i>&"));
        assert!(made.contains("&lt;script&gt;"));
    }
    let captions = text(&odd, Format::Vtt, &Options::default());
    assert!(captions.lines().all(|l| l.matches("-->").count() <= 1));
    assert!(captions.starts_with("WEBVTT &lt;script&gt;"), "{captions}");
    for (_, format) in FORMATS {
        assert!(write(&odd, format, &Options::default()).is_ok());
    }
}

#[test]
fn captions_move_by_the_offset_and_drop_what_falls_before_the_start() {
    let made = song("x", 4, &[("A", &["G", "C"])]);
    let captions = text(&made, Format::Vtt, &options(|o| o.offset_s = -2.5));
    assert!(
        captions.contains("chord-2\n00:00:00.000 --> 00:00:01.500\nC  x32010\n"),
        "{captions}"
    );
    assert!(!captions.contains("chord-1"));
}
