//! Showing, confirming and taking back, as a user does it.

use crate::log_sample::{file, run, stderr, stdout};
use crate::outside::takebook;
use std::path::Path;
use std::process::Stdio;
use takebook::songlog::decided::{Act, How};
use takebook::theory::Label;

/// A folder of its own with the sample log in it; runs `takebook COMMAND LOG WORDS…`.
struct Desk {
    _folder: tempfile::TempDir,
    log: String,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder for the test");
        let log = file(folder.path()).to_string_lossy().into_owned();
        Self {
            _folder: folder,
            log,
        }
    }

    /// Words after the log are divided by blanks; `_` stands for a blank in one word.
    fn run(&self, command: &str, words: &str) -> (i32, String, String) {
        let mut all = vec![command.to_owned(), self.log.clone()];
        all.extend(words.split_whitespace().map(|w| w.replace('_', " ")));
        let all: Vec<&str> = all.iter().map(String::as_str).collect();
        let output = run(&all);
        let code = output.status.code().expect("it was not killed");
        (code, stdout(&output), stderr(&output))
    }

    fn ok(&self, command: &str, words: &str) -> String {
        let (code, out, err) = self.run(command, words);
        assert!(code != 2 && err.is_empty(), "{command} {words}: {err}");
        out
    }

    fn refuses(&self, command: &str, words: &str, part: &str) {
        let before = std::fs::read(&self.log).expect("the log is there");
        let (code, out, err) = self.run(command, words);
        assert_eq!((code, out.as_str()), (2, ""), "{command} {words}: {err}");
        assert!(err.contains(part), "{command} {words}: {err}");
        let after = std::fs::read(&self.log).expect("the log is there");
        assert!(before == after, "a refused command changed the log");
    }

    /// The chords of the song in short, from `show --json`.
    fn chords(&self) -> String {
        let text = self.ok("show", "--json");
        let song: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        let all = song["chords"].as_array().expect("chords").iter();
        all.map(|c| {
            let open = if c["state"] == "open" { "?" } else { "" };
            format!("{}{open}", c["symbol"].as_str().expect("a symbol"))
        })
        .collect::<Vec<_>>()
        .join(" ")
    }
}

const HEARD: &str = "G? D/F♯? Em7? C? D? G? D/F♯? Em7? C? D? Am7? C♯m7♭5? G?";

#[test]
fn show_is_a_chart_of_bars_that_fits_80_columns() {
    let desk = Desk::new();
    desk.ok("confirm", "5 --chord G7");
    let text = desk.ok("show", "");
    assert!(
        text.contains(
            "   1 | G?              | D/F♯?           | Em7??           | C?      D?      |"
        ),
        "{text}"
    );
    assert!(text.contains("   5 | G7              | D/F♯??"), "{text}");
    assert!(
        text.contains("   9 | Am7?            | %               | C♯m7♭5??"),
        "{text}"
    );
    assert!(text.contains("12 of 13 chords unconfirmed"), "{text}");
    assert!(
        text.contains("least certain: 11 C♯m7♭5 31 % (or Em 28 %)"),
        "{text}"
    );
    let text = text + &desk.ok("show", "--bar 3");
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    assert!(text.contains("1 Em7         55 %  root, third"), "{text}");
    assert!(text.contains("in the repeats: bar 7 Em7? 66 %"), "{text}");
    assert!(text.contains("o   o o   o"), "{text}"); // 020030: the open strings
}

#[test]
fn show_ends_with_1_on_unconfirmed_chords_only_if_a_script_asks() {
    let desk = Desk::new();
    assert_eq!(desk.run("show", "").0, 0);
    assert_eq!(desk.run("show", "--require-confirmed").0, 1);
    desk.ok("confirm", "all --accept");
    assert_eq!(desk.run("show", "").0, 0);
    assert_eq!(desk.run("show", "--require-confirmed").0, 0);
}

#[test]
fn places_are_bars_beats_ranges_sections_times_and_all() {
    let check = |words: &str, expected: &str| {
        let desk = Desk::new();
        desk.ok("confirm", words);
        assert_eq!(desk.chords(), expected, "confirm {words}");
    };
    check("1 --take-first", &HEARD.replacen("G?", "G", 1));
    check("4.3 --chord D7", &HEARD.replacen("D?", "D7", 1));
    check("6.5s --chord C7", &HEARD.replacen("C?", "C7", 1));
    check("0:06.5 --chord C7", &HEARD.replacen("C?", "C7", 1));
    check("1-2 --take-first", &HEARD.replacen("G? D/F♯?", "G D/F♯", 1));
    check(
        "B --take-first",
        &HEARD.replace("Am7? C♯m7♭5? G?", "Am7 C♯m7♭5 G"),
    );
    check(
        "A2 3 --take-first",
        "G? D/F♯? Em7 C? D? G D/F♯ Em7 C D Am7? C♯m7♭5? G?",
    );
    check(
        "A --take-first",
        "G D/F♯ Em7 C D G D/F♯ Em7 C D Am7? C♯m7♭5? G?",
    );
    check("all --take-first", &HEARD.replace('?', ""));
    check(
        "all --take-first --at-least 95",
        "G? D/F♯? Em7? C D? G? D/F♯? Em7? C? D? Am7? C♯m7♭5? G",
    );
    check(
        "3 --candidate 2 --repeats",
        "G? D/F♯? Em C? D? G? D/F♯? Em C? D? Am7? C♯m7♭5? G?",
    );
    check(
        "4.3 --chord Dsus4 --repeats",
        "G? D/F♯? Em7? C? Dsus4 G? D/F♯? Em7? C? Dsus4 Am7? C♯m7♭5? G?",
    );
}

#[test]
fn a_bar_of_a_longer_chord_can_have_its_own() {
    let desk = Desk::new();
    let text = desk.ok("confirm", "10 --chord D7/A");
    assert!(
        text.starts_with("bar 10: D7/A (entered by you)\n"),
        "{text}"
    );
    assert!(desk.chords().ends_with("Am7? D7/A C♯m7♭5? G?"));
}

#[test]
fn a_chord_is_unconfirmed_again_with_its_fingering_and_in_its_repeats() {
    let desk = Desk::new();
    desk.ok("confirm", "all --accept");
    desk.ok(
        "confirm",
        "3 --chord G6 --shape 320000 --repeats --note gently",
    );
    let said = desk.ok("confirm", "3 --unconfirm --repeats");
    assert!(said.contains("bar 3: unconfirmed again"), "{said}");
    assert!(said.contains("bar 7: unconfirmed again"), "{said}");
    let all = HEARD.replace('?', "").replace("Em7", "Em7?");
    assert_eq!(desk.chords(), all);
    let bar = desk.ok("show", "--bar 3");
    assert!(
        bar.contains("* gently") && !bar.contains("320000 "),
        "{bar}"
    );
    desk.refuses(
        "confirm",
        "3 --unconfirm",
        "nothing was decided about a chord there: 3 Em7",
    );
    desk.refuses("confirm", "2 --unconfirm --accept", "exclude each other");
    desk.ok("undo", "");
    assert!(!desk.chords().contains('?'), "{}", desk.chords());
}

#[test]
fn what_was_set_for_the_song_is_heard_again() {
    let desk = Desk::new();
    let song =
        || -> serde_json::Value { serde_json::from_str(&desk.ok("show", "--json")).expect("JSON") };
    let heard = song();
    desk.ok("confirm", "--tempo 60 --meter 3/4 --capo 2");
    let set = song();
    assert_eq!((&set["meter"], &set["capo"]), (&"3/4".into(), &2.into()));
    let stale = set["stale"].as_array().expect("a list");
    assert_eq!(stale.len(), 3, "{stale:?}");
    assert!(desk.ok("show", "").contains("draft the take again to"));
    let said = desk.ok(
        "confirm",
        "--as-heard tempo --as-heard meter --as-heard capo",
    );
    assert!(said.contains("tempo as heard"), "{said}");
    assert_eq!(song(), heard);
}

#[test]
fn a_change_of_chord_moves_in_its_repeats_too() {
    let desk = Desk::new();
    let said = desk.ok("confirm", "2 --move 1.4 --repeats");
    assert!(said.contains("chord change at 2 moved to 1.4"), "{said}");
    assert!(said.contains("chord change at 6 moved to 5.4"), "{said}");
}

#[test]
fn chords_are_split_joined_and_moved() {
    let desk = Desk::new();
    desk.ok("confirm", "1.3 --split --chord Gsus4");
    desk.ok("confirm", "4 --join");
    desk.ok("confirm", "2 --move 1.4");
    let text = desk.ok("show", "");
    assert!(
        text.contains(
            "   1 | G?  Gsus4 D/F♯? | %               | Em7??           | C?              |"
        ),
        "{text}"
    );
    assert!(
        desk.chords().starts_with("G? Gsus4 D/F♯? Em7? C? G?"),
        "{}",
        desk.chords()
    );
}

#[test]
fn a_chord_has_shapes_and_notes_and_hints_where_they_do_not_agree() {
    let desk = Desk::new();
    let text = desk.ok(
        "confirm",
        "9 --chord Am7 --shape x02010 --or-shape 5x555x --note let_it_ring",
    );
    assert!(
        text.contains("bars 9 to 10: shape x02010 or 5x555x"),
        "{text}"
    );
    assert!(!text.contains("also sounds"), "{text}");
    let text = desk.ok("show", "--bar 9");
    assert!(
        text.contains("   x02010") && text.contains("* let it ring"),
        "{text}"
    );
    let text = desk.ok("confirm", "1 --shape x32010");
    assert!(
        text.contains("shape x32010 also sounds C3, E3, C4, E4, which G does not have"),
        "{text}"
    );
    // a shape decides nothing about the chord
    assert!(text.contains("12 of 13 chords unconfirmed"), "{text}");
}

#[test]
fn sections_are_named_and_settings_made() {
    let desk = Desk::new();
    desk.ok("confirm", "A --name Verse");
    desk.ok("confirm", "11 --section-starts --name Ending");
    desk.ok(
        "confirm",
        "--title After_the_rain --capo 2 --key Em --tempo 96",
    );
    let text = desk.ok("show", "");
    assert!(
        text.starts_with("After the rain\nE minor, 96 bpm, 4/4, capo 2\n"),
        "{text}"
    );
    assert!(text.contains("[A] Verse\n"), "{text}");
    assert!(text.contains("[A] Verse (as bars 1 to 4)\n"), "{text}");
    assert!(text.contains("[C] Ending\n  11 |"), "{text}");
    desk.ok("confirm", "verse --take-first");
    assert!(desk.chords().starts_with("G D/F♯ Em7"));
}

#[test]
fn a_section_is_named_whole_and_a_range_of_bars_becomes_one() {
    let form = |words: &str| {
        let desk = Desk::new();
        let said = desk.ok("confirm", words);
        let shown: serde_json::Value =
            serde_json::from_str(&desk.ok("show", "--json")).expect("JSON");
        let sections = shown["sections"].as_array().expect("sections").iter();
        let named = sections.map(|s| {
            let letter = s["letter"].as_str().expect("a letter");
            let name = s["name"].as_str().unwrap_or_default();
            format!("{letter}{name} {}-{}", s["first_bar"], s["last_bar"])
        });
        (said, named.collect::<Vec<_>>().join(", "))
    };
    // a single bar, a beat and a time name the section they are in, and say so
    for place in ["2", "2.3", "2.5s"] {
        let (said, sections) = form(&format!("{place} --letter C"));
        assert!(said.starts_with("bars 1 to 4: section C\n"), "{said}");
        assert_eq!(sections, "C 1-4, A 5-8, B 9-12", "{place}");
    }
    // whole sections stay what they are
    let (said, sections) = form("1-8 --name Verse");
    assert!(said.contains("bars 1 to 4: section 'Verse'\n"), "{said}");
    assert!(said.contains("bars 5 to 8: section 'Verse'\n"), "{said}");
    assert_eq!(sections, "AVerse 1-4, AVerse 5-8, B 9-12");
    // other bars become a section of their own
    let (said, sections) = form("3-6 --letter B");
    assert!(said.contains("bars 3 to 6: section B\n"), "{said}");
    assert!(said.contains("a section starts at 3\n"), "{said}");
    assert!(said.contains("a section starts at 7\n"), "{said}");
    assert_eq!(sections, "A 1-2, B 3-6, C 7-8, B 9-12");
    assert_eq!(
        form("1-2 --name Intro").1,
        "AIntro 1-2, C 3-4, A 5-8, B 9-12"
    );
    let desk = Desk::new();
    desk.refuses(
        "confirm",
        "3-6 --letter _",
        "a section's letter cannot be empty",
    );
    desk.ok("confirm", "A --name Verse");
    let said = desk.ok("confirm", "2 --name _");
    assert!(said.starts_with("bars 1 to 4: no section name\n"), "{said}");
    assert_eq!(form("7-12 --letter A").1, "A 1-4, A 5-6, A 7-12");
}

/// The sample log with silence before bar 2 and after bar 11.
fn with_silence_around() -> Desk {
    let mut log = crate::log_sample::log();
    log.heard.bars.retain(|b| (2..=11).contains(&b.number));
    log.heard.beats.retain(|b| (2.0..22.0).contains(&b.time_s));
    log.heard.sections[0].first_bar = 2;
    log.heard.sections[2].last_bar = 11;
    log.heard.chords[0].candidates[0].label = Label::NoChord;
    let mut last = log.heard.chords[12].clone();
    (last.start_s, last.candidates[0].label) = (22.0, Label::NoChord);
    log.heard.chords[12].end_s = 22.0;
    log.heard.chords[11].end_s = 21.5;
    log.heard.chords[12].start_s = 21.5;
    log.heard.chords.push(last);
    let desk = Desk::new();
    std::fs::write(&desk.log, takebook::songlog::write(&log)).expect("written");
    desk
}

#[test]
fn silence_outside_the_bars_goes_with_them_and_is_no_chord_to_decide() {
    let desk = with_silence_around();
    // fourteen spans, twelve of them chords of a bar
    let shown = desk.ok("show", "");
    assert!(shown.contains("12 of 12 chords unconfirmed"), "{shown}");
    // who takes the first and the last bar takes the silence beside them
    let said = desk.ok("confirm", "2-11 --take-first");
    assert!(
        said.starts_with("before bar 2: N.C. (as proposed)\n"),
        "{said}"
    );
    assert!(said.contains("; all chords are confirmed\n"), "{said}");
    assert!(!desk.chords().contains('?'), "{}", desk.chords());
    let (code, shown, _) = desk.run("show", "");
    assert_eq!(code, 0, "{shown}");
    assert!(shown.contains("all 12 chords are confirmed"), "{shown}");
    // bars in the middle leave it alone, and it alone leaves nothing open
    let desk = with_silence_around();
    let said = desk.ok("confirm", "3-10 --take-first");
    assert!(!said.contains("N.C."), "{said}");
    let said = desk.ok("confirm", "2 --chord D/F#");
    assert!(!said.contains("N.C."), "{said}");
    desk.ok("confirm", "11.1 --chord C#m7b5");
    let said = desk.ok("confirm", "11.4 --chord G");
    assert!(said.contains("; all chords are confirmed\n"), "{said}");
    assert_eq!(desk.run("show", "").0, 0);
    assert_eq!(desk.run("check", "").0, 0);
    // a chord there is one, and is shown
    desk.ok("confirm", "0.5s --chord D7");
    let shown = desk.ok("show", "");
    assert!(shown.contains("\n  before bar 2: D7\n"), "{shown}");
    assert!(shown.contains("all 13 chords are confirmed"), "{shown}");
}

#[test]
fn one_key_for_the_whole_says_which_keys_it_takes_away() {
    let desk = Desk::new();
    desk.ok("confirm", "11 --key A");
    let shown = desk.ok("show", "");
    assert!(shown.contains("G major, A major from bar 11,"), "{shown}");
    let said = desk.ok("confirm", "--key D");
    assert!(said.contains("removes A major from bar 11"), "{said}");
    assert!(desk.ok("show", "").contains("\nD major, "), "{said}");
    // nothing goes, nothing is said
    let said = desk.ok("confirm", "--key Em");
    assert!(!said.contains("removes"), "{said}");
}

#[test]
fn what_sounds_before_and_after_the_bars_is_named_so() {
    let mut log = crate::log_sample::log();
    log.heard.bars.retain(|b| (2..=11).contains(&b.number));
    log.heard.beats.retain(|b| (2.0..22.0).contains(&b.time_s));
    let song = takebook::songlog::resolve(&log);
    let chord = |start_s, end_s| Act::Chord {
        start_s,
        end_s,
        label: Label::NoChord,
        how: How::Own,
    };
    let words = |start_s, end_s| takebook::deciding::words(&chord(start_s, end_s), &song);
    assert_eq!(words(0.0, 2.0), "before bar 2: N.C. (entered by you)");
    assert_eq!(words(20.0, 22.0), "bar 11: N.C. (entered by you)");
    assert_eq!(words(20.0, 24.0), "bar 11: N.C. (entered by you)");
    assert_eq!(words(4.0, 24.0), "bars 3 to 11: N.C. (entered by you)");
    assert_eq!(words(21.0, 24.0), "11.3 to end: N.C. (entered by you)");
}

#[test]
fn decisions_are_listed_undone_and_redone() {
    let desk = Desk::new();
    desk.refuses("undo", "", "nothing to undo");
    desk.ok("confirm", "1 --chord G7");
    desk.ok("confirm", "2 --chord D7");
    assert!(
        desk.ok("undo", "")
            .contains("2 undone: bar 2: D7 (entered by you)")
    );
    assert!(desk.chords().starts_with("G7 D/F♯? "));
    desk.refuses("undo", "2", "already undone by 3; to redo it: undo 3");
    desk.ok("undo", "3");
    assert!(desk.chords().starts_with("G7 D7 "));
    desk.ok("undo", "1 2");
    assert_eq!(desk.chords(), HEARD);
    desk.refuses("undo", "9", "there is no decision 9");
    let text = desk.ok("undo", "--list");
    assert_eq!(text.lines().count(), 5, "{text}");
    assert!(
        text.lines()
            .next()
            .is_some_and(|l| l.ends_with(" UTC bar 1: G7 (entered by you) (undone)")),
        "{text}"
    );
}

#[test]
fn what_cannot_be_decided_is_refused_with_the_way_out() {
    let desk = Desk::new();
    desk.refuses(
        "confirm",
        "40 --take-first",
        "there is no bar 40: the take has bars 1 to 12",
    );
    desk.refuses(
        "show",
        "--bar 0",
        "there is no bar 0: the take has bars 1 to 12",
    );
    desk.refuses(
        "confirm",
        "3.7 --chord G",
        "there is no beat 7 in bar 3: it has beats 1 to 4",
    );
    desk.refuses("confirm", "99s --chord G", "the take lasts 24.0 s");
    desk.refuses("confirm", "Q --take-first", "'Q' is not a place here");
    desk.refuses("confirm", "8-5 --take-first", "ends before it starts");
    desk.refuses(
        "confirm",
        "4 --chord G",
        "several chords are there: 4 C, 4.3 D; name a beat",
    );
    desk.refuses(
        "confirm",
        "1 --candidate 7",
        "there is no candidate 7: 1 G 92 %, 2 Em 3 %",
    );
    desk.refuses("confirm", "1 --chord H7", "'H7' is not a chord");
    desk.refuses(
        "confirm",
        "1 --shape x0221",
        "names 5 strings, the instrument has 6",
    );
    desk.refuses("confirm", "1 --shape x02y10", "'y' is not understood");
    desk.refuses("confirm", "1 --alt-shape x02210", "alt-shape needs shape");
    desk.refuses("confirm", "1 --chord G --take-first", "exclude each other");
    desk.refuses("confirm", "1 --join", "there is only one chord already");
    desk.refuses("confirm", "2 --move 9", "a neighbouring chord would vanish");
    desk.refuses("confirm", "1", "say what to decide there");
    desk.refuses("confirm", "", "nothing to decide was asked");
    desk.refuses("confirm", "--chord G", "say where");
    desk.refuses("confirm", "3 --capo 2", "leave out the place");
    desk.refuses("confirm", "--capo 30", "30");
    desk.refuses("confirm", "--meter 4/5", "'4/5' is not a meter");
    desk.ok("confirm", "1 --take-first");
    desk.refuses(
        "confirm",
        "1 --take-first",
        "every chord there is already confirmed: 1 G",
    );
    desk.refuses(
        "confirm",
        "all --take-first --at-least 100",
        "no unconfirmed chord there has a probability of 100 %",
    );
}

#[test]
fn a_log_that_is_none_is_refused_by_every_command() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let check = |name: &str, content: Option<&str>, part: &str| {
        let path = folder.path().join(name);
        if let Some(content) = content {
            std::fs::write(&path, content).expect("writable");
        }
        let path = path.to_string_lossy();
        for words in [
            vec!["show", &path],
            vec!["confirm", &path, "1", "--take-first"],
            vec!["undo", &path],
            vec!["undo", &path, "--list"],
        ] {
            let output = run(&words);
            assert_eq!(output.status.code(), Some(2), "{words:?}");
            assert!(stderr(&output).contains(part), "{}", stderr(&output));
            assert_eq!(stdout(&output), "");
        }
    };
    check("none.takebook", None, "there is no log");
    check(
        "empty.takebook",
        Some(""),
        "is not a log of takebook: it is empty",
    );
    check(
        "text.takebook",
        Some("Verse: G D Em C"),
        "its content is not JSON",
    );
    check("other.takebook", Some("{\"a\": 1}"), "JSON of another kind");
    check(
        "newer.takebook",
        Some("{\"format\": \"takebook log\", \"version\": 7, \"x\": []}"),
        "written by a newer takebook (log version 7",
    );
    let log = takebook::songlog::write(&crate::log_sample::log());
    let nonsense = log.replacen("\"start_s\": 2.0", "\"start_s\": \"two\"", 1);
    check(
        "edited.takebook",
        Some(&nonsense),
        "damaged at heard.bars[1].start_s",
    );
    check(
        "cut.takebook",
        Some(&log[..log.len() / 2]),
        "damaged at line",
    );
    let folder_itself = folder.path().to_string_lossy().into_owned();
    let output = run(&["show", &folder_itself]);
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let desk = Desk::new();
    let mut child = takebook()
        .args(["show", &desk.log, "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    // 1 if all was written before the pipe closed, else a quiet 0
    assert!(matches!(output.status.code(), Some(0 | 1)), "{output:?}");
    assert_eq!(stderr(&output), "");
}

#[test]
fn json_of_each_command_reads_back() {
    let desk = Desk::new();
    let json = |command: &str, words: &str| -> serde_json::Value {
        serde_json::from_str(&desk.ok(command, words)).expect("JSON")
    };
    let decided = json("confirm", "9 --chord Am7 --json");
    assert_eq!(decided["decision"], 1);
    assert_eq!(decided["n_open"], 12);
    let bar = json("show", "--bar 3 --json");
    assert_eq!(bar["chords"][0]["candidates"][1]["label"], "E:min");
    assert_eq!(bar["repeats"][0]["bar"], 7);
    let undone = json("undo", "--json");
    assert_eq!(undone["of"], serde_json::json!([1]));
    let list = json("undo", "--list --json");
    assert_eq!(list["decisions"][0]["holds"], false);
}

#[test]
fn the_help_of_each_command_has_an_example_that_works() {
    let desk = Desk::new();
    for command in ["show", "confirm", "undo"] {
        let help = stdout(&run(&[command, "--help"]));
        assert!(help.lines().all(|l| l.chars().count() <= 100), "{help}");
        let example = help
            .lines()
            .find_map(|l| l.strip_prefix("Example: takebook "))
            .unwrap_or_else(|| panic!("no example in the help of {command}"));
        let words: Vec<&str> = example.split_whitespace().collect();
        assert_eq!(words[..2], [command, "evening.takebook"]);
        let folder = Path::new(&desk.log).parent().expect("a folder");
        let output = takebook()
            .args(words)
            .current_dir(folder)
            .output()
            .expect("the program starts");
        assert!(output.status.code() != Some(2), "{}", stderr(&output));
    }
}

#[test]
fn repeats_that_differ_are_left_out_and_named() {
    let desk = Desk::new();
    desk.ok("confirm", "6 --chord Am7");
    let said = desk.ok("confirm", "2 --chord D --repeats");
    assert!(said.contains("left out, since they differ"), "{said}");
    assert!(said.contains("bar 6"), "{said}");
    assert_eq!(
        desk.chords(),
        HEARD.replacen("D/F♯?", "D", 1).replacen("D/F♯?", "Am7", 1)
    );
    // what was heard alike and is open follows
    let said = desk.ok("confirm", "3 --chord G6 --repeats");
    assert!(!said.contains("left out"), "{said}");
    let text = desk.ok("show", "");
    assert!(text.contains("form: A A' B"), "{text}");
    assert!(text.contains("A': bar 2 is Am7 instead of D"), "{text}");
}

#[test]
fn beats_and_bars_by_the_users_word() {
    let desk = Desk::new();
    let bars = |text: &str| -> Vec<u64> {
        let song: serde_json::Value = serde_json::from_str(text).expect("JSON");
        let bars = song["bars"].as_array().expect("bars").iter();
        bars.map(|b| b["n_beats"].as_u64().expect("a number"))
            .collect()
    };
    desk.ok("confirm", "--bar-beats 3=2");
    let counted = bars(&desk.ok("show", "--json"));
    assert_eq!(counted[..5], [4, 4, 2, 4, 4]);
    desk.ok("undo", "");
    assert_eq!(bars(&desk.ok("show", "--json")), [4; 12]);
    desk.refuses("confirm", "--bar-beats 99=2", "there is no bar 99");
    desk.refuses("confirm", "--bar-beats 9", "such as 9=2");
    desk.refuses("confirm", "--beats 0.5,1.0,0.9,2", "does not follow");
    desk.refuses("confirm", "--beats 0.5,1.0,1.5,99", "the take lasts only");
    desk.ok("confirm", "--tempo 120");
    desk.refuses("confirm", "--beats 0,1,2,3,4", "leave one of the two out");
}
