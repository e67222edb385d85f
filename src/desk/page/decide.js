// Sending decisions. What is decided shows at once; it is saved behind the user's back, one
// after the other. Those that get no answer are kept in order (also over a reload) and sent
// again when the program is back, unless the log has changed meanwhile: then the user is asked.
// What is refused comes back to the bar it belongs to.

import { Refused, Unreachable, address, keptAs, post } from "./api.js";
import { isLost, lost } from "./link.js";
import { clear, say, warn } from "./say.js";
import { barAt, choose, desk, on, setSong, tell } from "./state.js";

/**
 * Where unanswered decisions are kept: a list of `{id, path, words, body, effects, at_s, revision,
 * after}`; `after` is the last decision of the log that it was sent on, and missing before it was.
 */
const KEPT = keptAs("takebook.unsaved");
/** Revisions that the page made itself; the oldest go first. */
const N_OWN = 60;

/** On their way to the log, in order. */
let pending = [];
let isSending = false;
/** Who waits for what. */
const waiting = new Map();
const own = new Set();

/**
 * Decides; resolves to whether it is in the log. `words` names it for people; a request, or a
 * list of them, is as in `docs/desk-api.md`; `effects` say what
 * shows at once: `{start_s, end_s, label?, symbol?, shapes?}` confirms the chords between, and
 * with `open` they are unconfirmed again.
 */
export const decide = (words, requests, effects = []) => take({ path: "/api/decide", words, body: { requests: [requests].flat() }, effects });
export const undo = (decisions) => take({ path: "/api/undo", words: "undo", body: Array.isArray(decisions) ? { decisions } : {}, effects: [] });
export const redo = () => take({ path: "/api/redo", words: "redo", body: {}, effects: [] });

/** Whether a revision of the log comes from this page. */
export const isOwn = (revision) => own.has(revision);
export const isBusy = () => pending.length > 0;

function take(decision) {
  const made = { ...decision, id: crypto.randomUUID(), revision: desk.saved.revision, at_s: desk.song.bars[desk.bar]?.start_s ?? 0 };
  made.seen = made.effects.map((e) => chordsOf(desk.song, e));
  pending.push(made);
  keep();
  const settled = new Promise((resolve) => waiting.set(made.id, resolve));
  // on its way before it is drawn: the program works while the page does
  if (isLost()) waits(made);
  else pump();
  if (made.effects.length > 0) show();
  progress();
  return settled;
}

/** What is shown: the log's song, and on it what is on its way. */
export function show() {
  const effects = pending.flatMap((d) => d.effects);
  setSong(effects.length > 0 ? withEffects(desk.saved, effects) : desk.saved);
}

function withEffects(song, effects) {
  let n = 0;
  const chords = song.chords.map((chord) => {
    let own = chord;
    for (const e of effects) {
      if (isIn(chord, e) && e.open) {
        const [first] = chord.candidates;
        own = { ...own, ...(first ? { label: first.label, symbol: first.symbol, certainty: first.probability } : {}), n_decided_shapes: 0, state: "open" };
        continue;
      }
      if (!isIn(chord, e) || (own.state === "decided" && !e.label && !e.shapes)) continue;
      if (e.least !== undefined && (chord.certainty ?? 0) < e.least) continue;
      const shapes = e.shapes ? { shapes: [...e.shapes, ...own.shapes.filter((s) => !e.shapes.includes(s))], n_decided_shapes: e.shapes.length } : {};
      const other = e.label && e.label !== own.label ? { label: e.label, symbol: e.symbol, shapes: [], n_decided_shapes: 0 } : {};
      own = { ...own, ...other, ...shapes, state: "decided" };
    }
    n += Number(own.state === "decided") - Number(chord.state === "decided");
    return own;
  });
  return { ...song, chords, n_open: Math.max(0, song.n_open - n) };
}

/** The greater part of a chord lies in the stretch. */
const isIn = (chord, e) => Math.min(chord.end_s, e.end_s) - Math.max(chord.start_s, e.start_s) > 0.5 * (chord.end_s - chord.start_s);
const chordsOf = (song, e) => song.chords.filter((c) => isIn(c, e)).map((c) => `${c.start_s} ${c.end_s} ${c.candidates[0]?.label}`).join();

/** Sends what is pending, one after the other. */
async function pump() {
  if (isSending) return;
  isSending = true;
  while (pending.length > 0 && !isLost()) if (!(await send(pending[0]))) break;
  isSending = false;
  progress();
}

/** Sends one; gives whether the next may follow. */
async function send(decision, isAgain = false) {
  const wasReplayed = decision.isReplayed;
  try {
    const path = address(decision.path, { since: desk.saved.revision });
    if (!decision.isReplayed) {
      Object.assign(decision, { after: desk.saved.last_decision, revision: desk.saved.revision });
      keep();
    }
    const { after, revision } = decision;
    const body = { ...decision.body, after, ...(decision.path === "/api/decide" ? { revision } : {}) };
    const answer = await post(path, body);
    remember(answer.revision);
    takeIn(answer);
    remember(desk.saved.revision);
    settle(decision, true);
    show();
    if (pending.length === 0) say(told(decision, answer));
    return true;
  } catch (trouble) {
    if (trouble instanceof Unreachable || trouble.status === 403) {
      lost(trouble);
      waits(decision);
      return false;
    }
    if (!(trouble instanceof Refused)) {
      settle(decision, false);
      throw trouble;
    }
    if (trouble.song) {
      desk.saved = trouble.song;
      tell("elsewhere");
      // others decided elsewhere in the song: what was decided here still means the same
      delete decision.isReplayed;
      const same = decision.effects.length > 0 && decision.effects.every((e, i) => chordsOf(desk.saved, e) === decision.seen[i]);
      if (same && !isAgain) return send(decision, true);
    }
    if (wasReplayed && trouble.song) {
      askAbout(pending);
      return false;
    }
    settle(decision, false);
    comesBack(decision, trouble.message);
    return true;
  }
}

/** The log's song from an answer: whole, or as changes to the one before. */
export function takeIn(answer) {
  if (answer.song) desk.saved = answer.song;
  else if (answer.changes) {
    const song = { ...desk.saved };
    for (const c of answer.changes) {
      if ("value" in c) song[c.field] = c.value;
      else song[c.field] = song[c.field].toSpliced(c.at, c.remove, ...c.insert);
    }
    desk.saved = song;
  }
}

function remember(revision) {
  own.add(revision);
  if (own.size > N_OWN) own.delete(own.values().next().value);
}

function settle(decision, isSaved) {
  pending = pending.filter((d) => d !== decision);
  keep();
  progress();
  waiting.get(decision.id)?.(isSaved);
  waiting.delete(decision.id);
}

/** A decision that was refused: its bar says so. */
function comesBack(decision, why) {
  show();
  say(`Not saved: ${why}.`);
  const bar = barAt(decision.at_s + 0.01);
  if (decision.path !== "/api/decide" || bar === desk.bar) return;
  warn("refused", `“${decision.words}” was not saved: ${why}.`, [
    ["Go there", () => (clear("refused"), choose(bar))],
    ["Close", () => clear("refused")],
  ]);
}

/**
 * After a start or a return of the program: what is still unsaved? The first may be in the log
 * already, if its answer alone was lost: the program finds that out, and saves nothing twice.
 */
export function takeUpUnsaved() {
  pending = unsaved();
  const [first] = pending;
  if (!first) return;
  first.isReplayed = first.after !== undefined;
  if (!first.isReplayed && first.revision !== desk.saved.revision) return askAbout(pending);
  show();
  pump();
}

/** What was decided on another state of the song is saved only if the user says so. */
function askAbout(held) {
  const words = held.map((d) => `“${d.words}”`).join(", ");
  pending = [];
  show();
  warn("unsaved", `No answer came for ${words}, and the song file has changed since.`, [
    ["Save now", () => ((pending = [...held, ...pending]), show(), clear("unsaved"), pump())],
    ["Discard", () => (held.forEach((d) => waiting.get(d.id)?.(false)), keep(), show(), progress(), clear("unsaved"))],
  ]);
}

on("back", takeUpUnsaved);

const unsaved = () => JSON.parse(sessionStorage.getItem(KEPT) ?? "[]");
const keep = () => sessionStorage.setItem(KEPT, JSON.stringify(pending));
const waits = (decision) => say(`“${decision.words}” is not saved yet; it waits for the desk's program.`);

/** How much is on its way, for a page that must say so. */
function progress() {
  document.documentElement.dataset.unsaved = pending.length;
  tell("unsaved", pending.length);
}

function told(decision, answer) {
  if (decision.path !== "/api/decide") {
    const what = (answer.acts ?? []).slice(0, 3).join("; ");
    return `${decision.path === "/api/undo" ? "Undone" : "Redone"}${what ? `: ${what}` : ""}.`;
  }
  const open = desk.saved.n_open;
  const acts = answer.acts ?? [];
  const shown = acts.slice(0, 3).join("; ") + (acts.length > 3 ? `; and ${acts.length - 3} more` : "");
  const hints = (answer.hints ?? []).join(" ");
  return [`Saved: ${shown}.`, hints, open === 0 ? "All chords are confirmed." : `${open} unconfirmed.`].filter(Boolean).join(" ");
}
