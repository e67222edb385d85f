//! Outside tests, one module an area.

mod confirm;
mod log_sample;
mod rooms;
