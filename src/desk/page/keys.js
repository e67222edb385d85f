// All keys in one table: what is pressed, what it does, in words. The list shown on the
// page is made from it. Letters can be switched off (WCAG 2.1.4), and the two page keys
// of a foot pedal can do one of three jobs.

import { focusBar, perLine, showDetail } from "./chart.js";
import { hearPlayed, nextMark, openCheck } from "./check.js";
import { redo, undo } from "./decide.js";
import { button, el, find } from "./dom.js";
import { openExport } from "./deliver.js";
import { hearChosen } from "./dock.js";
import { confirmIt, goToOpen, join, markEnding, nudge, sectionStarts, splitAt, takeCandidate, unconfirm } from "./edits.js";
import { now } from "./player.js";
import { say } from "./say.js";
import { hearOnce, playChoice, slower, swapEars, toBarStart, toggle, toggleClicks, toggleLoop } from "./transport.js";
import { isTyping, startTyping } from "./typing.js";
import { barAt, choose, chordsIn, desk } from "./state.js";
import { moreBars, openTab, setRepeats } from "./card.js";
import { showSong } from "./song_facts.js";
import { backToSongs, isInFolder } from "./songs_back.js";

const step = (by) => choose(desk.bar + by);
const nextPart = () => choose(desk.bar, { part: (desk.part + 1) % Math.max(1, chordsIn(desk.bar).length) });
const openField = (id) => {
  openTab("change");
  find(`#${id}`)?.focus();
};

/** `[group, keys as pressed, keys as shown, words, act]` */
const KEYS = [
  ["Going", ["ArrowLeft"], "←", "bar before", () => step(-1)],
  ["Going", ["ArrowRight"], "→", "bar after", () => step(1)],
  ["Going", ["ArrowUp"], "↑", "line above", () => step(-perLine())],
  ["Going", ["ArrowDown"], "↓", "line below", () => step(perLine())],
  ["Going", ["Shift+ArrowRight"], "Shift →", "choose one bar more", () => moreBars(1)],
  ["Going", ["Shift+ArrowLeft"], "Shift ←", "one bar less", () => moreBars(-1)],
  ["Going", ["c"], "c", "next chord of the bar", nextPart],
  ["Going", ["n"], "n", "next unconfirmed chord", () => goToOpen()],
  ["Going", ["Shift+N"], "Shift N", "unconfirmed chord before", () => goToOpen(true)],
  ["Going", ["w"], "w", "the bar that sounds now", () => choose(barAt(now()))],
  ["Sound", ["Space", "p"], "Space, p", "play from the playhead, pause", toggle],
  ["Sound", ["Home"], "Home", "playhead to the start of the bar", toBarStart],
  ["Sound", ["v"], "v", "hear the chord alone", hearChosen],
  ["Sound", ["h"], "h", "hear the chosen bars once", hearOnce],
  ["Sound", ["l"], "l", "loop the chosen bars", toggleLoop],
  ["Sound", ["-"], "-", "slower", () => slower(1)],
  ["Sound", ["+", "="], "+", "faster", () => slower(-1)],
  ["Sound", ["b"], "b", "recording, chart, both", swapEars],
  ["Sound", ["m"], "m", "clicks on the beats", toggleClicks],
  ["Checking", ["f"], "f", "check a recording against the chart", () => openCheck()],
  ["Checking", ["q"], "q", "next bar that differs, and hear it", nextMark],
  ["Checking", ["y"], "y", "the bar as played, then as the chart says", hearPlayed],
  ["Deciding", ["Enter"], "Enter", "confirm the proposal, go on to the next", () => confirmIt()],
  ["Deciding", "123456789".split(""), "1–9", "confirm that candidate", (key) => takeCandidate(Number(key))],
  ["Deciding", ["t"], "t", "enter a chord or a fingering", () => (openTab("chord"), startTyping())],
  ["Deciding", ["r"], "r", "same in all repeats, or here only", () => setRepeats(!desk.repeats)],
  ["Deciding", ["Backspace"], "Backspace", "unconfirm: as proposed again", () => unconfirm()],
  ["Deciding", ["u", "Ctrl+z"], "u", "undo", () => undo()],
  ["Deciding", ["Shift+U", "Ctrl+Shift+Z", "Ctrl+y"], "Shift U", "redo", redo],
  ["Changing", ["x"], "x", "split at the playhead, or in mid-bar", () => splitAt()],
  ["Changing", ["j"], "j", "join with the next chord", join],
  ["Changing", ["["], "[", "chord starts half a beat earlier", () => nudge(-1)],
  ["Changing", ["]"], "]", "half a beat later", () => nudge(1)],
  ["Changing", ["s"], "s", "a section starts here", sectionStarts],
  ["Changing", ["g"], "g", "name the section", () => openField("section-name")],
  ["Changing", ["e"], "e", "mark an ending", markEnding],
  ["Changing", ["k"], "k", "a note", () => openField("note-text")],
  ["This page", ["d"], "d", "every harmony, or the chords only", () => showDetail(!desk.detail)],
  ["This page", ["a"], "a", "tempo, meter, capo: analyse again", () => showSong()],
  ["This page", ["Shift+E"], "Shift E", "export: versions, PDF, practice page", () => setTimeout(openExport, 0)],
  ...(isInFolder ? [["This page", ["o"], "o", "all songs of the folder", backToSongs]] : []),
  ["This page", ["?"], "?", "this list", () => showKeys()],
];

const PEDAL = {
  hear: ["next unconfirmed chord and play it; play again", () => (goToOpen(), playChoice()), playChoice],
  take: ["confirm, go on and play; play again", () => (confirmIt(), playChoice()), playChoice],
  line: ["line below; line above", () => step(perLine()), () => step(-perLine())],
  none: ["leave them to the browser", null, null],
};

const settings = {
  letters: localStorage.getItem("takebook.letters") !== "off",
  pedal: PEDAL[localStorage.getItem("takebook.pedal")] ? localStorage.getItem("takebook.pedal") : "hear",
};

/** Keys that work on every page. */
const ANYWHERE = ["Space", "u", "Ctrl+z", "?", "-", "+", "=", "o", "Shift+E"];

export function startKeys() {
  document.addEventListener("keydown", press);
  find("#keys-open").addEventListener("click", showKeys);
}

function press(event) {
  if (!desk.song || document.querySelector("dialog[open]") || (find("#chart").hidden && !isTyping(event.target) && !ANYWHERE.includes(name(event)))) return;
  const typing = isTyping(event.target);
  if (event.key === "PageDown" || event.key === "PageUp") {
    const act = PEDAL[settings.pedal][event.key === "PageDown" ? 1 : 2];
    if (!act || event.target.matches?.("textarea, select")) return;
    event.preventDefault();
    act();
    return;
  }
  if (typing) {
    if (event.key === "Escape") focusBar();
    return;
  }
  if (event.key === "Escape") return focusBar();
  const pressed = name(event);
  const found = KEYS.find(([, keys]) => keys.includes(pressed));
  if (!found || (!settings.letters && pressed.length === 1)) return;
  // on a button, Space and Enter press it; arrows move a slider
  const own = event.target.closest?.("button, a, summary, input, [role=slider]");
  const onBar = own?.classList.contains("bar");
  if (own && !onBar && (pressed === "Space" || pressed === "Enter")) return;
  if (own?.matches("input[type=range], [role=slider], [role=tab]") && pressed.includes("Arrow")) return;
  event.preventDefault();
  const wasOnBar = onBar || event.target === document.body;
  found[4](event.key);
  if (wasOnBar && found[0] === "Going") focusChosen();
}

function focusChosen() {
  focusBar();
  const line = find("#chosen")?.closest(".line");
  const evidence = line?.nextElementSibling;
  (evidence?.classList.contains("evidence") ? evidence : line)?.scrollIntoView({ block: "nearest" });
  line?.scrollIntoView({ block: "nearest" });
}

function name(event) {
  const key = event.key === " " ? "Space" : event.key;
  if (event.altKey) return "";
  if (event.ctrlKey || event.metaKey) return `Ctrl+${event.shiftKey ? `Shift+${key.toUpperCase()}` : key}`;
  const named = key.length > 1 || /^[A-Z]$/.test(key);
  return event.shiftKey && named ? `Shift+${key}` : key;
}

function showKeys() {
  const dialog = find("#keys");
  dialog.replaceChildren(...contents());
  if (!dialog.open) dialog.showModal();
}

function contents() {
  const groups = [...new Set(KEYS.map(([group]) => group))];
  return [
    el("h2", { id: "keys-title" }, "Shortcuts"),
    el(
      "div",
      { class: "keys" },
      groups.map((group) =>
        el(
          "section",
          {},
          el("h3", {}, group),
          el("dl", {}, KEYS.filter(([g]) => g === group).map(([, , shown, words]) => el("div", {}, el("dt", {}, el("kbd", {}, shown)), el("dd", {}, words)))),
        ),
      ),
    ),
    el(
      "p",
      {},
      el("label", {}, "A foot pedal's page keys (Page Down; Page Up): ", el("select", { id: "pedal", onchange: (e) => keep("pedal", e.target.value) }, Object.entries(PEDAL).map(([value, [words]]) => el("option", { value, selected: value === settings.pedal }, words)))),
    ),
    el("p", {}, el("label", { class: "tick" }, el("input", { type: "checkbox", checked: settings.letters, onchange: (e) => keep("letters", e.target.checked) }), " Single keys work without Ctrl (switch off if you dictate)")),
    button("Close", () => find("#keys").close(), { class: "main" }),
  ];
}

function keep(what, value) {
  settings[what] = value;
  localStorage.setItem(`takebook.${what}`, what === "letters" ? (value ? "on" : "off") : value);
  say(what === "pedal" ? `Pedal: ${PEDAL[value][0]}.` : `Single keys ${value ? "on" : "off"}.`);
}

/** The keys most used, for the line that is always in sight. */
export const keysInShort = () =>
  el(
    "p",
    { class: "keys-short" },
    ["Space, p", "l", "b", "Enter", "1–9", "t", "n", "u", "?"].map((shown) => {
      const [, , , words] = KEYS.find((k) => k[2] === shown);
      return el("span", {}, el("kbd", {}, shown), ` ${SHORT[shown] ?? words}`);
    }),
  );

const SHORT = { "Space, p": "play", l: "loop", b: "recording or chart", Enter: "confirm, next", "1–9": "candidate", t: "enter", n: "next", "?": "all" };
