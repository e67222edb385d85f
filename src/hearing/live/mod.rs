//! The same stages while somebody plays, with bounded look-ahead.

pub(in crate::hearing) mod causal;
pub(in crate::hearing) mod session;
pub(in crate::hearing) mod strings;
pub(in crate::hearing) mod tuner;
