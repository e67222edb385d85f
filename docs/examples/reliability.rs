//! Said against right: how honest the probabilities of drafted takes are.
//!
//! ```sh
//! cargo run --release --example reliability -- FOLDER docs/pictures/reliability.svg
//! ```
//!
//! FOLDER holds logs (`NAME.takebook`, made by `takebook draft`) and the truth of
//! each (`NAME.lab`). Prints the bins and the expected calibration error of the
//! first candidates and of all candidates, and draws the first.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use takebook::grading::parse_lab;
use takebook::grading::reliability::{N_BINS, Reliability, Said};
use takebook::songlog::store;

type Failed = Box<dyn std::error::Error>;

fn main() -> Result<(), Failed> {
    let mut args = std::env::args_os().skip(1).map(PathBuf::from);
    let (Some(folder), Some(picture)) = (args.next(), args.next()) else {
        return Err("expected: a folder with logs and labels, and the picture to write".into());
    };
    let (mut first, mut all) = (Reliability::default(), Reliability::default());
    let mut n_takes = 0;
    for log in logs(&folder)? {
        let truth = parse_lab(&std::fs::read_to_string(log.with_extension("lab"))?)?;
        for chord in store::load(&log)?.heard.chords {
            for (i, candidate) in chord.candidates.into_iter().enumerate() {
                let said = [Said {
                    start_s: chord.start_s,
                    end_s: chord.end_s,
                    label: candidate.label,
                    probability: candidate.probability,
                }];
                if i == 0 {
                    first.add(&said, &truth)?;
                }
                all.add(&said, &truth)?;
            }
        }
        n_takes += 1;
    }
    let mut text = String::new();
    for (name, reliability) in [("first candidates", &first), ("all candidates", &all)] {
        writeln!(text, "{name} of {n_takes} takes")?;
        for (i, bin) in reliability.bins.iter().enumerate() {
            let (Some(said), Some(right)) = (bin.said(), bin.right()) else {
                continue;
            };
            let (from, time) = (i as f64 / N_BINS as f64, bin.time_s);
            writeln!(
                text,
                "  from {from:.1}  said {said:.3}  right {right:.3}  {time:>8.1} s"
            )?;
        }
        let error = reliability.error().ok_or("no time is labelled")?;
        writeln!(text, "  expected calibration error {error:.3}")?;
    }
    std::fs::write(&picture, draw(&first))?;
    std::io::Write::write_all(&mut std::io::stdout(), text.as_bytes())?;
    Ok(())
}

/// Logs of a folder that have their truth beside them.
fn logs(folder: &Path) -> Result<Vec<PathBuf>, Failed> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.extension().is_some_and(|e| e == store::ENDING)
            && path.with_extension("lab").exists()
        {
            found.push(path);
        }
    }
    found.sort();
    if found.is_empty() {
        return Err(format!("no log with labels in '{}'", folder.display()).into());
    }
    Ok(found)
}

/// A square of said (across) against right (up); a dot's area is the time of its bin.
fn draw(reliability: &Reliability) -> String {
    const SIDE: f64 = 320.0;
    const LEFT: f64 = 60.0;
    const TOP: f64 = 20.0;
    let x = |p: f64| LEFT + SIDE * p;
    let y = |p: f64| TOP + SIDE * (1.0 - p);
    let total: f64 = reliability.bins.iter().map(|b| b.time_s).sum();
    let mut svg = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"420\" height=\"400\" viewBox=\"0 0 420 400\" \
         font-family=\"sans-serif\" font-size=\"12\">\n<rect width=\"420\" height=\"400\" fill=\"#fff\"/>\n",
    );
    for i in 0..=5 {
        let p = f64::from(i) / 5.0;
        let _ = writeln!(
            svg,
            "<path d=\"M{} {}H{}M{} {}V{}\" stroke=\"#ddd\"/>\n<text x=\"{}\" y=\"{}\" text-anchor=\"middle\">{:.0} %</text>\n<text x=\"{}\" y=\"{}\" text-anchor=\"end\">{:.0} %</text>",
            x(0.0),
            y(p),
            x(1.0),
            x(p),
            y(0.0),
            y(1.0),
            x(p),
            y(0.0) + 16.0,
            100.0 * p,
            x(0.0) - 6.0,
            y(p) + 4.0,
            100.0 * p
        );
    }
    let _ = writeln!(
        svg,
        "<path d=\"M{} {}L{} {}\" stroke=\"#888\" stroke-dasharray=\"4 4\"/>",
        x(0.0),
        y(0.0),
        x(1.0),
        y(1.0)
    );
    for bin in &reliability.bins {
        if let (Some(said), Some(right)) = (bin.said(), bin.right()) {
            let radius = 3.0 + 14.0 * (bin.time_s / total).sqrt();
            let _ = writeln!(
                svg,
                "<path d=\"M{:.1} {:.1}V{:.1}\" stroke=\"#b33\"/>\n<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius:.1}\" fill=\"#2a5d8f\" fill-opacity=\"0.7\"/>",
                x(said),
                y(said),
                y(right),
                x(said),
                y(right)
            );
        }
    }
    let _ = writeln!(
        svg,
        "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\">said</text>\n<text transform=\"translate(16 {}) rotate(-90)\" text-anchor=\"middle\">right</text>\n</svg>",
        x(0.5),
        y(0.0) + 40.0,
        y(0.5)
    );
    svg
}
