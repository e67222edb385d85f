// A recording held against the chart: marks on its bars in the words of `takebook check`, and the
// sound of each: what was played there, then what the chart says.

import { address, get, post } from "./api.js";
import { focusBar } from "./chart.js";
import { hearPlucked } from "./clicks.js";
import { button, el, find, unseen } from "./dom.js";
import { clock, probability } from "./music.js";
import { stop as stopSong } from "./player.js";
import { say } from "./say.js";
import { barByNumber, choose, chordsIn, desk, on, partOf } from "./state.js";

/** A plucked chord of the chart sounds at least so long, and at most, s. */
const [SHORTEST_S, LONGEST_S] = [0.7, 2.5];
/** How often the end of a bar is looked for, ms. */
const WATCH_MS = 25;

const parts = {};
/** `{file, answer}` of the recording that is checked, or null. */
let checked = null;
let isBusy = false;
/** The sound of the recording that is checked. */
let played = null;
/** Counts what is heard, so that the next one ends the one before. */
let turn = 0;
/** The bar heard last and which of its passes. */
let last = { number: null, pass: -1 };

export function startCheck() {
  parts.which = el("select", { id: "check-which" });
  parts.detail = el("input", { type: "checkbox" });
  parts.go = el("button", { type: "submit", class: "primary" }, "Check");
  parts.said = el("p", { class: "verdict", role: "status" });
  parts.stale = el("p", { class: "quiet", hidden: true }, "The chart has changed since. ", button("Check again", run));
  parts.marks = el("ol", { class: "marks" });
  parts.help = el("p", { class: "quiet", hidden: true }, el("kbd", {}, "q"), " next mark  ", el("kbd", {}, "y"), " hear what was played in the bar, then the chart");
  find("#check").append(
    el("h2", { id: "check-title" }, "Check a recording"),
    el(
      "form",
      { class: "row", onsubmit: (event) => (event.preventDefault(), run()) },
      el("label", { for: "check-which" }, "Recording "),
      parts.which,
      el("label", { class: "tick" }, parts.detail, " every note"),
      parts.go,
      button("Close", close),
    ),
    parts.said,
    parts.stale,
    parts.marks,
    parts.help,
  );
  find("#check-open").addEventListener("click", openCheck);
  on("song", () => (checked || isMarked) && draw());
  on("view", () => checked && markBars());
  on("check", ({ percent: done }) => isBusy && (parts.said.textContent = `Listening: ${done} %`));
  on("sound", (what) => what === "play" && quiet());
}

/** Shows what can be checked. */
export async function openCheck() {
  find("#check").hidden = false;
  try {
    const { own, others } = await get("/api/recordings");
    const chosen = checked?.file ?? others[0] ?? "";
    const option = (file, words) => el("option", { value: file, selected: file === chosen }, words);
    parts.which.replaceChildren(...others.map((file) => option(file, file)), ...(own ? [option("", `${own} (this song's own)`)] : []));
    if (others.length === 0 && !own) parts.said.textContent = "There is no recording beside the song file. Put one into its folder.";
  } catch (trouble) {
    parts.said.textContent = `${trouble.message}.`;
  }
  parts.which.focus();
}

function close() {
  quiet();
  checked = null;
  find("#check").hidden = true;
  parts.said.textContent = "";
  draw();
  focusBar();
}

async function run() {
  if (isBusy || parts.which.options.length === 0) return;
  const file = parts.which.value;
  isBusy = true;
  quiet();
  parts.go.disabled = true;
  parts.said.textContent = "Listening …";
  try {
    const answer = await post("/api/check", { file: file || null, detail: parts.detail.checked });
    checked = { file, answer };
    played ??= new Audio();
    played.src = address("/api/recording", { file });
    last = { number: null, pass: -1 };
    parts.said.textContent = answer.summary;
  } catch (trouble) {
    checked = null;
    parts.said.textContent = `Not checked: ${trouble.message}.`;
  }
  isBusy = false;
  parts.go.disabled = false;
  draw();
}

/** Bars as played that have something to look at; none if it is another song. */
const told = () => (checked?.answer.recognized ? checked.answer.bars.filter((b) => b.findings.length + b.remarks.length > 0) : []);

function draw() {
  const all = told();
  parts.marks.replaceChildren(
    ...all.flatMap((bar) => [
      ...bar.findings.map((f) => line("!", bar, placeWords(bar.bar, f.beat), `${probability(f.certainty)} sure`, f.words)),
      ...bar.remarks.map((words) => line("", bar, String(bar.bar), "", words)),
    ]),
  );
  parts.help.hidden = all.length === 0;
  parts.stale.hidden = !checked || checked.answer.revision === desk.saved?.revision;
  markBars();
}

/** `12`, or `12.3` for beat 3 of bar 12. */
const placeWords = (bar, beat) => (beat < 1.25 ? `${bar}` : `${bar}.${Math.round(beat * 2) / 2}`);

function line(sign, bar, place, sure, words) {
  const hear = button([unseen("Hear "), `Bar ${place}`], () => goTo(bar), { class: "small" });
  return el("li", {}, el("b", { "aria-hidden": true }, sign), hear, el("span", { class: "time" }, clock(bar.start_s)), el("span", {}, words), el("span", { class: "quiet" }, sure));
}

/** Whether marks stand on the chart. */
let isMarked = false;

/** The same marks on the chart. */
function markBars() {
  isMarked = checked !== null;
  for (const old of document.querySelectorAll("#parts .check-mark")) old.remove();
  const words = new Map();
  const add = (number, text) => words.set(number, [...(words.get(number) ?? []), text]);
  for (const bar of told()) {
    for (const f of bar.findings) add(bar.bar, `! ${f.words}`);
    for (const text of bar.remarks) add(bar.bar, text);
  }
  const runs = (list, text) => list.forEach(({ first_bar, last_bar }) => {
    for (let n = first_bar; n <= last_bar; n += 1) add(n, text);
  });
  if (checked?.answer.recognized) {
    runs(checked.answer.left_out, "– left out");
    runs(checked.answer.played_again, "played again");
  }
  for (const node of document.querySelectorAll("#parts .bar")) {
    const own = node.dataset.all.split(" ").map((i) => desk.song.bars[i]?.number);
    const texts = [...new Set(own.flatMap((number) => words.get(number) ?? []))];
    node.classList.toggle("differs", texts.some((t) => t.startsWith("!")));
    find(".above", node).append(...texts.map((text) => el("span", { class: "check-mark" }, text)));
  }
}

/** Chooses the next bar that is marked, and plays it. */
export function nextMark() {
  const all = told();
  if (all.length === 0) return say(checked ? "No bar is marked." : "No recording is checked yet: press Check a recording.");
  const index = (bar) => barByNumber(bar.bar);
  goTo(all.find((bar) => index(bar) > desk.bar) ?? all[0]);
}

function goTo(bar) {
  const index = barByNumber(bar.bar);
  if (index < 0) return;
  choose(index);
  focusBar();
  const passes = passesOf(bar.bar);
  hear(bar.bar, passes.indexOf(bar));
}

const passesOf = (number) => checked?.answer.bars.filter((b) => b.bar === number) ?? [];

/** What was played in the chosen bar, and then what the chart says; again, the next time it was played. */
export function hearPlayed() {
  if (!checked) return say("No recording is checked yet: press Check a recording.");
  const { number } = desk.song.bars[desk.bar];
  const passes = passesOf(number);
  if (passes.length === 0) return say(`Bar ${number} was not played in this recording.`);
  const first = Math.max(0, passes.findIndex((b) => b.findings.length > 0));
  hear(number, last.number === number ? (last.pass + 1) % passes.length : first);
}

async function hear(number, pass) {
  const passes = passesOf(number);
  const { start_s, end_s } = passes[pass];
  last = { number, pass };
  stopSong();
  quiet();
  const mine = (turn += 1);
  const which = passes.length > 1 ? `, time ${pass + 1} of ${passes.length}` : "";
  say(`Bar ${number} as played${which}, then as the chart says.`);
  played.currentTime = start_s;
  try {
    await played.play();
  } catch (trouble) {
    if (trouble.name !== "AbortError") say("This browser cannot play the recording.");
    return;
  }
  while (mine === turn && !played.ended && played.currentTime < end_s) await pause(WATCH_MS);
  if (mine !== turn) return;
  played.pause();
  const index = barByNumber(number);
  for (const chord of index < 0 ? [] : chordsIn(index)) {
    const { from, to } = partOf(chord, desk.song.bars[index]);
    if (chord.label === "N" || !(await hearPlucked(chord.label, chord.shapes[0]))) continue;
    await pause(1000 * Math.min(LONGEST_S, Math.max(SHORTEST_S, to - from)));
    if (mine !== turn) return;
  }
}

const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

function quiet() {
  turn += 1;
  played?.pause();
}
