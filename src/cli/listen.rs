//! `takebook listen`: the chord that sounds now, while it is played.

#[cfg(feature = "mic")]
mod screen;

use super::{CliError, Outcome};
use crate::fretboard::Tuning;
use crate::theory::Key;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `listen`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook listen --tuning drop-d --keep ideas.takebook\n\nKeys: k keeps the moment (its sound and its chords go to the log), m marks\nwhere the next kept moment begins, f freezes the screen, q quits."
)]
pub(crate) struct Args {
    /// The device: its name in `record --devices`, or a part that fits only one.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Only this channel of it, from 1. Left out, all mixed.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    channel: Option<u16>,
    /// Tuning: standard, half-down, whole-down, drop-d, open-g, dadgad, or notes low to high.
    #[arg(long)]
    tuning: Option<Tuning>,
    /// Fret of the capo, 0 for none.
    #[arg(long, value_name = "FRET", value_parser = clap::value_parser!(u8).range(0..=12))]
    capo: Option<u8>,
    /// Key, if you know it: G, Am.
    #[arg(long)]
    key: Option<Key>,
    /// The log that kept moments go to; their sound goes to a WAV file beside it.
    #[arg(long, value_name = "LOG", default_value = "moments.takebook")]
    keep: PathBuf,
    /// How many seconds of sound after a moment are waited for; more is surer and later.
    #[arg(long, value_name = "S", default_value = "0.19", value_parser = read_look_ahead)]
    look_ahead: f64,
    /// Ends after so many seconds of sound.
    #[arg(long, value_name = "S")]
    seconds: Option<f64>,
    /// One JSON object a line, whenever the answer changes.
    #[arg(long)]
    json: bool,
}

fn read_look_ahead(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (0.0..=3.3).contains(&s) => Ok(s),
        _ => Err(format!("'{text}' is not a time of 0 to 3.3 seconds")),
    }
}

#[cfg(not(feature = "mic"))]
pub(crate) fn run(_args: &Args, _out: &mut dyn Write) -> Result<Outcome, CliError> {
    Err(super::no_mic())
}

#[cfg(feature = "mic")]
pub(crate) use live::run;

#[cfg(feature = "mic")]
mod live {
    use super::super::keys::{Keys, clock};
    use super::screen::{Face, Shown};
    use super::{Args, CliError, Outcome, Write};
    use crate::audio::{Capture, Channels, Level, LevelMeter, ToHearing, WantedDevice, capture};
    use crate::drafting::Moments;
    use crate::fretboard::Instrument;
    use crate::hearing::spectrum::HOP_S;
    use crate::hearing::{Given, Live, LiveAnswer, Weights};
    use crate::theory::Label;
    use std::time::{Duration, Instant};

    /// Below this nothing is played: the last answer is held, dB FS.
    const QUIET_DBFS: f64 = -60.0;
    /// A device that delivers nothing for so long has vanished.
    const PATIENCE: Duration = Duration::from_secs(8);
    const TICK: Duration = Duration::from_millis(20);

    pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
        let mic = capture(&WantedDevice {
            name: args.device.clone(),
            rate_hz: None,
        })?;
        let channels = match args.channel {
            Some(n) if n > mic.n_channels => {
                return Err(CliError::new(format!(
                    "'{}' has no channel {n}; it has {}",
                    mic.device, mic.n_channels
                )));
            }
            Some(n) => Channels::One(n - 1),
            None => Channels::All,
        };
        let usual = Instrument::default();
        let given = Given {
            instrument: Instrument {
                tuning: args.tuning.clone().unwrap_or(usual.tuning),
                capo: args.capo.unwrap_or(0),
                highest_fret: usual.highest_fret,
            },
            key: args.key,
            ..Given::default()
        };
        let look_ahead = (args.look_ahead / HOP_S).round() as usize;
        let n_channels = channels.count(mic.n_channels);
        let mut session = Session {
            to_hearing: ToHearing::new(n_channels, mic.rate_hz)?,
            meter: LevelMeter::new(n_channels, mic.rate_hz),
            live: Live::new(given.clone(), Weights::default(), look_ahead),
            moments: Moments::new(&args.keep, mic.rate_hz, given),
            face: Face::new(args.json, mic.device.clone()),
            last: None,
            frozen: false,
            n_frames: 0,
            channels,
            mic,
        };
        session.listen(args.seconds, out)
    }

    struct Session {
        mic: Capture,
        channels: Channels,
        to_hearing: ToHearing,
        meter: LevelMeter,
        live: Live,
        moments: Moments,
        face: Face,
        /// The last answer in which something sounded.
        last: Option<LiveAnswer>,
        frozen: bool,
        n_frames: u64,
    }

    impl Session {
        fn listen(
            &mut self,
            seconds: Option<f64>,
            out: &mut dyn Write,
        ) -> Result<Outcome, CliError> {
            let keys = Keys::watch();
            let (mut all, mut block) = (Vec::new(), Vec::new());
            let mut last_sound = Instant::now();
            let n = usize::from(self.channels.count(self.mic.n_channels));
            let wanted = seconds.map(|s| (s * f64::from(self.mic.rate_hz)) as u64);
            let mut gone = false;
            loop {
                all.clear();
                if self.mic.pull(&mut all) > 0 {
                    last_sound = Instant::now();
                    self.channels.pick(self.mic.n_channels, &all, &mut block);
                    if let Some(wanted) = wanted {
                        let room = wanted.saturating_sub(self.n_frames) as usize;
                        block.truncate(room.saturating_mul(n));
                    }
                    // a part at a time, as it would have come
                    for part in block.chunks(n * self.mic.rate_hz as usize / 10) {
                        self.hear(part, out)?;
                    }
                }
                if wanted.is_some_and(|w| self.n_frames >= w) || keys.signalled() {
                    break;
                }
                if self.mic.faults().is_gone || last_sound.elapsed() > PATIENCE {
                    gone = true;
                    break;
                }
                if let Some(key) = keys.wait(TICK)
                    && !self.obey(key, out)?
                {
                    break;
                }
            }
            self.face.close(out)?;
            drop(keys);
            self.tell(out)?;
            if gone {
                let mut err = std::io::stderr();
                let kept = if self.last.is_some() {
                    ""
                } else {
                    "; look at: takebook record --devices"
                };
                writeln!(
                    err,
                    "takebook: '{}' stopped delivering{kept}",
                    self.mic.device
                )?;
            }
            Ok(if gone || self.last.is_none() {
                Outcome::Open
            } else {
                Outcome::Done
            })
        }

        /// Hears a tenth of a second.
        fn hear(&mut self, part: &[f32], out: &mut dyn Write) -> Result<(), CliError> {
            let level = self.meter.push(part);
            let n = usize::from(self.channels.count(self.mic.n_channels));
            self.n_frames += (part.len() / n) as u64;
            self.moments.push(part, n);
            let mut ready = Vec::new();
            self.to_hearing
                .push(part, &mut |mono| ready.extend_from_slice(mono));
            if let Some(answer) = self.live.push(&ready)? {
                let sounds =
                    level.rms_dbfs > QUIET_DBFS && answer.candidates[0].0 != Label::NoChord;
                if sounds && !self.frozen {
                    self.last = Some(answer);
                }
                self.show(level, !sounds, out)?;
            }
            Ok(())
        }

        fn show(&mut self, level: Level, held: bool, out: &mut dyn Write) -> Result<(), CliError> {
            let shown = Shown {
                t_s: self.n_frames as f64 / f64::from(self.mic.rate_hz),
                answer: self.last.as_ref(),
                instrument: self.moments.instrument(),
                level,
                n_clipped: self.meter.n_clipped(),
                held,
                frozen: self.frozen,
                remark: self.moments.remark(),
            };
            self.face.show(&shown, out)
        }

        /// Does what a key says; gives whether to go on.
        fn obey(&mut self, key: char, out: &mut dyn Write) -> Result<bool, CliError> {
            match key {
                'q' => return Ok(false),
                'f' => self.frozen = !self.frozen,
                'm' => self.moments.mark(),
                'k' => {
                    let since_s = self.last.as_ref().map(|a| a.since_s);
                    self.moments.keep(since_s);
                }
                _ => {}
            }
            out.flush()?;
            Ok(true)
        }

        /// What was kept and marked, at the end.
        fn tell(&self, out: &mut dyn Write) -> Result<(), CliError> {
            let (n_kept, marks_s) = (self.moments.n_kept(), self.moments.marks_s());
            if self.face.is_json() {
                let end = serde_json::json!({"kept": n_kept, "marks_s": marks_s});
                writeln!(out, "{end}")?;
                return Ok(());
            }
            if n_kept > 0 {
                writeln!(
                    out,
                    "Moments kept: {n_kept}, in {}",
                    self.moments.log().display()
                )?;
            }
            if !marks_s.is_empty() {
                let marks: Vec<String> = marks_s.iter().map(|s| clock(*s)).collect();
                writeln!(out, "Marks at {}", marks.join(", "))?;
            }
            Ok(())
        }
    }
}
