//! `takebook listen`: the chord that sounds now, while it is played; or a take again.

#[cfg(feature = "mic")]
mod letters;
#[cfg(feature = "mic")]
mod needle;
mod play;
#[cfg(feature = "mic")]
mod screen;

use super::{CliError, Outcome};
use crate::fretboard::{Tuning, read_capo};
use crate::theory::Key;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `listen`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook listen --tuning drop-d --keep ideas.takebook\n\nKeys: k keeps the moment (its sound and its chords go to the log), 1 to 9 keep\nthe last 10 to 90 seconds, m (or a pedal that turns pages) marks where the next\nkept moment begins, d saves what was remembered as a take of its own and drafts\nit, t turns the metronome on and off, f freezes the screen, p pauses, l shows large letters, q quits.\n\nTo hear bars 5 to 8 again at half speed, and then their chords as plucked strings:\n  takebook listen --play ideas.takebook --bar 5-8 --slow 50 --chords\nIt is played at a moderate level; through headphones turn the volume down first,\nand stop if your ears ring."
)]
pub(crate) struct Args {
    /// The device: its name in `record --devices`, or a part that fits only one.
    /// With --play: the output device.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Only this channel of it, from 1. Left out, all mixed.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    channel: Option<u16>,
    /// Tuning: a name (standard, drop D, open G, half a step down), letters or notes low to high.
    #[arg(long)]
    tuning: Option<Tuning>,
    /// Fret of the capo, 0 for none.
    #[arg(long, value_name = "FRET", value_parser = read_capo)]
    capo: Option<u8>,
    /// Key, if you know it: G, Am.
    #[arg(long)]
    key: Option<Key>,
    /// The log that kept moments go to; their sound goes to a WAV file beside it.
    #[arg(long, value_name = "LOG", default_value = "moments.takebook")]
    keep: PathBuf,
    /// How many seconds of sound after a moment are waited for; more is surer and later.
    #[arg(long, value_name = "S", default_value = "0", value_parser = read_look_ahead)]
    look_ahead: f64,
    /// How many seconds of sound are remembered, to be kept or saved after the fact.
    #[arg(long, value_name = "S", default_value = "300", value_parser = read_remember)]
    remember: f64,
    /// Shows the beats of a metronome, bpm; t turns it off and on.
    #[arg(long, value_name = "BPM", value_parser = super::record::read_tempo)]
    tempo: Option<f64>,
    /// Beats in a bar of the metronome.
    #[arg(long, default_value = "4/4", value_parser = crate::songlog::read_meter)]
    meter: (u8, u8),
    /// The metronome clicks too. Through headphones, or the microphone hears it; turn the volume
    /// down before: clicks can be loud.
    #[arg(long, requires = "tempo")]
    click: bool,
    /// Large letters, for a music stand.
    #[arg(long)]
    large: bool,
    /// Ends after so many seconds of sound.
    #[arg(long, value_name = "S")]
    seconds: Option<f64>,
    /// One JSON object a line, whenever the answer changes.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    play: play::Args,
}

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    match &args.play.play {
        Some(log) => play::run(&args.play, log, args.device.as_deref(), args.json, out),
        None => hear(args, out),
    }
}

fn read_look_ahead(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (0.0..=3.3).contains(&s) => Ok(s),
        _ => Err(format!("'{text}' is not a time of 0 to 3.3 seconds")),
    }
}

fn read_remember(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (10.0..=3600.0).contains(&s) => Ok(s),
        _ => Err(format!("'{text}' is not a time of 10 to 3600 seconds")),
    }
}

#[cfg(not(feature = "mic"))]
fn hear(_args: &Args, _out: &mut dyn Write) -> Result<Outcome, CliError> {
    Err(super::no_mic())
}

#[cfg(feature = "mic")]
use live::hear;

#[cfg(feature = "mic")]
mod live {
    use super::super::keys::{Keys, clock};
    use super::super::plain::shown;
    use super::screen::{Face, Shown};
    use super::{Args, CliError, Outcome, Write};
    use crate::audio::Metronome;
    use crate::drafting::{Listening, Tenth, ToListen};
    use crate::fretboard::Instrument;
    use std::time::Duration;

    /// How often a device that is gone is looked for.
    const AGAIN: Duration = Duration::from_secs(1);
    /// How often the device is asked: a part of what a chord is late by.
    const TICK: Duration = Duration::from_millis(5);

    pub(super) fn hear(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
        let usual = Instrument::default();
        let listening = Listening::begin(ToListen {
            device: args.device.clone(),
            channel: args.channel,
            instrument: Instrument {
                tuning: args.tuning.clone().unwrap_or(usual.tuning),
                capo: args.capo.unwrap_or(0),
                highest_fret: usual.highest_fret,
            },
            key: args.key,
            look_ahead_s: args.look_ahead,
            keep: args.keep.clone(),
            remember_s: args.remember,
        })?;
        let face = Face::new(args.json, args.large, listening.device().to_owned());
        listen(listening, face, args, out)
    }

    /// The metronome that the arguments ask for.
    fn metronome(args: &Args) -> Option<Metronome> {
        let tempo_bpm = args.tempo?;
        Some(Metronome::start(args.meter.0, tempo_bpm, args.click))
    }

    fn listen(
        mut listening: Listening,
        mut face: Face,
        args: &Args,
        out: &mut dyn Write,
    ) -> Result<Outcome, CliError> {
        let (keys, seconds) = (Keys::watch(), args.seconds);
        face.set_metronome(metronome(args));
        let mut gone = false;
        let mut last = None;
        loop {
            listening.hear(seconds, &mut |now, tenth| {
                last = Some(tenth);
                if tenth.is_answered {
                    show(&mut face, now, tenth, keys.columns(), out)?;
                }
                Ok::<_, CliError>(())
            })?;
            if seconds.is_some_and(|s| listening.heard_s() >= s) || keys.signalled() {
                break;
            }
            if listening.is_gone() {
                // who sits at the terminal can plug it in again, or quit
                if !keys.can_type() {
                    gone = true;
                    break;
                }
                face.say_waiting(keys.columns(), out)?;
                if !listening.open_again() && keys.wait(AGAIN) == Some('q') {
                    gone = true;
                    break;
                }
                continue;
            }
            if let Some(key) = keys.wait(TICK) {
                if key == 'd' || key == 'k' || key.is_ascii_digit() {
                    face.say_working(keys.columns(), out)?;
                }
                if key == 't' {
                    let next = (!face.has_metronome()).then(|| metronome(args));
                    face.set_metronome(next.flatten());
                }
                if !obey(key, &mut listening, &mut face) {
                    break;
                }
                if let Some(tenth) = last {
                    show(&mut face, &listening, tenth, keys.columns(), out)?;
                }
            }
        }
        face.close(out)?;
        drop(keys);
        tell(&listening, face.is_json(), out)?;
        let heard = listening.last().is_some();
        if gone {
            let hint = if heard {
                ""
            } else {
                "; look at: takebook record --devices"
            };
            writeln!(
                std::io::stderr(),
                "takebook: '{}' stopped delivering{hint}",
                listening.device()
            )?;
        }
        Ok(if gone || !heard {
            Outcome::Open
        } else {
            Outcome::Done
        })
    }

    fn show(
        face: &mut Face,
        listening: &Listening,
        tenth: Tenth,
        columns: usize,
        out: &mut dyn Write,
    ) -> Result<(), CliError> {
        let shown = Shown {
            t_s: listening.heard_s(),
            answer: listening.last(),
            earlier: listening.earlier(),
            instrument: listening.moments().instrument(),
            level: tenth.level,
            n_clipped: listening.n_clipped(),
            held: tenth.is_held,
            frozen: listening.is_frozen(),
            paused: listening.is_paused(),
            log: listening.moments().log(),
            remark: listening.moments().remark(),
        };
        face.show(&shown, columns, out)
    }

    /// Does what a key says; gives whether to go on.
    fn obey(key: char, listening: &mut Listening, face: &mut Face) -> bool {
        match key {
            'l' => face.turn_large(),
            'p' => listening.pause(!listening.is_paused()),
            'q' => return false,
            'f' => listening.freeze(!listening.is_frozen()),
            'm' => listening.mark(),
            'k' => {
                // the remark on the screen tells how it went
                let _ = listening.keep();
            }
            'd' => {
                let _ = listening.save_take();
            }
            '1'..='9' => {
                let tens = key.to_digit(10).unwrap_or(1);
                let _ = listening.keep_last(10.0 * f64::from(tens));
            }
            _ => {}
        }
        true
    }

    /// What was kept and marked, at the end.
    fn tell(listening: &Listening, json: bool, out: &mut dyn Write) -> Result<(), CliError> {
        let moments = listening.moments();
        let (n_kept, marks_s) = (moments.n_kept(), moments.marks_s());
        if json {
            let end = serde_json::json!({"version": 1, "kept": n_kept, "marks_s": marks_s});
            writeln!(out, "{end}")?;
            return Ok(());
        }
        if n_kept > 0 {
            let log = shown(moments.log());
            writeln!(out, "Moments kept: {n_kept}, in {log}")?;
        }
        if !marks_s.is_empty() {
            let marks: Vec<String> = marks_s.iter().map(|s| clock(*s)).collect();
            writeln!(out, "Marks at {}", marks.join(", "))?;
        }
        Ok(())
    }
}
