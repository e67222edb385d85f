// A part of a whole, drawn as on the page of a song: tall what is done, low what is left.

import { svg } from "./dom.js";

/** `part` of `whole`; seen only, the words stand beside it. */
export function shareBar(part, whole) {
  const done = whole === 0 ? 0 : (48 * part) / whole;
  return svg("svg", { class: "share", viewBox: "0 0 48 12", preserveAspectRatio: "none", "aria-hidden": true }, svg("rect", { class: "done", x: 0, y: 0, width: done, height: 12 }), svg("rect", { class: "left", x: done, y: 4, width: 48 - done, height: 5 }));
}
