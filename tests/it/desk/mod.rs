//! `takebook desk`: the real program on real logs, reached over real sockets.

mod adding;
mod attacks;
mod client;
mod deciding;
#[cfg(target_os = "linux")]
mod faults;
mod gate;
mod http;
#[cfg(feature = "mic")]
mod live;
#[cfg(all(feature = "mic", target_os = "linux"))]
mod recording;
mod songbook;
mod sound;
mod trouble;

use client::Desk;
