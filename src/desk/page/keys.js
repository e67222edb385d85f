// All keys in one table: what is pressed, what it does, in words. The list shown on the
// page is made from it. Letters can be switched off (WCAG 2.1.4), and the two page keys
// of a foot pedal can do one of three jobs.

import { focusBar, perLine } from "./chart.js";
import { redo, undo } from "./decide.js";
import { button, el, find } from "./dom.js";
import { goToOpen, join, markEnding, nudge, sectionStarts, splitAt, takeCandidate, takeIt } from "./edits.js";
import { now } from "./player.js";
import { say } from "./say.js";
import { hearOnce, playChoice, slower, swapEars, toggle, toggleClicks, toggleLoop } from "./transport.js";
import { isTyping, startTyping } from "./typing.js";
import { barAt, choose, chordsIn, desk } from "./state.js";
import { setRepeats } from "./card.js";

const step = (by) => choose(desk.bar + by);
const stretchBy = (by) => choose(desk.bar, { to: Math.max(desk.bar, desk.barTo + by) });
const nextPart = () => choose(desk.bar, { part: (desk.part + 1) % Math.max(1, chordsIn(desk.bar).length) });
const openFold = (id) => {
  const input = find(`#${id}`);
  input.closest("details").open = true;
  input.focus();
};

/** `[group, keys as pressed, keys as shown, words, act]` */
const KEYS = [
  ["Going", ["ArrowLeft"], "←", "bar before", () => step(-1)],
  ["Going", ["ArrowRight"], "→", "bar after", () => step(1)],
  ["Going", ["ArrowUp"], "↑", "line above", () => step(-perLine())],
  ["Going", ["ArrowDown"], "↓", "line below", () => step(perLine())],
  ["Going", ["Shift+ArrowRight"], "Shift →", "stretch the choice by a bar", () => stretchBy(1)],
  ["Going", ["Shift+ArrowLeft"], "Shift ←", "shrink it by a bar", () => stretchBy(-1)],
  ["Going", ["c"], "c", "next chord of the bar", nextPart],
  ["Going", ["n"], "n", "next open", () => goToOpen()],
  ["Going", ["Shift+N"], "Shift N", "open one before", () => goToOpen(true)],
  ["Going", ["w"], "w", "the bar that sounds now", () => choose(barAt(now()))],
  ["Sound", ["Space", "p"], "Space, p", "play from here, stop", toggle],
  ["Sound", ["h"], "h", "hear the chosen bars once", hearOnce],
  ["Sound", ["l"], "l", "loop the chosen bars", toggleLoop],
  ["Sound", ["-"], "-", "slower", () => slower(1)],
  ["Sound", ["+", "="], "+", "faster", () => slower(-1)],
  ["Sound", ["b"], "b", "A the take, B as written", swapEars],
  ["Sound", ["m"], "m", "clicks on the beats", toggleClicks],
  ["Deciding", ["Enter"], "Enter", "take the proposal, go on to the next open", () => takeIt({ goOn: true })],
  ["Deciding", "123456789".split(""), "1–9", "take that candidate", (key) => takeCandidate(Number(key))],
  ["Deciding", ["t"], "t", "write a chord or a shape", startTyping],
  ["Deciding", ["r"], "r", "in every repeat, or here only", () => setRepeats(!desk.repeats)],
  ["Deciding", ["u", "Ctrl+z"], "u", "undo", undo],
  ["Deciding", ["Shift+U", "Ctrl+Shift+Z", "Ctrl+y"], "Shift U", "redo", redo],
  ["Changing", ["x"], "x", "split at the sound, or in mid-bar", () => splitAt()],
  ["Changing", ["j"], "j", "join with the next chord", join],
  ["Changing", ["["], "[", "chord starts half a beat earlier", () => nudge(-1)],
  ["Changing", ["]"], "]", "half a beat later", () => nudge(1)],
  ["Changing", ["s"], "s", "a section starts here", sectionStarts],
  ["Changing", ["g"], "g", "name the section", () => openFold("section-name")],
  ["Changing", ["e"], "e", "mark an ending", markEnding],
  ["Changing", ["k"], "k", "a note", () => openFold("note-text")],
  ["This page", ["?"], "?", "this list", () => showKeys()],
];

const PEDAL = {
  hear: ["next open and hear it; hear again", () => (goToOpen(), playChoice()), playChoice],
  take: ["take, go on and hear; hear again", async () => (await takeIt({ goOn: true }), playChoice()), playChoice],
  line: ["line below; line above", () => step(perLine()), () => step(-perLine())],
  none: ["leave them to the browser", null, null],
};

const settings = {
  letters: localStorage.getItem("takebook.letters") !== "off",
  pedal: PEDAL[localStorage.getItem("takebook.pedal")] ? localStorage.getItem("takebook.pedal") : "hear",
};

export function startKeys() {
  document.addEventListener("keydown", press);
  find("#keys-open").addEventListener("click", showKeys);
}

function press(event) {
  if (!desk.song || document.querySelector("dialog[open]") || find("#chart").hidden) return;
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
  if (own?.matches("input[type=range], [role=slider]") && pressed.includes("Arrow")) return;
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
    el("h2", { id: "keys-title" }, "Keys"),
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

const SHORT = { "Space, p": "play", l: "loop", b: "take or as written", Enter: "take and go on", "1–9": "candidate", t: "write", n: "next open", "?": "all keys" };
