// Confirming many chords at once, and the list of those that are least sure.

import { symbol } from "./chart.js";
import { button, el, find } from "./dom.js";
import { confirmMany } from "./edits.js";
import { percent, plural, sureness } from "./music.js";
import { chordsIn, choose, desk, sectionOf, stretch, unconfirmed } from "./state.js";

/** Listed at most. */
const N_LISTED = 40;
const parts = {};

export function startBulk() {
  find("#many-open").addEventListener("click", show);
}

/** Where: the chosen bars, their section, the whole song. */
function scopes() {
  const section = sectionOf(desk.bar);
  const chosenBars = stretch();
  const whole = { words: "the whole song", from: desk.song.bars[0].start_s, to: desk.song.bars.at(-1).end_s };
  const list = [whole];
  if (section) {
    const [first, last] = [section.first_bar, section.last_bar].map((n) => desk.song.bars.find((b) => b.number === n));
    if (first && last) list.push({ words: `section ${section.letter}, bars ${first.number}–${last.number}`, from: first.start_s, to: last.end_s });
  }
  const [a, b] = [desk.song.bars[desk.bar].number, desk.song.bars[desk.barTo].number];
  list.push({ words: a === b ? `bar ${a}` : `bars ${a}–${b}`, ...chosenBars });
  return list;
}

function show() {
  const dialog = find("#many");
  const all = scopes();
  parts.where = el("select", { onchange: count }, all.map((s, i) => el("option", { value: String(i), selected: desk.barTo > desk.bar && i === all.length - 1 }, s.words)));
  parts.least = el("input", { type: "range", min: "0", max: "0.95", step: "0.05", value: "0.8", oninput: count, "aria-label": "At least so sure" });
  parts.shown = el("output", {});
  parts.go = button("Confirm", go, { class: "primary" });
  parts.scopes = all;
  dialog.replaceChildren(
    el("h2", { id: "many-title" }, "Confirm several"),
    el("p", { class: "row" }, el("label", {}, "In ", parts.where)),
    el("p", { class: "row" }, el("label", {}, "At least so sure: ", parts.least), parts.shown),
    el("p", { class: "row" }, parts.go, button("Cancel", () => dialog.close())),
    el("h3", {}, "Least sure first"),
    el("label", { class: "tick" }, el("input", { type: "checkbox", checked: desk.leastSureFirst, onchange: (e) => (desk.leastSureFirst = e.target.checked) }), " After each confirmation go on to the least sure chord"),
    leastSure(dialog),
  );
  count();
  if (!dialog.open) dialog.showModal();
}

function affected() {
  const scope = parts.scopes[Number(parts.where.value)];
  const least = Number(parts.least.value);
  const isIn = (c) => Math.min(c.end_s, scope.to) - Math.max(c.start_s, scope.from) > 0.5 * (c.end_s - c.start_s);
  return { scope, least, chords: desk.song.chords.filter((c) => c.state === "open" && isIn(c) && (c.certainty ?? 0) >= least) };
}

function count() {
  const { chords, least } = affected();
  parts.shown.textContent = percent(least);
  parts.go.textContent = `Confirm ${plural(chords.length, "chord")}`;
  parts.go.disabled = chords.length === 0;
}

function go() {
  const { scope, least, chords } = affected();
  find("#many").close();
  confirmMany({ from: scope.from, to: scope.to, least, words: `${plural(chords.length, "chord")} in ${scope.words}` });
}

function leastSure(dialog) {
  const list = unconfirmed().sort((a, b) => a.certainty - b.certainty).slice(0, N_LISTED);
  if (list.length === 0) return el("p", {}, "Every chord is confirmed.");
  return el(
    "ul",
    { class: "least" },
    list.map(({ bar, part }) => {
      const chord = chordsIn(bar)[part];
      return el("li", {}, button([`Bar ${desk.song.bars[bar].number} `, symbol(chord.symbol), ` ${sureness(chord)}`], () => (dialog.close(), choose(bar, { part }))));
    }),
  );
}
