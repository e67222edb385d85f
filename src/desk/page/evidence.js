// Under the line being worked on: what was heard, on the same ground plan as the bars
// above, so that a note stands under the chord it belongs to.

import { Refused, address, get } from "./api.js";
import { cellsOf, placeOf } from "./chart.js";
import { el, find, onceAPicture } from "./dom.js";
import { drawEvidence } from "./evidence_drawing.js";
import { changes, startChanges, takeUp } from "./evidence_changes.js";
import { lost } from "./link.js";
import { loopLayer, moveHead, startPointing } from "./evidence_place.js";
import { isPlaying, player } from "./player.js";
import { barAt, desk, on, within } from "./state.js";

const COLUMNS = 600;
/** How soon a wave that was not read to its end is asked for again, ms. */
const WAIT_MS = 400;
/** Answers kept; the oldest go first. */
const N_KEPT = 60;

const answers = new Map();
let strip = null;
let shown = "";
/** The bar whose line is shown: the chosen one, or the one that plays. */
let at = 0;
/** Whether the user moved the choice since it was shown. */
let hasMoved = false;
/** What is asked several times at once is laid out and drawn once. */
const showSoon = onceAPicture(() => {
  const moved = hasMoved;
  hasMoved = false;
  show(moved);
});
/** Whether the chart was scrolled since the line was brought into view: finding out lays the page out. */
let hasScrolled = true;
/** The plan of what is drawn. */
let drawnPlan = null;

export function startEvidence() {
  strip = el("div", { class: "evidence", role: "group", "aria-label": "What was heard in this line" });
  on("choice", (moved) => {
    if (moved || !isPlaying()) at = desk.bar;
    hasMoved ||= moved;
    showSoon();
  });
  on("view", () => show());
  document.addEventListener("scroll", () => (hasScrolled = true), { capture: true, passive: true });
  window.addEventListener("resize", () => (hasScrolled = true));
  on("line", follow);
  on("frame", (t) => drawnPlan && moveHead(drawnPlan, t));
  on("sound", (what) => what === "loop" && draw());
  on("sought", (t) => (at = barAt(t)));
  startPointing(strip, () => drawnPlan);
  // another program may have drafted the log anew
  on("elsewhere", () => {
    answers.clear();
    shown = "";
  });
  startChanges();
  new ResizeObserver(() => draw()).observe(find("#parts"));
}

/** While it plays, what was heard is shown under the line that sounds, at the same height of the window. */
function follow(bar) {
  const [before, after] = [placeOf(at)?.node, placeOf(bar)?.node];
  if (!after || before === after) return;
  const paper = find(".paper");
  const top = before?.getBoundingClientRect().top;
  const view = paper.getBoundingClientRect();
  at = bar;
  show();
  // who has scrolled away wants to look elsewhere
  if (top === undefined || top < view.top - 200 || top > view.bottom) return;
  const wanted = Math.max(view.top + 8, Math.min(top, view.bottom - after.offsetHeight - strip.offsetHeight));
  paper.scrollTop += after.getBoundingClientRect().top - wanted;
}

/** The moment under a place from the left, px, and back; one straight piece a bar. */
function groundPlan() {
  const place = placeOf(at);
  if (!place) return null;
  const { width, cells } = cellsOf(place.node);
  const first = place.column - place.bars.indexOf(at);
  const pieces = place.bars.map((b, i) => {
    const [bar, cell] = [desk.song.bars[b], cells[first + i]];
    return { from: bar.start_s, to: bar.end_s, ...cell, bar: b };
  });
  if (pieces.length === 0) return null;
  const [from, to] = [pieces[0].from, pieces.at(-1).to];
  return {
    from,
    to,
    pieces,
    width,
    x: (t) => {
      const p = pieces.find((q) => t < q.to) ?? pieces.at(-1);
      return p.left + ((t - p.from) / (p.to - p.from)) * p.width;
    },
    at: (x) => {
      const p = pieces.find((q) => x < q.left + q.width) ?? pieces.at(-1);
      const share = Math.max(0, Math.min(1, (x - p.left) / p.width));
      return p.from + share * (p.to - p.from);
    },
  };
}

async function show(moved = false) {
  at = Math.min(at, desk.song.bars.length - 1);
  const place = placeOf(at);
  if (!place) return;
  if (strip.previousSibling !== place.node) place.node.after(strip);
  const plan = groundPlan();
  if (!plan) return strip.replaceChildren();
  const path = address("/api/evidence", { from: plan.from, to: plan.to, columns: COLUMNS });
  if (!answers.has(path)) {
    try {
      const answer = await get(path);
      answers.set(path, answer);
      // the wave is read while the page is open already: look again for the rest
      if (answer.wave_done === false) setTimeout(() => (answers.delete(path), shown === path && show()), WAIT_MS);
    } catch (trouble) {
      if (!(trouble instanceof Refused)) lost(trouble);
      strip.replaceChildren(el("p", { class: "wait" }, `Nothing to show: ${trouble.message}`));
      return;
    }
    if (answers.size > N_KEPT) answers.delete(answers.keys().next().value);
  }
  // the choice may have gone on while the answer came
  const still = groundPlan();
  if (still && still.from === plan.from && still.to === plan.to) {
    const isOther = shown !== path;
    shown = path;
    draw();
    if (isPlaying() || !(isOther || (moved && hasScrolled))) return;
    for (const node of [strip, place.node]) node.scrollIntoView({ block: "nearest" });
    hasScrolled = false;
  }
}

/** What stands in the strip, and of what it was drawn. */
let drawn = { key: "", heard: null, node: null };

function draw() {
  const plan = groundPlan();
  const heard = answers.get(shown);
  if (!plan || !heard || !strip.isConnected) return;
  drawnPlan = plan;
  // a decision that changes nothing here leaves it standing
  const chords = within(plan.from, plan.to).map((c) => [c.start_s, c.end_s, c.symbol]);
  const key = JSON.stringify([shown, plan.width, plan.pieces, chords, player.loop, desk.song.key]);
  if (key === drawn.key && heard === drawn.heard && drawn.node?.isConnected) return;
  const node = drawEvidence(heard, plan);
  drawn = { key, heard, node };
  strip.replaceChildren(node, ...loopLayer(plan), ...changes(plan));
  takeUp();
}
