//! Outside tests, one module an area.

mod rooms;
