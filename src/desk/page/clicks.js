// Sounds laid beside the take by the page itself: clicks on the beats found, and the
// proposal as plucked strings. Both follow the take's clock, at every speed.

import { address, bytes } from "./api.js";
import { panTake, soundContext } from "./listening.js";
import { isSounding as isPlaying, now, player } from "./player.js";
import { desk, on } from "./state.js";

/** How far ahead sounds are laid, and how often, s and ms. */
const AHEAD_S = 0.25;
const EVERY_MS = 60;
/** Clicks, Hz: the first beat of a bar is higher. */
const [DOWNBEAT_HZ, BEAT_HZ] = [1600, 1100];
const CLICK_GAIN = 0.22;

let context = null;
let out = null;
let side = null;
let laidTo = null;
let playing = [];
let timer = null;
export const metronome = { on: false };
const plucks = new Map();

export function startClicks() {
  on("count", ({ after_s, length_s }) => countIn(after_s, length_s));
  on("sound", (what) => {
    if (what === "ears") panTake(player.ears === "both");
    if (["seeked", "pause", "speed", "again", "ears"].includes(what)) silence();
    if (isPlaying()) timer ??= setInterval(lay, EVERY_MS);
    else {
      clearInterval(timer);
      timer = null;
    }
  });
}

export function setMetronome(isOn) {
  metronome.on = isOn;
  if (!isOn) silence();
}

/** Made at the first sound: browsers allow none before the user has acted. */
function ready() {
  context = soundContext();
  if (!out) {
    out = context.createGain();
    side = context.createStereoPanner();
    out.connect(side).connect(context.destination);
  }
  side.pan.value = player.ears === "both" ? 1 : 0;
  out.gain.value = player.volume;
  return context;
}

function silence() {
  for (const source of playing) source.stop();
  playing = [];
  laidTo = null;
}

function lay() {
  if (!isPlaying() || (!metronome.on && player.ears === "take")) return;
  const clock = ready();
  const at = now();
  const from = laidTo ?? at - 0.02;
  const to = Math.min(at + AHEAD_S * player.speed, player.loop?.to ?? Infinity);
  if (to <= from) return;
  const when = (seconds) => clock.currentTime + Math.max(0, (seconds - at) / player.speed);
  if (metronome.on) {
    for (const beat of desk.song.beats_s) if (beat >= from && beat < to) click(when(beat), isDownbeat(beat));
  }
  if (player.ears !== "take") {
    for (const chord of desk.song.chords) {
      const starts = chord.start_s >= from && chord.start_s < to;
      // coming into a chord that sounds already
      const begun = laidTo === null && chord.start_s < from && chord.end_s > at + 0.15;
      if (starts || begun) pluck(chord, when(Math.max(chord.start_s, at)), begun ? at : chord.start_s);
    }
  }
  laidTo = to;
}

/** A bar of clicks after a wait, s, over a length, s. */
function countIn(after_s, length_s) {
  const clock = ready();
  const bar = desk.song.bars.findLast((b) => b.start_s <= now() + 0.01) ?? desk.song.bars[0];
  const n = Math.max(1, bar?.n_beats ?? 4);
  for (let i = 0; i < n; i += 1) click(clock.currentTime + after_s + (i * length_s) / n, i === 0);
}

const isDownbeat = (beat) => desk.song.bars.some((b) => Math.abs(b.start_s - beat) < 0.03);

function click(at, downbeat) {
  const [tone, gain] = [context.createOscillator(), context.createGain()];
  tone.frequency.value = downbeat ? DOWNBEAT_HZ : BEAT_HZ;
  gain.gain.setValueAtTime(CLICK_GAIN, at);
  gain.gain.exponentialRampToValueAtTime(0.001, at + 0.05);
  tone.connect(gain).connect(out);
  tone.start(at);
  tone.stop(at + 0.06);
  playing.push(tone);
}

async function pluck(chord, at, from) {
  if (chord.label === "N" || chord.label === "X") return;
  const seconds = Math.min(8, Math.max(0.4, (chord.end_s - from) / player.speed));
  const sound = await plucked(chord.label, chord.shapes[0], seconds);
  if (!sound || player.ears === "take" || !isPlaying()) return;
  const source = context.createBufferSource();
  source.buffer = sound;
  source.connect(out);
  // a sound that came late is begun where it would be by now
  source.start(Math.max(at, context.currentTime), Math.max(0, context.currentTime - at));
  playing.push(source);
}

/** One chord as plucked strings, by itself. */
export async function hearPlucked(label, shape) {
  ready();
  silence();
  const sound = await plucked(label, shape, 2.5);
  if (!sound) return false;
  silence();
  const source = context.createBufferSource();
  source.buffer = sound;
  source.connect(out);
  source.start();
  playing.push(source);
  return true;
}

async function plucked(label, shape, seconds) {
  const path = address("/api/plucked", { label, shape, seconds: seconds.toFixed(1) });
  if (!plucks.has(path)) {
    plucks.set(path, bytes(path).then((b) => context.decodeAudioData(b)).catch(() => (plucks.delete(path), null)));
  }
  return plucks.get(path);
}

/** Fetches what will be plucked in a stretch, so that the change of ears is instant. */
export function prepare(chords) {
  if (!context) return;
  for (const chord of chords) {
    if (chord.label === "N" || chord.label === "X") continue;
    const seconds = Math.min(8, Math.max(0.4, (chord.end_s - chord.start_s) / player.speed));
    plucked(chord.label, chord.shapes[0], seconds);
  }
}
