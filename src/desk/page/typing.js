// Writing a chord or a shape: named while it is typed, with completion.
// A combobox after the ARIA Authoring Practices: arrows choose, Enter takes, Escape closes.

import { Unreachable, address, get } from "./api.js";
import { chordBox, frettedWords, readShape } from "./box.js";
import { button, el } from "./dom.js";
import { writeChord, writeShape } from "./edits.js";
import { lost } from "./link.js";
import { say } from "./say.js";
import { chosen } from "./state.js";

const N_OFFERED = 8;

const parts = {};
let asked = null;
let answer = null;
let active = -1;

/** The field, made once: what is half typed survives whatever else is drawn. */
export function typingField() {
  parts.input = el("input", {
    id: "own",
    type: "text",
    role: "combobox",
    autocomplete: "off",
    autocapitalize: "off",
    spellcheck: "false",
    "aria-expanded": "false",
    "aria-controls": "own-list",
    "aria-autocomplete": "list",
    "aria-describedby": "own-named",
    placeholder: "Am7, D/F#, or x02010",
    oninput: ask,
    onkeydown: keys,
    onblur: () => setTimeout(close, 150),
  });
  parts.list = el("ul", { id: "own-list", role: "listbox", "aria-label": "Completions", hidden: true });
  parts.named = el("p", { id: "own-named", "aria-live": "polite" });
  parts.shapes = el("div", { class: "boxes", id: "own-shapes" });
  return el(
    "div",
    { class: "typing" },
    el("label", { for: "own" }, "Enter a chord or a fingering"),
    el("div", { class: "field" }, parts.input, button("Enter", write, { "aria-label": "Enter what is typed" }), parts.list),
    parts.named,
    parts.shapes,
  );
}

export function startTyping() {
  parts.input.focus();
  parts.input.select();
}

/** Empties the field when another place is chosen. */
export function forgetTyping() {
  if (document.activeElement === parts.input) return;
  parts.input.value = "";
  clear();
}

function clear() {
  answer = null;
  parts.named.textContent = "";
  parts.shapes.replaceChildren();
  close();
}

function close() {
  parts.list.hidden = true;
  parts.input.setAttribute("aria-expanded", "false");
  parts.input.removeAttribute("aria-activedescendant");
  active = -1;
}

async function ask() {
  const text = parts.input.value.trim();
  asked?.abort();
  if (text === "") return clear();
  asked = new AbortController();
  try {
    answer = { text, ...(await get(address("/api/complete", { text, at_s: chosen()?.start_s ?? 0 }), { signal: asked.signal })) };
    show();
  } catch (trouble) {
    if (trouble.name === "AbortError") return;
    if (trouble instanceof Unreachable) lost(trouble);
    parts.named.textContent = trouble.message;
  }
}

function show() {
  const { kind, symbol, names = [], suggestions = [], shapes = [], error } = answer;
  if (kind === "shape") {
    const called = names.slice(0, 4).map((n) => n.symbol);
    parts.named.textContent = called.length > 0 ? `${answer.text} is ${called[0]}${called.length > 1 ? `; also ${called.slice(1).join(", ")}` : ""}` : `${answer.text}: no name found`;
  } else if (kind === "chord") parts.named.textContent = `Reads as ${symbol}`;
  else parts.named.textContent = suggestions.length > 0 ? "" : (error ?? "Neither a chord nor a shape yet");
  parts.shapes.replaceChildren(...(kind === "shape" ? namesToTake(names) : shapes.slice(0, 4).map(shapeToTake)));
  // a whole chord needs no list over what stands below
  const goesOn = (s) => s.text.startsWith(answer.text);
  const offered = suggestions
    .filter((s) => s.text !== answer.text)
    .sort((a, b) => Number(goesOn(b)) - Number(goesOn(a)))
    .slice(0, N_OFFERED);
  parts.list.replaceChildren(...offered.map(option));
  const isOpen = offered.length > 0 && document.activeElement === parts.input;
  parts.list.hidden = !isOpen;
  parts.input.setAttribute("aria-expanded", String(isOpen));
  if (isOpen) parts.list.scrollIntoView({ block: "nearest" });
  active = -1;
}

const option = (s, i) =>
  el("li", { role: "option", id: `own-${i}`, "aria-selected": "false", "data-text": s.text, onpointerdown: (e) => (e.preventDefault(), take(s.text)) }, s.symbol ?? s.text, s.symbol && s.symbol !== s.text ? el("small", {}, ` ${s.text}`) : null);

function namesToTake(names) {
  const frets = readShape(answer.text);
  const box = frets && frets.some((f) => f > 0) ? chordBox({ text: answer.text, frets }, `${answer.text}: ${frettedWords(frets)}`) : null;
  const text = answer.text;
  return [box, ...names.slice(0, 4).map((n) => button(`Enter as ${n.symbol}`, () => done(writeChord(n.label, { shape: text, symbol: n.symbol })), { title: n.reason }))].filter(Boolean);
}

function shapeToTake(shape) {
  const { label, symbol } = answer;
  return el(
    "figure",
    {},
    chordBox(shape),
    button(shape.text, () => done(writeChord(label, { shape: shape.text, symbol })), { "aria-label": `Enter ${symbol} fingered ${shape.text}` }),
  );
}

function take(text) {
  parts.input.value = text;
  close();
  ask();
}

function keys(event) {
  const options = [...parts.list.children];
  const isOpen = !parts.list.hidden;
  if (isOpen && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
    active = (active + (event.key === "ArrowDown" ? 1 : options.length + (active < 0 ? 0 : -1)) + options.length) % options.length;
    options.forEach((o, i) => o.setAttribute("aria-selected", String(i === active)));
    parts.input.setAttribute("aria-activedescendant", options[active].id);
  } else if (event.key === "Enter") {
    if (isOpen && active >= 0) take(options[active].dataset.text);
    else write();
  } else if (event.key === "Escape") {
    if (isOpen) close();
    else {
      parts.input.value = "";
      clear();
      document.querySelector("#chosen")?.focus();
    }
  } else return;
  event.preventDefault();
}

/** Writes what is typed: a chord, or a shape for the chord that stands there. */
async function write() {
  const text = parts.input.value.trim();
  if (text === "") return;
  if (!answer || answer.text !== text) await ask();
  if (answer?.text !== text || answer.kind === "none") return say(answer?.error ?? `“${text}” is neither a chord nor a shape.`);
  if (answer.kind === "chord") return done(writeChord(text, { symbol: answer.symbol }));
  const names = answer.names ?? [];
  // a shape of the chord that stands there leaves its name; any other shape brings its own
  const stands = chosen();
  if (names.length === 0 || names.some((n) => n.label === stands.label)) return done(writeShape(text));
  return done(writeChord(names[0].label, { shape: text, symbol: names[0].symbol }));
}

async function done(sent) {
  if (!(await sent)) return;
  parts.input.value = "";
  clear();
  document.querySelector("#chosen")?.focus({ preventScroll: true });
}

/** Whether letters belong to a field now. */
export const isTyping = (target) => target instanceof HTMLElement && target.matches("input:not([type=checkbox]):not([type=range]), textarea, select");
