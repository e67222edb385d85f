//! Outside tests, one module an area.

mod audio;
mod confirm;
mod draft;
mod log;
mod log_sample;
mod outside;
mod rooms;
