// The whole song: what stands on its chart, and how its recording is heard. What is changed
// about the hearing is given to a new analysis; decisions stay.

import { analyse } from "./analysis.js";
import { button, el, find } from "./dom.js";
import { aboutTake } from "./edits.js";
import { clock } from "./music.js";
import { now } from "./player.js";
import { tapping } from "./taps.js";
import { desk } from "./state.js";

const METERS = ["4/4", "3/4", "2/4", "6/8", "12/8"];
const TUNINGS = ["standard", "drop D", "half a step down", "a whole step down", "open G", "open D", "DADGAD"];

/** `[name, words]` of what is written on the chart. */
const ON_CHART = { title: "Title", credit: "Credit", key: "Key", note: "Note" };
const HEARD = { tempo_bpm: "Tempo, bpm", meter: "Meter", capo: "Capo", tuning: "Tuning" };

export function startSongFacts() {
  find("#song-open").addEventListener("click", showSong);
}

const plainKey = (label) => (label ?? "").replace(":maj", "").replace(":min", "m").replace(":", " ");

function fieldsOf(song) {
  const capos = Array.from({ length: 13 }, (_, i) => el("option", { value: String(i), selected: i === song.capo }, i === 0 ? "none" : `fret ${i}`));
  return {
    title: el("input", { type: "text", value: song.title }),
    credit: el("input", { type: "text", value: song.credit ?? "", placeholder: "words and music: …" }),
    key: el("input", { type: "text", value: plainKey(song.key), placeholder: "G, F#m" }),
    note: el("input", { type: "text", placeholder: "for the whole song" }),
    tempo_bpm: el("input", { type: "number", min: "10", max: "600", step: "any", value: song.tempo_bpm === null ? "" : String(Math.round(song.tempo_bpm * 10) / 10), placeholder: "as heard" }),
    meter: el("input", { type: "text", value: song.meter ?? "", placeholder: "as heard", list: "meters", autocomplete: "off" }),
    capo: el("select", {}, capos),
    tuning: el("input", { type: "text", value: song.tuning, list: "tunings", autocomplete: "off" }),
  };
}

/** Shows the dialog. */
export function showSong() {
  const song = desk.song;
  const dialog = find("#song");
  const canAnalyse = song.take.present !== false;
  const fields = fieldsOf(song);
  const before = Object.fromEntries(Object.entries(fields).map(([name, input]) => [name, input.value]));
  const own = { first: null, taps: null };
  const refused = el("p", { role: "alert" });
  const submit = el("button", { type: "submit", class: "primary" }, "Save");
  const only = button("Save without analysing", () => save(false), { hidden: true });
  const isHeard = () => Object.keys(HEARD).some((name) => fields[name].value !== before[name]) || own.first !== null || own.taps !== null;
  const label = () => {
    submit.textContent = isHeard() && canAnalyse ? "Save and analyse again" : "Save";
    only.hidden = !(isHeard() && canAnalyse);
  };
  const row = (name, words, ...more) => {
    fields[name].id = `fact-${name}`;
    fields[name].addEventListener("input", label);
    return el("div", { class: "row" }, el("label", { for: fields[name].id }, words), fields[name], more);
  };
  async function save(again) {
    refused.textContent = "";
    const heard = requested(fields, before, own, song.given);
    const paper = changed(fields, before, Object.keys(ON_CHART), ["credit"]);
    // what cannot be heard is told before anything is saved; what was typed stays
    if (heard && again && !(await analyse(heard, (why) => (refused.textContent = `${why}.`)))) return;
    const rest = { ...paper, ...(heard && !again ? heard : {}) };
    if (Object.keys(rest).length === 0 || (await aboutTake(rest))) dialog.close();
    else refused.textContent = find("#said").textContent;
  }
  const taps = tapping((found) => {
    own.taps = found.every ? found.times : null;
    if (found.bpm) fields.tempo_bpm.value = String(found.bpm);
    label();
  });
  const tempo = (factor) => () => {
    fields.tempo_bpm.value = String(Math.round((Number(fields.tempo_bpm.value) || song.tempo_bpm || 120) * factor * 10) / 10);
    label();
  };
  dialog.replaceChildren(
    el("h2", { id: "song-title" }, "Song details"),
    el("datalist", { id: "meters" }, METERS.map((value) => el("option", { value }))),
    el("datalist", { id: "tunings" }, TUNINGS.map((value) => el("option", { value }))),
    el(
      "form",
      { class: "facts", onsubmit: (event) => (event.preventDefault(), save(canAnalyse)) },
      el("h3", {}, "On the chart"),
      Object.entries(ON_CHART).map(([name, words]) => row(name, words)),
      el("h3", {}, "How it is heard"),
      canAnalyse ? el("p", { class: "quiet" }, "What you change here is given to a new analysis of the recording. Your decisions are kept. Empty a field to have it heard.") : null,
      row("tempo_bpm", HEARD.tempo_bpm, button("Half the tempo", tempo(0.5)), button("Double the tempo", tempo(2)), canAnalyse ? taps.button : null),
      taps.told,
      row("meter", HEARD.meter),
      canAnalyse ? firstBeat(own, song, label) : null,
      row("capo", HEARD.capo),
      row("tuning", HEARD.tuning),
      refused,
      el("div", { class: "row" }, submit, only, button("Cancel", () => dialog.close())),
    ),
  );
  dialog.addEventListener("close", taps.end, { once: true });
  label();
  dialog.showModal();
}

/** Where bar 1 begins: as it is, at the playhead, or heard again if it was given. */
function firstBeat(own, song, label) {
  const told = el("span", {}, clock(song.bars.find((b) => b.number === 1)?.start_s ?? 0));
  const set = (value, words) => () => {
    own.first = value();
    told.textContent = words();
    label();
  };
  const at = now();
  return el(
    "div",
    { class: "row", role: "group", "aria-label": "First beat of bar 1" },
    el("span", { class: "label" }, "First beat"),
    told,
    button(`At the playhead, ${clock(at)}`, set(() => at, () => clock(at))),
    song.given.includes("first_downbeat") ? button("As heard", set(() => "heard", () => "as heard")) : null,
  );
}

/** The fields among some that differ from before; an empty one only where it may be. */
function changed(fields, before, names, mayBeEmpty = []) {
  const own = names.filter((name) => fields[name].value !== before[name] && (mayBeEmpty.includes(name) || fields[name].value.trim() !== ""));
  return Object.fromEntries(own.map((name) => [name, name === "tempo_bpm" || name === "capo" ? Number(fields[name].value) : fields[name].value.trim()]));
}

/** What is asked of a new analysis, as a decision request; null if nothing is. */
function requested(fields, before, own, given) {
  const request = changed(fields, before, Object.keys(HEARD));
  const heard = [];
  const isEmptied = (name) => fields[name].value.trim() === "" && before[name] !== "";
  if (isEmptied("tempo_bpm")) heard.push("tempo", "beats");
  if (isEmptied("meter")) heard.push("meter");
  if (isEmptied("tuning")) heard.push("tuning");
  if (own.first === "heard") heard.push("first_downbeat");
  else if (own.first !== null) request.first_downbeat = own.first;
  if (own.taps) {
    request.beats_s = own.taps;
    delete request.tempo_bpm;
    heard.push("tempo");
  } else if (request.tempo_bpm) heard.push("beats");
  const back = heard.filter((name) => given.includes(name));
  if (back.length > 0) request.as_heard = back;
  return Object.keys(request).length > 0 ? request : null;
}
