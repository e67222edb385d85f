//! Outside tests, one module an area.

mod audio;
mod confirm;
mod draft;
mod grade;
mod log;
mod log_sample;
mod outside;
mod rendered;
mod rooms;
mod voice;
mod chords_db;
mod imply;
mod naming;
mod shapes;
