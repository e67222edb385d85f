// Files that are added to the folder: dropped, chosen or pasted. They are copied one after the
// other; what then becomes of each, the program says. And the recordings that have no song yet.

import { Refused, get, post, send } from "./api.js";
import { button, el, find } from "./dom.js";
import { plural } from "./music.js";
import { clear, say, warn } from "./say.js";
import { shareBar } from "./songs_bar.js";
import { isBeingRecorded } from "./songs_record.js";

/** Endings that are read, each with the largest file, bytes; known once the program told. */
let kinds = new Map();
/** Why a file of another ending is not added: `{name}` stands for its name. */
let notRead = "";
/** What the program is doing: `{id, file, song, stage, percent, why, n_chords, n_unconfirmed}`. */
let entries = [];
/** Whether the program has told of them. */
let isTold = false;
/** Files of this page that were not sent yet, and those that were refused, as `entries` are. */
let own = [];
let nOwn = 0;
let isSending = false;
/** Ends the copying that runs. */
let sending = null;
/** Recordings of the folder that no song is about: `{file, bytes}`. */
let withoutSong = [];
/** Entries as they are drawn, by id. */
const lines = new Map();

export function startAdding() {
  const input = find("#files");
  find("#add").addEventListener("click", () => input.click());
  input.addEventListener("change", () => {
    addAll([...input.files]);
    input.value = "";
  });
  document.addEventListener("paste", (event) => addAll([...event.clipboardData.files]));
  startDropping();
  window.addEventListener("beforeunload", (event) => isSending && event.preventDefault());
  find("#adding .clear").addEventListener("click", clearDone);
  find("#without-song .all").addEventListener("click", askForAll);
  learnKinds();
}

async function learnKinds() {
  try {
    const told = await get("/api/adding");
    kinds = new Map(told.kinds.map((k) => [k.ending, k]));
    notRead = told.not_read;
    find("#files").accept = [...kinds.keys()].map((ending) => `.${ending}`).join(",");
  } catch {
    // the program itself looks at every file
  }
}

// ---- dropping ----

function startDropping() {
  const hasFiles = (event) => event.dataTransfer?.types.includes("Files");
  let depth = 0;
  const show = (on) => (find("#drop").hidden = !on);
  document.addEventListener("dragenter", (event) => hasFiles(event) && show(++depth > 0));
  document.addEventListener("dragleave", (event) => hasFiles(event) && show(--depth > 0));
  document.addEventListener("dragover", (event) => hasFiles(event) && event.preventDefault());
  document.addEventListener("drop", (event) => {
    if (!hasFiles(event)) return;
    event.preventDefault();
    show((depth = 0) > 0);
    const items = [...event.dataTransfer.items].filter((item) => item.kind === "file");
    const isFolder = (item) => item.webkitGetAsEntry?.()?.isDirectory;
    if (items.some(isFolder)) say("A folder is not added as a whole: drop the files in it.");
    addAll(items.filter((item) => !isFolder(item)).map((item) => item.getAsFile()));
  });
}

// ---- sending ----

function addAll(files) {
  for (const file of files) {
    const entry = { id: `own-${++nOwn}`, file: file.name, stage: "unsent", content: file };
    const why = whyNot(file);
    if (why) Object.assign(entry, { stage: "refused", why });
    own.push(entry);
  }
  if (files.length === 0) return;
  draw();
  const refused = own.filter((e) => e.stage === "refused").length;
  say(`${plural(files.length, "file")} to add${refused > 0 ? `, ${refused} refused` : ""}.`);
  sendNext();
}

/** Why a file will not be taken, as far as this page can tell; else the program says it. */
function whyNot({ name, size }) {
  if (kinds.size === 0) return null;
  const ending = name.includes(".") ? name.split(".").pop().toLowerCase() : "";
  const kind = kinds.get(ending);
  if (kind === undefined) return sentence(notRead.replace("{name}", name));
  return size > kind.largest_bytes ? sentence(kind.too_large) : null;
}

const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}.`;

/** Copies the files that wait, one after the other. */
async function sendNext() {
  if (isSending) return;
  isSending = true;
  for (let entry = next(); entry; entry = next()) {
    entry.stage = "sending";
    draw();
    sending = new AbortController();
    try {
      const told = await send(`/api/add?${new URLSearchParams({ name: entry.file })}`, entry.content, sending.signal);
      own = own.filter((e) => e !== entry);
      if (told.stage && !entries.some((e) => e.id === told.id)) entries.push(told);
      if (told.stage) goOnAs(told.id, entry.id);
      if (told.file !== entry.file.trim()) say(`There is another '${entry.file}'; this one is now '${told.file}'.`);
      else if (!told.stage) say(`${told.file} is in the list.`);
    } catch (trouble) {
      if (trouble.name === "AbortError") own = own.filter((e) => e !== entry);
      else if (trouble.isCancelled) {
        own = own.filter((e) => e !== entry);
        say(`${entry.file} was cancelled on another page; it was not added.`);
      }
      else fail(entry, trouble);
    }
    draw();
  }
  sending = null;
  isSending = false;
}

/** The line of a file that this page sent becomes that of the program's entry. */
function goOnAs(id, ownId) {
  const line = lines.get(ownId);
  if (!line || lines.has(id)) return;
  lines.delete(ownId);
  lines.set(id, line);
}

const next = () => own.find((e) => e.stage === "unsent");

function fail(entry, trouble) {
  const why = trouble instanceof Refused ? sentence(trouble.message) : "The desk's program did not take it, or has stopped. Nothing was added.";
  Object.assign(entry, { stage: "refused", why });
  say(entry.why);
}

// ---- what the program says ----

const WORDS = {
  done: (e) => `${e.file}: ${outcome(e)}.`,
  failed: (e) => `${e.file} could not be analysed; its line says why.`,
};

export function takeInAdding({ entries: now }) {
  for (const entry of now) {
    // what was quick was never told on its way; what was over before this page came is no news
    const before = entries.find((e) => e.id === entry.id);
    const isNews = before ? before.stage !== entry.stage : isTold;
    if (isNews && WORDS[entry.stage]) say(WORDS[entry.stage](entry));
  }
  for (const { id, file, stage } of entries) {
    const isCancelled = ["waiting", "analysing"].includes(stage) && !now.some((e) => e.id === id || e.file === file);
    if (isCancelled) say(`${file} was cancelled on another page; it stays in the folder, without a song.`);
  }
  isTold = true;
  entries = now;
  draw();
}

export function takeInWithoutSong(now) {
  withoutSong = now;
  drawWithoutSong();
}

/** "24 chords to confirm" */
function outcome({ n_chords, n_unconfirmed }) {
  if (n_chords === 0) return "no chord was heard";
  return n_unconfirmed === 0 ? `${plural(n_chords, "chord")}, all confirmed` : `${plural(n_unconfirmed, "chord")} to confirm`;
}

// ---- drawing ----

/** Entries in their order: what the program does, then what waits in this page. */
function draw() {
  // the program reports what this page sends as well: how far it is
  const sent = own.find((e) => e.stage === "sending");
  const isSent = (e) => e.stage === "copying" && e.file === sent?.file.trim();
  if (sent) sent.percent = entries.find(isSent)?.percent;
  const all = [...entries.filter((e) => !isSent(e)), ...own];
  const list = find("#adding ul");
  for (const [id, line] of lines) {
    if (all.some((e) => e.id === id)) continue;
    const hadFocus = line.item.contains(document.activeElement);
    const after = line.item.nextElementSibling ?? line.item.previousElementSibling;
    line.item.remove();
    lines.delete(id);
    if (hadFocus) (after && find("a, button", after) ? find("a, button", after) : find("#add")).focus();
  }
  all.forEach((entry, i) => {
    const key = JSON.stringify([entry.file, entry.stage, entry.song, entry.why]);
    let line = lines.get(entry.id);
    if (line?.key !== key) {
      const hadFocus = line?.item.contains(document.activeElement);
      const made = { key, ...lineOf(entry) };
      line?.item.replaceWith(made.item);
      if (hadFocus) find("a, button", made.item)?.focus();
      lines.set(entry.id, (line = made));
    }
    update(line, entry, all);
    if (list.children[i] !== line.item) list.insertBefore(line.item, list.children[i] ?? null);
  });
  find("#adding").hidden = all.length === 0;
  find("#adding .clear").hidden = !all.some((e) => e.stage === "done");
  drawWithoutSong();
}

const off = (entry, words, label) => button(words, () => drop(entry), { "aria-label": `${label} ${entry.file}` });

function lineOf(entry) {
  const { file, stage, song, why } = entry;
  const state = el("span", { class: "state" });
  const name = el("bdi", { class: "title" }, file);
  const parts = {
    done: () => [el("a", { href: `/song/${encodeURIComponent(song)}/` }, name), state, off(entry, "×", "Off this list:")],
    failed: () => [name, el("span", { class: "why" }, `${why}. The file stays in the folder.`), button("Try again", () => draft(entry), { "aria-label": `Try again: ${file}` }), off(entry, "×", "Off this list:")],
    refused: () => [name, el("span", { class: "why" }, why), off(entry, "×", "Off this list:")],
  };
  const made = parts[stage]?.() ?? [name, state, off(entry, "Cancel", "Cancel")];
  return { state, item: el("li", { class: `coming ${stage}` }, made) };
}

function update({ state }, entry, all) {
  const before = all.filter((e) => e.stage === "waiting").indexOf(entry);
  const percent = entry.percent ?? 0;
  const words = {
    unsent: () => ["waits to be copied"],
    sending: () => [shareBar(percent, 100), `copying, ${percent} %`],
    copying: () => [shareBar(percent, 100), `copying, ${percent} %`],
    waiting: () => [before > 0 ? `waits, ${before} before it` : "waits, next"],
    analysing: () => [shareBar(percent, 100), `analysing, ${percent} %`],
    done: () => [outcome(entry)],
  }[entry.stage];
  if (words) state.replaceChildren(...words());
}

/** What is known of a recording beside its name. */
function aboutLoose({ bytes, checked, cut_short: cutShort }) {
  const words = cutShort ? "the desk ended while it was recorded: up to its last half second is missing, " : checked ? "was checked against a song, " : "";
  return words + megabytes(bytes);
}

export function drawWithoutSong() {
  const free = withoutSong.filter(isFree);
  const section = find("#without-song");
  const focused = document.activeElement?.closest?.("#without-song li")?.dataset.file;
  const drawn = JSON.stringify(free);
  if (section.dataset.drawn !== drawn) {
    section.dataset.drawn = drawn;
    find("ul", section).replaceChildren(
      ...free.map((recording) =>
        el("li", { class: "coming", "data-file": recording.file }, el("bdi", { class: "title" }, recording.file), el("span", { class: "state" }, aboutLoose(recording)), button("Analyse", () => draft(recording), { "aria-label": `Analyse ${recording.file}` })),
      ),
    );
    const again = [...find("ul", section).children].find((li) => li.dataset.file === focused) ?? find("li", section);
    if (focused) (again ? find("button", again) : find("#add")).focus();
  }
  section.hidden = free.length === 0;
  const isAsked = !find("#analyse-all").hidden;
  find(".all", section).hidden = isAsked || forAll().length < 2;
  if (isAsked) askForAll();
}

/** No line at the top is about it. */
const isFree = ({ file }) => !isBeingRecorded(file) && !entries.some((e) => e.file === file && ["waiting", "analysing", "failed"].includes(e.stage));

/** Recordings that may become songs: what was checked against one is a student's. */
const forAll = () => withoutSong.filter((r) => isFree(r) && !r.checked);

/** Before all become songs: recordings of students, to be checked, should not. */
function askForAll() {
  const line = find("#analyse-all");
  const all = forAll();
  const had = line.contains(document.activeElement) || find("#without-song .all") === document.activeElement;
  const end = () => {
    line.hidden = true;
    drawWithoutSong();
  };
  if (all.length === 0) return end();
  const left = withoutSong.filter((r) => isFree(r) && r.checked).length;
  const go = () => {
    end();
    find("#add").focus();
    all.forEach(draft);
  };
  const keep = () => {
    end();
    find("#without-song .all").focus();
  };
  const words = `A song will be made of ${all.length === 1 ? "1 recording" : `each of ${all.length} recordings`}${left > 0 ? `; ${left} that ${left === 1 ? "was" : "were"} checked against a song ${left === 1 ? "is" : "are"} left out` : ""}. A student\u2019s recording that you only want to check needs none: open the song it is of, and Check a recording. `;
  line.replaceChildren(words, button(all.length === 1 ? "Analyse it" : `Analyse all ${all.length}`, go, { class: "main" }), " ", button("Cancel", keep));
  find("#without-song .all").hidden = true;
  line.hidden = false;
  if (had) find("button", line).focus();
}

const megabytes = (bytes) => (bytes < 100_000 ? "under 0.1 MB" : `${(bytes / 1e6).toFixed(1)} MB`);

// ---- acting ----

/** Analyses a recording of the folder. */
async function draft({ file }) {
  try {
    await post("/api/draft", { file });
    clear("adding");
  } catch (trouble) {
    warn("adding", trouble instanceof Refused ? `${trouble.message}.` : "The desk's program does not answer.", [["All right", () => clear("adding")]]);
  }
}

/** Cancels it, or takes it off the list. */
async function drop(entry) {
  if (entry.stage === "unsent" || entry.stage === "refused") own = own.filter((e) => e !== entry);
  else if (entry.stage === "sending") sending?.abort();
  else if (await post("/api/adding/remove", { id: entry.id }).catch(() => null)) entries = entries.filter((e) => e !== entry);
  if (["waiting", "analysing"].includes(entry.stage)) say(`Cancelled. ${entry.file} stays in the folder, without a song.`);
  draw();
}

function clearDone() {
  find("#add").focus();
  for (const entry of entries.filter((e) => e.stage === "done")) drop(entry);
}
