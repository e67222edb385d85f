// Where chords change: lines over the evidence that can be dragged, or moved with the
// arrow keys. Nothing is saved before the pointer is let go or Enter is pressed.

import { decide } from "./decide.js";
import { el } from "./dom.js";
import { clock } from "./music.js";
import { say } from "./say.js";
import { barAt, beatsIn, desk, within } from "./state.js";

/** A change is drawn to a half beat that is nearer than this, px. */
const CATCH_PX = 7;
const FINE_S = 0.02;
/** A chord stays at least so long, s. */
const LEAST_S = 0.1;
/** A change that starts nearer than this is the same one, s. */
const SAME_S = 0.02;

/**
 * The change in hand, dragged or with the focus: `{from, at, line, put, follow, save}`, from
 * where to where. The picture may be drawn anew at any time, since other programs decide too;
 * what is in hand then goes on with the line that took its place.
 */
let hand = null;

export function startChanges() {
  const leave = (event) => {
    if (!event.target.closest?.(".change")) hand = null;
  };
  document.addEventListener("focusin", leave);
  document.addEventListener("pointerdown", leave);
}

/** Once the lines stand on the page: the one in hand has the focus; if it is gone, nothing is in hand. */
export function takeUp() {
  if (hand?.line.isConnected) hand.line.focus({ preventScroll: true });
  else hand = null;
}

/** The lines, as sliders. */
export function changes(plan) {
  const chords = within(plan.from, plan.to);
  const before = (c) => desk.song.chords[desk.song.chords.indexOf(c) - 1];
  // where one name goes on nothing changes that a person would hear
  const isChange = (c) => c.start_s > plan.from - 0.02 && c.start_s > 0.02 && before(c)?.label !== c.label;
  return chords.filter(isChange).map((c) => change(c, plan));
}

function change(chord, plan) {
  const before = desk.song.chords.findLast((c) => c.end_s <= chord.start_s + 0.001);
  const bounds = [(before?.start_s ?? 0) + LEAST_S, chord.end_s - LEAST_S];
  const half = halfBeats(plan);
  let at = chord.start_s;
  const line = el("div", {
    class: "change",
    role: "slider",
    tabindex: 0,
    "data-from": chord.start_s,
    "aria-label": `Change to ${chord.symbol}`,
    "aria-valuemin": bounds[0].toFixed(2),
    "aria-valuemax": bounds[1].toFixed(2),
    title: `Change to ${chord.symbol}: drag, or arrow keys and Enter`,
  });
  const put = (seconds) => {
    at = Math.max(bounds[0], Math.min(bounds[1], seconds));
    line.style.transform = `translateX(${plan.x(at)}px)`;
    line.setAttribute("aria-valuenow", at.toFixed(2));
    line.setAttribute("aria-valuetext", `${clock(at)}, ${beatWords(at)}`);
    line.classList.toggle("moved", at !== chord.start_s);
    if (hand?.line === line) hand.at = at;
  };
  const follow = (move) => {
    const x = move.clientX - line.parentElement.getBoundingClientRect().left;
    const near = half.find((t) => Math.abs(plan.x(t) - x) < CATCH_PX);
    put(near !== undefined && !move.shiftKey ? near : plan.at(x));
  };
  const save = () => {
    if (Math.abs(at - chord.start_s) < 0.005) return put(chord.start_s);
    // refused, it goes back: this line, or the one that took its place
    moveChange(chord, at).then((saved) => saved || (isInHand(chord.start_s) === "still" ? hand.put : put)(chord.start_s));
  };
  const own = { from: chord.start_s, at, line, put, follow, save };
  const wasHand = isInHand(chord.start_s);
  put(wasHand === "still" ? hand.at : at);
  if (wasHand) hand = { ...own, at };
  const take = () => hand?.line === line || (hand = { ...own, at });
  line.addEventListener("focus", take);
  line.addEventListener("pointerdown", (event) => {
    line.setPointerCapture(event.pointerId);
    event.preventDefault();
    line.focus({ preventScroll: true });
    take();
    drag();
  });
  line.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1 }[event.key];
    if (way) {
      put(event.shiftKey ? at + way * FINE_S : (next(half, at, way) ?? at + way * FINE_S));
      say(`Change to ${chord.symbol} at ${beatWords(at)}; Enter saves, Escape puts it back.`);
    } else if (event.key === "Enter") save();
    else if (event.key === "Escape" && at !== chord.start_s) put(chord.start_s);
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
  return line;
}

/** Whether the change at a moment is the one in hand: "still" where it was, or "saved" where it went to. */
function isInHand(from) {
  if (hand === null) return null;
  if (Math.abs(from - hand.from) < SAME_S) return "still";
  return Math.abs(from - hand.at) < SAME_S ? "saved" : null;
}

/** What is in hand follows the pointer until it is let go. */
function drag() {
  const listening = new AbortController();
  const until = { signal: listening.signal };
  const end = (kept) => () => {
    listening.abort();
    if (kept) hand?.save();
    else hand?.put(hand.from);
  };
  // drawn anew, the line that was pressed hears no more of the pointer
  window.addEventListener("pointermove", (move) => hand?.line.isConnected && hand.follow(move), until);
  window.addEventListener("pointerup", end(true), until);
  window.addEventListener("pointercancel", end(false), until);
}

/** Moves a chord's start. */
export const moveChange = (chord, to) =>
  decide(`change to ${chord.symbol} moved`, {
    places: [{ at_s: chord.start_s }],
    move_to: to,
    repeats: desk.repeats,
  });

/** The half beat before or after a chord's start, s, or undefined. */
export function nudged(chord, way) {
  const bar = barAt(chord.start_s + 0.01);
  const around = [bar - 1, bar, bar + 1].filter((b) => desk.song.bars[b]);
  return next(around.flatMap(halves).sort((a, b) => a - b), chord.start_s, way);
}

function next(moments, at, way) {
  return way > 0 ? moments.find((t) => t > at + 0.01) : moments.findLast((t) => t < at - 0.01);
}

const halfBeats = (plan) => plan.pieces.flatMap((p) => halves(p.bar)).sort((a, b) => a - b);

function halves(bar) {
  const beats = [...beatsIn(bar), desk.song.bars[bar].end_s];
  return beats.slice(0, -1).flatMap((t, i) => [t, (t + beats[i + 1]) / 2]);
}

/** "bar 14, beat 2.5" */
function beatWords(seconds) {
  const index = barAt(seconds + 0.005);
  const beats = [...beatsIn(index), desk.song.bars[index].end_s];
  const i = Math.max(0, beats.findLastIndex((t) => t <= seconds + 0.005));
  const share = i + 1 < beats.length ? (seconds - beats[i]) / (beats[i + 1] - beats[i]) : 0;
  const beat = i + 1 + Math.round(Math.max(0, share) * 100) / 100;
  return `bar ${desk.song.bars[index].number}, beat ${beat}`;
}
