// Tapping along: the recording plays, each press is a beat.

import { button, el } from "./dom.js";
import { plural } from "./music.js";
import { isPlaying, now, playFrom, stop } from "./player.js";
import { desk } from "./state.js";

/** A tempo is told from so many taps on. */
const LEAST = 4;
/** Taps nearer than this are one press, s. */
const NEAREST_S = 0.1;
/** Who tapped nearly to the end may have tapped every beat: share of the recording. */
const NEARLY_ALL = 0.85;

/**
 * A button to tap with, what it has found so far, and how to end it. `found` gets `{times, bpm,
 * every}` with each tap: the moments, s, the tempo, whether they are every beat of the song.
 */
export function tapping(found) {
  let times = [];
  let every = false;
  const told = el("div", { class: "row quiet taps", hidden: true });
  const send = () => found({ times, bpm: tempoOf(times), every: every && times.length >= LEAST });
  const again = () => {
    [times, every] = [[], false];
    stop();
    show();
  };
  const show = () => {
    told.hidden = times.length === 0;
    const bpm = tempoOf(times);
    const covers = times.length > 1 && times.at(-1) - times[0] > NEARLY_ALL * desk.song.duration_s;
    told.replaceChildren(
      el("span", { "aria-live": "polite" }, `${plural(times.length, "tap")}${bpm ? `: ${bpm} bpm` : ", go on"}`),
      ...(covers ? [el("label", { class: "tick" }, el("input", { type: "checkbox", checked: every, onchange: (e) => ((every = e.target.checked), send()) }), " I tapped every beat: these are the beats")] : []),
      button("Start over", again),
    );
  };
  const tap = () => {
    if (!isPlaying()) {
      if (times.length === 0) playFrom(desk.song.bars[desk.bar]?.start_s ?? 0);
      else return again();
      node.textContent = "Tap";
      return;
    }
    const at = Math.round(now() * 1000) / 1000;
    if (times.length > 0 && at - times.at(-1) < NEAREST_S) return;
    times.push(at);
    show();
    send();
  };
  const node = button("Tap along", tap, { class: "tap" });
  return { button: node, told, end: () => times.length > 0 && stop() };
}

/** Beats a minute of taps, or null if they are too few. */
export function tempoOf(times) {
  if (times.length < LEAST) return null;
  const gaps = times.slice(1).map((t, i) => t - times[i]).sort((a, b) => a - b);
  const middle = gaps[Math.floor(gaps.length / 2)];
  // a beat that was left out or tapped twice says nothing
  const steady = gaps.filter((g) => g > 0.7 * middle && g < 1.4 * middle);
  const mean = steady.reduce((a, b) => a + b, 0) / steady.length;
  return Math.round(600 / mean) / 10;
}
