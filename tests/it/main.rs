//! Outside tests, one module an area.

mod chart;
mod grade;
mod outside;
mod rendered;
mod rooms;
mod voice;
