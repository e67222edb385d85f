// The recording: from where, around which stretch, how fast. Slowing keeps the pitch.
// The clock of all other sounds and of the line that moves through chart and waveform.

import { address } from "./api.js";
import { connect } from "./listening.js";
import { desk, on, tell } from "./state.js";

/** Slowest speed and step, share of the recording's own. */
export const SLOWEST = 0.3;
export const SPEED_STEP = 0.05;
/** How often the end of a loop is looked for while the page is not drawn, ms. */
const WATCH_MS = 40;

const take = new Audio();
take.preload = "auto";
take.preservesPitch = true;

export const player = {
  /** `{from, to}` in s, or null. */
  loop: null,
  speed: 1,
  /** What is heard: "take", "plucked", or "both", the recording left and the chart right. */
  ears: "take",
  volume: 0.8,
  /** Stops there when not looping, s, or null. */
  until: null,
  /** Between two passes of a loop, s. */
  gap: 0,
  /** A bar of clicks before it plays. */
  countIn: false,
  /** Each pass of a loop a step faster, up to full speed. */
  fasterEachPass: false,
};

let watch = null;
let loaded = null;
/** Time until the next pass. */
let resting = null;

export function startPlayer() {
  on("song", load);
  for (const event of ["play", "pause", "seeked", "ended", "loadedmetadata", "error"]) {
    take.addEventListener(event, () => tell("sound", event));
  }
  take.addEventListener("play", () => (watch ??= setInterval(step, WATCH_MS)));
  take.addEventListener("pause", () => {
    clearInterval(watch);
    watch = null;
  });
  apply();
}

/** The recording, and again when another file lies in its place. */
function load() {
  const { present, revision } = desk.song.take;
  if (present === false || revision === loaded) return;
  const at = take.currentTime;
  loaded = revision;
  take.src = address("/api/take", { v: revision });
  if (at > 0) take.currentTime = at;
  apply();
}

/** Where the recording is, s. */
export const now = () => take.currentTime;
export const isPlaying = () => (!take.paused && !take.ended) || resting !== null;
/** Whether it sounds at this moment: not while it counts in or rests between passes. */
export const isSounding = () => !take.paused && !take.ended;
/** Why the recording cannot be heard, or null. */
export const fault = () => (take.error ? "This browser cannot play the recording" : null);

export async function playFrom(seconds, until = null) {
  player.until = until;
  seek(seconds);
  await play();
}

/** Plays from where it is, or around the loop if it is outside of it. */
export async function play() {
  const { loop } = player;
  if (loop && (now() < loop.from - 0.05 || now() >= loop.to - 0.02)) seek(loop.from);
  else if (take.ended || now() >= desk.song.duration_s - 0.05) seek(0);
  if (player.countIn) return rest(0, true);
  return start();
}

async function start() {
  try {
    await take.play();
  } catch (trouble) {
    if (trouble.name !== "AbortError") tell("sound", "error");
  }
}

/** Waits before a pass: the gap, and a bar of clicks if there is a count-in. */
function rest(gap_s, counts) {
  take.pause();
  clearTimeout(resting);
  const count_s = counts ? countLength() / player.speed : 0;
  if (counts) tell("count", { after_s: gap_s, length_s: count_s });
  resting = setTimeout(() => {
    resting = null;
    start();
  }, (gap_s + count_s) * 1000);
  tell("sound", "rest");
}

/** Length of the bar at the playhead, s. */
function countLength() {
  const bar = desk.song.bars.findLast((b) => b.start_s <= now() + 0.01) ?? desk.song.bars[0];
  return bar ? bar.end_s - bar.start_s : 2;
}

export function stop() {
  clearTimeout(resting);
  resting = null;
  take.pause();
  tell("sound", "pause");
}

export function seek(seconds) {
  take.currentTime = Math.max(0, Math.min(seconds, desk.song.duration_s - 0.01));
}

export function setSpeed(speed) {
  const steps = Math.round(speed / SPEED_STEP);
  player.speed = Math.max(SLOWEST, Math.min(1, Math.round(steps * SPEED_STEP * 100) / 100));
  apply();
  tell("sound", "speed");
}

export function setVolume(volume) {
  player.volume = volume;
  apply();
}

export function setLoop(range) {
  player.loop = range;
  if (range && isPlaying() && (now() < range.from - 0.05 || now() >= range.to)) seek(range.from);
  tell("sound", "loop");
}

export function setEars(ears) {
  player.ears = ears;
  if (ears === "both") connect(take);
  apply();
  tell("sound", "ears");
}

/** Filters for the ear need the sound to run through the page. */
export const throughPage = () => connect(take);

function apply() {
  take.playbackRate = player.speed;
  take.defaultPlaybackRate = player.speed;
  take.volume = player.ears === "plucked" ? 0 : player.volume;
}

/** Keeps to the loop; called for each picture, and by the clock while none is drawn. */
export function step() {
  if (!isSounding()) return;
  const at = take.currentTime;
  const { loop } = player;
  if (loop && at >= loop.to) {
    seek(loop.from);
    if (player.fasterEachPass && player.speed < 1) setSpeed(player.speed + SPEED_STEP);
    if (player.gap > 0) rest(player.gap, player.countIn);
    tell("sound", "again");
  } else if (!loop && player.until !== null && at >= player.until) {
    player.until = null;
    stop();
  }
}
