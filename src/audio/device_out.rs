//! What goes out to loudspeakers or headphones, frame by frame.

use super::device::{Quiet, words};
use super::resample::Stream;
use super::{AudioError, DeviceError};
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{Device, FromSample, SampleFormat, SizedSample, StreamConfig};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Frames left and right, 1 is full scale.
pub(super) type Frame = [f32; 2];

/// Silence after the last frame, s: some devices cut what they still hold.
const TAIL_S: f64 = 0.3;
/// No device holds back more than this, s; a larger figure is not believed.
const MOST_HELD_S: f64 = 3.0;
/// A device that takes nothing for so long is gone.
const PATIENCE: Duration = Duration::from_secs(4);
const LOOK: Duration = Duration::from_millis(5);

/// An output device that was found, not yet started.
pub(super) struct Output {
    device: Device,
    config: StreamConfig,
    format: SampleFormat,
    _quiet: Quiet,
}

impl Output {
    /// The device of that id or the only one whose name holds it; none: the
    /// system's own. At `rate_hz` if it can.
    pub(super) fn find(name: Option<&str>, rate_hz: Option<u32>) -> Result<Self, AudioError> {
        let quiet = Quiet::new();
        let failed =
            |e: cpal::Error| AudioError::Device(DeviceError::NoOutput { reason: words(&e) });
        let device = match name {
            None => cpal::default_host()
                .default_output_device()
                .ok_or_else(|| {
                    AudioError::Device(DeviceError::NoOutput {
                        reason: "the system has none".into(),
                    })
                })?,
            Some(name) => named(name)?,
        };
        let usual = device.default_output_config().map_err(failed)?;
        let ranges: Vec<_> = device
            .supported_output_configs()
            .map_err(failed)?
            .filter(|c| fineness(c.sample_format()) > 0)
            .collect();
        let has = |rate: &u32| ranges.iter().any(|c| c.contains_rate(*rate));
        let rate_hz = rate_hz.filter(has).unwrap_or(usual.sample_rate());
        // two channels where it has them, else the fewest; then the finest format
        let best = ranges
            .iter()
            .filter(|c| c.contains_rate(rate_hz))
            .max_by_key(|c| {
                (
                    c.channels() == 2,
                    std::cmp::Reverse(c.channels()),
                    fineness(c.sample_format()),
                )
            })
            .ok_or_else(|| {
                AudioError::Device(DeviceError::NoOutput {
                    reason: "it takes no sample format that is known here".into(),
                })
            })?;
        let config = StreamConfig {
            channels: best.channels(),
            sample_rate: rate_hz,
            buffer_size: cpal::BufferSize::Default,
        };
        Ok(Self {
            format: best.sample_format(),
            device,
            config,
            _quiet: quiet,
        })
    }

    /// Frames a second, Hz.
    pub(super) fn rate_hz(&self) -> u32 {
        self.config.sample_rate
    }

    /// Plays `n_frames` frames that `next` gives, and returns when the device has
    /// sounded them; `stop`, asked with the frames handed over, ends it at once.
    pub(super) fn play(
        &self,
        next: impl FnMut() -> Frame + Send + 'static,
        n_frames: u64,
        stop: &mut dyn FnMut(u64) -> bool,
    ) -> Result<(), AudioError> {
        let shared = Arc::new(Shared::default());
        let stream = match self.format {
            SampleFormat::F32 => self.start::<f32>(next, &shared),
            SampleFormat::I32 => self.start::<i32>(next, &shared),
            SampleFormat::I24 => self.start::<cpal::I24>(next, &shared),
            SampleFormat::U8 => self.start::<u8>(next, &shared),
            _ => self.start::<i16>(next, &shared),
        };
        let _stream =
            stream.map_err(|e| AudioError::Device(DeviceError::NoOutput { reason: words(&e) }))?;
        let (mut moved, mut before) = (Instant::now(), 0);
        loop {
            let handed = shared.handed.load(Ordering::Acquire);
            let held = shared.held.load(Ordering::Relaxed);
            if handed >= n_frames + held || stop(handed.min(n_frames)) {
                return Ok(());
            }
            if handed > before {
                (moved, before) = (Instant::now(), handed);
            }
            if shared.is_broken.load(Ordering::Relaxed) || moved.elapsed() > PATIENCE {
                return Err(AudioError::Device(DeviceError::NoOutput {
                    reason: "the device stopped playing".into(),
                }));
            }
            std::thread::sleep(LOOK);
        }
    }

    fn start<T>(
        &self,
        mut next: impl FnMut() -> Frame + Send + 'static,
        shared: &Arc<Shared>,
    ) -> Result<cpal::Stream, cpal::Error>
    where
        T: SizedSample + FromSample<f32>,
    {
        let n_channels = usize::from(self.config.channels).max(1);
        let most_held = MOST_HELD_S * f64::from(self.rate_hz());
        let rate_hz = f64::from(self.rate_hz());
        let (counts, flags) = (Arc::clone(shared), Arc::clone(shared));
        let stream = self.device.build_output_stream::<T, _, _>(
            self.config,
            move |out, about| {
                for frame in out.chunks_mut(n_channels) {
                    let [left, right] = next();
                    if let [only] = frame {
                        *only = T::from_sample_(0.5 * (left + right));
                        continue;
                    }
                    for (i, x) in frame.iter_mut().enumerate() {
                        *x = T::from_sample_(match i {
                            0 => left,
                            1 => right,
                            _ => 0.0,
                        });
                    }
                }
                let now = about.timestamp();
                let held_s = now.playback.saturating_duration_since(now.callback);
                let held = (held_s.as_secs_f64() * rate_hz).min(most_held) as u64;
                let n = (out.len() / n_channels) as u64;
                counts.held.fetch_max(held, Ordering::Relaxed);
                counts.handed.fetch_add(n, Ordering::Release);
            },
            move |error| {
                use cpal::ErrorKind::{DeviceChanged, RealtimeDenied, Xrun};
                if !matches!(error.kind(), Xrun | RealtimeDenied | DeviceChanged) {
                    flags.is_broken.store(true, Ordering::Relaxed);
                }
            },
            None,
        )?;
        stream.play()?;
        Ok(stream)
    }
}

/// What the device's thread tells.
#[derive(Default)]
struct Shared {
    /// Frames handed over.
    handed: AtomicU64,
    /// Frames that the device holds before they sound, at most.
    held: AtomicU64,
    is_broken: AtomicBool,
}

fn fineness(format: SampleFormat) -> u8 {
    match format {
        SampleFormat::F32 => 5,
        SampleFormat::I32 => 4,
        SampleFormat::I24 => 3,
        SampleFormat::I16 => 2,
        SampleFormat::U8 => 1,
        _ => 0,
    }
}

fn named(name: &str) -> Result<Device, AudioError> {
    let lower = name.to_lowercase();
    let mut all: Vec<(String, Device)> = cpal::default_host()
        .output_devices()
        .map_err(|e| AudioError::Device(DeviceError::NoOutput { reason: words(&e) }))?
        .filter_map(|d| Some((d.id().ok()?.id().to_owned(), d)))
        .collect();
    let title = |d: &Device| {
        d.description()
            .map_or_else(|_| String::new(), |about| about.name().to_lowercase())
    };
    if let Some(i) = all.iter().position(|(id, _)| id == name) {
        return Ok(all.swap_remove(i).1);
    }
    let fits = |(id, d): &(String, Device)| {
        id.to_lowercase().contains(&lower) || title(d).contains(&lower)
    };
    let fitting: Vec<usize> = (0..all.len()).filter(|i| fits(&all[*i])).collect();
    if let [only] = fitting[..] {
        return Ok(all.swap_remove(only).1);
    }
    let names = all
        .iter()
        .enumerate()
        .filter(|(i, _)| fitting.is_empty() || fitting.contains(i))
        .map(|(_, (id, _))| format!("'{id}'"))
        .collect();
    Err(AudioError::Device(DeviceError::OutputName {
        name: name.into(),
        names,
    }))
}

/// Plays stereo frames through an output device, the system's own if none is
/// named, and returns when they have sounded.
///
/// Takes: `frames` left and right, 1 is full scale, at `rate_hz`; they are
/// converted if the device has another rate. `stop`, asked about 200 times a
/// second with the seconds handed over, ends it at once.
///
/// # Errors
/// * [`DeviceError::NoOutput`] if nothing can be played, or the device stops.
/// * [`DeviceError::OutputName`] if the name fits none, or several.
pub fn play(
    frames: Vec<[f32; 2]>,
    rate_hz: u32,
    device: Option<&str>,
    stop: &mut dyn FnMut(f64) -> bool,
) -> Result<(), AudioError> {
    let output = Output::find(device, Some(rate_hz))?;
    let frames = at_rate(frames, rate_hz, output.rate_hz())?;
    let out_hz = f64::from(output.rate_hz());
    let n_frames = frames.len() as u64 + (TAIL_S * out_hz) as u64;
    let mut waiting = frames.into_iter();
    output.play(
        move || waiting.next().unwrap_or_default(),
        n_frames,
        &mut |handed| stop(handed as f64 / out_hz),
    )
}

fn at_rate(frames: Vec<Frame>, from_hz: u32, to_hz: u32) -> Result<Vec<Frame>, AudioError> {
    if from_hz == to_hz {
        return Ok(frames);
    }
    let mut sides: [Vec<f32>; 2] = Default::default();
    for (side, out) in sides.iter_mut().enumerate() {
        let mut stream = Stream::new(from_hz, to_hz).ok_or_else(|| {
            AudioError::Device(DeviceError::NoOutput {
                reason: format!("{from_hz} Hz cannot be made {to_hz} Hz"),
            })
        })?;
        let samples: Vec<f32> = frames.iter().map(|f| f[side]).collect();
        let mut take = |block: &[f32]| out.extend_from_slice(block);
        stream.push(&samples, &mut take);
        stream.finish(&mut take);
    }
    let [left, right] = sides;
    Ok(left.into_iter().zip(right).map(|(l, r)| [l, r]).collect())
}
