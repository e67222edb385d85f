// Sending decisions, one after the other. One that gets no answer is kept (also over a
// reload) and sent again when the program is back, unless the log has changed meanwhile:
// then the user is asked.

import { Refused, Unreachable, post } from "./api.js";
import { lost } from "./link.js";
import { clear, say, warn } from "./say.js";
import { desk, on, setSong } from "./state.js";

const KEPT = "takebook.unsaved";

let line = Promise.resolve();

/** Decides; gives whether it is in the log. `words` names it for people. */
export function decide(words, acts) {
  return inLine(() => send({ path: "/api/decide", words, acts, revision: desk.song.revision }));
}

export const undo = () => inLine(() => send({ path: "/api/undo", words: "undo", revision: desk.song.revision }));
export const redo = () => inLine(() => send({ path: "/api/redo", words: "redo", revision: desk.song.revision }));

/** After a start or a return of the program: what is still unsaved? */
export function takeUpUnsaved() {
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "null");
  if (!kept) return;
  if (kept.revision === desk.song.revision) {
    inLine(() => send(kept));
    return;
  }
  const over = () => {
    sessionStorage.removeItem(KEPT);
    clear("unsaved");
  };
  warn("unsaved", `No answer came for “${kept.words}”, and the log has changed since.`, [
    ["Save it now", () => (over(), inLine(() => send({ ...kept, revision: desk.song.revision })))],
    ["Drop it", over],
  ]);
}

on("back", takeUpUnsaved);

function inLine(act) {
  line = line.then(act, act);
  return line;
}

async function send(decision) {
  sessionStorage.setItem(KEPT, JSON.stringify(decision));
  try {
    // an earlier one in line may have changed the log
    const answer = await post(decision.path, decision.acts ? { ...decision.acts, revision: decision.revision } : {});
    sessionStorage.removeItem(KEPT);
    clear("unsaved");
    setSong(answer.song);
    say(told(decision, answer));
    return true;
  } catch (trouble) {
    if (trouble instanceof Unreachable || trouble.status === 403) {
      lost(trouble);
      say(`“${decision.words}” is not saved yet; it waits for the desk's program.`);
      return false;
    }
    sessionStorage.removeItem(KEPT);
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
