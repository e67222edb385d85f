// The dock at the foot of the window: the chosen chord and the one button that confirms it,
// always in reach; and what the page keeps over a reload.

import { keptAs } from "./api.js";
import { hearPlucked } from "./clicks.js";
import { symbol } from "./chart.js";
import { button, el, find, whenOther } from "./dom.js";
import { confirmIt, goToOpen, twinsOf } from "./edits.js";
import { plural, sureness } from "./music.js";
import { now, player, seek, setLoop, setSpeed } from "./player.js";
import { choose, chosen, desk, on } from "./state.js";
import { moreBars } from "./card.js";

const KEPT = keptAs("takebook.place");
const parts = {};

export function startDock() {
  parts.what = el("p", { class: "what", id: "what" });
  parts.confirm = button("Confirm", () => confirmIt(), { class: "primary", "aria-keyshortcuts": "Enter", "data-key": "confirm" });
  parts.hear = button("Hear chord", hearChosen, { "aria-keyshortcuts": "v", title: "The chord alone, as plucked strings" });
  find("#decide").append(
    el("div", { class: "go" }, button("‹", () => goToOpen(true), { "aria-label": "Previous unconfirmed chord" }), button("›", () => goToOpen(), { "aria-label": "Next unconfirmed chord", id: "next-open", "aria-keyshortcuts": "n" })),
    parts.what,
    button("−", () => moreBars(-1), { "aria-label": "One bar less", class: "bars-less", "aria-keyshortcuts": "Shift+ArrowLeft" }),
    button("+ bar", () => moreBars(1), { "aria-label": "One bar more", class: "bars-more", "aria-keyshortcuts": "Shift+ArrowRight" }),
    parts.hear,
    parts.confirm,
    (parts.card = button("More", toggleCard, { class: "card-open", "aria-expanded": "false", "aria-controls": "card" })),
  );
  on("choice", show);
  on("song", show);
  // a pointer leaves the focus where letters and the space bar work
  for (const place of ["#dock", "#card", ".top"]) {
    find(place).addEventListener("click", (event) => {
      if (event.detail > 0 && event.target.closest("button") && !document.querySelector("dialog[open]")) find("#chosen")?.focus({ preventScroll: true });
    });
  }
  window.addEventListener("pagehide", keepPlace);
  document.addEventListener("visibilitychange", keepPlace);
}

function toggleCard() {
  const isOpen = document.body.classList.toggle("card-up");
  parts.card.setAttribute("aria-expanded", String(isOpen));
  parts.card.textContent = isOpen ? "Less" : "More";
}

/** The chosen chord alone, as plucked strings. */
export function hearChosen() {
  const chord = chosen();
  if (chord) hearPlucked(chord.label, chord.shapes[0]);
}

function show() {
  if (!desk.song || desk.song.bars.length === 0) return;
  const chord = chosen();
  const bar = desk.song.bars[desk.bar];
  const many = desk.barTo > desk.bar;
  const sure = chord && chord.state === "open" && !many ? sureness(chord) : "";
  const where = many ? `Bars ${bar.number}–${desk.song.bars[desk.barTo].number}` : `Bar ${bar.number}`;
  tellChosen(where, chord && !many ? chord.symbol : null, chord?.state === "open", sure);
  const also = desk.repeats && chord ? twinsOf(chord).length : 0;
  const isDone = !many && chord?.state === "decided";
  const act = many ? "Confirm these bars" : isDone ? "Confirmed: next" : `Confirm ${chord?.symbol ?? ""}`;
  tellAct(act + (also > 0 ? ` and ${plural(also, "repeat")}` : ""), !chord, !chord || chord.label === "N");
}

const tellChosen = whenOther((where, name, isOpen, sure) =>
  parts.what.replaceChildren(
    el("span", { class: "where" }, where),
    name === null ? "" : symbol(name, isOpen),
    sure ? el("span", { class: "sure" }, `${sure} sure`) : "",
  ),
);

const tellAct = whenOther((words, isMissing, isSilent) => {
  parts.confirm.replaceChildren(words);
  parts.confirm.disabled = isMissing;
  parts.hear.disabled = isSilent;
});

/** Over a reload: the bar, the playhead, the speed and the loop. */
function keepPlace() {
  if (!desk.song) return;
  const { bar, barTo, part, folded, leastSureFirst, detail } = desk;
  sessionStorage.setItem(KEPT, JSON.stringify({ log: desk.song.log, bar, barTo, part, folded, leastSureFirst, detail, at: now(), speed: player.speed, loop: player.loop }));
}

/** Gives whether there was a place to go back to. */
export function backToPlace() {
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "null");
  if (!kept || kept.log !== desk.song.log || kept.bar >= desk.song.bars.length) return false;
  desk.folded = kept.folded;
  desk.leastSureFirst = kept.leastSureFirst;
  desk.detail = Boolean(kept.detail && desk.song.detail?.length > 0);
  find("#written-out").checked = !kept.folded;
  choose(kept.bar, { part: kept.part, to: kept.barTo });
  setSpeed(kept.speed);
  if (kept.loop) setLoop(kept.loop);
  seek(kept.at);
  return true;
}
