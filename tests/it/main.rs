//! Outside tests, one module an area.

mod chords_db;
mod imply;
mod naming;
mod rooms;
mod shapes;
