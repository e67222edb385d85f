//! Outside tests, one module an area.

mod grade;
mod outside;
mod rendered;
mod rooms;
mod voice;
