// Notes of lessons with this song: what was practised, the tempo reached, the next goal. They are
// the teacher's own, kept in the song's file; a chart has them only if the export page is asked to.

import { keptAs } from "./api.js";
import { decide } from "./decide.js";
import { button, el, find } from "./dom.js";
import { desk, on } from "./state.js";

/** What is typed and not saved yet outlasts a reload. */
const KEPT = keptAs("takebook.lesson");
const TEXTS = ["student", "practised", "next_goal"];
const fields = {};
/** Number of the note that is being changed; null for a new one. */
let changing = null;
/** Number of the note that was removed last. */
let removed = null;

const notes = () => desk.song?.lesson_notes ?? [];
const isSame = (one, other) => one.trim().toLowerCase() === other.trim().toLowerCase();

/** "2 May 2031" */
export const dayWords = (date) => new Date(`${date}T12:00`).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });

/** Today here, "2031-05-02". */
function today() {
  const now = new Date();
  return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
}

/** Students whom this song has notes of or a version for, each once. */
export function studentsOfSong() {
  const names = [...notes(), ...(desk.song?.versions ?? [])].map((own) => own.student).filter(Boolean);
  return names.filter((name, i) => names.findIndex((other) => isSame(other, name)) === i).sort((a, b) => a.localeCompare(b));
}

export function startLessons() {
  const field = (name, words, node) => el("label", { class: name }, el("span", {}, words), (fields[name] = node));
  fields.form = el(
    "form",
    { class: "lesson", onsubmit: save, oninput: keep },
    (fields.legend = el("h2", {}, "New note")),
    field("date", "Date", el("input", { type: "date", required: true })),
    field("student", "Student", el("input", { type: "text", maxlength: "200", autocomplete: "off", list: "lesson-students", oninput: drawLast })),
    field("tempo_bpm", "Tempo reached, bpm", el("input", { type: "number", min: "10", max: "600", step: "any", inputmode: "decimal" })),
    (fields.last = el("p", { class: "last quiet", role: "status", hidden: true })),
    field("practised", "Practised", el("textarea", { rows: "3", maxlength: "2000" })),
    field("next_goal", "Next goal", el("textarea", { rows: "2", maxlength: "2000" })),
    el("p", { class: "row" }, el("button", { type: "submit", class: "primary" }, "Save the note"), (fields.cancel = button("Cancel", fresh, { hidden: true }))),
    (fields.told = el("p", { class: "told", role: "status" })),
  );
  find("#lessons").append(
    el(
      "div",
      { class: "paper" },
      el("h1", { id: "lessons-title" }, "Lessons"),
      el("p", { class: "quiet" }, "For your eyes: these notes are kept in the song’s file, and are on no chart unless you ask for them under Export."),
      el("datalist", { id: "lesson-students" }),
      fields.form,
      (fields.which = el("label", { class: "which", hidden: true }, "Notes of ", (fields.shown = el("select", { onchange: draw })))),
      (fields.list = el("ol", { class: "lessons" })),
      (fields.none = el("p", { class: "quiet" }, "No notes yet.")),
    ),
  );
  if (!restore()) fresh();
  on("song", draw);
  on("page", (page) => page === "lessons" && draw());
}

/** The form for a new note; date and student stay as in the last one. */
function fresh() {
  changing = null;
  fields.date.value ||= today();
  for (const name of ["practised", "next_goal", "tempo_bpm"]) fields[name].value = "";
  fields.legend.textContent = "New note";
  fields.cancel.hidden = true;
  sessionStorage.removeItem(KEPT);
  drawLast();
}

function keep() {
  fields.told.textContent = "";
  const typed = Object.fromEntries([...TEXTS, "date", "tempo_bpm"].map((name) => [name, fields[name].value]));
  sessionStorage.setItem(KEPT, JSON.stringify({ changing, typed }));
}

/** Puts back what was typed before a reload; gives whether there was something. */
function restore() {
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "null");
  if (!kept) return false;
  for (const [name, value] of Object.entries(kept.typed)) fields[name].value = value;
  if (kept.changing) startChange(kept.changing, kept.typed.date);
  return true;
}

function startChange(number, date) {
  changing = number;
  fields.legend.textContent = `Change the note of ${dayWords(date)}`;
  fields.cancel.hidden = false;
}

function change(note) {
  for (const name of [...TEXTS, "date", "tempo_bpm"]) fields[name].value = note[name] ?? "";
  startChange(note.number, note.date);
  fields.told.textContent = "";
  drawLast();
  fields.form.scrollIntoView({ block: "nearest" });
  fields.practised.focus();
}

async function save(event) {
  event.preventDefault();
  const tempo = fields.tempo_bpm.value.trim();
  const note = {
    ...(changing === null ? {} : { number: changing }),
    date: fields.date.value,
    student: fields.student.value.trim() || null,
    practised: fields.practised.value.trim(),
    tempo_bpm: tempo === "" ? null : Number(tempo),
    next_goal: fields.next_goal.value.trim(),
  };
  if (!note.practised && !note.next_goal && note.tempo_bpm === null) {
    fields.told.textContent = "Write what was practised, the tempo reached or the next goal.";
    fields.practised.focus();
    return;
  }
  const isSaved = await decide(`lesson note of ${dayWords(note.date)}`, { lesson_note: note });
  if (isSaved) fresh();
  fields.told.textContent = isSaved ? "The note is saved." : find("#said").textContent;
}

async function remove(note) {
  const isDone = await decide(`lesson note of ${dayWords(note.date)} removed`, { remove_lesson_note: note.number });
  if (isDone && changing === note.number) fresh();
  removed = isDone ? note.number : null;
  fields.told.textContent = isDone ? "The note is removed; Undo brings it back." : find("#said").textContent;
  fields.told.scrollIntoView({ block: "nearest" });
}

/** What was noted last for the student who is named in the form. */
function drawLast() {
  const name = fields.student.value.trim();
  const last = name ? notes().findLast((note) => note.number !== changing && note.student && isSame(note.student, name)) : null;
  fields.last.hidden = !last;
  if (!last) return;
  const parts = [last.tempo_bpm === null ? "" : `${last.tempo_bpm} bpm`, last.next_goal ? `goal: ${last.next_goal}` : ""].filter(Boolean);
  fields.last.textContent = `Last time, ${dayWords(last.date)}${parts.length > 0 ? `: ${parts.join("; ")}` : ""}`;
}

function item(note) {
  const about = `of ${dayWords(note.date)}${note.student ? `, ${note.student}` : ""}`;
  const row = (words, text) => (text ? [el("dt", {}, words), el("dd", {}, el("bdi", {}, text))] : []);
  return el(
    "li",
    { "data-number": String(note.number) },
    el("h2", {}, el("time", { datetime: note.date }, dayWords(note.date)), note.student ? [" ", el("bdi", { class: "whose" }, note.student)] : null),
    el("dl", {}, row("Practised", note.practised), row("Tempo reached", note.tempo_bpm === null ? "" : `${note.tempo_bpm} bpm`), row("Next goal", note.next_goal)),
    el("p", { class: "row" }, button("Change", () => change(note), { "aria-label": `Change the note ${about}` }), button("Remove", () => remove(note), { "aria-label": `Remove the note ${about}` })),
  );
}

let drawn = "";
function draw() {
  if (find("#lessons").hidden || !desk.song) return;
  const names = studentsOfSong();
  const now = JSON.stringify([notes(), names, fields.shown.value]);
  if (now === drawn) return;
  if (notes().some((note) => note.number === removed)) [fields.told.textContent, removed] = ["", null];
  const whose = names.some((name) => isSame(name, fields.shown.value)) ? fields.shown.value : "";
  find("#lesson-students").replaceChildren(...names.map((name) => el("option", { value: name })));
  fields.shown.replaceChildren(el("option", { value: "" }, "all students"), ...names.map((name) => el("option", { value: name, selected: name === whose }, name)));
  const shown = notes().filter((note) => whose === "" || (note.student && isSame(note.student, whose)));
  fields.which.hidden = notes().length === 0 || names.length === 0;
  fields.none.hidden = shown.length > 0;
  fields.list.replaceChildren(...shown.toReversed().map(item));
  drawn = JSON.stringify([notes(), names, fields.shown.value]);
  drawLast();
}
