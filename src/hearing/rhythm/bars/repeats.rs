//! How alike what is played on beats is to what is played some beats later.
//!
//! A pattern of the hand lasts a bar, or part of one: where beats are alike bar
//! for bar but not half-bar for half-bar, the bar is that long; where every beat
//! is like the next, beats are not counted at half their length.

use super::describe::Evidence;
use super::strokes::stroke_at;

/// Places within a beat that are looked at: its start, quarters and thirds.
const PLACES: [f32; 6] = [0.0, 0.25, 1.0 / 3.0, 0.5, 2.0 / 3.0, 0.75];
/// What is looked at there: attacks in all, low and high; a bass alone; a full hand.
const KINDS: usize = 5;
const N: usize = PLACES.len() * KINDS;

/// What is played on each beat, without what is played on all of them.
pub(super) struct Repeats {
    beats: Vec<[f32; N]>,
    power: f32,
}

impl Repeats {
    /// How alike beats so many apart are: 1 the same, 0 no more than any two.
    pub(super) fn alike(&self, apart: usize) -> f32 {
        let pairs = self.beats.iter().zip(self.beats.iter().skip(apart));
        let n = self.beats.len().saturating_sub(apart).max(1) as f32;
        let product =
            |(a, b): (&[f32; N], &[f32; N])| -> f32 { a.iter().zip(b).map(|(x, y)| x * y).sum() };
        pairs.map(product).sum::<f32>() / n / self.power
    }
}

impl Evidence<'_> {
    pub(super) fn repeats(&self, frames: &[usize]) -> Repeats {
        let at = |frame: usize| -> [f32; KINDS] {
            let moment = self.moments.get(frame);
            let stroke = stroke_at(&self.strokes, frame);
            let heard = |k: usize| moment.map_or(0.0, |m| m[k]);
            let hand = |what: fn(&super::strokes::Struck) -> f32| stroke.as_ref().map_or(0.0, what);
            [
                heard(0),
                heard(1),
                heard(2),
                hand(|s| s.bass),
                hand(|s| s.full),
            ]
        };
        let mut beats: Vec<[f32; N]> = frames
            .windows(2)
            .map(|w| {
                let mut beat = [0.0; N];
                for (place, here) in PLACES.iter().zip(beat.chunks_exact_mut(KINDS)) {
                    let frame = w[0] as f32 + place * (w[1] - w[0]) as f32;
                    here.copy_from_slice(&at(frame.round() as usize));
                }
                beat
            })
            .collect();
        let n = beats.len().max(1) as f32;
        let mut power = 0.0;
        for k in 0..N {
            let usual = beats.iter().map(|b| b[k]).sum::<f32>() / n;
            for beat in &mut beats {
                beat[k] -= usual;
                power += beat[k] * beat[k];
            }
        }
        Repeats {
            beats,
            power: (power / n).max(1e-3),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_of_four_beats_is_alike_four_beats_later() {
        const BEAT: usize = 40;
        let mut moments = vec![[0.0; 5]; 33 * BEAT];
        for beat in 0..32 {
            let at = beat * BEAT;
            moments[at][0] = if beat % 4 == 0 { 1.0 } else { 0.5 };
            if beat % 4 != 1 {
                moments[at + BEAT / 2][0] = 0.4;
            }
        }
        let evidence = Evidence::new(&moments, &[]);
        let frames: Vec<usize> = (0..=32).map(|beat| beat * BEAT).collect();
        let repeats = evidence.repeats(&frames);
        assert!(repeats.alike(4) > 0.99, "{}", repeats.alike(4));
        for apart in 1..4 {
            assert!(repeats.alike(apart) < 0.1, "{}", repeats.alike(apart));
        }
        // nothing is played: nothing is alike
        let silent = Evidence::new(&[[0.0; 5]; 200], &[]).repeats(&[0, 40, 80, 120]);
        assert!(silent.alike(1).abs() < 1e-6);
    }
}
