//! Rows of fragments against facts of the trade, and against rows drawn from a
//! grammar that the search does not know.

#![expect(clippy::print_stdout, reason = "figures are for whoever runs the test")]

use std::process::Command;
use takebook::theory::imply::{Fragment, read_row};
use takebook::theory::{Key, Mode, PitchClass};

fn imply(args: &[&str]) -> serde_json::Value {
    let output = Command::new(env!("CARGO_BIN_EXE_takebook"))
        .arg("imply")
        .args(args)
        .arg("--json")
        .output()
        .expect("takebook starts");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Best reading's symbols, one a fragment.
fn chords(value: &serde_json::Value) -> Vec<String> {
    value["readings"][0]["chords"]
        .as_array()
        .expect("chords")
        .iter()
        .flat_map(|c| {
            let n = c["last"].as_u64().expect("last") - c["first"].as_u64().expect("first") + 1;
            let symbol = c["symbol"].as_str().expect("a symbol").to_owned();
            std::iter::repeat_n(symbol, n as usize)
        })
        .collect()
}

/// Common practice, no source: in A major these plucks imply D, E, F♯ minor
/// and a borrowed D minor, though each pair is also two notes of another chord.
#[test]
fn plucked_pairs_slid_along_the_neck() {
    let value = imply(&["--key", "A", "D7 B7", "D9 B9", "D11 B10", "D7 B6"]);
    assert_eq!(chords(&value), ["D", "E", "F♯m", "Dm"]);
    let first = &value["readings"][0]["chords"][0];
    assert_eq!(
        first["origin"],
        "fifth and major third of the A-shaped chord at fret 5"
    );
    let last = &value["readings"][0]["chords"][3];
    assert!(
        last["reason"]
            .as_str()
            .expect("a reason")
            .contains("borrowed"),
        "{last}"
    );
}

/// Common practice, no source: D and B string of an A-minor-shaped chord.
#[test]
fn the_form_on_the_neck_is_told() {
    let value = imply(&["--key", "G", "D9 B8", "D7 B7"]);
    assert_eq!(chords(&value)[0], "Em");
    assert_eq!(
        value["readings"][0]["chords"][0]["origin"],
        "fifth and minor third of the Am-shaped chord at fret 7"
    );
}

#[test]
fn bars_join_and_a_bass_decides() {
    let value = imply(&["--key", "G", "|", "G4 B0", "D0 B3"]);
    assert_eq!(chords(&value), ["G", "G"]);
    let value = imply(&["--key", "C", "C4 E4 / A", "--notes"]);
    assert_eq!(chords(&value), ["Am"]);
    assert!(value["keys"][0]["key"] == "C:maj");
}

/// A small generator of its own, so that rows are the same everywhere:
/// xorshift64* (Marsaglia, "Xorshift RNGs", 2003, from memory).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// An entry by its weight.
    fn pick<'a, T>(&mut self, list: &'a [(f64, T)]) -> &'a T {
        let mut left = self.unit() * list.iter().map(|(w, _)| w).sum::<f64>();
        for (weight, entry) in list {
            left -= weight;
            if left <= 0.0 {
                return entry;
            }
        }
        &list[list.len() - 1].1
    }
}

/// A chord of the grammar: semitones above the tonic, minor third or not.
type Step = (i32, bool);

/// Where a chord goes next in a major key. The usual table of root progressions
/// of harmony handbooks (from memory): each degree's usual followers, its less
/// usual ones at a third of the weight, and a borrowed chord now and then.
fn followers(step: Step) -> Vec<(f64, Step)> {
    const I: Step = (0, false);
    const II: Step = (2, true);
    const III: Step = (4, true);
    const IV: Step = (5, false);
    const V: Step = (7, false);
    const VI: Step = (9, true);
    let mut list = match step {
        (0, _) => vec![(3.0, IV), (3.0, V), (3.0, VI), (1.0, II), (1.0, III)],
        (2, true) => vec![(6.0, V), (1.0, IV), (1.0, VI), (1.0, I)],
        (4, _) => vec![(3.0, VI), (2.0, IV), (1.0, II)],
        (5, false) => vec![(3.0, V), (3.0, I), (2.0, II), (1.0, VI)],
        (7, _) => vec![(6.0, I), (2.0, VI), (1.0, IV)],
        (9, _) => vec![(3.0, II), (3.0, IV), (2.0, V), (1.0, III)],
        // borrowed chords lead home or to the fifth
        _ => vec![(2.0, I), (1.0, V)],
    };
    list.extend([(0.4, (5, true)), (0.4, (2, false)), (0.4, (10, false))]);
    list.retain(|(_, next)| *next != step);
    list
}

/// A row of pairs and the chords they are two tones of.
fn row_of_the_grammar(dice: &mut Dice) -> (Key, Vec<Fragment>, Vec<(PitchClass, bool)>) {
    let tonic = PitchClass::new((dice.unit() * 12.0) as i32);
    let (mut fragments, mut truth) = (Vec::new(), Vec::new());
    let mut step: Step = *dice.pick(&[(5.0, (0, false)), (1.0, (9, true)), (1.0, (5, false))]);
    for _ in 0..8 {
        let root = tonic.up(step.0);
        let third = if step.1 { 3 } else { 4 };
        // which two of the three tones sound, lower one first
        let (low, high) = *dice.pick(&[
            (3.0, (0, third)),
            (2.0, (third, 7)),
            (2.0, (third, 12)),
            (2.0, (7, 12 + third)),
            (1.0, (0, 7)),
        ]);
        let base = 52 + root.above(PitchClass::new(4)) as u8;
        fragments.push(Fragment::of(&[base + low as u8, base + high as u8]));
        truth.push((root, step.1));
        step = *dice.pick(&followers(step));
    }
    (Key::usual(tonic, Mode::Major), fragments, truth)
}

/// What is claimed and what is right, over all fragments of many rows: the
/// share right, the mean probability claimed, and the mean gap between both
/// over ten equal bins, weighted by their size.
fn reliability(seed: u64, n_rows: usize, given: bool) -> (f64, f64, f64, Vec<(usize, f64, f64)>) {
    let mut dice = Dice(seed);
    let mut bins = vec![(0usize, 0.0f64, 0.0f64); 10];
    for _ in 0..n_rows {
        let (key, row, truth) = row_of_the_grammar(&mut dice);
        let read = read_row(&row, given.then_some(key), 1);
        for (candidates, (root, minor)) in read.fragments.iter().zip(&truth) {
            let (label, probability) = &candidates[0];
            let right = label.chord().is_some_and(|c| {
                let quality = if *minor { "min" } else { "maj" };
                c.root.pitch_class() == *root && c.quality.harte == quality
            });
            let bin = &mut bins[((probability * 10.0) as usize).min(9)];
            bin.0 += 1;
            bin.1 += probability;
            bin.2 += f64::from(u8::from(right));
        }
    }
    let n: usize = bins.iter().map(|b| b.0).sum();
    let claimed = bins.iter().map(|b| b.1).sum::<f64>() / n as f64;
    let right = bins.iter().map(|b| b.2).sum::<f64>() / n as f64;
    let gap = bins.iter().map(|b| (b.1 - b.2).abs()).sum::<f64>() / n as f64;
    (right, claimed, gap, bins)
}

/// Most that claimed and reached may lie apart on average (expected calibration
/// error: Guo and others, "On calibration of modern neural networks", ICML 2017).
const MOST_GAP: f64 = 0.10;

/// A chord said to be 80% sure is right about 80% of the time.
#[test]
fn probabilities_hold_on_rows_from_a_grammar() {
    for (words, given) in [("key given", true), ("key found", false)] {
        let (right, claimed, gap, bins) = reliability(41, 150, given);
        println!("{words}: {right:.3} right, {claimed:.3} claimed, gap {gap:.3}");
        for (n, claimed, right) in bins.into_iter().filter(|b| b.0 > 0) {
            let n_f = n as f64;
            println!(
                "  said {:.2}: right {:.2} of {n}",
                claimed / n_f,
                right / n_f
            );
        }
        assert!(gap < MOST_GAP, "{words}: {gap:.3}");
    }
}
