//! Holds every take of a folder against its own chart and against the charts of
//! all the others, and prints what `check` reports of each pair.
//!
//!     cargo run --release --example check_pairs -- TAKES LOGS [EVIDENCE]
//!
//! TAKES holds sound files, LOGS a NAME.takebook for some of them. EVIDENCE is a
//! folder that keeps what was heard, so that the next run need not hear it again.
//! A take NAME+WORDS belongs to the chart NAME (the same played otherwise). A line
//! has chart, take, verdict, semitones, the shares of docs/checking.md, the summary
//! and the bars reported.

#![expect(clippy::print_stdout, reason = "figures are what it is for")]

use std::error::Error;
use std::path::{Path, PathBuf};
use takebook::checking::{Evidence, Level, TakeCheck, check_take};
use takebook::hearing::{Listener, StretchEvidence, evidence_classes};
use takebook::songlog::song::Song;
use takebook::songlog::{resolve, store};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<PathBuf> = std::env::args().skip(1).map(PathBuf::from).collect();
    let [takes, logs, rest @ ..] = &arguments[..] else {
        return Err("say a folder of takes and a folder of logs".into());
    };
    let charts: Vec<(String, Song)> = files(logs, &["takebook"])?
        .iter()
        .map(|f| Ok((stem(f), resolve(&store::load(f)?))))
        .collect::<Result<_, Box<dyn Error>>>()?;
    let (mut own, mut others) = (Vec::new(), Vec::new());
    for file in files(takes, &["wav", "flac"])? {
        let name = stem(&file);
        let evidence = Evidence::new(evidence_classes(), heard(&file, rest.first())?);
        for (chart, song) in &charts {
            let Some(check) = check_take(song, &evidence, Level::Song) else {
                continue;
            };
            let is_own = name.split('+').next() == Some(chart.as_str());
            let line = line(chart, &name, &check);
            if is_own { &mut own } else { &mut others }.push((check, line));
        }
    }
    for (title, list) in [("own", &own), ("other", &others)] {
        for (_, line) in list {
            println!("{title} {line}");
        }
    }
    for (title, list) in [("own", &own), ("other", &others)] {
        let n = |f: &dyn Fn(&TakeCheck) -> bool| list.iter().filter(|(c, _)| f(c)).count();
        let bars: usize = list.iter().map(|(c, _)| c.bars.len()).sum();
        let marked: usize = list.iter().map(|(c, _)| amiss(c)).sum();
        println!(
            "{title}: {} pairs, recognized {}, as written {}, {marked} of {bars} bars marked",
            list.len(),
            n(&|c| c.recognized),
            n(&|c| c.as_written()),
        );
    }
    Ok(())
}

fn amiss(check: &TakeCheck) -> usize {
    check.bars.iter().filter(|b| !b.findings.is_empty()).count()
}

fn line(chart: &str, take: &str, check: &TakeCheck) -> String {
    let marks: Vec<String> = check
        .bars
        .iter()
        .flat_map(|b| b.findings.iter().map(|f| (b.number, &f.words)))
        .map(|(number, words)| format!("{number}: {words}"))
        .collect();
    let fit = check.fit;
    format!(
        "{chart:<20} {take:<30} {:<12} {:>2} take {:.2} chart {:.2} written {:.2} jumps {:.2} order {:>5.2} | {} | {}",
        check.verdict().name(),
        check.semitones,
        fit.take_share,
        fit.chart_share,
        fit.as_written_share,
        fit.jumps_per_bar,
        fit.order.unwrap_or(f64::NAN),
        check.summary,
        marks.join("; ")
    )
}

fn stem(file: &Path) -> String {
    let stem = file.file_stem().unwrap_or_default();
    stem.to_string_lossy().into_owned()
}

fn files(folder: &Path, endings: &[&str]) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let ending = path.extension().unwrap_or_default().to_string_lossy();
        if endings.contains(&ending.as_ref()) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// What one stretch was heard as, as it is kept.
type Kept = (f64, f64, f32, f32, Vec<f32>, Vec<f32>, Vec<(u8, f32)>);

fn heard(file: &Path, keep: Option<&PathBuf>) -> Result<Vec<StretchEvidence>, Box<dyn Error>> {
    let kept = keep.map(|folder| folder.join(format!("{}.json", stem(file))));
    if let Some(kept) = kept.as_ref().filter(|k| k.exists()) {
        let all: Vec<Kept> = serde_json::from_slice(&std::fs::read(kept)?)?;
        return Ok(all.into_iter().map(stretch).collect());
    }
    let mut source = takebook::audio::open(file)?;
    let mut listener = Listener::new();
    source.read_mono_22050(&mut |block| listener.push(block), &|_| {})?;
    let all: Vec<Kept> = listener
        .finish(&|_| true)?
        .evidence()
        .into_iter()
        .map(|s| {
            (
                s.start_s,
                s.end_s,
                s.stroke,
                s.n_frames,
                s.ln_chords,
                s.ln_basses,
                s.sounding,
            )
        })
        .collect();
    if let Some(kept) = kept {
        std::fs::write(kept, serde_json::to_vec(&all)?)?;
    }
    Ok(all.into_iter().map(stretch).collect())
}

fn stretch(kept: Kept) -> StretchEvidence {
    let (start_s, end_s, stroke, n_frames, ln_chords, ln_basses, sounding) = kept;
    StretchEvidence {
        start_s,
        end_s,
        stroke,
        n_frames,
        ln_chords,
        ln_basses,
        sounding,
    }
}
