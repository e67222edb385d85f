// All songs of a folder: the list, the search, and what opens a song.

import { Refused, at, get } from "./api.js";
import { button, el, find, unseen, write } from "./dom.js";
import { startLight } from "./light.js";
import { keyWords, plural } from "./music.js";
import { clear, warn } from "./say.js";
import { drawWithoutSong, startAdding, takeInAdding, takeInWithoutSong } from "./songs_add.js";
import { shareBar } from "./songs_bar.js";
import { startRecording, takeInLevel, takeInRecording } from "./songs_record.js";
import { ORDERS, grouped, left } from "./songs_groups.js";
import { isInSet, keepInSet, startSet, toggleInSet } from "./songs_set.js";
import { drawStudentPdf, drawStudents, hasVersion, isTheirs, lessonWords, startStudents, startWeek, student, studentsOf } from "./songs_students.js";

/** How often a program that went away is asked for, ms. */
const ASK_AGAIN_MS = 1000;
const KEPT = "takebook.songs";

/** By file name: `{song, item, link, add, words}`. */
const entries = new Map();
let known = { revision: 0, folder: "", n_unread: null, trouble: null };
const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "{}");
let chosen = kept.chosen ?? null;

function start() {
  startLight();
  find("#sort").append(...Object.entries(ORDERS).map(([value, { words }]) => el("option", { value, selected: value === kept.sort }, words)));
  find("#query").value = kept.query ?? "";
  find("#sort").addEventListener("change", arrange);
  find("#query").addEventListener("input", () => search());
  find("#look").addEventListener("submit", (event) => event.preventDefault());
  document.addEventListener("keydown", press);
  window.addEventListener("pagehide", keep);
  startStudents(kept.student, () => search());
  startWeek();
  startSet((name) => entries.get(name)?.song.title ?? name, markSet);
  startAdding();
  startRecording(drawWithoutSong);
  follow();
}

function keep() {
  sessionStorage.setItem(KEPT, JSON.stringify({ sort: find("#sort").value, query: find("#query").value, student: student(), chosen, scroll: find("main").scrollTop }));
}

// ---- staying in step with the folder ----

let stream = null;
let isAsking = false;
let isAskedAgain = false;

function follow() {
  stream = new EventSource(at("/api/events"));
  stream.addEventListener("songs", (event) => JSON.parse(event.data).revision === known.revision || refresh());
  stream.addEventListener("adding", (event) => takeInAdding(JSON.parse(event.data)));
  stream.addEventListener("recording", (event) => takeInRecording(JSON.parse(event.data)));
  stream.addEventListener("level", (event) => takeInLevel(JSON.parse(event.data)));
  stream.addEventListener("error", lost);
  refresh();
}

/** Asks what changed; one question at a time. */
async function refresh() {
  isAskedAgain = isAsking;
  if (isAsking) return;
  isAsking = true;
  try {
    takeIn(await get(`/api/songs?since=${known.revision}`));
  } catch (trouble) {
    lost(trouble);
  }
  isAsking = false;
  if (isAskedAgain) refresh();
}

let waiting = null;
/** Asks until the program is back; then everything anew, for it counts from the start. */
function lost(trouble) {
  stream?.close();
  if (waiting) return;
  const ask = async () => {
    try {
      await get("/api/songs?since=0");
      clearInterval(waiting);
      waiting = null;
      clear("link");
      known.revision = 0;
      follow();
    } catch (again) {
      const isShut = again instanceof Refused && again.status === 403;
      warn("link", isShut ? "The desk was started anew. Open its new link in any tab of this browser (it opens one by itself, and prints it); this page then goes on." : again instanceof Refused ? `The songs cannot be listed: ${again.message}.` : "The desk's program has stopped. Start it again with takebook desk; this page then goes on.");
    }
  };
  waiting = setInterval(ask, ASK_AGAIN_MS);
  if (!(trouble instanceof Refused) || trouble.status === 403) ask();
}

function takeIn(answer) {
  const isFirst = known.revision === 0;
  known = answer;
  const files = new Set(answer.files);
  for (const name of entries.keys()) if (!files.has(name)) entries.delete(name);
  for (const song of answer.songs) entries.set(song.file, entry(song));
  if (answer.trouble) warn("folder", `${answer.trouble[0].toUpperCase()}${answer.trouble.slice(1)}. What is shown is as it was.`);
  else clear("folder");
  find("#folder").textContent = answer.folder;
  document.title = `${answer.folder}: songs`;
  arrange();
  keepInSet((name) => files.has(name));
  takeInWithoutSong(answer.without_song);
  tellFolders(answer.folders);
  if (answer.n_unread !== 0) return;
  if (isFirst || !document.documentElement.dataset.ready) {
    find("main").scrollTop = kept.scroll ?? 0;
    if (kept.chosen && entries.has(kept.chosen)) choose(kept.chosen);
    document.documentElement.dataset.ready = "yes";
    performance.mark("usable");
  }
}

// ---- drawing ----

/** "3:24" */
const minutes = (seconds) => `${Math.floor(Math.round(seconds) / 60)}:${String(Math.round(seconds) % 60).padStart(2, "0")}`;
const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").replace(/♯/g, "#").replace(/♭/g, "b").toLowerCase();

/** A song's line, and the words it is found by. */
function entry(song) {
  const words = plain([song.title, song.credit ?? "", song.key ? keyWords(song.key) : "", song.file, ...(song.versions ?? []).map((v) => v.name), ...studentsOf(song)].join(" "));
  if (song.trouble) {
    const why = el("span", { class: "why" }, `${song.trouble}.`);
    return { song, words, item: el("li", { class: "song damaged" }, el("div", {}, el("bdi", { class: "title" }, song.file), why)) };
  }
  const link = el(
    "a",
    { href: `/song/${encodeURIComponent(song.file)}/`, tabindex: -1, onfocus: () => choose(song.file, false) },
    el("span", { class: "name" }, el("bdi", { class: "title" }, song.title), song.credit ? el("bdi", { class: "credit" }, song.credit) : null, studentsOf(song).length > 0 ? el("span", { class: "students" }, unseen("for "), el("bdi", {}, studentsOf(song).join(", "))) : null, song.recording === "missing" ? el("span", { class: "missing" }, "recording missing") : null),
    el("span", { class: "todo" }, shareBar(song.n_confirmed, song.n_chords), el("span", {}, left(song) === 0 ? "confirmed" : `${left(song)} to confirm`)),
    el("span", { class: "key" }, song.key ? keyWords(song.key) : "", song.capo > 0 ? el("small", {}, ` capo ${song.capo}`) : ""),
    el("span", { class: "tempo" }, song.tempo_bpm === null ? "" : [`${Math.round(song.tempo_bpm)}`, el("small", {}, " bpm")]),
    el("span", { class: "length" }, minutes(song.duration_s)),
    el("span", { class: "when" }, song.touched ? [unseen("last worked on "), el("time", { datetime: song.touched }, new Date(song.touched).toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" }))] : ""),
  );
  const lesson = el("span", { class: "lesson-line" });
  link.append(lesson);
  const add = button("+", () => toggleInSet(song.file), { class: "add", tabindex: -1, title: "To the set list", "aria-label": `${song.title} on the set list`, "aria-pressed": String(isInSet(song.file)) });
  return { song, words, link, lesson, add, item: el("li", { class: "song", "data-file": song.file }, link, add) };
}

/** All songs in the order asked for; then the search. */
function arrange() {
  const name = find("#sort").value;
  drawStudents([...entries.values()].map((e) => e.song));
  const groups = grouped([...entries.values()].map((e) => e.song), name);
  const focused = document.activeElement?.closest?.(".song");
  find("#list").replaceChildren(
    ...groups.map(([head, songs], i) =>
      el("section", { class: `group${ORDERS[name].isLetters && !songs[0].trouble ? " by-letter" : ""}`, "aria-labelledby": `group-${i}` }, el("h2", { id: `group-${i}` }, head), el("ul", {}, songs.map((s) => entries.get(s.file).item))),
    ),
  );
  if (focused?.isConnected) find("a", focused)?.focus({ preventScroll: true });
  else if (focused && entries.has(chosen)) entries.get(chosen).link?.focus({ preventScroll: true });
  search();
}

/** Shows the songs that have all words of the search. */
function search() {
  const wanted = plain(find("#query").value).split(/\s+/).filter(Boolean);
  let n = 0;
  for (const { item, song, words, lesson } of entries.values()) {
    if (lesson) write(lesson, lessonWords(song));
    const fits = isTheirs(song) && wanted.every((word) => words.includes(word));
    if (item.hidden === fits) item.hidden = !fits;
    n += fits;
  }
  for (const group of find("#list").children) group.hidden = !find(".song:not([hidden])", group);
  tellCount(n, wanted.length > 0 || student() !== "");
  drawStudentPdf(visible().map(fileOf).filter((file) => hasVersion(entries.get(file).song)));
  mark();
}

/** Folders inside this one; a backup, or another year. */
function tellFolders(folders) {
  const line = find("#folders");
  line.hidden = folders.length === 0;
  const first = folders.slice(0, 5).map((name, i) => [i > 0 ? ", " : "", el("bdi", {}, name)]);
  const more = folders.length > 5 ? ` and ${folders.length - 5} more` : "";
  const words = folders.length === 1 ? "The folder inside this one is not looked into: " : `${plural(folders.length, "folder")} inside this one are not looked into: `;
  line.replaceChildren(words, ...first.flat(), `${more}. To see its songs, open it with takebook desk.`);
}

function tellCount(n, isSearch) {
  const all = entries.size;
  const open = [...entries.values()].filter((e) => !e.song.trouble && left(e.song) > 0).length;
  const rest = known.n_unread > 0 ? `, reading ${known.n_unread} more` : "";
  find("#count").textContent = isSearch ? `${n} of ${plural(all, "song")}` : all === 0 ? (known.n_unread === 0 ? "" : "reading the songs") : `${plural(all, "song")}${rest || (open > 0 ? `, ${open} with chords to confirm` : ", every chord is confirmed")}`;
  const none = find("#none");
  none.hidden = n > 0 || known.n_unread !== 0;
  none.textContent = all === 0 ? "There is no song in this folder yet. Drop recordings on this page, or choose them with Add files: each is copied into the folder and analysed, and its song then appears here. Or play it now: Record." : "No song has all these words in its title, credit, key, versions or file name.";
}

// ---- choosing ----

const visible = () => [...find("#list").querySelectorAll(".song:not([hidden]) a")];
const fileOf = (link) => link.closest(".song").dataset.file;

/** The song that Tab reaches; arrows go to the others. */
let inTab = null;

function putInTab(now) {
  if (inTab !== now && inTab?.link) inTab.link.tabIndex = inTab.add.tabIndex = -1;
  inTab = now;
  if (now?.link) now.link.tabIndex = now.add.tabIndex = 0;
}

/** The chosen song, or the first that is shown. */
function mark() {
  const own = entries.get(chosen);
  const first = find("#list .song:not([hidden]) a");
  putInTab(own?.link && !own.item.hidden ? own : first ? entries.get(fileOf(first)) : null);
}

function markSet() {
  for (const { song, add } of entries.values()) add?.setAttribute("aria-pressed", String(isInSet(song.file)));
}

function choose(file, focus = true) {
  const now = entries.get(file);
  if (!now?.link) return;
  chosen = file;
  putInTab(now);
  if (focus) {
    now.link.focus({ preventScroll: true });
    now.item.scrollIntoView({ block: "nearest" });
  }
}

const STEPS = { ArrowDown: 1, ArrowUp: -1, PageDown: 10, PageUp: -10, Home: -Infinity, End: Infinity };

function press(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const isSearching = event.target.id === "query";
  const inList = event.target === document.body || event.target.closest?.("#list");
  if (event.key === "Escape" && (isSearching || inList)) return all(event);
  if (isSearching) return pressInSearch(event);
  if (event.key === "ArrowDown" && event.target.matches?.("button, a") && !inList) return intoList(event);
  if (!inList) return;
  if (event.key === "Enter" && event.target === document.body) return open(event);
  if (STEPS[event.key]) step(event);
  else if (event.key === "+" && entries.has(chosen)) {
    event.preventDefault();
    toggleInSet(chosen);
  } else if (event.key === "/") {
    event.preventDefault();
    find("#query").focus();
  } else if (event.key.length === 1 && event.key.trim() && event.key !== "+") {
    // letters go on into the search
    find("#query").focus();
  }
}

function pressInSearch(event) {
  const [first] = visible();
  if (event.key === "Enter") open(event);
  else if (first && event.key === "ArrowDown") {
    event.preventDefault();
    choose(fileOf(first));
  }
}

/** Opens the first song that is shown: nothing was chosen among them yet. */
function open(event) {
  const [first] = visible();
  if (!first) return;
  event.preventDefault();
  choose(fileOf(first), false);
  location.assign(first.href);
}

function step(event) {
  event.preventDefault();
  const links = visible();
  if (links.length === 0) return;
  const at = links.indexOf(entries.get(chosen)?.link);
  if (at === 0 && event.key === "ArrowUp") return find("#query").focus();
  choose(fileOf(links[Math.max(0, Math.min(links.length - 1, at < 0 ? 0 : at + STEPS[event.key]))]));
}

/** From the buttons above: the song that was chosen last, or the first. */
function intoList(event) {
  const links = visible();
  if (links.length === 0) return;
  event.preventDefault();
  choose(fileOf(links.find((link) => link === entries.get(chosen)?.link) ?? links[0]));
}

/** The search is over: all songs are shown. */
function all(event) {
  event.preventDefault();
  find("#query").value = "";
  search();
  if (entries.has(chosen)) choose(chosen);
}

start();
