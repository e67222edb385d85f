// Versions of the chart for students: the settings of the export page under a name, kept in
// the song's file. A version holds settings only, so that it follows the song.

import { decide } from "./decide.js";
import { button, el, find, whenOther } from "./dom.js";
import { desk, on } from "./state.js";

const fields = {};
let settingsNow = () => ({});
let choose = () => {};

const isSame = (one, other) => one.trim().toLowerCase() === other.trim().toLowerCase();
const all = () => desk.song?.versions ?? [];
const named = (version) => (version.student ? `${version.name} (${version.student})` : version.name);
const known = (name) => all().find((version) => isSame(version.name, name));

/** The fields; takes what gives the page's settings, and what puts those of a version there. */
export function versionsFields(settings, put) {
  settingsNow = settings;
  choose = put;
  const text = (name, words, placeholder) => el("label", {}, `${words} `, (fields[name] = el("input", { type: "text", size: "12", maxlength: "200", autocomplete: "off", placeholder, oninput: draw })));
  // a decision on the chart changes no version
  const drawIfOther = whenOther(draw);
  on("song", () => drawIfOther(all()));
  return el(
    "fieldset",
    { class: "versions" },
    el("legend", {}, "Versions for students"),
    el("label", {}, "Version ", (fields.version = el("select", { onchange: chosen }))),
    text("name", "Name", "Beginner"),
    text("student", "For", "nobody named"),
    (fields.save = button("Save these settings", save, { class: "save" })),
    (fields.remove = button("Remove the version", remove)),
    (fields.told = el("p", { class: "quiet", role: "status" })),
  );
}

function chosen() {
  const version = known(fields.version.value);
  fields.name.value = version?.name ?? "";
  fields.student.value = version?.student ?? "";
  choose(version?.settings ?? {});
  draw();
}

async function save() {
  const name = fields.name.value.trim();
  const request = { name, student: fields.student.value.trim() || null, settings: settingsNow(), replace: Boolean(known(name)) };
  await done(decide(`version ${name}`, { chart_version: request }), name, `${name} is saved.`);
}

async function remove() {
  const { name } = known(fields.version.value);
  await done(decide(`version ${name} removed`, { remove_version: name }), "", `${name} is removed; undo brings it back.`);
}

async function done(deciding, name, words) {
  const isDone = await deciding;
  draw();
  fields.told.textContent = isDone ? words : find("#said").textContent;
  if (!isDone) return;
  fields.version.value = name && known(name) ? known(name).name : "";
  draw();
}

function draw() {
  const versions = all();
  const before = fields.version.value;
  fields.version.replaceChildren(el("option", { value: "" }, versions.length > 0 ? "the song as it is" : "none saved yet"), ...versions.map((version) => el("option", { value: version.name }, named(version))));
  fields.version.value = known(before)?.name ?? "";
  const typed = fields.name.value.trim();
  fields.save.disabled = typed === "";
  fields.save.textContent = known(typed) ? `Save ${known(typed).name} anew` : "Save these settings";
  fields.remove.disabled = fields.version.value === "";
}
