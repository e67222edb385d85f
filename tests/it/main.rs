//! Outside tests, one module an area.

mod chords_db;
mod rooms;
