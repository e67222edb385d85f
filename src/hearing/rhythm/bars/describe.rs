//! A way to count as numbers, and its rank.

use super::evidence::{Evidence, mean};
use super::hypothesis::Hypothesis;
use super::numbers::bar_weights;
use super::places::Fixed;
use super::rows::median_gap;
use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::rhythm::beat_numbers::{Described, beat_numbers};

impl Evidence<'_> {
    pub(super) fn describe(&self, frames: &[usize], per_bar: u8, fixed: &Fixed) -> Hypothesis {
        let (places, bar_score, jumps) = self.places(frames, per_bar, fixed);
        let w = bar_weights();
        let (beat, division) = (&self.search.beat, &self.search.division);
        let gaps: Vec<(usize, usize)> = frames.windows(2).map(|w| (w[0], w[1] - w[0])).collect();
        let seconds = self.moments.len() as f32 * FINE_HOP_S as f32;
        let length_s = median_gap(frames) as f32 * FINE_HOP_S as f32;
        let beats: f32 = frames.iter().map(|f| beat[*f]).sum();
        let halves: Vec<f32> = gaps.iter().map(|(f, g)| division[f + g / 2]).collect();
        let pair = |a: usize, b: usize| 0.5 * (division[a] + division[b]);
        let quarters: Vec<f32> = gaps
            .iter()
            .map(|(f, g)| pair(f + g / 4, f + 3 * g / 4))
            .collect();
        let thirds: Vec<f32> = gaps
            .iter()
            .map(|(f, g)| pair(f + g / 3, f + 2 * g / 3))
            .collect();
        let change = |f: usize| self.moments[f][3];
        let at_place = |wanted: &dyn Fn(u8) -> bool| {
            mean(
                frames
                    .iter()
                    .zip(&places)
                    .filter(|(_, p)| wanted(**p))
                    .map(|(f, _)| change(*f)),
            )
        };
        let (on, off) = (at_place(&|p| p == 1), at_place(&|p| p != 1));
        let share =
            |v: &[f32], over: f32| mean(v.iter().map(|x| if *x > over { 1.0 } else { 0.0 }));
        let (half, quarter, third) = (
            mean(halves.iter().copied()),
            mean(quarters.iter().copied()),
            mean(thirds.iter().copied()),
        );
        let tempo = (60.0 / length_s.max(1e-3) / 105.0).log2();
        let is = |n: u8| if per_bar == n { 1.0 } else { 0.0 };
        let length = (length_s * f32::from(per_bar)).max(1e-3).ln();
        let n = frames.len() as f32;
        let hands = self.hands(frames, &places);
        let middle = self.middle_strokes(frames, &places, per_bar);
        let compound = if w.is_compound(third, half) { 1.0 } else { 0.0 };
        let accents = self.accents(frames, &places, per_bar);
        let repeats = self.repeats(frames);
        let bar = usize::from(per_bar);
        let alike = |apart: usize| repeats.alike(apart);
        let changed = |f: &usize| if change(*f) > w.changed { 1.0 } else { 0.0 };
        let downs = || frames.iter().zip(&places).filter(|(_, p)| **p == 1);
        // how many bars a chord lasts, and ln of how many seconds
        let held = downs().count() as f32 / downs().map(|(f, _)| changed(f)).sum::<f32>().max(1.0);
        let held_s = (held * length_s * f32::from(per_bar)).max(1e-3).ln();
        let described = Described {
            beat_mean: beats / n,
            beat_rate: beats / seconds,
            half,
            quarter,
            third,
            tempo,
            tempo2: tempo * tempo,
            tempo_abs: tempo.abs(),
            bar_mean: bar_score / n,
            bar_rate: bar_score / seconds,
            change_on: on,
            change_off: off,
            change_half: mean(gaps.iter().map(|(f, g)| change(f + g / 2))),
            change_mid: if per_bar == 4 {
                at_place(&|p| p == 3)
            } else {
                off
            },
            skips: jumps as f32 / n,
            two: is(2),
            three: is(3),
            four: is(4),
            two_third: is(2) * third,
            two_half: is(2) * half,
            three_half: is(3) * half,
            four_half: is(4) * half,
            two_tempo: is(2) * tempo,
            three_tempo: is(3) * tempo,
            four_tempo: is(4) * tempo,
            length,
            length2: length * length,
            half_share: share(&halves, 0.0),
            quarter_share: share(&quarters, 0.0),
            third_share: share(&thirds, w.third),
            first_off: accents.first_off,
            first_down: accents.first_down,
            low_beat: accents.low_beat,
            low_down: accents.low_down,
            back: accents.back,
            three_mid_flux: is(3) * accents.middle[0],
            three_mid_low: is(3) * accents.middle[1],
            three_mid_high: is(3) * accents.middle[2],
            two_mid_flux: is(2) * accents.middle[0],
            two_mid_low: is(2) * accents.middle[1],
            two_mid_high: is(2) * accents.middle[2],
            compound,
            compound_tempo: compound * tempo,
            compound_tempo2: compound * tempo * tempo,
            two_length: is(2) * length,
            two_length2: is(2) * length * length,
            three_length: is(3) * length,
            three_length2: is(3) * length * length,
            bass_down: hands.bass[0],
            bass_other: hands.bass[1],
            bass_half: hands.bass[2],
            full_down: hands.full[0],
            full_other: hands.full[1],
            full_half: hands.full[2],
            low_down_note: hands.low[0],
            low_other_note: hands.low[1],
            low_half_note: hands.low[2],
            bass_down_tempo: hands.bass[0] * tempo,
            bass_other_tempo: hands.bass[1] * tempo,
            bass_half_tempo: hands.bass[2] * tempo,
            full_other_tempo: hands.full[1] * tempo,
            full_half_tempo: hands.full[2] * tempo,
            boom_three: is(3) * hands.boom,
            boom_even: (1.0 - is(3)) * hands.boom,
            two_simple: is(2) * (1.0 - compound),
            picked_compound_quick: compound * self.picked * (tempo + w.quick).max(0.0),
            picked_three_slow: is(3) * self.picked * (-tempo - w.slow).max(0.0),
            compound_quick: compound * tempo.max(0.0),
            turns_two: is(2) * self.turns(frames, &places),
            turns_three: is(3) * self.turns(frames, &places),
            turns_four: is(4) * self.turns(frames, &places),
            picked_two: is(2) * self.picked,
            picked_three: is(3) * self.picked,
            picked_three_tempo: is(3) * self.picked * tempo,
            picked_compound: compound * self.picked,
            picked_compound_tempo: compound * self.picked * tempo,
            picked_tempo: self.picked * tempo,
            picked_tempo2: self.picked * tempo * tempo,
            three_mid_struck: is(3) * middle[0],
            three_mid_low_note: is(3) * middle[1],
            three_mid_full: is(3) * middle[2],
            compound_mid_struck: compound * middle[0],
            compound_mid_low_note: compound * middle[1],
            compound_mid_full: compound * middle[2],
            alike_beat: alike(1),
            alike_beat_tempo: alike(1) * tempo,
            alike_bar: alike(bar),
            alike_bars: alike(2 * bar),
            two_alike_bar: is(2) * alike(2),
            two_alike_beat: is(2) * alike(1),
            two_alike_bars: is(2) * alike(4),
            three_alike_two: is(3) * alike(2),
            four_alike_bar: is(4) * alike(4),
            compound_alike_bar: compound * alike(bar),
            compound_two: compound * is(2),
            compound_two_tempo: compound * is(2) * tempo,
            half_tempo: half * tempo,
            quarter_tempo: quarter * tempo,
            third_tempo: third * tempo,
            quarter_share_tempo: share(&quarters, 0.0) * tempo,
            half_share_tempo: share(&halves, 0.0) * tempo,
            held: held.min(w.most_held),
            held_two: is(2) * held.min(w.most_held),
            held_s2: held_s * held_s,
            full_tempo: (1.0 - self.picked) * tempo,
            full_tempo2: (1.0 - self.picked) * tempo * tempo,
            full_quarter_share: (1.0 - self.picked) * share(&quarters, 0.0),
        };
        let values = described.values();
        let weights = beat_numbers().rank.values();
        let rank = values.iter().zip(&weights).map(|(x, w)| x * w).sum();
        Hypothesis {
            frames: frames.to_vec(),
            places,
            per_bar,
            third,
            half,
            rank,
            values: values.to_vec(),
        }
    }
}
