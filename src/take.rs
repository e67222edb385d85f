//! What tells one take from another, and what its file says of itself.

/// What a file says of itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tags {
    /// The title.
    pub title: Option<String>,
    /// Who made the music.
    pub composer: Option<String>,
}

/// Volume below this is silence for a fingerprint, dB under full scale.
const SILENCE_DB: i16 = -60;
/// Takes whose lengths differ more than this are not the same, s: an MP3 of a
/// WAV is up to about 50 ms longer, a repaired file a little more.
const LENGTH_TOLERANCE_S: f64 = 0.25;
/// Mean difference of volume over the parts that one take may show, dB.
const LEVEL_TOLERANCE_DB: f64 = 1.5;
/// Mean relative difference of the crossings that one take may show.
const CROSSING_TOLERANCE: f64 = 0.15;

/// What tells one take from another, whatever it was coded with.
///
/// A hash would change with the decoder's last bit; this one compares how loud
/// and how bright each thirty-second part of the take is. Ours.
#[derive(Debug, Clone, PartialEq)]
pub struct Fingerprint {
    /// Length, s.
    pub duration_s: f64,
    /// Volume of each of 32 equal parts, whole dB under full scale, at least -120.
    pub levels_db: Vec<i16>,
    /// Changes of sign a second in each part.
    pub crossings: Vec<u32>,
}

impl Fingerprint {
    /// Whether two fingerprints are of the same take.
    pub fn is_same_take(&self, other: &Self) -> bool {
        if (self.duration_s - other.duration_s).abs() > LENGTH_TOLERANCE_S {
            return false;
        }
        let (mut level, mut crossing, mut n) = (0.0, 0.0, 0.0);
        let parts = self.levels_db.iter().zip(&self.crossings);
        for ((a_db, a_x), (b_db, b_x)) in parts.zip(other.levels_db.iter().zip(&other.crossings)) {
            if *a_db.max(b_db) <= SILENCE_DB {
                continue;
            }
            n += 1.0;
            level += f64::from((a_db - b_db).abs());
            let (a, b) = (f64::from(*a_x), f64::from(*b_x));
            crossing += (a - b).abs() / a.max(b).max(1.0);
        }
        n == 0.0 || (level / n <= LEVEL_TOLERANCE_DB && crossing / n <= CROSSING_TOLERANCE)
    }
}
