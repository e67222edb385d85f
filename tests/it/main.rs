//! Outside tests, one module an area.

mod grade;
mod outside;
mod rooms;
mod voice;
