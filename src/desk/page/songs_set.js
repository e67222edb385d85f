// A set list: songs in an order of one's own, bound into one PDF. Kept for this tab only;
// what lasts is the PDF.

import { address } from "./api.js";
import { button, el, find } from "./dom.js";
import { plural } from "./music.js";
import { say } from "./say.js";

const KEPT = "takebook.set";
const fields = {};
let names = JSON.parse(sessionStorage.getItem(KEPT) ?? "[]");
let titleOf = (name) => name;
let changed = () => {};

/** Begins; takes what gives a song's title, and what is called when the set list changes. */
export function startSet(titles, onChange) {
  titleOf = titles;
  changed = onChange;
  const tick = (name, words) => el("label", { class: "tick" }, (fields[name] = el("input", { type: "checkbox", onchange: draw })), ` ${words}`);
  find("#set").append(
    el(
      "div",
      { class: "set-head" },
      (fields.head = el("h2", { id: "set-title" }, "Set list")),
      (fields.fold = button("Change", unfold, { class: "fold-set", "aria-expanded": "false" })),
      el("label", {}, "Title", (fields.title = el("input", { type: "text", autocomplete: "off", oninput: draw }))),
      el("label", {}, "Paper", (fields.paper = el("select", { onchange: draw }, el("option", { value: "a4" }, "A4"), el("option", { value: "letter" }, "Letter"), el("option", { value: "a5" }, "A5")))),
      tick("two_sided", "print on both sides"),
      tick("large", "large print"),
      (fields.save = el("a", { class: "primary button", download: true }, "Save the PDF")),
      button("Empty the list", () => put([])),
    ),
    (fields.songs = el("ol", { class: "set-songs" })),
  );
  draw();
}

/** On a small window the list is a line until it is asked for. */
function unfold() {
  const isOpen = find("#set").classList.toggle("unfolded");
  fields.fold.setAttribute("aria-expanded", String(isOpen));
  fields.fold.textContent = isOpen ? "Less" : "Change";
}

export const isInSet = (name) => names.includes(name);

/** Puts a song in, or takes it out. */
export function toggleInSet(name) {
  const isIn = isInSet(name);
  put(isIn ? names.filter((n) => n !== name) : [...names, name]);
  say(`${titleOf(name)} ${isIn ? "is off the set list" : "is on the set list"} (${plural(names.length, "song")}).`);
}

/** Songs that are gone from the folder leave the list. */
export function keepInSet(exists) {
  if (names.some((name) => !exists(name))) put(names.filter(exists));
  else draw();
}

function put(now) {
  names = now;
  sessionStorage.setItem(KEPT, JSON.stringify(names));
  draw();
  changed();
}

function move(index, by) {
  const now = [...names];
  [now[index], now[index + by]] = [now[index + by], now[index]];
  put(now);
  const moved = fields.songs.children[index + by];
  (find(by < 0 ? ".earlier:not(:disabled)" : ".later:not(:disabled)", moved) ?? find("button:not(:disabled)", moved)).focus();
}

function draw() {
  find("#set").hidden = names.length === 0;
  fields.head.textContent = `Set list (${names.length})`;
  fields.save.href = address("/api/set", { songs: JSON.stringify(names), title: fields.title.value.trim(), paper: fields.paper.value, two_sided: fields.two_sided.checked, large: fields.large.checked });
  fields.songs.replaceChildren(
    ...names.map((name, i) =>
      el(
        "li",
        {},
        el("span", { class: "title" }, el("bdi", {}, titleOf(name))),
        button("‹", () => move(i, -1), { class: "earlier", "aria-label": `${titleOf(name)} earlier`, disabled: i === 0 }),
        button("›", () => move(i, 1), { class: "later", "aria-label": `${titleOf(name)} later`, disabled: i === names.length - 1 }),
        button("×", () => toggleInSet(name), { "aria-label": `${titleOf(name)} off the set list` }),
      ),
    ),
  );
}
