// The take's sound: from where, around which stretch, how fast. Slowing keeps the pitch.
// The clock of all other sounds and of the mark that moves over the chart.

import { address } from "./api.js";
import { desk, on, tell } from "./state.js";

/** Speeds offered, share of the take's own. */
export const SPEEDS = [1, 0.85, 0.7, 0.6, 0.5, 0.4, 0.3, 0.25];
/** How often the end of a loop is looked for while the page is not drawn, ms. */
const WATCH_MS = 40;

const take = new Audio();
take.preload = "auto";
take.preservesPitch = true;

export const player = {
  /** `{from, to}` in s, or null. */
  loop: null,
  speed: 1,
  /** "take" or "plucked": which of the two is heard. */
  ears: "take",
  volume: 0.8,
  /** Stops there when not looping, s, or null. */
  until: null,
};

let watch = null;

let loaded = null;

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

/** The take, and again when another file lies in its place. */
function load() {
  const { present, revision } = desk.song.take;
  if (present === false || revision === loaded) return;
  const at = take.currentTime;
  loaded = revision;
  take.src = address("/api/take", { v: revision });
  if (at > 0) take.currentTime = at;
  apply();
}

/** Where the take is, s. */
export const now = () => take.currentTime;
export const isPlaying = () => !take.paused && !take.ended;
/** Why the take cannot be heard, or null. */
export const fault = () => (take.error ? "This browser cannot play the take" : null);

export async function playFrom(seconds, until = null) {
  player.until = until;
  seek(seconds);
  await play();
}

export async function play() {
  try {
    await take.play();
  } catch (trouble) {
    if (trouble.name !== "AbortError") tell("sound", "error");
  }
}

export const stop = () => take.pause();

export function seek(seconds) {
  take.currentTime = Math.max(0, Math.min(seconds, desk.song.duration_s - 0.01));
}

export function setSpeed(speed) {
  player.speed = speed;
  apply();
  tell("sound", "speed");
}

export function setVolume(volume) {
  player.volume = volume;
  apply();
}

export function setLoop(range) {
  player.loop = range;
  if (range && (now() < range.from - 0.05 || now() >= range.to)) seek(range.from);
  tell("sound", "loop");
}

export function setEars(ears) {
  player.ears = ears;
  apply();
  tell("sound", "ears");
}

function apply() {
  take.playbackRate = player.speed;
  take.defaultPlaybackRate = player.speed;
  take.volume = player.ears === "take" ? player.volume : 0;
}

/** Keeps to the loop; called for each picture, and by the clock while none is drawn. */
export function step() {
  if (!isPlaying()) return;
  const at = take.currentTime;
  if (player.loop && at >= player.loop.to) {
    seek(player.loop.from);
    tell("sound", "again");
  } else if (!player.loop && player.until !== null && at >= player.until) {
    player.until = null;
    stop();
  }
}
