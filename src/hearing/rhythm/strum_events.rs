//! Strums with their time and direction, from what the song net hears and where attacks lie.

use crate::hearing::acoustic::songs::{FINE_S, Pulse};
use crate::hearing::acoustic::strokes::Stroke;
use crate::hearing::outputs::Strum;
use crate::hearing::strum_window::strum_window;

/// All strums in order.
pub(crate) fn strums(pulse: &[Pulse], strokes: &[Stroke]) -> Vec<Strum> {
    let w = strum_window();
    let mut peaks: Vec<usize> = Vec::new();
    for t in 1..pulse.len().saturating_sub(1) {
        let p = pulse[t].strum;
        if p < w.least || p < pulse[t - 1].strum || p <= pulse[t + 1].strum {
            continue;
        }
        match peaks.last_mut() {
            Some(last) if t - *last < w.apart_frames => {
                if p > pulse[*last].strum {
                    *last = t;
                }
            }
            _ => peaks.push(t),
        }
    }
    let mut before_s = f64::MIN;
    let strum = |t: usize| {
        let at_s = between(pulse, t);
        let sweep_s = w.sweep_s.min(at_s - before_s - w.apart_s).max(0.0);
        before_s = at_s;
        let up = pulse[t].up;
        Strum {
            time_s: heard_at(at_s, sweep_s, strokes),
            down: up < 0.5,
            probability: f64::from(pulse[t].strum),
            direction_probability: f64::from(up.max(1.0 - up)),
        }
    };
    let mut all: Vec<Strum> = peaks.into_iter().map(strum).collect();
    // two that fall on one moment are one
    all.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    all.dedup_by(|b, a| b.time_s == a.time_s);
    all
}

/// When a strum is heard that the net hears at `at_s` and whose first string may have sounded
/// `sweep_s` before, s: between that and its strongest attack. The net hears the whole sweep, but
/// of hands it does not know not to the hundredth; an attack lies well, but where a sweep is slow it is of
/// one string. The two err apart.
fn heard_at(at_s: f64, sweep_s: f64, strokes: &[Stroke]) -> f64 {
    let w = strum_window();
    let from = strokes.partition_point(|s| s.time_s < at_s - sweep_s);
    let to = strokes.partition_point(|s| s.time_s <= at_s + w.attack_after_net_s);
    let near = &strokes[from..to.max(from)];
    // the first of equals
    let strongest = near
        .iter()
        .rev()
        .max_by(|a, b| a.strength.total_cmp(&b.strength));
    strongest.map_or(at_s, |s| at_s + w.attack_share * (s.time_s - at_s))
}

/// A peak's place between frames by a parabola through it and its neighbors, s.
fn between(pulse: &[Pulse], t: usize) -> f64 {
    let [a, b, c] = [t - 1, t, t + 1].map(|t| f64::from(pulse[t].strum));
    let curve = a - 2.0 * b + c;
    let off = if curve < -1e-9 {
        (0.5 * (a - c) / curve).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    (t as f64 + off) * FINE_S
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strum_is_heard_between_the_nets_moment_and_its_strongest_attack() {
        let stroke = |time_s, strength| Stroke { time_s, strength };
        // a soft knock before, the strongest attack, a later one
        let strokes = [stroke(0.99, 0.1), stroke(1.0, 1.0), stroke(1.07, 0.8)];
        let heard = |at_s, sweep_s| heard_at(at_s, sweep_s, &strokes);
        let sweep_s = strum_window().sweep_s;
        assert!((heard(1.08, sweep_s) - 1.04).abs() < 1e-9);
        // the attack of a strum before is not its own
        assert!((heard(1.08, 0.05) - 1.075).abs() < 1e-9);
        // no attack near: the net's moment
        assert!((heard(2.0, sweep_s) - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_strum_lies_on_its_attack_and_tells_its_direction() {
        let quiet = Pulse {
            beat: 0.0,
            downbeat: 0.0,
            strum: 0.02,
            up: 0.5,
        };
        let mut pulse = vec![quiet; 60];
        pulse[20] = Pulse {
            strum: 0.9,
            up: 0.1,
            ..quiet
        };
        pulse[40] = Pulse {
            strum: 0.8,
            up: 0.95,
            ..quiet
        };
        let stroke = Stroke {
            time_s: 20.6 * FINE_S,
            strength: 1.0,
        };
        let got = strums(&pulse, &[stroke]);
        assert_eq!(got.len(), 2);
        assert!(got[0].down && !got[1].down);
        // between the net's frame and the attack
        assert!((got[0].time_s - 20.3 * FINE_S).abs() < 1e-9);
        assert!((got[1].time_s - 40.0 * FINE_S).abs() < 1e-9);
    }
}
