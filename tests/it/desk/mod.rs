//! `takebook desk`: the real program on real logs, reached over real sockets.

mod adding;
mod attacks;
mod client;
mod deciding;
mod gate;
mod http;
#[cfg(feature = "mic")]
mod live;
mod songbook;
mod sound;
mod trouble;

use client::Desk;
