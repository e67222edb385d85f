//! Outside tests, one module an area.

mod audio;
mod backup;
mod chart;
mod check;
mod check_songs;
mod chords_db;
mod confirm;
mod counting;
mod crash;
mod damaged;
mod delivery;
mod dependencies;
#[cfg(feature = "desk")]
mod desk;
#[cfg(feature = "desk")]
mod desk_page;
mod double_stops;
mod draft;
mod first_answers;
mod foreign;
mod form;
mod geometry;
mod grade;
mod guide;
mod help_files;
mod imply;
mod invented;
mod lessons;
mod limits;
#[cfg(feature = "mic")]
mod listen;
mod log;
mod log_sample;
#[cfg(feature = "mic")]
mod microphone;
mod naming;
mod notes;
mod outside;
mod pictures;
mod playback;
mod players;
mod practice;
mod readme;
mod real_guitars;
#[cfg(feature = "mic")]
mod record;
mod rendered;
mod results;
mod rooms;
mod shapes;
mod tags;
mod tuner;
mod typed;
mod versions;
mod voice;
mod week;
mod weights;
