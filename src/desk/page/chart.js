// The chart: the song in lines of bars on paper. Lines that did not change keep their
// elements, so that a decision redraws little and focus stays.

import { button, el, find, setIfOther, svg, unseen, whenOther, write } from "./dom.js";
import { setInLines } from "./lines.js";
import { clock, keyWords, parts, plural, sureness } from "./music.js";
import { say } from "./say.js";
import { choose, chordsIn, desk, detailIn, isDetailed, on, partOf, sectionOf, tell } from "./state.js";

/** Where a bar lies on the paper: its line's element and its place from the left. */
const places = new Map();
let kept = new Map();

/** Bars in a line: four, or two where the paper is narrow. */
export const perLine = () => (window.matchMedia("(max-width: 560px)").matches ? 2 : 4);

export function startChart() {
  on("song", () => (isDrawn(desk.song) ? heading(desk.song) : draw()));
  on("choice", mark);
  on("view", draw);
  new ResizeObserver(() => (measured = new WeakMap())).observe(find("#parts"));
  window.matchMedia("(max-width: 560px)").addEventListener("change", () => tell("view"));
  find("#written-out").addEventListener("change", (event) => {
    desk.folded = !event.target.checked;
    tell("view");
  });
  startDragging(find("#parts"));
  find("#parts").addEventListener("click", (event) => {
    const chord = event.target.closest("[data-bar]");
    if (!chord) return;
    const bar = Number(chord.dataset.bar);
    const part = Number(event.target.closest("[data-part]")?.dataset.part ?? 0);
    if (event.shiftKey) choose(desk.bar, { to: bar });
    else choose(bar, { part });
  });
  find("#parts").addEventListener("dblclick", (event) => {
    if (event.target.closest("[data-bar]")) tell("play");
  });
}

/** Shows every harmony under the song's chords, or the chords alone. */
export function showDetail(isOn) {
  if (!(desk.song.detail?.length > 0)) return say("No more harmonies were heard than these chords.");
  desk.detail = isOn;
  desk.detailIn.clear();
  tell("view");
  say(isOn ? "Every harmony that sounds is shown under the chords." : "The song's chords only.");
}

/** The same for one section. */
function toggleSection(first) {
  if (desk.detail) {
    desk.detail = false;
    for (const section of desk.song.sections) desk.detailIn.add(section.first_bar);
  }
  if (!desk.detailIn.delete(first)) desk.detailIn.add(first);
  tell("view");
  find(`[data-detail="${first}"]`)?.focus({ preventScroll: true });
}

/** Dragging over bars chooses them and loops them. */
function startDragging(place) {
  let [from, isDrag] = [null, false];
  place.addEventListener("pointerdown", (event) => {
    const bar = event.target.closest("[data-bar]");
    isDrag = false;
    from = bar && event.pointerType === "mouse" && event.button === 0 && !event.shiftKey ? Number(bar.dataset.bar) : null;
  });
  place.addEventListener("pointermove", (event) => {
    if (from === null || event.buttons !== 1) return;
    const bar = event.target.closest("[data-bar]");
    if (!bar || (!isDrag && Number(bar.dataset.bar) === from)) return;
    isDrag = true;
    const to = Number(bar.dataset.bar);
    if (desk.bar !== Math.min(from, to) || desk.barTo !== Math.max(from, to)) choose(from, { to });
  });
  window.addEventListener("pointerup", () => {
    if (isDrag) tell("dragged");
    from = null;
    // the click that follows is part of the drag
    setTimeout(() => (isDrag = false), 0);
  });
  place.addEventListener("click", (event) => isDrag && event.stopImmediatePropagation(), true);
}

/** Where the measures of lines lie in them; measured once, since asking lays the page out. */
let measured = new WeakMap();

/** A line's width and its measures' `{left, width}`, px. */
export function cellsOf(line) {
  const known = measured.get(line);
  if (known) return known;
  const cells = [...line.querySelectorAll(".measure")].map((m) => ({ left: m.offsetLeft, width: m.offsetWidth }));
  const found = { width: line.clientWidth, cells };
  // a page that is not shown has no widths
  if (found.width > 0) measured.set(line, found);
  return found;
}

/** `{line, column, columns, pass}` of a bar, or undefined. */
export const placeOf = (index) => places.get(index);

/** Moves focus to the chosen bar. */
export const focusBar = () => find("#chosen")?.focus({ preventScroll: true });

/** The song as the lines were drawn of it. */
let drawn = null;
let drawnApart = 0;

/** Whether the lines say what a song says: what is saved is mostly what was shown before its answer. */
const isDrawn = (song) =>
  drawn !== null &&
  drawnApart === desk.apart.length &&
  LINED.every((field) => song[field] === drawn[field]) &&
  song.chords.length === drawn.chords.length &&
  song.chords.every((c, i) => c === drawn.chords[i] || seenOf(c) === seenOf(drawn.chords[i]));

/** What the lines are drawn of beside the chords. */
const LINED = ["bars", "sections", "key", "key_changes", "beats_s", "detail"];

function draw() {
  const song = desk.song;
  if (!song) return;
  drawn = song;
  drawnApart = desk.apart.length;
  heading(song);
  places.clear();
  const fresh = new Map();
  const n = perLine();
  const laid = setInLines(song, { folded: desk.folded, perLine: n });
  const parts = laid.map((part, p) => {
    const lines = part.lines.map((line, l) => {
      const key = `${n} ${line.map((m) => keyOf(m)).join("|")}`;
      const node = kept.get(key) ?? drawLine(line);
      fresh.set(key, node);
      line.forEach((measure, column) => {
        measure.bars.forEach((bar, pass) => {
          const others = line.flatMap((m) => m.bars[pass] ?? []);
          places.set(bar, { node, column, bars: others, measure });
        });
      });
      setIfOther(node, "data-line", `${p}.${l}`);
      return node;
    });
    const rows = lines.map((node, l) => ({ key: part.lines[l][0].newKey ?? null, node }));
    return { words: partWords(part), heading: partHeading(part, song, standing[p]?.heading), rows };
  });
  kept = fresh;
  put(parts);
  mark();
}

/** What stands on the page: sections with their headings and lines. */
let standing = [];

/** Puts the parts on the page; where only lines differ, only these are exchanged, so that little is laid out anew. */
function put(parts) {
  const same = (a, b) => a.rows.length === b.rows.length && a.rows.every((row, i) => row.key === b.rows[i].key && (row.node === b.rows[i].node || !row.node.isConnected));
  if (parts.length === standing.length && parts.every((part, i) => same(part, standing[i]))) {
    standing = parts.map((part, i) => exchange(part, standing[i]));
    return;
  }
  for (const part of parts) {
    const rows = part.rows.map(({ key, node }) => [newKey(key), node]);
    part.section = el("section", { class: "part", "aria-label": part.words }, part.heading.node, rows);
  }
  standing = parts;
  find("#parts").replaceChildren(...parts.map((part) => part.section));
}

function exchange(part, before) {
  part.section = before.section;
  if (part.words !== before.words) part.section.setAttribute("aria-label", part.words);
  if (part.heading !== before.heading) before.heading.node.replaceWith(part.heading.node);
  part.rows.forEach(({ node }, i) => node !== before.rows[i].node && replaceLine(before.rows[i].node, node));
  return part;
}

/** A line in another's place; where as many measures lie as wide, nothing is measured again. */
function replaceLine(before, node) {
  before.replaceWith(node);
  const known = measured.get(before);
  const widths = (line) => [...line.querySelectorAll(".measure")].map((m) => m.style.gridColumn).join();
  if (known && widths(before) === widths(node)) measured.set(node, known);
}

/** More changes of key than this are not all named at the top, as on the printed chart. */
const MANY_KEYS = 6;

function heading(song) {
  write(find("#title"), song.title);
  write(find("title"), `${song.title} – takebook`);
  const tempo = song.tempo_bpm ? `${Math.round(song.tempo_bpm)} bpm` : "no steady tempo";
  const capo = song.capo ? `capo ${song.capo}` : null;
  const changes = song.key_changes.map((c) => [c.key, song.bars.find((b) => b.start_s >= c.at_s - 0.001)]);
  const all = changes.filter(([, bar]) => bar).map(([key, bar]) => `${keyWords(key)} from bar ${bar.number}`);
  const keys = all.length > MANY_KEYS ? [...all.slice(0, MANY_KEYS - 1), `and ${all.length - MANY_KEYS + 1} more changes of key`] : all;
  const facts = [[keyWords(song.key), ...keys].join(", "), song.meter ?? "no meter", tempo, capo, clock(song.duration_s)];
  write(find("#facts"), facts.filter(Boolean).join(" · "));
  write(find("#form"), song.form ? `Form: ${song.form}` : "");
  const n = song.n_open;
  const isFresh = song.can_undo === false && song.can_redo === false && n > 0;
  find("#begin").toggleAttribute("hidden", !isFresh);
  find("#undo").toggleAttribute("disabled", song.can_undo === false);
  find("#redo").toggleAttribute("disabled", song.can_redo === false);
  find("#many-open").toggleAttribute("disabled", n === 0);
  foot([...song.notes.map((t) => `Note: ${t}`), ...song.warnings]);
}

const foot = whenOther((remarks) => {
  find("#foot").replaceChildren(
    ...remarks.map((text) => el("p", {}, text)),
    el("p", {}, "A chart of someone's song is for your own study; sharing or selling copies needs the owner's permission, and local law decides."),
  );
});

function partWords(part) {
  const name = part.name ? `, ${part.name}` : "";
  return `Section ${part.letter || "without a letter"}${name}${part.times > 1 ? `, ${part.times} times` : ""}`;
}

/** `{key, node}`; the one before, where it says the same. */
function partHeading(part, song, before) {
  const index = part.lines[0][0].bars[0];
  const first = sectionOf(index)?.first_bar;
  const hasDetail = song.detail?.length > 0 && part.lines.some((line) => line.some((m) => detailIn(m.bars[0]).length > 0));
  const bars = part.passes.map(([a, b]) => (a === b ? `${a}` : `${a}–${b}`)).join(" and ");
  const words = [part.times > 1 ? `${part.times}×, bars ${bars}` : `bars ${bars}`, part.differs].filter(Boolean).join(" · ");
  const key = JSON.stringify([part.letter, part.name, words, hasDetail, hasDetail && isDetailed(index), first]);
  if (key === before?.key) return before;
  const heading = el(
    "h2",
    {},
    part.letter ? el("span", { class: "letter" }, part.letter) : null,
    part.name ? el("span", { class: "name" }, part.name) : null,
    el("span", { class: "span" }, words),
  );
  const more = hasDetail ? button(["Every harmony", unseen(` of section ${part.letter}`)], () => toggleSection(first), { "aria-pressed": String(isDetailed(index)), "aria-keyshortcuts": "d", "data-detail": first, class: "small" }) : null;
  return { key, node: el("div", { class: "part-head" }, heading, more) };
}

/** Over a line that begins in a new key. */
const newKey = (key) => (key ? el("p", { class: "new-key" }, `Key of ${keyWords(key)}`) : null);

/** What is seen of a chord; one that did not change is the same object in every song. */
const seen = new WeakMap();
function seenOf(c) {
  let words = seen.get(c);
  if (words === undefined) seen.set(c, (words = `${c.start_s} ${c.end_s} ${c.symbol} ${c.state} ${c.certainty} ${c.notes.join("\n")}`));
  return words;
}

/** All of a measure that is seen on the chart. */
const keyOf = (m) =>
  `${m.cells} ${m.ending} ${m.endingStarts} ${m.newKey ?? ""} ${m.repeatStart} ${m.repeatEnd} ${m.last} ` +
  m.bars.map((b) => `${b} ${desk.song.bars[b].number} ${desk.song.bars[b].start_s} ${desk.song.bars[b].n_beats} ` + chordsIn(b).map(seenOf).join(";") + (isDetailed(b) ? detailIn(b).map((c) => ` ${c.start_s} ${c.symbol}`).join() : "")).join("/");

function drawLine(line) {
  const first = desk.song.bars[line[0].bars[0]].number;
  return el(
    "div",
    { class: "line", "data-first": first },
    el("div", { class: "bars" }, line.map(measure)),
    el("span", { class: "playhead", "aria-hidden": true, hidden: true }),
  );
}

function measure(printed, column) {
  const kind = [
    "measure",
    column === 0 ? "first" : "",
    printed.repeatStart ? "repeat-start" : "",
    printed.repeatEnd ? "repeat-end" : "",
    printed.last ? "last" : "",
  ];
  const node = el(
    "div",
    { class: kind.filter(Boolean).join(" ") },
    printed.endingStarts ? el("span", { class: "ending" }, `${printed.ending}.`) : printed.ending ? el("span", { class: "ending goes-on" }) : null,
    printed.repeatStart ? sign("start") : null,
    bar(printed),
    printed.repeatEnd ? sign("end") : null,
  );
  if (printed.cells > 1) node.style.gridColumn = `span ${printed.cells}`;
  return node;
}

/** A repeat sign: thick and thin line with two dots. */
function sign(side) {
  const x = side === "start" ? { thick: 2, thin: 6.5, dots: 11 } : { thick: 12, thin: 7.5, dots: 3 };
  return svg(
    "svg",
    { class: `sign ${side}`, viewBox: "0 0 14 60", preserveAspectRatio: "none", "aria-hidden": true },
    svg("path", { d: `M${x.thick} 0V60`, class: "thick" }),
    svg("path", { d: `M${x.thin} 0V60`, class: "thin" }),
    [22, 38].map((cy) => svg("circle", { cx: x.dots, cy, r: 2 })),
  );
}

/** One printed bar; in a folded repeat it stands for several, and opens the first that is open. */
function bar(printed) {
  const all = printed.bars;
  const isOpen = (b) => chordsIn(b).some((c) => c.state === "open");
  const index = all.find(isOpen) ?? all[0];
  const here = desk.song.bars[index];
  const chords = chordsIn(index);
  const notes = all.flatMap((b) => chordsIn(b).filter((c) => c.start_s >= desk.song.bars[b].start_s - 0.02).flatMap((c) => c.notes));
  const mixed = all.some(isOpen) && !all.every(isOpen);
  return el(
    "button",
    { type: "button", class: "bar", tabindex: -1, "data-bar": index, "data-all": all.join(" ") },
    el(
      "span",
      { class: "above" },
      el("span", { class: "number" }, unseen("Bar "), all.map((b) => desk.song.bars[b].number).join("/")),
      mixed ? el("span", { class: "remark" }, `unconfirmed: ${all.filter(isOpen).map((b) => `bar ${desk.song.bars[b].number}`).join(", ")}`) : null,
      [...new Set(notes)].map((text) => el("span", { class: "remark" }, text)),
    ),
    el("span", { class: `chords ${chords.length > 2 ? "many" : ""}` }, chords.map((c, part) => chord(c, here, part))),
    isDetailed(index) ? detail(index) : null,
    beats(here),
  );
}

/** Every harmony that sounds in a bar, each about under its place. */
function detail(index) {
  const all = detailIn(index);
  if (all.length === 0) return null;
  const each = all.map((c) => {
    const node = el("span", {}, symbol(c.symbol));
    node.style.flexGrow = String((c.end_s - c.start_s).toFixed(3));
    return node;
  });
  return el("span", { class: "detail" }, unseen(" every harmony: "), each.flatMap((node) => [node, unseen(" ")]));
}

function chord(c, here, part) {
  const outside = c.end_s <= here.start_s + 0.02 || c.start_s >= here.end_s - 0.02;
  const own = partOf(c, here);
  const node = el(
    "span",
    { class: `chord ${c.state}${outside ? " outside" : ""}`, "data-part": part },
    symbol(c.symbol, c.state === "open"),
    unseen(c.state === "open" ? " unconfirmed " : " confirmed "),
    c.state === "open" && isDoubtful(c) ? el("span", { class: "sure" }, sureness(c)) : null,
  );
  node.style.flexGrow = outside ? "0" : String((own.to - own.from).toFixed(3));
  return node;
}

/** A chord symbol set as in print: the tail smaller and raised, the bass smaller. */
export function symbol(text, open = false) {
  const { root, kind, tail, bass } = parts(text);
  return el(
    "span",
    { class: "symbol" },
    root + kind,
    tail ? el("span", { class: "tail" }, tail) : null,
    bass ? el("span", { class: "bass" }, bass) : null,
    open ? el("span", { class: "query" }, "?") : null,
  );
}

/** Sureness is shown where it is below this. */
const DOUBTFUL = 0.8;
const isDoubtful = (c) => c.certainty !== null && c.certainty < DOUBTFUL && sureness(c) !== "";

/** A slash a beat. */
function beats(here) {
  const n = Math.max(1, Math.min(16, here.n_beats));
  return el("span", { class: "beats", "aria-hidden": true }, Array.from({ length: n }, () => el("i", {}, "/")));
}

let marked = [];
/** Shows what is chosen; only what differs is touched. */
function mark() {
  const now = [];
  for (let bar = desk.bar; bar <= desk.barTo; bar += 1) {
    const place = places.get(bar);
    if (!place) continue;
    const node = place.node.querySelectorAll(".bar")[place.column];
    if (!now.includes(node)) now.push(node);
  }
  for (const node of marked.slice(1)) if (!now.includes(node)) node.classList.remove("in-stretch");
  if (marked.length > 0 && marked[0] !== now[0]) leave(marked[0], now.includes(marked[0]));
  marked = now;
  for (const node of now) if (!node.classList.contains("in-stretch")) node.classList.add("in-stretch");
  const [node] = now;
  if (!node) return;
  if (node.id !== "chosen") {
    node.classList.add("chosen");
    node.id = "chosen";
    node.setAttribute("aria-current", "true");
    node.tabIndex = 0;
  }
  setIfOther(node, "data-bar", desk.bar);
  node.querySelectorAll(".chord").forEach((c, part) => {
    if (c.classList.contains("in-hand") !== (part === desk.part)) c.classList.toggle("in-hand");
  });
}

/** A bar that is no longer the first of what is chosen. */
function leave(node, isInStretch) {
  node.classList.remove("chosen");
  if (!isInStretch) node.classList.remove("in-stretch");
  node.removeAttribute("id");
  node.removeAttribute("aria-current");
  node.tabIndex = -1;
  for (const c of node.querySelectorAll(".in-hand")) c.classList.remove("in-hand");
}
