// Which strings sounded in a bar: six lines, the notes on them in time, and a list in
// words with names and frequencies.

import { el, svg } from "./dom.js";
import { clock, hertz, keyAt, noteName, stringNames } from "./music.js";

const [LEFT, WIDTH, STEP, TOP] = [22, 330, 22, 12];
/** Names closer than this stand in each other's way, px. */
const APART = 26;

/** Nodes for the card, from GET /api/bar/N. */
export function soundedStrings(detail, song) {
  const struck = detail?.struck ?? [];
  if (struck.length === 0) return detail ? [el("h3", {}, "Strings that sounded"), el("p", { class: "quiet" }, "No strings heard in this bar.")] : [];
  const bar = detail.bar;
  return [el("h3", {}, "Strings that sounded"), picture(struck, bar, song), list(struck, song)];
}

function picture(struck, bar, song) {
  const tuning = song.tuning_midi;
  const names = stringNames(tuning).reverse();
  const y = (string) => TOP + names.indexOf(string) * STEP;
  const x = (t) => LEFT + 8 + Math.max(0, Math.min(1, (t - bar.start_s) / (bar.end_s - bar.start_s))) * (WIDTH - LEFT - 34);
  const height = TOP * 2 + (tuning.length - 1) * STEP;
  const right = new Map();
  const marks = [...struck]
    .filter((n) => names.includes(n.string))
    .sort((a, b) => a.time_s - b.time_s)
    .map((n) => {
      const at = x(n.time_s);
      const free = at >= (right.get(n.string) ?? -1);
      if (free) right.set(n.string, at + APART);
      const name = n.name ?? noteName(n.midi, keyAt(song, n.time_s));
      return free
        ? svg("text", { x: at, y: y(n.string) + 5, class: n.certainty < 0.5 ? "struck doubtful" : "struck" }, name)
        : svg("circle", { cx: at + 2, cy: y(n.string), r: 2.5, class: "struck-again" });
    });
  return svg(
    "svg",
    { class: "strings", viewBox: `0 0 ${WIDTH} ${height}`, role: "img", "aria-label": "The strings as lines, highest at the top, with the notes struck on them; the list below says the same" },
    names.map((s) => [
      svg("text", { x: 2, y: y(s) + 5, class: "string-name" }, s),
      svg("line", { x1: LEFT, x2: WIDTH, y1: y(s), y2: y(s), class: "string" }),
    ]),
    marks,
  );
}

/** Each pitch once: how often, when first, on which string. */
function list(struck, song) {
  const byPitch = new Map();
  for (const n of struck) byPitch.set(n.midi, [...(byPitch.get(n.midi) ?? []), n]);
  const lowest = Math.min(...struck.map((n) => n.midi));
  const rows = [...byPitch.entries()]
    .sort(([a], [b]) => a - b)
    .map(([midi, notes]) => {
      const strings = [...new Set(notes.map((n) => n.string).filter(Boolean))].map((s) => `${s} string`);
      return el(
        "li",
        {},
        el("b", { class: "pitch", "data-midi": midi }, notes[0].name ?? noteName(midi, keyAt(song, notes[0].time_s))),
        el("span", { class: "hertz" }, hertz(midi)),
        el("span", {}, `${notes.length}×, first ${clock(notes[0].time_s)}${strings.length > 0 ? `, ${strings.join(" or ")}` : ""}${midi === lowest ? "; the lowest" : ""}`),
      );
    });
  return el("details", {}, el("summary", {}, `${byPitch.size} pitches, with frequencies (A4 = 440 Hz)`), el("ul", { class: "pitches" }, rows));
}
