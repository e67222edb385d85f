//! Microphones: which there are, and what comes in from one.

use super::ring::{RingIn, RingOut, Shared, ring};
use super::{AudioError, DeviceError};
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{Device, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// How much a stalled reader may leave waiting, s.
const RING_S: usize = 20;
/// Rates offered where a device takes a whole range, Hz.
const USUAL_RATES_HZ: [u32; 7] = [16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000];
/// Rates tried first, Hz: no better for a guitar's notes, but no worse either.
const LIKED_RATES_HZ: [u32; 2] = [48_000, 44_100];

/// Not microphones: `null` delivers silence without end; `jack` writes to the
/// terminal if its server does not run, and is reached by its own name.
const UNUSABLE: [&str; 2] = ["null", "jack"];

/// One input device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputDevice {
    /// What to call it by: unique.
    pub id: String,
    /// What the system calls it for people.
    pub name: String,
    /// Whether it is what the system uses if none is named.
    pub is_default: bool,
    /// Numbers of channels it delivers, ascending.
    pub channels: Vec<u16>,
    /// Usual rates it delivers, Hz, ascending.
    pub rates_hz: Vec<u32>,
}

/// What is wanted of a device; none: what it does by itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WantedDevice {
    /// Its id, or a part of its name that fits only one.
    pub name: Option<String>,
    /// Frames a second, Hz.
    pub rate_hz: Option<u32>,
}

/// What went wrong so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Faults {
    /// Times that the device lost samples before they reached the program.
    pub n_dropouts: u64,
    /// Frames that the program could not take in time.
    pub lost_frames: u64,
    /// Frames delivered before the first of those.
    pub first_lost_at: Option<u64>,
    /// Whether the device is gone.
    pub is_gone: bool,
}

/// An open microphone; closed when dropped.
pub struct Capture {
    ring: RingOut,
    _stream: cpal::Stream,
    _quiet: Quiet,
    /// The device's name.
    pub device: String,
    /// Channels in a frame.
    pub n_channels: u16,
    /// Frames a second, Hz.
    pub rate_hz: u32,
    pulled_frames: u64,
}

impl Capture {
    /// Appends all interleaved samples that are waiting; gives how many came. Never waits.
    pub fn pull(&mut self, out: &mut Vec<f32>) -> usize {
        let n = self.ring.pull(usize::MAX, out);
        self.pulled_frames += (n / usize::from(self.n_channels.max(1))) as u64;
        n
    }

    /// Frames pulled so far.
    pub fn pulled_frames(&self) -> u64 {
        self.pulled_frames
    }

    /// What went wrong so far.
    pub fn faults(&self) -> Faults {
        let shared = &self.ring.shared;
        let lost_frames = shared.lost_frames.load(Ordering::Acquire);
        Faults {
            n_dropouts: shared.n_dropouts.load(Ordering::Relaxed),
            lost_frames,
            first_lost_at: (lost_frames > 0).then(|| shared.first_lost_at.load(Ordering::Relaxed)),
            is_gone: shared.ended.load(Ordering::Relaxed) != 0,
        }
    }
}

/// While it lives, the system's sound library does not write to the terminal.
pub(super) struct Quiet {
    #[cfg(target_os = "linux")]
    _handler: Option<std::rc::Rc<std::cell::RefCell<alsa::Output>>>,
}

impl Quiet {
    pub(super) fn new() -> Self {
        Self {
            #[cfg(target_os = "linux")]
            _handler: alsa::Output::local_error_handler().ok(),
        }
    }
}

/// All devices that can record, the default one first.
///
/// # Errors
/// * [`DeviceError::NoInput`] if the system has no sound at all.
pub fn input_devices() -> Result<Vec<InputDevice>, AudioError> {
    let _quiet = Quiet::new();
    Ok(all()?.into_iter().map(|(device, _)| device).collect())
}

fn no_device(error: &cpal::Error) -> AudioError {
    AudioError::Device(DeviceError::NoInput {
        reason: words(error),
    })
}

/// A message of the sound library in our form.
pub(super) fn words(error: &cpal::Error) -> String {
    let text = match error.kind() {
        ErrorKind::DeviceNotAvailable => "the system has none".into(),
        ErrorKind::DeviceBusy => "it is busy".into(),
        ErrorKind::PermissionDenied => {
            "the system does not allow it (privacy settings, or the group 'audio')".into()
        }
        _ => plain(&error.to_string()),
    };
    let text = text.trim_end_matches('.');
    let mut letters = text.chars();
    // a name of capitals stays
    if text.chars().nth(1).is_some_and(char::is_uppercase) {
        return text.to_owned();
    }
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

/// What the system's sound library reports, in plain words with what to do; messages that are
/// not known stay as they are.
fn plain(message: &str) -> String {
    const KNOWN: [(&str, &str); 5] = [
        (
            "Connection refused",
            "the sound server does not run; log in to the desktop or start it (PipeWire: systemctl --user start pipewire-pulse), or choose a device that needs none",
        ),
        (
            "No such file or directory",
            "the device is not there; connect it",
        ),
        ("No such device", "it was unplugged; connect it again"),
        (
            "resource busy",
            "another program uses it; close that program",
        ),
        (
            "Permission denied",
            "the system does not allow it (privacy settings, or the group 'audio')",
        ),
    ];
    let known = KNOWN.iter().find(|(sign, _)| message.contains(sign));
    known.map_or(message, |(_, words)| words).to_owned()
}

fn all() -> Result<Vec<(InputDevice, Device)>, AudioError> {
    let host = cpal::default_host();
    let usual = host
        .default_input_device()
        .and_then(|d| d.id().ok())
        .map(|id| id.id().to_owned());
    let mut found = Vec::new();
    let mut devices: Vec<Device> = host.devices().map_err(|e| no_device(&e))?.collect();
    if let Some(device) = host.default_input_device()
        && !devices.contains(&device)
    {
        devices.push(device); // one that is set up but not announced
    }
    for device in devices {
        let Ok(id) = device.id() else { continue };
        if UNUSABLE.contains(&id.id()) {
            continue;
        }
        let Ok(configs) = device.supported_input_configs() else {
            continue;
        };
        let configs: Vec<_> = configs.filter(|c| is_known(c.sample_format())).collect();
        if configs.is_empty() {
            continue;
        }
        let id = id.id().to_owned();
        let name = device
            .description()
            .map_or_else(|_| id.clone(), |d| d.name().to_owned());
        let mut channels: Vec<u16> = configs.iter().map(|c| c.channels()).collect();
        channels.sort_unstable();
        channels.dedup();
        let rates_hz = USUAL_RATES_HZ
            .into_iter()
            .filter(|r| configs.iter().any(|c| c.contains_rate(*r)))
            .collect();
        let info = InputDevice {
            is_default: usual.as_ref() == Some(&id),
            id,
            name,
            channels,
            rates_hz,
        };
        found.push((info, device));
    }
    found.sort_by_key(|(d, _)| !d.is_default);
    Ok(found)
}

fn is_known(format: SampleFormat) -> bool {
    matches!(
        format,
        SampleFormat::F32
            | SampleFormat::I32
            | SampleFormat::I24
            | SampleFormat::I16
            | SampleFormat::U8
    )
}

/// Opens a microphone; samples wait in a ring of 20 seconds until they are pulled.
///
/// # Errors
/// * [`DeviceError::NoInput`] if there is none.
/// * [`DeviceError::InputName`] if the name fits none, or several.
/// * [`DeviceError::Settings`] for a rate that the device does not have.
/// * [`DeviceError::Start`] if it does not start.
pub fn capture(wanted: &WantedDevice) -> Result<Capture, AudioError> {
    let quiet = Quiet::new();
    let (name, device) = find(wanted.name.as_deref())?;
    let (config, format) = settings(&device, &name, wanted.rate_hz)?;
    let n_frames = RING_S * config.sample_rate as usize;
    let (input, output) = ring(config.channels, n_frames);
    let stream = match format {
        SampleFormat::F32 => start::<f32>(&device, config, input, &output.shared),
        SampleFormat::I32 => start::<i32>(&device, config, input, &output.shared),
        SampleFormat::I24 => start::<cpal::I24>(&device, config, input, &output.shared),
        SampleFormat::U8 => start::<u8>(&device, config, input, &output.shared),
        _ => start::<i16>(&device, config, input, &output.shared),
    };
    let stream = stream.map_err(|e| {
        AudioError::Device(DeviceError::Start {
            device: name.clone(),
            reason: words(&e),
        })
    })?;
    Ok(Capture {
        ring: output,
        _stream: stream,
        _quiet: quiet,
        device: name,
        n_channels: config.channels,
        rate_hz: config.sample_rate,
        pulled_frames: 0,
    })
}

fn start<T>(
    device: &Device,
    config: StreamConfig,
    mut input: RingIn,
    shared: &Arc<Shared>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let shared = Arc::clone(shared);
    let stream = device.build_input_stream::<T, _, _>(
        config,
        move |samples, _| input.push(samples, |s| f32::from_sample_(s)),
        move |error| match error.kind() {
            ErrorKind::Xrun => {
                shared.n_dropouts.fetch_add(1, Ordering::Relaxed);
            }
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
            _ => shared.ended.store(1, Ordering::Relaxed),
        },
        None,
    )?;
    stream.play()?;
    Ok(stream)
}

fn find(name: Option<&str>) -> Result<(String, Device), AudioError> {
    let Some(name) = name else {
        let device = cpal::default_host().default_input_device().ok_or_else(|| {
            AudioError::Device(DeviceError::NoInput {
                reason: "the system has none".into(),
            })
        })?;
        device.default_input_config().map_err(|e| no_device(&e))?;
        return Ok((title(&device), device));
    };
    let mut devices = all()?;
    let lower = name.to_lowercase();
    if !devices.iter().any(|(d, _)| d.id == name) {
        let fits = |d: &InputDevice| {
            d.id.to_lowercase().contains(&lower) || d.name.to_lowercase().contains(&lower)
        };
        let n_fitting = devices.iter().filter(|(d, _)| fits(d)).count();
        if n_fitting != 1 {
            let names = devices
                .iter()
                .filter(|(d, _)| n_fitting == 0 || fits(d))
                .map(|(d, _)| format!("'{}'", d.id))
                .collect();
            return Err(AudioError::Device(DeviceError::InputName {
                name: name.into(),
                names,
            }));
        }
        devices.retain(|(d, _)| fits(d));
    } else {
        devices.retain(|(d, _)| d.id == name);
    }
    let (_, device) = devices.swap_remove(0);
    Ok((title(&device), device))
}

fn title(device: &Device) -> String {
    device
        .id()
        .map_or_else(|_| device.to_string(), |id| id.id().to_owned())
}

/// As many channels as the device likes; the rate asked for, or a usual one; the finest format.
fn settings(
    device: &Device,
    name: &str,
    rate_hz: Option<u32>,
) -> Result<(StreamConfig, SampleFormat), AudioError> {
    let failed = |e: cpal::Error| {
        AudioError::Device(DeviceError::Start {
            device: name.into(),
            reason: words(&e),
        })
    };
    let usual = device.default_input_config().map_err(failed)?;
    let ranges: Vec<_> = device
        .supported_input_configs()
        .map_err(failed)?
        .filter(|c| is_known(c.sample_format()))
        .collect();
    // the system's own default can be any: "default" devices offer up to 32 channels
    let n_channels = usual.channels().min(2);
    let has = |rate: u32| ranges.iter().any(|c| c.contains_rate(rate));
    let rate = match rate_hz {
        Some(rate) if has(rate) => rate,
        Some(rate) => {
            let rates: Vec<String> = USUAL_RATES_HZ
                .into_iter()
                .filter(|r| has(*r))
                .map(|r| r.to_string())
                .collect();
            return Err(AudioError::Device(DeviceError::Settings {
                device: name.into(),
                asked: format!("rate of {rate} Hz"),
                possible: format!("{} Hz", rates.join(", ")),
            }));
        }
        None => LIKED_RATES_HZ
            .into_iter()
            .find(|r| has(*r))
            .unwrap_or(usual.sample_rate()),
    };
    let fineness = |format: SampleFormat| match format {
        SampleFormat::F32 => 4,
        SampleFormat::I32 => 3,
        SampleFormat::I24 => 2,
        SampleFormat::I16 => 1,
        _ => 0,
    };
    let best = ranges
        .iter()
        .filter(|c| c.contains_rate(rate))
        .max_by_key(|c| {
            (
                c.channels() == n_channels,
                std::cmp::Reverse(c.channels()),
                fineness(c.sample_format()),
            )
        })
        .ok_or_else(|| {
            AudioError::Device(DeviceError::Settings {
                device: name.into(),
                asked: "sample format that is known here".into(),
                possible: "others".into(),
            })
        })?;
    let config = StreamConfig {
        channels: best.channels(),
        sample_rate: rate,
        buffer_size: cpal::BufferSize::Default,
    };
    Ok((config, best.sample_format()))
}
