// The bar of sound at the foot of the page, and the mark that moves over the chart.

import { metronome, prepare, setMetronome } from "./clicks.js";
import { placeOf } from "./chart.js";
import { button, el, find, unseen } from "./dom.js";
import { clock, percent } from "./music.js";
import { SPEEDS, fault, isPlaying, now, play, playFrom, player, seek, setEars, setLoop, setSpeed, setVolume, startPlayer, step, stop } from "./player.js";
import { say } from "./say.js";
import { barAt, chosen, desk, on, partOf, stretch, within } from "./state.js";

const parts = {};
let headLine = null;

export function startTransport() {
  parts.play = button("Play", toggle, { "aria-keyshortcuts": "Space", class: "main" });
  parts.loop = button("Loop", toggleLoop, { "aria-pressed": "false", "aria-keyshortcuts": "l" });
  parts.ears = button("", swapEars, { "aria-keyshortcuts": "b" });
  parts.clicks = button("Clicks", toggleClicks, { "aria-pressed": "false", "aria-keyshortcuts": "m" });
  parts.slower = button("slower", () => slower(1), { "aria-keyshortcuts": "-" });
  parts.speed = el("span", { class: "speed" });
  parts.faster = button("faster", () => slower(-1), { "aria-keyshortcuts": "+" });
  parts.at = el("span", { class: "at" }, "0:00.0");
  parts.seek = el("input", {
    type: "range",
    min: "0",
    max: "1",
    step: "0.1",
    value: "0",
    class: "seek",
    "aria-label": "Place in the take, seconds",
    oninput: (event) => seek(Number(event.target.value)),
  });
  const loud = el("input", { type: "range", min: "0", max: "1", step: "0.05", value: String(player.volume), oninput: (e) => setVolume(Number(e.target.value)) });
  find("#sound").append(
    el("div", { class: "row" }, parts.play, parts.loop, parts.ears, parts.clicks),
    el("div", { class: "row where" }, parts.at, parts.seek),
    el("div", { class: "row" }, el("div", { class: "row speeds", role: "group", "aria-label": "Speed" }, parts.slower, parts.speed, parts.faster), el("label", {}, "Loudness ", loud)),
    el("p", { class: "caution" }, "Headphones can be louder than they feel: start low, rest your ears; if they ring, stop, and ask a physician if it lasts."),
  );
  // a pointer leaves focus where the letters and the space bar work
  find("#sound").addEventListener("click", (event) => {
    if (event.detail > 0 && event.target.closest("button")) find("#chosen")?.focus({ preventScroll: true });
  });
  on("song", () => {
    parts.seek.max = String(Math.max(1, desk.song.duration_s));
    const absent = desk.song.take?.present === false;
    for (const name of ["play", "loop", "ears", "clicks", "seek"]) parts[name].disabled = absent;
  });
  on("sound", show);
  on("choice", () => {
    if (player.loop && player.loop.chosen) loopChoice();
  });
  on("play", playChoice);
  on("view", hideHead);
  window.addEventListener("resize", hideHead);
  startPlayer();
  show();
  requestAnimationFrame(frame);
}

/** Plays from the chosen bar, or stops. */
export function toggle() {
  if (isPlaying()) stop();
  else playChoice();
}

export function playChoice() {
  playFrom(player.loop ? player.loop.from : startOfChoice());
}

/** The chosen bars once, then quiet. */
export function hearOnce() {
  const { from, to } = stretch();
  setLoop(null);
  playFrom(from, to);
}

const startOfChoice = () => {
  const chord = chosen();
  const bar = desk.song.bars[desk.bar];
  return chord && desk.part > 0 ? partOf(chord, bar).from : bar.start_s;
};

export function toggleLoop() {
  if (player.loop) setLoop(null);
  else {
    loopChoice();
    if (!isPlaying()) play();
  }
}

function loopChoice() {
  const { from, to } = stretch();
  setLoop({ from, to, chosen: true });
  prepare(within(from, to));
}

export function slower(steps) {
  const at = SPEEDS.indexOf(player.speed);
  setSpeed(SPEEDS[Math.max(0, Math.min(SPEEDS.length - 1, at + steps))]);
  say(`Speed: ${speedWords()}.`);
}

const speedWords = () => (player.speed === 1 ? "full" : percent(player.speed));

/** From the take to the proposal as plucked strings, and back. */
export function swapEars() {
  setEars(player.ears === "take" ? "plucked" : "take");
  say(player.ears === "take" ? "You hear the take." : "You hear what is written, as plucked strings.");
  if (!isPlaying()) {
    const { from, to } = stretch();
    playFrom(player.loop?.from ?? from, player.loop ? null : to);
  }
}

export function toggleClicks() {
  setMetronome(!metronome.on);
  show();
  say(metronome.on ? "Clicks on the beats found." : "No clicks.");
}

function show(what) {
  parts.play.textContent = isPlaying() ? "Stop" : "Play";
  parts.loop.setAttribute("aria-pressed", String(player.loop !== null));
  parts.loop.textContent = player.loop ? `Loop ${loopWords()}` : "Loop";
  parts.ears.replaceChildren(...(player.ears === "take" ? ["A: the take", unseen(" is heard; change to B, as written")] : ["B: as written", unseen(" is heard; change to A, the take")]));
  parts.clicks.setAttribute("aria-pressed", String(metronome.on));
  parts.clicks.textContent = metronome.on ? "Clicks on" : "Clicks";
  parts.speed.textContent = speedWords();
  parts.slower.disabled = player.speed === SPEEDS.at(-1);
  parts.faster.disabled = player.speed === SPEEDS[0];
  if (what === "error" && fault() && desk.song?.take?.present !== false) say(`${fault()}.`);
}

function loopWords() {
  const [a, b] = [player.loop.from + 0.01, player.loop.to - 0.01].map((t) => desk.song.bars[barAt(t)].number);
  return a === b ? `bar ${a}` : `bars ${a}–${b}`;
}

let toldAt = "";
/** One picture: the mark moves by a transform, so nothing is laid out anew. */
function frame() {
  requestAnimationFrame(frame);
  step();
  if (!desk.song || desk.song.bars.length === 0) return;
  const at = now();
  const text = clock(at);
  if (text !== toldAt) {
    toldAt = text;
    parts.at.textContent = text;
    if (document.activeElement !== parts.seek) parts.seek.value = String(at);
    else parts.seek.setAttribute("aria-valuetext", text);
  }
  const index = barAt(at);
  const place = placeOf(index);
  const bar = desk.song.bars[index];
  const playing = isPlaying() || at > 0;
  if (!place || !playing || at < bar.start_s - 0.5) return hideHead();
  const share = Math.max(0, Math.min(1, (at - bar.start_s) / (bar.end_s - bar.start_s)));
  if (headLine !== place.node) {
    hideHead();
    headLine = place.node;
    headLine.head = find(".playhead", headLine);
    headLine.head.hidden = false;
    headLine.cells = [...headLine.querySelectorAll(".measure")].map((m) => ({ left: m.offsetLeft, width: m.offsetWidth }));
    if (isPlaying()) headLine.scrollIntoView({ block: "nearest", behavior: calm() ? "auto" : "smooth" });
  }
  const { left, width } = headLine.cells[place.column];
  headLine.head.style.transform = `translateX(${left + share * width}px)`;
}

const calm = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;

function hideHead() {
  if (headLine) find(".playhead", headLine).hidden = true;
  headLine = null;
}
