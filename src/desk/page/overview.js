// The whole song in one strip: sections, confirmed and unconfirmed bars, the playhead.
// A click or an arrow key goes there. Beside it the progress in words.

import { button, el, find, setIfOther, svg, write } from "./dom.js";
import { clock } from "./music.js";
import { player, seek } from "./player.js";
import { barAt, choose, chordsIn, desk, on } from "./state.js";

const parts = {};

export function startOverview() {
  parts.strip = el("div", { class: "strip", role: "slider", tabindex: 0, "aria-label": "Place in the song, by bars", onpointerdown: point, onkeydown: key });
  parts.head = el("span", { class: "strip-head", "aria-hidden": true });
  parts.progress = el("p", { id: "open-count" });
  parts.marks = el("p", { id: "marks", "data-n": "0", hidden: true });
  find("#overview").prepend(parts.strip, parts.progress);
  find("#overview").after(parts.marks);
  on("song", draw);
  on("choice", mark);
  on("page", (page) => (parts.marks.hidden = page !== "chart" || parts.marks.dataset.n === "0"));
  on("head", moveHead);
  on("sound", (what) => what === "loop" && draw());
}

const span = () => Math.max(0.1, desk.song.bars.at(-1).end_s - desk.song.bars[0].start_s);
const share = (t) => Math.max(0, Math.min(1, (t - desk.song.bars[0].start_s) / span()));

let drawnFor = "";
function draw() {
  const { song } = desk;
  if (!song || song.bars.length === 0) return;
  const done = song.n_chords - song.n_open;
  write(parts.progress, song.n_open === 0 ? "Every chord is confirmed" : `${done} of ${song.n_chords} confirmed`);
  const states = song.bars.map((_, i) => chordsIn(i).every((c) => c.state === "decided"));
  const key = JSON.stringify([song.sections.map((s) => [s.letter, s.first_bar]), player.loop, song.bars.length, song.bars.at(-1).end_s, song.take.marks_s]);
  if (key === drawnFor) return color(states);
  drawnFor = key;
  const bars = song.bars.map((bar, i) => svg("rect", { x: share(bar.start_s) * 1000, width: Math.max(0.5, (share(bar.end_s) - share(bar.start_s)) * 1000 - (song.bars.length > 120 ? 0 : 2)), ...look(states[i]) }));
  parts.bars = bars;
  parts.states = states;
  const loop = player.loop ? svg("rect", { x: share(player.loop.from) * 1000, width: Math.max(2, (share(player.loop.to) - share(player.loop.from)) * 1000), y: 0, height: 20, class: "looped" }) : null;
  const letters = song.sections.map((s, i) => {
    const from = song.bars.find((b) => b.number === s.first_bar)?.start_s ?? 0;
    const label = el("span", { class: "strip-letter" }, s.letter);
    label.style.left = `${share(from) * 100}%`;
    label.hidden = i > 0 && share(from) - share(song.bars.find((b) => b.number === song.sections[i - 1].first_bar)?.start_s ?? 0) < 0.02;
    return label;
  });
  parts.strip.replaceChildren(el("div", { class: "letters", "aria-hidden": true }, letters), svg("svg", { viewBox: "0 0 1000 20", preserveAspectRatio: "none", "aria-hidden": true }, bars, loop), ...drawMarks(), parts.head, (parts.choice = el("span", { class: "strip-choice", "aria-hidden": true })));
  mark();
  moveHead();
}

/** Moments that were marked while it was recorded: on the strip, and a button each. */
function drawMarks() {
  const marks = desk.song.take.marks_s ?? [];
  parts.marks.dataset.n = marks.length;
  parts.marks.hidden = marks.length === 0 || find("#chart").hidden;
  const go = (at) => () => {
    choose(barAt(at), { keepHead: true });
    seek(at);
  };
  parts.marks.replaceChildren("Marked while recording: ", ...marks.map((at, i) => button(clock(at), go(at), { "aria-label": `To mark ${i + 1}, at ${clock(at)}` })));
  return marks.map((at) => {
    const sign = el("span", { class: "strip-mark", "aria-hidden": true });
    sign.style.left = `${share(at) * 100}%`;
    return sign;
  });
}

/** How a bar looks: tall if it is confirmed. */
const look = (isDone) => (isDone ? { y: 0, height: 20, class: "done" } : { y: 6, height: 8, class: "todo" });

/** Only what differs is drawn anew. */
function color(states) {
  states.forEach((isDone, i) => {
    if (isDone === parts.states[i]) return;
    for (const [name, value] of Object.entries(look(isDone))) parts.bars[i].setAttribute(name, value);
  });
  parts.states = states;
}

function mark() {
  if (!parts.choice || !desk.song) return;
  const [a, b] = [desk.song.bars[desk.bar], desk.song.bars[desk.barTo]];
  parts.choice.style.left = `${share(a.start_s) * 100}%`;
  parts.choice.style.width = `max(4px, ${(share(b.end_s) - share(a.start_s)) * 100}%)`;
  setIfOther(parts.strip, "aria-valuemin", desk.song.bars[0].number);
  setIfOther(parts.strip, "aria-valuemax", desk.song.bars.at(-1).number);
  setIfOther(parts.strip, "aria-valuenow", a.number);
  setIfOther(parts.strip, "aria-valuetext", `Bar ${a.number} of ${desk.song.bars.at(-1).number}`);
}

function moveHead(at) {
  if (desk.song && at !== undefined) parts.head.style.left = `${share(at) * 100}%`;
}

function point(event) {
  const go = (e) => {
    const box = parts.strip.getBoundingClientRect();
    const at = desk.song.bars[0].start_s + Math.max(0, Math.min(0.9999, (e.clientX - box.left) / box.width)) * span();
    choose(barAt(at), { keepHead: true });
    seek(desk.song.bars[barAt(at)].start_s);
  };
  go(event);
  const until = new AbortController();
  window.addEventListener("pointermove", go, { signal: until.signal });
  for (const end of ["pointerup", "pointercancel"]) window.addEventListener(end, () => until.abort(), { signal: until.signal });
}

function key(event) {
  const by = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: 8, PageUp: -8 }[event.key];
  if (by) choose(desk.bar + by);
  else if (event.key === "Home") choose(0);
  else if (event.key === "End") choose(desk.song.bars.length - 1);
  else return;
  event.preventDefault();
  event.stopPropagation();
}
