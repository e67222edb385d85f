// The row of sound in the dock, and the line that moves through the chart.

import { metronome, prepare, setMetronome } from "./clicks.js";
import { cellsOf, placeOf } from "./chart.js";
import { button, el, find, setIfOther, unseen, whenOther, write } from "./dom.js";
import { listening, route } from "./listening.js";
import { clock, percent } from "./music.js";
import { SLOWEST, SPEED_STEP, fault, isPlaying, now, play, playFrom, player, seek, setEars, setLoop, setSpeed, setVolume, startPlayer, step, stop, throughPage } from "./player.js";
import { say } from "./say.js";
import { barAt, chosen, desk, on, partOf, stretch, tell, within } from "./state.js";

const parts = {};
let headLine = null;

export function startTransport() {
  parts.play = button("Play", toggle, { "aria-keyshortcuts": "Space", class: "play" });
  parts.loop = button("Loop", toggleLoop, { "aria-pressed": "false", "aria-keyshortcuts": "l" });
  parts.ears = button("", swapEars, { "aria-keyshortcuts": "b", class: "ears" });
  parts.slower = button("−", () => slower(1), { "aria-keyshortcuts": "-", "aria-label": "Slower" });
  parts.speed = el("span", { class: "speed", title: "Speed" });
  parts.faster = button("+", () => slower(-1), { "aria-keyshortcuts": "+", "aria-label": "Faster" });
  parts.at = el("span", { class: "at" }, "0:00.0");
  find("#sound").append(
    parts.play,
    parts.loop,
    parts.ears,
    el("div", { class: "speeds", role: "group", "aria-label": "Speed" }, parts.slower, parts.speed, parts.faster),
    parts.at,
    more(),
  );
  on("song", () => {
    const absent = desk.song.take?.present === false;
    for (const name of ["play", "loop", "ears", "clicks"]) parts[name].disabled = absent;
  });
  on("sound", show);
  on("sound", wake);
  on("choice", (moved) => {
    if (!moved) return;
    if (player.loop?.chosen) loopChoice();
    if (isPlaying()) return;
    seek(startOfChoice());
    // with the picture of the choice, not one later
    wake();
  });
  on("play", playChoice);
  on("dragged", loopChoice);
  on("view", hideHead);
  window.addEventListener("resize", hideHead);
  startPlayer();
  show();
  requestAnimationFrame(frame);
}

/** What is needed less often: a fold over the dock. */
function more() {
  parts.clicks = button("Clicks", toggleClicks, { "aria-pressed": "false", "aria-keyshortcuts": "m" });
  const tick = (words, act, checked = false) => el("label", { class: "tick" }, el("input", { type: "checkbox", checked, onchange: (e) => act(e.target.checked) }), ` ${words}`);
  const volume = el("input", { type: "range", min: "0", max: "1", step: "0.05", value: String(player.volume), oninput: (e) => setVolume(Number(e.target.value)) });
  const bass = el("select", { id: "bass", onchange: (e) => hearBass(e.target.value) }, el("option", { value: "all" }, "everything"), el("option", { value: "bass" }, "bass only"), el("option", { value: "octave" }, "bass, octave up"));
  const gap = el("select", { onchange: (e) => (player.gap = Number(e.target.value)) }, [0, 1, 2, 4].map((s) => el("option", { value: String(s) }, s === 0 ? "none" : `${s} s`)));
  return el(
    "details",
    { class: "more-sound" },
    el("summary", {}, "Sound options"),
    el(
      "div",
      { class: "fold" },
      el("label", {}, "Volume ", volume),
      parts.clicks,
      el("label", {}, "Hear ", bass),
      tick("Count-in before it plays", (isOn) => (player.countIn = isOn)),
      el("label", {}, "Gap between passes ", gap),
      tick("A little faster each pass", (isOn) => (player.fasterEachPass = isOn)),
      el("p", { class: "quiet" }, "Headphones can be louder than they feel: start low and rest your ears. If they ring, stop; if it lasts, see a doctor."),
    ),
  );
}

function hearBass(which) {
  listening.bass = which;
  throughPage();
  route();
  say(which === "all" ? "You hear everything." : which === "bass" ? "You hear the bass only." : "You hear the bass an octave up.");
}

/** Plays from the playhead, or pauses there. */
export function toggle() {
  if (desk.song?.take.is_sound === false) say("This song has no recording. v plays the chosen chord.");
  else if (isPlaying()) stop();
  else {
    player.until = null;
    play();
  }
}

export function playChoice() {
  playFrom(player.loop ? player.loop.from : startOfChoice());
}

/** The playhead goes to the start of the chosen bar. */
export function toBarStart() {
  seek(desk.song.bars[desk.bar].start_s);
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
  setSpeed(player.speed - steps * SPEED_STEP);
  say(`Speed: ${percent(player.speed)}.`);
}

const EARS = {
  take: ["Recording", "You hear the recording."],
  plucked: ["Chart", "You hear the chart, as plucked strings."],
  both: ["Both", "You hear the recording on the left and the chart on the right."],
};

/** The recording, the chart as plucked strings, or both. */
export function swapEars() {
  const order = Object.keys(EARS);
  setEars(order[(order.indexOf(player.ears) + 1) % order.length]);
  say(EARS[player.ears][1]);
  if (!isPlaying()) {
    const { from, to } = stretch();
    playFrom(player.loop?.from ?? from, player.loop ? null : to);
  }
}

export function toggleClicks() {
  setMetronome(!metronome.on);
  show();
  say(metronome.on ? "Clicks on the beats." : "No clicks.");
}

function show(what) {
  write(parts.play, isPlaying() ? "Pause" : "Play");
  setIfOther(parts.loop, "aria-pressed", player.loop !== null);
  tellLoop(player.loop ? loopWords() : null);
  tellEars(EARS[player.ears][0]);
  setIfOther(parts.clicks, "aria-pressed", metronome.on);
  write(parts.speed, percent(player.speed));
  parts.slower.toggleAttribute("disabled", player.speed <= SLOWEST);
  parts.faster.toggleAttribute("disabled", player.speed >= 1);
  if (what === "error" && fault() && desk.song?.take?.present !== false) say(`${fault()}.`);
}

const tellLoop = whenOther((words) => parts.loop.replaceChildren("Loop", words === null ? "" : el("span", { class: "which-bars" }, ` ${words}`)));
const tellEars = whenOther((words) => parts.ears.replaceChildren(unseen("Hear: "), words));

function loopWords() {
  const { from, to } = player.loop;
  const [a, b] = [from + 0.01, to - 0.01].map((t) => desk.song.bars[barAt(t)]);
  const isWhole = Math.abs(a.start_s - from) < 0.02 && Math.abs(b.end_s - to) < 0.02;
  if (!isWhole) return `${clock(from)}–${clock(to)}`;
  return a === b ? `bar ${a.number}` : `bars ${a.number}–${b.number}`;
}

let toldAt = "";
let line = null;
/** How often the place is looked for while nothing plays, ms. */
const IDLE_MS = 100;
let idle = null;

/** The next picture: each one while it plays, else now and then. */
function next() {
  if (isPlaying()) requestAnimationFrame(frame);
  else idle = setTimeout(wake, IDLE_MS);
}

/** Draws at the next picture. */
function wake() {
  if (idle === null) return;
  clearTimeout(idle);
  idle = null;
  requestAnimationFrame(frame);
}

/** One picture: lines move by a transform, so nothing is laid out anew. */
function frame() {
  next();
  step();
  if (!desk.song || desk.song.bars.length === 0) return;
  const at = now();
  const text = clock(at);
  if (text !== toldAt) {
    toldAt = text;
    parts.at.textContent = text;
    tell("head", at);
  }
  tell("frame", at);
  const index = barAt(at);
  const place = placeOf(index);
  const bar = desk.song.bars[index];
  if (!place || at < bar.start_s - 0.5) return hideHead();
  const share = Math.max(0, Math.min(1, (at - bar.start_s) / (bar.end_s - bar.start_s)));
  if (headLine !== place.node) {
    hideHead();
    headLine = place.node;
    headLine.head = find(".playhead", headLine);
    headLine.head.hidden = false;
  }
  if (isPlaying() && line !== place.node) tell("line", index);
  line = place.node;
  const { left, width } = cellsOf(headLine).cells[place.column];
  headLine.head.style.transform = `translateX(${left + share * width}px)`;
}

function hideHead() {
  if (headLine) find(".playhead", headLine).hidden = true;
  headLine = null;
}
