//! Outside tests, one module an area.

mod audio;
mod chart;
mod check;
mod chords_db;
mod confirm;
#[cfg(feature = "desk")]
<<<<<<< HEAD
mod desk_page;
=======
mod desk;
>>>>>>> desk
mod draft;
mod grade;
mod imply;
#[cfg(feature = "mic")]
mod listen;
mod log;
mod log_sample;
#[cfg(feature = "mic")]
mod microphone;
mod naming;
mod outside;
mod readme;
#[cfg(feature = "mic")]
mod record;
mod rendered;
mod rooms;
mod shapes;
mod voice;
