// The picture of what was heard: beats, wave, notes (pitch against time, the lowest
// marked), and how strongly each pitch class sounds in each chord. Ink only: size and
// marks say what colour does elsewhere.

import { svg } from "./dom.js";
import { keyAt, noteName, plural, spelled } from "./music.js";
import { desk } from "./state.js";

/** Heights of the rows, px; on narrow paper they are lower. */
const WIDE = { beats: 18, wave: 42, notes: 118, chroma: 66 };
const NARROW = { beats: 18, wave: 30, notes: 92, chroma: 62 };
const NARROW_PX = 480;
const GAP = 8;
/** The fewest semitones shown. */
const LEAST_SPAN = 18;
/** Height of a note's name below it, px. */
const NAME_PX = 18;
/** A note surer than this is drawn full. */
const SURE = 0.5;

export function drawEvidence(heard, plan) {
  const rows = {};
  let height = 0;
  for (const [name, own] of Object.entries(plan.width < NARROW_PX ? NARROW : WIDE)) {
    rows[name] = { top: height, height: own };
    height += own + (name === "beats" ? 0 : GAP);
  }
  return svg(
    "svg",
    { class: "heard", width: plan.width, height, viewBox: `0 0 ${plan.width} ${height}`, role: "img", "aria-label": words(heard) },
    barLines(plan, height),
    beats(heard.beats, plan, rows),
    wave(heard.wave, plan, rows.wave),
    notes(heard.notes, plan, rows.notes),
    chroma(heard.chroma, plan, rows.chroma),
  );
}

function words(heard) {
  const low = heard.notes.filter((n) => n.lowest).map((n) => noteName(n.midi, keyAt(desk.song, n.start_s)));
  const lowest = low.length > 0 ? `; lowest in turn: ${low.slice(0, 24).join(", ")}` : "";
  return `Waveform, ${plural(heard.notes.length, "note")} over time, pitch classes and ${plural(heard.beats.length, "beat")}${lowest}`;
}

const barLines = (plan, height) =>
  plan.pieces.map((p) => svg("line", { x1: p.left, x2: p.left, y1: 0, y2: height, class: "bar-line" }));

function beats(list, plan, rows) {
  const bottom = rows.wave.top;
  return list.map((beat) => {
    const x = plan.x(beat.time_s);
    return [
      svg("line", { x1: x, x2: x, y1: 13, y2: bottom + (beat.place === 1 ? rows.wave.height : 0), class: beat.place === 1 ? "beat one" : "beat" }),
      svg("text", { x: x + 2, y: 11, class: "beat-name" }, beat.place > 0 ? String(beat.place) : "·"),
    ];
  });
}

function wave(columns, plan, { top, height }) {
  if (!columns.some(Boolean)) return svg("text", { x: 4, y: top + height / 2, class: "row-name" }, "the sound cannot be drawn");
  const middle = top + height / 2;
  const loudest = Math.max(0.02, ...columns.map((c) => (c ? Math.max(c[1], -c[0]) : 0)));
  const y = (v) => (middle - (v / loudest) * (height / 2 - 1)).toFixed(1);
  const x = (i) => plan.x(plan.from + ((i + 0.5) / columns.length) * (plan.to - plan.from)).toFixed(1);
  const upper = columns.map((c, i) => `${x(i)} ${y(c?.[1] ?? 0)}`);
  const lower = columns.map((c, i) => `${x(i)} ${y(c?.[0] ?? 0)}`).reverse();
  return [svg("path", { d: `M${upper.concat(lower).join("L")}Z`, class: "wave" }), rowName("sound", top, height)];
}

function notes(list, plan, { top, height }) {
  const inside = list.filter((n) => n.end_s > plan.from && n.start_s < plan.to);
  if (inside.length === 0) return rowName("no notes", top, height);
  const midis = inside.map((n) => n.midi);
  const middle = (Math.min(...midis) + Math.max(...midis)) / 2;
  const span = Math.max(LEAST_SPAN, Math.max(...midis) - Math.min(...midis) + 3);
  // room below for the name of the lowest
  const room = height - NAME_PX;
  const step = room / span;
  const y = (midi) => top + room / 2 - (midi - middle) * step;
  const guides = [];
  for (let c = 24; c <= 96; c += 12) {
    if (y(c) < top + 4 || y(c) > top + height - 2) continue;
    guides.push(svg("line", { x1: 0, x2: plan.width, y1: y(c), y2: y(c), class: "octave" }));
  }
  const drawn = inside.map((n) => {
    const from = plan.x(Math.max(n.start_s, plan.from));
    const to = plan.x(Math.min(n.end_s, plan.to));
    const kind = `note${n.lowest ? " lowest" : ""}${n.probability < SURE ? " doubtful" : ""}`;
    const thick = Math.min(7, step * 0.86);
    const bar = svg("rect", { x: from, y: y(n.midi) - thick / 2, width: Math.max(2, to - from - 1), height: thick, class: kind });
    return [bar, n.lowest ? [svg("line", { x1: from, x2: Math.max(from + 2, to - 1), y1: y(n.midi) + thick / 2 + 2, y2: y(n.midi) + thick / 2 + 2, class: "lowest-line" })] : []];
  });
  return [guides, drawn.flat(2), names(inside, plan, y), rowName("notes", top, height)];
}

/** A name at the first of each run of lowest notes of one pitch, where there is room. */
function names(list, plan, y) {
  const named = [];
  let [midi, right] = [null, -Infinity];
  for (const n of list.filter((m) => m.lowest).sort((a, b) => a.start_s - b.start_s)) {
    const x = plan.x(Math.max(n.start_s, plan.from));
    if (n.midi === midi || x < right) continue;
    [midi, right] = [n.midi, x + 30];
    named.push(svg("text", { x, y: y(n.midi) + 17, class: "note-name" }, noteName(n.midi, keyAt(desk.song, n.start_s))));
  }
  return named;
}

function chroma(list, plan, { top, height }) {
  const step = height / 12;
  const drawn = list
    .filter((c) => c.end_s > plan.from && c.start_s < plan.to)
    .map((window) => {
      const left = plan.x(Math.max(window.start_s, plan.from)) + 3;
      const room = plan.x(Math.min(window.end_s, plan.to)) - left - 4;
      const most = Math.max(1e-6, ...window.values);
      if (room < 4) return [];
      return window.values.map((v, pc) => {
        const y = top + height - (pc + 1) * step;
        const share = v / most;
        const width = Math.max(0, room - 18) * share;
        return [
          svg("rect", { x: left, y: y + 1, width: Math.max(0.5, width), height: step - 2, class: "chroma" }),
          share > 0.45 && room > 34 ? svg("text", { x: left + width + 3, y: y + step, class: "chroma-name" }, spelled(pc, keyAt(desk.song, window.start_s))) : [],
        ];
      });
    });
  return [drawn.flat(3), rowName("pitches", top, height)];
}

/** In the gutter, read from below; over nothing that was heard. */
const rowName = (text, top, height) => svg("text", { transform: `translate(-5 ${top + height / 2}) rotate(-90)`, class: "row-name" }, text);
