//! The desk: one log and its take, or all logs of a folder, on a page of this machine.
//!
//! A small server on 127.0.0.1 that only the page it serves itself can reach
//! (`gate`): a one-time key in the link, a session cookie, Host and Origin
//! checked. It serves the embedded page (`assets`), the song and its evidence,
//! the take's sound, and takes decisions by the same way as the command line
//! (`deciding`). The logs of a folder are listed and opened by `songbook`.
//! `docs/desk-api.md` lists every request.
//!
//! Nothing is kept here that the log does not hold: a desk that is killed
//! loses nothing. Not here: what to type to start it (`cli`).

mod analysis;
mod answering;
mod assets;
mod book;
mod changes;
mod chart;
mod check;
mod complete;
mod conditional;
mod decide;
mod door;
mod drawn;
mod error;
mod events;
mod evidence;
#[cfg(feature = "mic")]
mod fragments;
mod gate;
mod headers;
mod history;
mod live;
mod peaks;
mod pluck;
mod port;
mod server;
mod song;
mod songbook;
mod take;
mod visitors;
mod wav;

pub use answering::{Answer, Answering};
pub use error::DeskError;
pub use server::Desk;
