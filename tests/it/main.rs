//! Outside tests, one module an area.

mod grade;
mod outside;
mod rendered;
mod audio;
mod confirm;
mod draft;
mod log;
mod log_sample;
mod rooms;
mod voice;
