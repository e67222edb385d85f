// The card of the chosen bar: what it may be and why, how to play it, what sounded, the
// same bar elsewhere, and everything that can be decided about it.

import { address, get } from "./api.js";
import { chordBox, frettedWords, readShape } from "./box.js";
import { drawDecisions } from "./card_decisions.js";
import { symbol } from "./chart.js";
import { hearPlucked } from "./clicks.js";
import { button, el, find, unseen } from "./dom.js";
import { takeCandidate, takeIt, writeShape } from "./edits.js";
import { plural, probability, sureness } from "./music.js";
import { say } from "./say.js";
import { barByNumber, choose, chordsIn, chosen, desk, on, sectionOf } from "./state.js";
import { soundedStrings } from "./strings.js";
import { forgetTyping, typingField } from "./typing.js";

/** Shapes shown side by side. */
const N_SHAPES = 4;

const slots = {};
/** GET /api/bar/N of the chosen bar, and for which state of the log. */
let detail = null;
let wanted = "";

export function startCard() {
  const slot = (name) => (slots[name] = el("div", { class: `slot ${name}` }));
  // two sides, beside each other where the card is wide
  find("#card").append(
    el("div", { class: "side" }, slot("head"), slot("candidates"), typingField()),
    el("div", { class: "side" }, slot("shapes"), slot("sounded"), slot("repeats"), slot("decisions")),
  );
  on("choice", () => show());
}

async function show() {
  if (!desk.song || desk.song.bars.length === 0) return;
  const bar = desk.song.bars[desk.bar];
  const key = `${bar.number} ${desk.song.revision}`;
  if (!wanted.startsWith(`${bar.number} `)) {
    forgetTyping();
    const card = find("#card");
    if (!card.contains(document.activeElement)) card.scrollTop = 0;
  }
  if (key !== wanted) {
    wanted = key;
    if (detail?.bar?.number !== bar.number) detail = null;
    draw();
    try {
      const answer = await get(`/api/bar/${bar.number}`);
      await moreShapes(answer.chords);
      if (wanted !== key) return;
      detail = answer;
    } catch (trouble) {
      if (wanted === key) slots.sounded.replaceChildren(el("p", { class: "quiet" }, trouble.message));
      return;
    }
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

/** Draws every slot; focus stays on what it was on, by its data-key. */
function draw() {
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
    chord ? el("p", { class: `state ${chord.state}` }, symbol(chord.symbol, chord.state === "open"), el("span", {}, stateWords(chord))) : el("p", {}, "No chord here."),
  ].filter(Boolean);
}

function stateWords(chord) {
  if (chord.state === "decided") return chord.certainty === null ? "decided, your own" : "decided";
  const sure = sureness(chord);
  return `open${sure && `, ${sure} sure`}${chord.fragment ? ", read from a few plucked notes" : ""}`;
}

function candidates(chord) {
  if (!chord || chord.candidates.length === 0) return [];
  const rows = chord.candidates.map((c, i) =>
    el(
      "li",
      { class: c.label === chord.label ? "stands" : null },
      el(
        "button",
        { type: "button", "data-key": `candidate ${i + 1}`, onclick: () => takeCandidate(i + 1) },
        unseen("Take "),
        el("span", { class: "n" }, i < 9 ? String(i + 1) : ""),
        symbol(c.symbol),
        el("span", { class: "share" }, chord.candidates.length > 1 ? probability(c.probability) : sureness(chord)),
        el("span", { class: "reason" }, c.label === chord.label && chord.state === "decided" ? `stands. ${c.reason}` : c.reason),
      ),
    ),
  );
  return [
    el("h3", {}, "It may be"),
    el("ol", { class: "list" }, rows),
    chord.state === "open" || desk.barTo > desk.bar
      ? button(desk.barTo > desk.bar ? "Take what is proposed in these bars" : `Take ${chord.symbol}`, () => takeIt(), { class: "main", "data-key": "take", "aria-keyshortcuts": "Enter" })
      : null,
    el(
      "label",
      { class: "tick" },
      el("input", { type: "checkbox", id: "repeats", checked: desk.repeats, "data-key": "repeats", onchange: (e) => setRepeats(e.target.checked) }),
      ` The same in every repeat${repeatNumbers()}`,
    ),
  ].filter(Boolean);
}

const repeatNumbers = () => {
  const others = desk.song.bars[desk.bar].repeats ?? [];
  return others.length > 0 ? ` (also ${plural(others.length, "bar")}: ${others.join(", ")})` : " (this bar has none)";
};

export function setRepeats(isOn) {
  desk.repeats = isOn;
  const box = find("#repeats");
  if (box) box.checked = isOn;
  say(isOn ? "Decisions hold in every repeat." : "Decisions hold in this place only.");
}

function shapes(chord, drawn) {
  if (!chord) return [];
  const list = drawn?.shapes_drawn ?? chord.shapes.map((text, i) => ({ text, frets: readShape(text) ?? [], decided: i < chord.n_decided_shapes }));
  if (list.length === 0) return [];
  const stands = list.filter((s) => s.decided);
  return [
    el("h3", {}, stands.length === 2 ? "Played so, or so" : "Played"),
    el("div", { class: "boxes" }, list.slice(0, N_SHAPES).map((s) => figure(s, chord, stands))),
    [...new Set(list.map((s) => s.caution).filter(Boolean))].map((text) => el("p", { class: "quiet" }, text)),
  ].flat().filter(Boolean);
}

function figure(shape, chord, stands) {
  const [one] = stands;
  const name = `${chord.symbol} ${shape.text}: ${frettedWords(shape.frets)}${shape.decided ? "; decided" : ""}`;
  return el(
    "figure",
    { class: shape.decided ? "decided" : "open" },
    chordBox(shape, name),
    el("figcaption", {}, shape.text, shape.decided ? "" : "?", shape.reach_words ? el("small", {}, shape.reach_words) : null),
    el(
      "div",
      { class: "ways" },
      button(["hear", unseen(` ${shape.text} plucked`)], () => hearPlucked(chord.label, shape.text), { "data-key": `hear ${shape.text}` }),
      shape.decided && stands.length === 1 ? null : button([shape.decided ? "only this" : "play so", unseen(` ${shape.text}`)], () => writeShape(shape.text), { "data-key": `shape ${shape.text}` }),
      one && !shape.decided ? button(["or so", unseen(` ${shape.text}, beside ${one.text}`)], () => writeShape(one.text, shape.text), { "data-key": `or ${shape.text}` }) : null,
    ),
  );
}

function repeats() {
  const list = detail?.repeats ?? [];
  if (list.length === 0) return [];
  return [
    el("h3", {}, "The same bar in the repeats"),
    el(
      "ul",
      { class: "list" },
      list.map((r) => {
        const number = r.bar;
        const chords = r.chords.map((c) => `${c.symbol}${c.state === "open" ? "?" : ""}`).join("  ");
        return el("li", {}, button(`bar ${number}: ${chords} – ${r.same ? "the same" : "differs"}`, () => choose(barByNumber(number)), { "data-key": `repeat ${number}` }));
      }),
    ),
  ];
}
