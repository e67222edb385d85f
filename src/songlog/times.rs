//! How moments are named in words.

/// How times are named in words: by the clock, or by bars and beats of a song.
pub trait Times {
    /// A moment, s.
    fn at(&self, at_s: f64) -> String;
    /// A stretch from one moment to another, s.
    fn range(&self, start_s: f64, end_s: f64) -> String;
}

/// Minutes and seconds: `1:05.3`.
pub struct Clock;

impl Times for Clock {
    fn at(&self, at_s: f64) -> String {
        super::decided::clock(at_s)
    }

    fn range(&self, start_s: f64, end_s: f64) -> String {
        format!("{} to {}", self.at(start_s), self.at(end_s))
    }
}
