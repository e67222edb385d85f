// What the page says: one quiet line for results (read out by a screen reader), one for trouble.

import { button, el, find } from "./dom.js";

/** The result of what was just done. */
export function say(text) {
  const line = find("#said");
  line.replaceChildren(text);
}

/** Something that stands in the way, with ways out; gone with `clear`. */
export function warn(kind, text, ways = []) {
  const place = find("#trouble");
  find(`[data-kind="${kind}"]`, place)?.remove();
  place.append(
    el(
      "p",
      { "data-kind": kind },
      el("span", { class: "text" }, text),
      ...ways.map(([words, act]) => button(words, act)),
    ),
  );
}

/** Takes a trouble away; gives whether there was one. */
export function clear(kind) {
  const line = find(`#trouble [data-kind="${kind}"]`);
  line?.remove();
  return Boolean(line);
}
