//! One take: analysed, and reported.

use super::report::report;
use super::{Args, Done, Job};
use crate::cli::CliError;
use crate::deciding::DecisionRequest;
use crate::deciding::place::Moment;
use crate::drafting::{Analysed, Watch, analyse};
use indicatif::{MultiProgress, ProgressBar, ProgressStyle};
use std::path::Path;
use std::sync::atomic::AtomicBool;

pub(super) fn draft(job: &Job, args: &Args, bars: &MultiProgress) -> Result<Done, CliError> {
    let bar = progress_bar(bars, &job.take);
    let watch = Watch {
        progress: &|part| bar.set_position((part * 1000.0) as u64),
        cancel: &AtomicBool::new(false),
    };
    let settings = settings(args);
    let analysed = analyse(&job.take, &job.log, &settings, job.only_changed, &watch);
    bar.finish_and_clear();
    Ok(match analysed? {
        Analysed::Saved(log) => Done::Drafted(Box::new(report(job, &log)?)),
        Analysed::UpToDate => Done::UpToDate,
    })
}

/// What the arguments ask for the whole song.
fn settings(args: &Args) -> DecisionRequest {
    DecisionRequest {
        title: args.title.clone(),
        key: args.key,
        meter: args.meter,
        tempo_bpm: args.tempo,
        first_downbeat: args.first_downbeat.map(Moment::Seconds),
        beats_s: args.beats.clone(),
        bar_beats: args.bar_beats.clone(),
        capo: args.capo,
        tuning: args.tuning.clone(),
        as_heard: args.as_heard.clone(),
        ..DecisionRequest::default()
    }
}

fn progress_bar(bars: &MultiProgress, take: &Path) -> ProgressBar {
    let name = take.file_name().unwrap_or_default().to_string_lossy();
    let style = ProgressStyle::with_template("{msg:30!} {bar:30} {percent:>3} %");
    bars.add(ProgressBar::new(1000))
        .with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
        .with_message(name.into_owned())
}
