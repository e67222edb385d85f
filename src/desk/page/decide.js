// Sending decisions, one after the other. Those that get no answer are kept in order
// (also over a reload) and sent again when the program is back, unless the log has changed
// meanwhile: then the user is asked.

import { Refused, Unreachable, post } from "./api.js";
import { isLost, lost } from "./link.js";
import { clear, say, warn } from "./say.js";
import { desk, on, setSong } from "./state.js";

/** Where unanswered decisions are kept: a list of `{id, path, words, requests?, revision}`. */
const KEPT = "takebook.unsaved";

let line = Promise.resolve();

/** Decides; gives whether it is in the log. `words` names it for people; each request as in `docs/desk-api.md`. */
export const decide = (words, ...requests) => take({ path: "/api/decide", words, requests });
export const undo = () => take({ path: "/api/undo", words: "undo" });
export const redo = () => take({ path: "/api/redo", words: "redo" });

function take(decision) {
  return inLine(() => {
    const own = { ...decision, id: crypto.randomUUID(), revision: desk.song.revision };
    keep([...kept(), own]);
    if (!isLost()) return send(own);
    waits(own);
    return false;
  });
}

/** After a start or a return of the program: what is still unsaved? */
export function takeUpUnsaved() {
  const list = kept();
  if (list.length === 0) return;
  const sendAll = () => {
    clear("unsaved");
    for (const decision of list) inLine(() => send(decision));
  };
  if (list[0].revision === desk.song.revision) return sendAll();
  const words = list.map((d) => `“${d.words}”`).join(", ");
  warn("unsaved", `No answer came for ${words}, and the log has changed since.`, [
    ["Save it now", sendAll],
    ["Drop it", () => (keep([]), clear("unsaved"))],
  ]);
}

on("back", takeUpUnsaved);

const kept = () => JSON.parse(sessionStorage.getItem(KEPT) ?? "[]");
const keep = (list) => sessionStorage.setItem(KEPT, JSON.stringify(list));
const settled = (decision) => keep(kept().filter((d) => d.id !== decision.id));
const waits = (decision) => say(`“${decision.words}” is not saved yet; it waits for the desk's program.`);

function inLine(act) {
  line = line.then(act, act);
  return line;
}

/** Sends with the revision that the page shows now: what it had in line before it is known. */
async function send(decision) {
  const { path, requests } = decision;
  try {
    const answer = await post(path, requests ? { requests, revision: desk.song.revision } : {});
    settled(decision);
    setSong(answer.song);
    say(told(decision, answer));
    return true;
  } catch (trouble) {
    if (trouble instanceof Unreachable || trouble.status === 403) {
      lost(trouble);
      waits(decision);
      return false;
    }
    settled(decision);
    if (!(trouble instanceof Refused)) throw trouble;
    if (trouble.song) setSong(trouble.song);
    say(`Not saved: ${trouble.message}.`);
    return false;
  }
}

function told(decision, answer) {
  if (decision.path !== "/api/decide") {
    const what = (answer.acts ?? []).slice(0, 3).join("; ");
    return `${decision.path === "/api/undo" ? "Taken back" : "Brought back"}${what ? `: ${what}` : ""}.`;
  }
  const open = answer.song.n_open;
  const acts = answer.acts ?? [];
  const shown = acts.slice(0, 3).join("; ") + (acts.length > 3 ? `; and ${acts.length - 3} more` : "");
  const hints = (answer.hints ?? []).join(" ");
  return [`Saved: ${shown}.`, hints, open === 0 ? "All chords are decided." : `${open} open.`].filter(Boolean).join(" ");
}
