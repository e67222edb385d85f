// Hearing the take again with what the user gives: the choices that hearing leaves, what was
// set since, and how far an analysis is. Decisions made meanwhile are kept.

import { Refused, post } from "./api.js";
import { decide } from "./decide.js";
import { button, el, find } from "./dom.js";
import { lost } from "./link.js";
import { plural } from "./music.js";
import { clear, say, warn } from "./say.js";
import { desk, on } from "./state.js";

const parts = {};
let isRunning = false;

export function startAnalysis() {
  parts.bar = el("progress", { max: "100", value: "0", "aria-label": "Analysing the recording" });
  parts.words = el("span", {});
  find("#analysis").append(parts.bar, parts.words, button("Cancel", cancel, { "aria-label": "Cancel the analysis" }));
  on("analysis", follow);
  on("song", drawDoubts);
  // a program that was started anew analyses nothing
  on("back", () => isRunning && follow({ ended: true, error: "the desk's program was stopped" }));
}

/** Whether the recording is being analysed now. */
export const isAnalysing = () => isRunning;

/**
 * Analyses again with what is given, a decision request about the whole song; gives whether it
 * was begun. What is refused is told by `tellRefused`, else in the line of messages.
 */
export async function analyse(request, tellRefused = (why) => say(`Not analysed: ${why}.`)) {
  clear("analysis");
  try {
    await post("/api/analyse", { request });
  } catch (trouble) {
    if (trouble instanceof Refused && trouble.status !== 403) tellRefused(trouble.message);
    else lost(trouble);
    return false;
  }
  follow({ percent: 0 });
  say("The recording is analysed again; you can go on meanwhile, and your decisions are kept.");
  return true;
}

const cancel = () => post("/api/analyse/cancel").catch(lost);

function follow(news) {
  isRunning = !news.ended;
  // the button that had the focus goes
  if (!isRunning && find("#analysis").contains(document.activeElement)) find("#chosen")?.focus({ preventScroll: true });
  find("#analysis").hidden = !isRunning;
  if (isRunning) {
    parts.bar.value = news.percent;
    parts.words.textContent = `Analysing: ${news.percent} %`;
    return;
  }
  if (news.cancelled) say("The analysis was cancelled; nothing was changed.");
  else if (news.error) warn("analysis", `The recording was not analysed: ${news.error}. Nothing was changed.`, [["Close", () => clear("analysis")]]);
  else say(doneWords(news));
}

function doneWords({ n_bars = 0, n_unfit = 0 }) {
  const unfit = n_unfit > 0 ? ` ${plural(n_unfit, "decision")} no longer ${n_unfit === 1 ? "fits" : "fit"}: see the foot of the chart.` : " All your decisions are kept.";
  return `Analysed again: ${plural(n_bars, "bar")}.${unfit}`;
}

let drawnFor = "";

/** One quiet line: what can be heard in another way, or was set since; the next once that is settled. */
function drawDoubts() {
  const canAnalyse = desk.song.take.present !== false;
  const [[choice], [stale]] = [desk.song.choices, desk.song.stale];
  const key = JSON.stringify([canAnalyse, choice, stale]);
  if (key === drawnFor) return;
  drawnFor = key;
  // the buttons go with the line: the next key is for the chart
  const way = (words, act) => button(words, () => (act(), find("#chosen")?.focus({ preventScroll: true })));
  const line = (text, ...ways) => el("p", { class: "doubt" }, el("span", {}, `${capital(text)}.`), ways);
  const lines = [];
  if (stale) lines.push(line(stale, canAnalyse ? way("Analyse again", () => analyse({})) : null));
  else if (choice) lines.push(line(choice.words, canAnalyse ? way(`${capital(choice.instead)} instead`, () => analyse(choice.set)) : null, way(keepWords(choice.keep), () => decide(keepWords(choice.keep), choice.keep))));
  find("#doubts").replaceChildren(...lines);
}

function keepWords({ meter, tempo_bpm, capo, tuning }) {
  if (meter) return `Keep ${meter}`;
  if (tempo_bpm) return `Keep ${tempo_bpm} bpm`;
  if (capo !== undefined) return capo === 0 ? "No capo" : `Capo ${capo}`;
  if (tuning) return `${capital(tuning)} tuning`;
  return "Keep it";
}

const capital = (text) => text[0].toUpperCase() + text.slice(1);
