// A chord box: strings upright, frets across, as printed above a lead sheet.

import { svg } from "./dom.js";

const [LEFT, TOP, STRING, FRET, ROWS] = [20, 22, 15, 19, 4];

/**
 * Draws `{text, frets, fingers?, barres?, first_fret?}`; frets low string first, null for muted.
 * The drawing has a name that says every string.
 */
export function chordBox(shape, name) {
  const n = shape.frets.length;
  const first = Math.max(1, shape.first_fret ?? firstFret(shape.frets));
  const rows = Math.max(ROWS, shape.n_rows ?? 0, ...shape.frets.map((f) => (f ? f - first + 1 : 0)));
  const [width, height] = [LEFT + (n - 1) * STRING + 12, TOP + rows * FRET + 6];
  const x = (string) => LEFT + string * STRING;
  const marks = [];
  for (let row = 0; row <= rows; row += 1) {
    const nut = row === 0 && first === 1;
    marks.push(line(x(0), TOP + row * FRET, x(n - 1), TOP + row * FRET, nut ? "nut" : "fret"));
  }
  for (let string = 0; string < n; string += 1) marks.push(line(x(string), TOP, x(string), TOP + rows * FRET, "string"));
  if (first > 1) marks.push(svg("text", { x: LEFT - 9, y: TOP + FRET / 2 + 4, class: "at" }, String(first)));
  for (const barre of bars(shape)) {
    const y = TOP + (barre.fret - first + 0.5) * FRET;
    marks.push(svg("line", { x1: x(barre.from), y1: y, x2: x(barre.to), y2: y, class: "barre" }));
  }
  shape.frets.forEach((fret, string) => {
    const at = x(string);
    if (fret === null) {
      marks.push(line(at - 4, TOP - 13, at + 4, TOP - 5, "mute"), line(at - 4, TOP - 5, at + 4, TOP - 13, "mute"));
    } else if (fret === 0) {
      marks.push(svg("circle", { cx: at, cy: TOP - 9, r: 4.2, class: "open-string" }));
    } else {
      const y = TOP + (fret - first + 0.5) * FRET;
      marks.push(svg("circle", { cx: at, cy: y, r: 6.6, class: "finger" }));
      const finger = shape.fingers?.[string];
      if (finger) marks.push(svg("text", { x: at, y: y + 3.6, class: "finger-name" }, String(finger)));
    }
  });
  return svg(
    "svg",
    { class: "box", viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-label": name ?? frettedWords(shape.frets) },
    marks,
  );
}

/** "mute, open, 2, 2, 1, open, low string first" */
export const frettedWords = (frets) =>
  `${frets.map((f) => (f === null ? "mute" : f === 0 ? "open" : f)).join(", ")}; low string first`;

/** Reads a shape as the log writes it: "x02210", "x-10-12-12-11-10"; null for anything else. */
export function readShape(text) {
  const marks = text.includes("-") ? text.split("-") : [...text];
  if (marks.length < 4 || !marks.every((m) => /^(x|\d{1,2})$/i.test(m))) return null;
  return marks.map((m) => (/x/i.test(m) ? null : Number(m)));
}

function firstFret(frets) {
  const fretted = frets.filter((f) => f > 0);
  const highest = Math.max(0, ...fretted);
  return highest <= ROWS ? 1 : Math.min(...fretted);
}

const bars = (shape) => shape.barres ?? [];

const line = (x1, y1, x2, y2, kind) => svg("line", { x1, y1, x2, y2, class: kind });
