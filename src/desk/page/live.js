// The microphone of this machine, heard by the same program as the chart: the chord that
// sounds now, and a way to keep the moment.

import { post } from "./api.js";
import { chordBox, readShape } from "./box.js";
import { symbol } from "./chart.js";
import { button, el, find } from "./dom.js";
import { levelMeter, microphoneChoice } from "./microphone.js";
import { keyWords, noteName, probability } from "./music.js";
import { say } from "./say.js";
import { desk, on } from "./state.js";

const parts = {};
let isOn = false;

/** Whether the microphone is on. */
export const isListening = () => isOn;

export function startLive() {
  parts.device = microphoneChoice("device");
  parts.fragments = el("input", { type: "checkbox" });
  parts.start = button("Listen", toggle, { class: "main" });
  parts.keep = button("Keep this moment", keep, { disabled: true });
  parts.take = button("Save as a take and draft it", saveTake, { disabled: true });
  parts.now = el("div", { class: "sounding" }, el("p", { class: "quiet" }, "Nothing heard yet."));
  parts.level = levelMeter("level");
  parts.row = el("ol", { class: "fragments", "aria-label": "The plucked notes in order, and the chord each stands for" });
  find("#live").append(
    el(
      "div",
      { class: "paper" },
      el("h1", { id: "live-title" }, "Heard now"),
      el("div", { class: "row" }, el("label", { for: "device" }, "Microphone "), parts.device.select, el("label", { class: "tick" }, parts.fragments, " I pluck two or three strings at a time")),
      el("div", { class: "row" }, parts.start, parts.keep, parts.take),
      el("div", { class: "row" }, ...parts.level.parts),
      parts.now,
      parts.row,
      el("p", { class: "quiet" }, "Only this machine listens; nothing is sent anywhere. A kept moment goes, as a sound file, into a song file of moments beside this one."),
    ),
  );
  on("live", show);
  on("level", level);
  on("fragments", row);
  on("back", () => put(false));
  on("page", (page) => page === "live" && devices());
}

async function devices() {
  if (desk.song?.live === false) {
    parts.start.disabled = true;
    parts.now.replaceChildren(el("p", {}, "This build of takebook has no microphone; build it with the feature mic."));
    return;
  }
  try {
    await parts.device.fill();
  } catch (trouble) {
    parts.now.replaceChildren(el("p", {}, `No microphone: ${trouble.message}`));
  }
}

async function toggle() {
  const wanted = !isOn;
  try {
    if (wanted) await post("/api/live/start", { device: parts.device.select.value || undefined, fragments: parts.fragments.checked });
    else await post("/api/live/stop");
    put(wanted);
    say(wanted ? "Listening." : "Not listening.");
  } catch (trouble) {
    say(`The microphone: ${trouble.message}`);
  }
}

function put(on) {
  isOn = on;
  parts.start.textContent = on ? "Stop listening" : "Listen";
  parts.keep.disabled = !on;
  parts.take.disabled = !on;
  if (!on) parts.level.clear();
}

async function keep() {
  try {
    say("Analysing the moment once more …");
    const { words, log } = await post("/api/live/keep");
    say(`${words} (${log})`);
  } catch (trouble) {
    say(`Not kept: ${trouble.message}`);
  }
}

/** The last minutes as a take of its own beside this song, drafted as any other. */
async function saveTake() {
  try {
    say("Saving the last minutes …");
    const { words, log } = await post("/api/live/take");
    // in a folder it waits its turn; the list shows how far it is
    say(log ? `${words}. Open it with: takebook desk ${log}` : el("span", {}, `${words}. It is being analysed; `, el("a", { href: "/" }, "the list of songs"), " shows how far it is."));
  } catch (trouble) {
    say(`Not saved: ${trouble.message}`);
  }
}

function level(told) {
  // the page may have been opened while the program listens
  if (!isOn) put(true);
  parts.level.show(told);
}

/** Two or three strings at a time, read together as a row. */
function row({ key, row: fragments }) {
  parts.row.replaceChildren(
    ...fragments.map((f) => el("li", {}, el("b", {}, f.notes.join(" ")), symbol(f.symbol), ` ${probability(f.probability)} `, el("span", { class: "quiet" }, f.reason))),
    key ? el("li", { class: "quiet" }, `in ${keyWords(key)}`) : "",
  );
}

function show(answer) {
  if (answer.ended) {
    put(false);
    if (answer.why) say(`The microphone: ${answer.why}.`);
    return;
  }
  if (answer.played === "note") return showNote(answer);
  if (answer.played === "double stop") return showDoubleStop(answer);
  const [first, ...others] = answer.candidates ?? [];
  if (!first) return;
  const shapes = (answer.shapes ?? []).map((s) => s.shape ?? s).filter((t) => readShape(t)).slice(0, 3);
  parts.now.replaceChildren(
    el("p", { class: "big" }, symbol(first.symbol, false), el("span", { class: "sure" }, `${probability(first.probability)}${answer.held ? ", held: quiet now" : ""}`)),
    el("p", {}, others.slice(0, 3).flatMap((c) => [el("span", { class: "or" }, "or "), symbol(c.symbol), ` ${probability(c.probability)}  `])),
    el("p", {}, `Strings: ${(answer.notes ?? []).map((n) => n.name ?? noteName(n.midi, desk.song?.key)).join(" ") || "none"}`),
    el("div", { class: "boxes" }, shapes.map((text) => el("figure", {}, chordBox({ text, frets: readShape(text) }, `${first.symbol} ${text}`), el("figcaption", {}, text)))),
  );
}

const held = (answer) => (answer.held ? ", held: quiet now" : "");

/** One string: its name, its target, and how far off it is. */
function showNote({ notes, tuner, ...answer }) {
  const name = tuner?.name ?? notes[0]?.name ?? "";
  const which = tuner?.string ? `String ${tuner.string}, counted from the highest` : "One note";
  const off = Math.round(tuner?.cents ?? 0);
  const words = !tuner ? "" : Math.abs(off) < 2 ? "in tune" : `${Math.abs(off)} cents ${off < 0 ? "flat" : "sharp"}${tuner.string ? (off < 0 ? ": tighten" : ": loosen") : ""}`;
  parts.now.replaceChildren(
    el("p", { class: "big" }, el("span", { class: "pitch" }, name), el("span", { class: "sure" }, `${words}${held(answer)}`)),
    el("p", {}, tuner ? `${which}. ${tuner.hz.toFixed(1)} Hz, wanted ${tuner.target_hz.toFixed(1)} Hz` : which),
    tuner ? offBar(tuner.cents) : "",
  );
}

/** A bar from the middle to the side that a string is off to, 50 cents each way. */
function offBar(cents) {
  const share = Math.min(Math.abs(cents), 50) / 100;
  const bar = el("div", { class: "off", "aria-hidden": "true" }, el("div", {}));
  bar.firstChild.style.setProperty("left", `${cents < 0 ? 50 - share * 100 : 50}%`);
  bar.firstChild.style.setProperty("width", `${Math.max(share * 100, 0.6)}%`);
  return bar;
}

/** Two strings: their notes, and the chords that they may stand for. */
function showDoubleStop({ notes, candidates, ...answer }) {
  parts.now.replaceChildren(
    el("p", { class: "big" }, el("span", { class: "pitch" }, notes.map((n) => n.name).join(" ")), el("span", { class: "sure" }, `double stop${held(answer)}`)),
    el("p", {}, "May stand for ", candidates.slice(0, 3).flatMap((c) => [symbol(c.symbol), ` ${probability(c.probability)}  `])),
  );
}
