//! Placeholder of a room.
