// The lower half of the card: where the chord changes, the section, a note.

import { moreBars } from "./card.js";
import { button, el } from "./dom.js";
import { keyAt } from "./music.js";
import { now } from "./player.js";
import { say } from "./say.js";
import { barBeats, endingPlan, firstDownbeat, unconfirm, join, keyFromHere, letterSection, markEnding, nameSection, nudge, sectionGoesOn, sectionStarts, splitAt, writeNote, writeWords } from "./edits.js";
import { beatsIn, chosen, desk, sectionOf } from "./state.js";

/** The bar that the decisions stand for. */
let drawnFor = null;

/** Draws them anew; what is half typed stays typed. */
export function drawDecisions(place) {
  const chord = chosen();
  const isSame = drawnFor === desk.bar;
  drawnFor = desk.bar;
  const typed = [...place.querySelectorAll("input")].filter((input) => (isSame || input === document.activeElement) && input.value !== input.dataset.was);
  place.replaceChildren(...(chord ? [change(chord), section(), note(), counting()] : []));
  for (const { id, value, selectionStart, selectionEnd } of typed) retype(id, value, [selectionStart, selectionEnd]);
}

function retype(id, text, selection = []) {
  const input = document.getElementById(id);
  if (!input) return;
  input.value = text;
  if (selection.length > 0) input.setSelectionRange(...selection);
}

const many = () => desk.barTo > desk.bar;

function change(chord) {
  const beats = beatsIn(desk.bar).slice(1);
  return el(
    "div",
    { class: "group" },
    el("div", { class: "row" }, el("span", { class: "quiet" }, many() ? `${desk.barTo - desk.bar + 1} bars chosen` : "One bar chosen"), button("One bar more", () => moreBars(1), { "data-key": "more bars" }), many() ? button("One bar less", () => moreBars(-1), { "data-key": "fewer bars" }) : null),
    el("div", { class: "row" }, button(many() ? "Unconfirm these bars" : `Unconfirm ${chord.symbol}`, unconfirm, { "data-key": "unconfirm here", "aria-keyshortcuts": "Backspace", disabled: !many() && chord.state === "open" && chord.n_decided_shapes === 0 })),
    el("h3", {}, "Where chords change"),
    el(
      "div",
      { class: "row" },
      el("span", { class: "quiet" }, "Split at beat"),
      beats.map((t, i) => button(String(i + 2), () => splitAt(t), { "aria-label": `Split at beat ${i + 2}`, "data-key": `split ${i}` })),
    ),
    el("div", { class: "row" }, button(many() ? "One chord in these bars" : "Join with the next chord", join, { "data-key": "join", "aria-keyshortcuts": "j" })),
    el(
      "div",
      { class: "row" },
      el("span", { class: "quiet" }, `${chord.symbol} starts`),
      button("half a beat earlier", () => nudge(-1), { "data-key": "earlier", "aria-keyshortcuts": "[" }),
      button("later", () => nudge(1), { "data-key": "later", "aria-keyshortcuts": "]", "aria-label": `${chord.symbol} starts half a beat later` }),
    ),
  );
}

function section() {
  const own = sectionOf(desk.bar);
  const starts = own?.first_bar === desk.song.bars[desk.bar].number;
  const plan = endingPlan();
  return el(
    "div",
    { class: "group" },
    el("h3", {}, `Section${own ? ` ${own.letter}${own.name ? `, ${own.name}` : ""}` : ""}`),
    field("section-name", "Name", own?.name ?? "", "Verse", nameSection),
    field("section-letter", "Letter", own?.letter ?? "", "A", letterSection),
    el(
      "div",
      { class: "row" },
      starts
        ? button("No section starts here", sectionGoesOn, { "data-key": "goes on", disabled: own.first_bar === desk.song.bars[0].number })
        : button("A section starts here", sectionStarts, { "data-key": "starts" }),
      button(plan.why ? "An ending" : `An ending of ${plan.letter}`, markEnding, { "data-key": "ending", disabled: Boolean(plan.why) }),
    ),
    el("p", { class: "quiet" }, plan.why ?? `An ending: this section repeats ${plan.letter} and ends otherwise; the chart prints 1. and 2.`),
  );
}

function note() {
  return el(
    "div",
    { class: "group" },
    field("lyric-text", `Words from bar ${desk.song.bars[desk.bar].number} on`, wordsHere(), "Oh the | lantern | burns", writeWords, { mayBeEmpty: true }),
    el("p", { class: "quiet" }, "A line | between two words begins the next bar."),
    field("note-text", many() ? "Note for these bars" : "Note for this bar", "", "let it ring", writeNote),
  );
}

/** The words that are sung in the chosen bars, a part to each. */
function wordsHere() {
  const bars = desk.song.bars.slice(desk.bar, desk.barTo + 1);
  const inside = (bar, l) => l.start_s >= bar.start_s - 0.05 && l.start_s < bar.end_s - 0.05;
  const parts = bars.map((bar) => desk.song.lyrics.filter((l) => inside(bar, l)).map((l) => l.text).join(" "));
  return parts.join(" | ").replace(/[ |]+$/, "");
}

/** How the bars are counted, and the key from here on. */
function counting() {
  const bar = desk.song.bars[desk.bar];
  const song = desk.song;
  return el(
    "div",
    { class: "group" },
    el("h3", {}, "Bars and key"),
    field("bar-beats", `Beats in bar ${bar.number}`, String(bar.n_beats), "4", (text) => (/^\d+$/.test(text) ? barBeats(Number(text)) : say("The beats of a bar are a whole number."))),
    field("key-here", `Key from bar ${bar.number} on`, "", (keyAt(song, bar.start_s) ?? "G").replace(":maj", "").replace(":min", "m").replace(":", " "), keyFromHere),
    el("div", { class: "row" }, button("First beat of the song is at the playhead", () => firstDownbeat(now()), { "data-key": "first beat" })),
  );
}

function field(id, label, value, example, act, { mayBeEmpty = false } = {}) {
  const input = el("input", { id, type: "text", value, placeholder: example, autocomplete: "off", "data-key": id, "data-was": value });
  const send = async (event) => {
    event.preventDefault();
    const text = input.value.trim();
    if (text === "" && !(mayBeEmpty && value !== "")) return;
    const bar = desk.bar;
    // what is sent is typed no longer, unless it is refused and its bar still chosen
    input.dataset.was = input.value;
    if (await act(text)) return;
    input.dataset.was = value;
    if (desk.bar === bar) retype(id, text);
  };
  return el("form", { class: "row", onsubmit: send }, el("label", { for: id }, label), input, el("button", { type: "submit", "data-key": `${id} save`, "aria-label": `Save: ${label.toLowerCase()}` }, "Save"));
}
