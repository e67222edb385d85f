//! The parts that need no server.
