// Students who have a version of a song: one is chosen, whose songs are listed and bound as a PDF.

import { address } from "./api.js";
import { el, find } from "./dom.js";

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
export const studentsOf = (song) => [...new Set((song.versions ?? []).map((v) => v.student).filter(Boolean))];

/** Whether a song is the chosen student's, or none is chosen. */
export const isTheirs = (song) => chosen === "" || studentsOf(song).includes(chosen);

/** Draws the choice among the students of some songs. */
export function drawStudents(songs) {
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
