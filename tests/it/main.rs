//! Outside tests, one module an area.

mod audio;
mod chart;
mod check;
mod chords_db;
mod confirm;
mod draft;
mod grade;
mod imply;
mod log;
mod log_sample;
mod naming;
mod outside;
mod readme;
mod rendered;
mod rooms;
mod shapes;
mod voice;
