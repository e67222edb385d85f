// The card of the chosen bar: what it may be and why, how to play it, what sounded, the
// same bar elsewhere, and everything that can be decided about it.

import { address, get } from "./api.js";
import { chordBox, frettedWords, readShape } from "./box.js";
import { drawDecisions } from "./card_decisions.js";
import { symbol } from "./chart.js";
import { hearPlucked } from "./clicks.js";
import { button, el, find, onceAPicture, unseen } from "./dom.js";
import { candidatesOf, chordsToFinger, repeatsOfChoice, shapeForAll, takeCandidate, unconfirm, writeDetail, writeShape } from "./edits.js";
import { plural, probability, sureness } from "./music.js";
import { say } from "./say.js";
import { barAt, barByNumber, choose, chordsIn, chosen, desk, detailIn, on, sectionOf, tell, within } from "./state.js";
import { soundedStrings } from "./strings.js";
import { forgetTyping, typingField } from "./typing.js";

/** Shapes shown side by side. */
const N_SHAPES = 4;

const slots = {};
/** GET /api/bar/N of the chosen bar, and for which state of the log. */
let detail = null;
let wanted = "";

const TABS = { chord: "Chord", fingering: "Fingering", change: "Change", notes: "Notes heard" };

export function startCard() {
  const slot = (name) => (slots[name] = el("div", { class: `slot ${name}` }));
  const panel = (name, ...inside) => el("div", { class: "panel", id: `panel-${name}`, role: "tabpanel", "aria-labelledby": `tab-${name}`, hidden: name !== "chord" }, ...inside);
  find("#card").append(
    slot("head"),
    el("div", { class: "tabs", role: "tablist", "aria-label": "About this bar", onkeydown: tabKeys }, Object.entries(TABS).map(([name, words]) => el("button", { type: "button", role: "tab", id: `tab-${name}`, "aria-controls": `panel-${name}`, "aria-selected": String(name === "chord"), tabindex: name === "chord" ? 0 : -1, onclick: () => openTab(name) }, words))),
    panel("chord", slot("candidates"), typingField(), slot("repeats")),
    panel("fingering", slot("shapes")),
    panel("change", slot("decisions")),
    panel("notes", slot("sounded")),
  );
  find("#card").addEventListener("scroll", () => (isScrolled = true), { passive: true });
  on("choice", () => show());
}

/** Shows one side of the card. */
export function openTab(name) {
  for (const other of Object.keys(TABS)) {
    const tab = find(`#tab-${other}`);
    tab.setAttribute("aria-selected", String(other === name));
    tab.tabIndex = other === name ? 0 : -1;
    find(`#panel-${other}`).hidden = other !== name;
  }
  document.body.classList.add("card-up");
}

function tabKeys(event) {
  const names = Object.keys(TABS);
  const at = names.findIndex((n) => event.target.id === `tab-${n}`);
  const to = { ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: names.length - 1 }[event.key];
  if (at < 0 || to === undefined) return;
  event.preventDefault();
  event.stopPropagation();
  const name = names[(to + names.length) % names.length];
  openTab(name);
  find(`#tab-${name}`).focus();
}

/** The choice is a bar longer, or shorter. */
export const moreBars = (by) => choose(desk.bar, { to: Math.max(desk.bar, desk.barTo + by) });

/** Who goes on quickly needs no details of the bars on the way. */
const REST_MS = 140;
let timer = null;
let first = true;

function show() {
  if (!desk.song || desk.song.bars.length === 0) return;
  const bar = desk.song.bars[desk.bar];
  const key = `${bar.number} ${desk.saved.revision}`;
  if (!wanted.startsWith(`${bar.number} `)) {
    forgetTyping();
    everyShape = null;
    const card = find("#card");
    if (isScrolled && !card.contains(document.activeElement)) [card.scrollTop, isScrolled] = [0, false];
  }
  if (key !== wanted) {
    wanted = key;
    if (detail?.bar?.number !== bar.number) detail = null;
    drawSoon();
    clearTimeout(timer);
    timer = setTimeout(() => load(bar, key), detail === null && first ? 0 : REST_MS);
    first = false;
    return;
  }
  drawSoon();
}

async function load(bar, key) {
  try {
    const answer = await get(`/api/bar/${bar.number}`);
    await moreShapes(answer.chords);
    if (wanted !== key) return;
    detail = answer;
  } catch (trouble) {
    if (wanted === key) slots.sounded.replaceChildren(el("p", { class: "quiet" }, trouble.message));
    return;
  }
  draw();
}

/** A chord with few shapes of its own is shown the easiest others beside them. */
async function moreShapes(chords) {
  const few = chords.filter((c) => c.shapes_drawn.length < N_SHAPES && c.label !== "N" && c.label !== "X");
  await Promise.all(
    few.map(async (c) => {
      const { shapes = [] } = await get(address("/api/complete", { text: c.label, at_s: c.start_s }));
      const known = c.shapes_drawn.map((s) => s.text);
      c.shapes_drawn.push(...shapes.filter((s) => !known.includes(s.text)).slice(0, N_SHAPES - known.length));
    }),
  );
}

/** Asking how far it is scrolled lays the page out. */
let isScrolled = false;
/** What the card was drawn of. */
let drawnOf = "";

/** When it was drawn, ms, and the timer that draws it for who went on quickly. */
let drawnAt = -Infinity;
let later = null;

/**
 * One decision changes the song, and the choice after it: the card is drawn once, and what is saved
 * as it stands not again. Of bars that are passed quickly it shows the first and the last.
 */
const drawSoon = onceAPicture(() => {
  if (desk.song.bars.length === 0 || seen() === drawnOf) return;
  clearTimeout(later);
  const isQuick = detail === null && performance.now() - drawnAt < REST_MS;
  if (isQuick) later = setTimeout(drawSoon, REST_MS);
  else draw();
});

/** All of the song that the card shows, but for what comes with the bar. */
function seen() {
  const { bars, chords, beats_s, revision, last_decision, n_open, detail: harmonies, can_undo, can_redo, ...facts } = desk.song;
  const bar = bars[desk.bar];
  return JSON.stringify([bars.slice(desk.bar, desk.barTo + 1), desk.part, desk.repeats, chordsIn(desk.bar), detailIn(desk.bar), within(bar.start_s - 8, bars[desk.barTo].end_s + 8), facts]);
}

/** Draws every slot; focus stays on what it was on, by its data-key. */
function draw() {
  clearTimeout(later);
  [drawnOf, drawnAt] = [seen(), performance.now()];
  const held = document.activeElement?.closest("#card [data-key]")?.dataset.key;
  const chord = chosen();
  const drawn = detail?.chords?.find((c) => Math.abs(c.start_s - (chord?.start_s ?? -1)) < 0.005);
  slots.head.replaceChildren(...head(chord));
  slots.candidates.replaceChildren(...candidates(chord));
  slots.shapes.replaceChildren(...shapes(chord, drawn));
  slots.sounded.replaceChildren(...soundedStrings(detail, desk.song));
  slots.repeats.replaceChildren(...repeats());
  drawDecisions(slots.decisions);
  if (held) (find(`[data-key="${held}"]`, find("#card")) ?? find("#card")).focus({ preventScroll: true });
}

function head(chord) {
  const bar = desk.song.bars[desk.bar];
  const section = sectionOf(desk.bar);
  const words = desk.barTo > desk.bar ? `Bars ${bar.number} to ${desk.song.bars[desk.barTo].number}` : `Bar ${bar.number}`;
  const where = section ? `section ${section.letter}${section.name ? `, ${section.name}` : ""}` : "";
  const all = chordsIn(desk.bar);
  return [
    el("h2", {}, words, where ? el("small", {}, ` ${where}`) : null),
    all.length > 1
      ? el(
          "div",
          { class: "which", role: "group", "aria-label": "Chords of this bar" },
          all.map((c, part) => button(`${c.symbol}${c.state === "open" ? "?" : ""}`, () => choose(desk.bar, { part }), { "aria-pressed": String(part === desk.part), "data-key": `part ${part}` })),
        )
      : null,
    chord ? el("p", { class: `state ${chord.state}` }, symbol(chord.symbol, chord.state === "open"), el("span", {}, stateWords(chord)), isTouched(chord) ? button("Unconfirm", unconfirm, { class: "small", "aria-keyshortcuts": "Backspace", title: "As proposed again", "data-key": "unconfirm" }) : null) : el("p", {}, "No chord here."),
  ].filter(Boolean);
}

/** Whether something was decided about a chord. */
const isTouched = (chord) => chord.state === "decided" || (chord.members ?? [chord]).some((c) => c.n_decided_shapes > 0);

function stateWords(chord) {
  if (chord.state === "decided") return chord.certainty === null ? "entered by you" : "confirmed";
  const sure = sureness(chord);
  return `unconfirmed${sure && `, ${sure} sure`}${chord.fragment ? ", read from a few plucked notes" : ""}`;
}

function candidates(chord) {
  const list = candidatesOf(chord);
  if (list.length === 0) return [];
  const rows = list.map((c, i) =>
    el(
      "li",
      { class: c.label === chord.label ? "stands" : null },
      el(
        "button",
        { type: "button", "data-key": `candidate ${i + 1}`, onclick: () => takeCandidate(i + 1) },
        unseen("Confirm "),
        el("span", { class: "n" }, i < 9 ? String(i + 1) : ""),
        symbol(c.symbol),
        el("span", { class: "share" }, list.length > 1 ? probability(c.probability) : sureness(chord)),
        el("span", { class: "reason" }, c.reason),
      ),
      button(["♪", unseen(` hear ${c.symbol}`)], () => hearPlucked(c.label), { "data-key": `listen ${i + 1}`, class: "small", title: `Hear ${c.symbol}` }),
    ),
  );
  return [
    el("h3", {}, "Candidates"),
    el("ol", { class: "list" }, rows),
    harmonies(),
    hasRepeats()
      ? el(
          "label",
          { class: "tick" },
          el("input", { type: "checkbox", id: "repeats", checked: desk.repeats, "data-key": "repeats", onchange: (e) => setRepeats(e.target.checked) }),
          el("span", {}, `Same in all repeats${repeatNumbers()}`),
        )
      : null,
  ].filter(Boolean);
}

/** Every harmony that sounds in the bar, where that is more than its chords. */
function harmonies() {
  const all = detailIn(desk.bar);
  if (all.length === 0) return null;
  const names = all.flatMap((c, i) => [i > 0 ? " – " : "", button([symbol(c.symbol), unseen(", hear it")], () => hearPlucked(c.label), { class: "small", "data-key": `harmony ${i}` })]);
  return el("p", { class: "harmonies" }, el("span", {}, "Every harmony: "), names, button("Use them", () => writeDetail(all), { "data-key": "use harmonies" }));
}

const hasRepeats = () => ["repeats", "repeats_that_differ"].some((of) => desk.song.bars[desk.bar][of]?.length > 0);

/** Which bars of the repeats a decision is carried to, and which not. */
function repeatNumbers() {
  const { same, differ } = repeatsOfChoice();
  const bars = (numbers) => `${numbers.length === 1 ? "bar" : "bars"} ${numbers.join(", ")}`;
  const left = differ.length > 0 ? `not ${bars(differ)}, which ${differ.length === 1 ? "differs" : "differ"}` : "";
  const parts = [same.length > 0 ? `also ${bars(same)}` : "", left].filter(Boolean);
  return parts.length > 0 ? `: ${parts.join("; ")}` : "";
}

export function setRepeats(isOn) {
  desk.repeats = isOn;
  const box = find("#repeats");
  if (box) box.checked = isOn;
  tell("choice", false);
  say(isOn ? `Decisions hold in all repeats${repeatNumbers()}.` : "Decisions hold in this place only.");
}

function shapes(chord, drawn) {
  if (!chord) return [];
  const list = drawn?.shapes_drawn ?? chord.shapes.map((text, i) => ({ text, frets: readShape(text) ?? [], decided: i < chord.n_decided_shapes }));
  if (list.length === 0) return [];
  const stands = list.filter((s) => s.decided);
  return [
    el("h3", {}, `Fingerings of ${chord.symbol}`),
    everyLine(chord),
    el("ul", { class: "fingerings" }, list.slice(0, N_SHAPES).map((s) => figure(s, chord, stands))),
    [...new Set(list.map((s) => s.caution).filter(Boolean))].map((text) => el("p", { class: "quiet" }, text)),
  ].flat().filter(Boolean);
}

/** The fingering that is about to be every such chord's. */
let everyShape = null;

/** Which bars "every" touches, before it does. */
function everyLine(chord) {
  if (everyShape === null) return null;
  const all = chordsToFinger(chord.label, everyShape);
  const numbers = [...new Set(all.map((c) => desk.song.bars[barAt(c.start_s + 0.02)].number))];
  const end = (act) => () => {
    const shape = everyShape;
    everyShape = null;
    if (act) shapeForAll(shape);
    draw();
  };
  if (all.length === 0) return el("p", { class: "every", role: "status" }, `Every ${chord.symbol} is fingered ${everyShape} already. `, button("Close", end(false), { "data-key": "every no" }));
  return el(
    "p",
    { class: "every" },
    `${everyShape} for ${plural(all.length, "chord")}, in bar${numbers.length === 1 ? "" : "s"} ${numbers.join(", ")}. `,
    button(`Use for every ${chord.symbol}`, end(true), { class: "primary", "data-key": "every yes" }),
    button("Cancel", end(false), { "data-key": "every no" }),
  );
}

/** A fingering in one line: the diagram, the frets, what it asks of the hand, what can be done. */
function figure(shape, chord, stands) {
  const [one] = stands;
  const name = `${chord.symbol} ${shape.text}: ${frettedWords(shape.frets)}${shape.decided ? "; confirmed" : ""}`;
  const isOnly = shape.decided && stands.length === 1;
  return el(
    "li",
    { class: shape.decided ? "decided" : "open" },
    chordBox(shape, name),
    el("span", { class: "frets" }, el("b", {}, shape.text), shape.reach_words ? el("small", {}, shape.reach_words) : null),
    el(
      "span",
      { class: "ways" },
      button(["♪", unseen(` hear ${shape.text}`)], () => hearPlucked(chord.label, shape.text), { "data-key": `hear ${shape.text}`, title: "Hear it" }),
      isOnly ? null : button([shape.decided ? "Only this" : "Use", unseen(` ${shape.text}`)], () => writeShape(shape.text), { "data-key": `shape ${shape.text}` }),
      one && !shape.decided ? button(["Also", unseen(` ${shape.text}, beside ${one.text}`)], () => writeShape(one.text, shape.text), { "data-key": `or ${shape.text}` }) : null,
      button([`Every ${chord.symbol} …`, unseen(` fingered ${shape.text}`)], () => ((everyShape = shape.text), draw()), { "data-key": `every ${shape.text}` }),
    ),
  );
}

function repeats() {
  const list = detail?.repeats ?? [];
  if (list.length === 0) return [];
  return [
    el("h3", {}, "This bar in the repeats"),
    el(
      "ul",
      { class: "list" },
      list.map((r) => {
        const number = r.bar;
        const chords = r.chords.map((c) => `${c.symbol}${c.state === "open" ? "?" : ""}`).join("  ");
        return el("li", {}, button(`bar ${number}: ${chords} – ${r.same ? "same" : "differs"}`, () => choose(barByNumber(number)), { "data-key": `repeat ${number}` }));
      }),
    ),
  ];
}
