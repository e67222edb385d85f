// Students who have a version of a song or had a lesson with it: one is chosen, whose songs are
// listed with their last lesson, and bound as a PDF.

import { address } from "./api.js";
import { button, el, find } from "./dom.js";
import { plural } from "./music.js";
import { say } from "./say.js";

const NAMES = new Intl.Collator("en", { sensitivity: "base", numeric: true });
let chosen = "";
let drawn = "";

/** Begins; takes what is called when another student is chosen. */
export function startStudents(name, onChange) {
  chosen = name ?? "";
  find("#student").addEventListener("change", () => {
    chosen = find("#student").value;
    onChange();
  });
}

export const student = () => chosen;

/** The students of a song, each once. */
export const studentsOf = (song) => [...new Set([...(song.versions ?? []), ...(song.lessons ?? [])].map((own) => own.student).filter(Boolean))];

/** Whether the chosen student has a version of a song. */
export const hasVersion = (song) => (song.versions ?? []).some((v) => v.student === chosen);

/** The chosen student's last lesson of a song in a few words; "" without one. */
export function lessonWords(song) {
  const last = chosen === "" ? null : (song.lessons ?? []).find((lesson) => lesson.student === chosen);
  if (!last) return "";
  const day = new Date(`${last.date}T12:00`).toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" });
  const said = [last.tempo_bpm === null ? "" : `${last.tempo_bpm} bpm`, last.next_goal ? `next: ${last.next_goal}` : ""].filter(Boolean);
  return [`last lesson ${day}`, ...said].join("; ");
}

/** Whether a song is the chosen student's, or none is chosen. */
export const isTheirs = (song) => chosen === "" || studentsOf(song).includes(chosen);

/** The dialog that makes every student's files. */
export function startWeek() {
  const dialog = find("#week");
  const sound = el("input", { type: "checkbox", checked: true, onchange: () => aim() });
  const link = el("a", { id: "week-save", class: "primary button", download: true, onclick: () => say("The files are being made; the download begins when they are ready.") }, "Save all as one archive (.zip)");
  const aim = () => (link.href = address("/api/week", { with_sound: sound.checked }));
  const text = el("p", {});
  dialog.append(
    el("h2", { id: "week-title" }, "All of the week"),
    text,
    el("p", {}, el("label", { class: "tick" }, sound, " pages to practise with, where the song has a recording")),
    el("p", { class: "quiet" }, "Each student’s files lie in a folder that bears the name. Pass on a recording only if whoever plays and owns it allows that; local law decides."),
    el("p", { class: "row" }, link, button("Close", () => dialog.close())),
  );
  find("#week-open").addEventListener("click", () => {
    aim();
    text.textContent = `${plural(nVersions, "version")} for ${plural(nStudents, "student")}: a PDF of each, as its settings say.`;
    dialog.showModal();
  });
}

let [nVersions, nStudents] = [0, 0];

/** Shows the way to the week's files, once a version is for a student. */
function drawWeek(songs) {
  const named = songs.flatMap((song) => (song.versions ?? []).map((v) => v.student).filter(Boolean));
  [nVersions, nStudents] = [named.length, new Set(named.map((name) => name.toLowerCase())).size];
  find("#week-open").hidden = nVersions === 0;
}

/** Draws the choice among the students of some songs. */
export function drawStudents(songs) {
  drawWeek(songs);
  const names = [...new Set(songs.flatMap(studentsOf))].sort(NAMES.compare);
  if (chosen && !names.includes(chosen)) chosen = "";
  find("#student-field").hidden = names.length === 0;
  const now = JSON.stringify([names, chosen]);
  if (now === drawn) return;
  drawn = now;
  find("#student").replaceChildren(el("option", { value: "" }, "all"), ...names.map((name) => el("option", { value: name, selected: name === chosen }, name)));
}

/** The link to the PDF of the chosen student's versions of some songs, by file name. */
export function drawStudentPdf(files) {
  const link = find("#student-pdf");
  link.hidden = chosen === "" || files.length === 0;
  link.textContent = `Save ${chosen}\u2019s charts`;
  link.href = address("/api/set", { songs: JSON.stringify(files), student: chosen, title: chosen });
}
