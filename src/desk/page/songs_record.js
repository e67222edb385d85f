// A take recorded on the page of the list. The program records; this page says when, marks
// moments, shows how loud it comes in, and gives the take its name.

import { Refused, post } from "./api.js";
import { button, el, find, write } from "./dom.js";
import { levelMeter, microphoneChoice } from "./microphone.js";
import { clock, plural } from "./music.js";
import { clear, say, warn } from "./say.js";

/** The last choices are kept for the next take. */
const KEPT = "takebook.record";
/** Keys of a pedal that turns pages mark, as `m` does. */
const MARKS = ["m", "M", "PageDown", "PageUp"];

const fields = {};
const meter = levelMeter("record-level");
const microphone = microphoneChoice("record-device");
/** What the program does: its `stage`, and what belongs to that. */
let now = { stage: "idle" };
let isOpen = false;
/** Whether it was begun on this page: only then it takes the focus. */
let isOwn = false;
let changed = () => {};

/** Begins; takes what is called when another recording has no name yet. */
export function startRecording(onChange) {
  changed = onChange;
  find("#record").addEventListener("click", open);
  document.addEventListener("keydown", press, { capture: true });
  const place = find("#recording > div > div:last-child");
  place.append(setUp(), running(), naming());
  draw();
}

/** The file that is recorded or has no name yet: no other part of the page is about it. */
export const isBeingRecorded = (file) => now.file === file;

// ---- its three forms ----

function setUp() {
  const kept = JSON.parse(localStorage.getItem(KEPT) ?? "{}");
  const number = (name, words, min, max) => el("label", {}, `${words} `, (fields[name] = el("input", { type: "number", min: String(min), max: String(max), value: kept[name], size: "4" })));
  fields.bars = el("select", { onchange: draw }, [0, 1, 2].map((n) => el("option", { value: String(n), selected: String(n) === kept.bars }, n === 0 ? "none" : plural(n, "bar"))));
  fields.clicks = el("input", { type: "checkbox", checked: kept.clicks ?? false, onchange: draw });
  fields.count = el("span", { class: "row" }, number("tempo", "at bpm", 20, 400), number("beats", "beats in a bar", 1, 16), el("label", { class: "tick" }, fields.clicks, " with clicks"));
  fields.tempo.value ||= "96";
  fields.beats.value ||= "4";
  fields.caution = el("p", { class: "quiet" }, "Clicks can be loud in headphones: turn the volume down first. If your ears ring, stop; if it lasts, see a doctor. Without headphones the microphone hears them.");
  fields.start = button("Start recording", start, { class: "primary" });
  fields.setUp = el(
    "form",
    { class: "record-form", onsubmit: (event) => (event.preventDefault(), start()) },
    el("div", { class: "row" }, el("label", {}, "Microphone ", microphone.select), el("label", {}, "Count-in ", fields.bars), fields.count),
    fields.caution,
    el("div", { class: "row" }, fields.start, button("Close", shut)),
    el("p", { class: "quiet" }, "Only this machine listens, and the sound stays in this folder. To record others, or someone else\u2019s song, ask first; permission and local law decide."),
  );
  return fields.setUp;
}

function running() {
  fields.clock = el("span", { class: "record-clock" }, "0:00.0");
  fields.stop = button("Stop", stop, { class: "primary" });
  fields.mark = button("Mark this moment", mark, { "aria-keyshortcuts": "m" });
  fields.marks = el("p", { class: "quiet" }, "");
  fields.running = el("div", { class: "record-form" }, el("div", { class: "row" }, fields.clock, ...meter.parts), el("div", { class: "row" }, fields.stop, fields.mark), fields.marks);
  return fields.running;
}

function naming() {
  fields.told = el("p", {});
  fields.missing = el("ul", { class: "missing-parts" });
  fields.name = el("input", { type: "text", maxlength: "150", autocomplete: "off", spellcheck: false });
  fields.keep = el("div", { class: "row" }, button("Save and analyse", () => keep(true), { class: "primary" }), button("Save without a song", () => keep(false)), button("Throw away", () => askAgain(true)));
  fields.sure = el("div", { class: "row", role: "group", "aria-label": "Throw the recording away" }, (fields.sureWords = el("span", {}, "")), button("Throw away for good", discard), button("Keep it", () => askAgain(false)));
  fields.naming = el("form", { class: "record-form", onsubmit: (event) => (event.preventDefault(), keep(true)) }, fields.told, fields.missing, el("label", {}, "Name ", fields.name), fields.keep, fields.sure);
  fields.sure.hidden = true;
  return fields.naming;
}

// ---- drawing ----

const STAGES = { opening: "Recording", counting: "Count-in", recording: "Recording", recorded: "Recorded" };

function draw() {
  const isRunning = ["opening", "counting", "recording"].includes(now.stage);
  find("#recording").hidden = now.stage === "idle" && !isOpen;
  write(find("#recording-title"), STAGES[now.stage] ?? "Record");
  find("#recording").dataset.stage = now.stage;
  fields.setUp.hidden = now.stage !== "idle";
  fields.running.hidden = !isRunning;
  fields.naming.hidden = now.stage !== "recorded";
  fields.count.hidden = fields.bars.value === "0";
  fields.caution.hidden = fields.count.hidden || !fields.clicks.checked;
  find("#record").disabled = isRunning;
  fields.mark.disabled = now.stage !== "recording";
  if (now.stage === "counting") write(fields.clock, `${now.beat} of ${now.n_beats}`);
  const marks = now.marks_s ?? [];
  if (isRunning) write(fields.marks, marks.length === 0 ? "m, or a pedal that turns pages, marks a moment." : `Marked: ${marks.map(clock).join(", ")}`);
}

/** Takes in what the program says. */
export function takeInRecording(told) {
  const before = now;
  now = told;
  draw();
  if (before.stage === told.stage) return;
  const hadFocus = isOwn || find("#recording").contains(document.activeElement);
  if (told.stage === "recording") {
    meter.clear();
    write(fields.clock, "0:00.0");
    say(`Recording from ${told.device}.`);
  }
  if (told.stage === "counting" || told.stage === "recording") hadFocus && fields.stop.focus();
  if (told.stage === "recorded") takeInRecorded(told, hadFocus);
  if (told.stage === "idle") {
    if (told.trouble) warn("record", `Nothing was recorded: ${told.trouble}.`, [["All right", () => clear("record")]]);
    if (hadFocus && before.stage !== "idle") (isOpen ? fields.start : find("#record")).focus();
    isOwn = false;
  }
  changed();
}

function takeInRecorded(told, hadFocus) {
  isOpen = false;
  const marks = told.marks_s.length > 0 ? `, ${plural(told.marks_s.length, "mark")}` : "";
  const words = `${clock(told.seconds)} of sound, highest peak ${told.peak_dbfs.toFixed(1).replace("-", "−")} dB${marks}.`;
  write(fields.told, words);
  const faults = [...told.missing];
  if (told.is_silent) faults.push("nothing was heard: is it the right microphone, and is it muted?");
  else if (told.clipped_samples > 0) faults.push("it was too loud in places: turn the input down, or move away, and record it again");
  fields.missing.replaceChildren(...faults.map((fault) => el("li", {}, fault[0].toUpperCase() + fault.slice(1))));
  fields.name.value = told.file.replace(/\.wav$/i, "");
  askAgain(false);
  if (hadFocus) {
    fields.name.focus();
    fields.name.select();
  }
  say(`Recorded: ${words} ${faults.join(". ")}`);
}

/** How loud it is, and how long. */
export function takeInLevel(level) {
  meter.show(level);
  write(fields.clock, clock(level.seconds));
}

// ---- acting ----

function open() {
  isOpen = true;
  draw();
  (now.stage === "recorded" ? fields.name : fields.start).focus();
  find("#recording").scrollIntoView({ block: "nearest" });
  microphone.fill().catch(refused);
}

function shut() {
  isOpen = false;
  clear("record");
  draw();
  find("#record").focus();
}

function refused(trouble) {
  warn("record", trouble instanceof Refused ? `${trouble.message[0].toUpperCase()}${trouble.message.slice(1)}.` : "The desk\u2019s program does not answer.", [["All right", () => clear("record")]]);
}

async function asked(path, body) {
  try {
    const answer = await post(path, body);
    clear("record");
    return answer;
  } catch (trouble) {
    refused(trouble);
    return null;
  }
}

/** "Recording 2026-12-01 18.30": the day and hour here. */
function provisional() {
  const at = new Date();
  const two = (n) => String(n).padStart(2, "0");
  return `Recording ${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}.${two(at.getMinutes())}`;
}

async function start() {
  const count = { bars: fields.bars.value, tempo: fields.tempo.value, beats: fields.beats.value, clicks: fields.clicks.checked };
  localStorage.setItem(KEPT, JSON.stringify(count));
  const counted = { bars: Number(count.bars), beats: Number(count.beats), tempo_bpm: Number(count.tempo), clicks: count.clicks };
  fields.start.disabled = true;
  isOwn = true;
  const told = await asked("/api/record/start", { name: provisional(), device: microphone.select.value || undefined, count_in: counted.bars > 0 ? counted : undefined });
  fields.start.disabled = false;
  if (told) return;
  isOwn = false;
  fields.start.focus();
}

async function stop() {
  const told = await asked("/api/record/stop");
  if (told) takeInRecording(told);
}

async function mark() {
  const told = await asked("/api/record/mark");
  if (told) say(`Marked at ${clock(told.at_s)}.`);
}

async function keep(analyse) {
  const { file } = now;
  const kept = await asked("/api/record/keep", { name: fields.name.value, analyse });
  if (!kept) return fields.name.focus();
  const other = kept.file === `${fields.name.value.trim()}.wav` || kept.file === file ? "" : ` There was one of that name: this one is ${kept.file}.`;
  say(`${analyse ? `${kept.file} is saved and will be analysed.` : `${kept.file} is saved. It stands under Without a song.`}${other}`);
}

function askAgain(isAsked) {
  const had = fields.naming.contains(document.activeElement);
  fields.keep.hidden = isAsked;
  fields.sure.hidden = !isAsked;
  if (isAsked) write(fields.sureWords, `Throw away ${clock(now.seconds)} of sound? It cannot be brought back.`);
  if (had) find(isAsked ? "button:last-child" : "button", isAsked ? fields.sure : fields.keep).focus();
}

async function discard() {
  if (await asked("/api/record/discard", { file: now.file })) say("The recording is thrown away.");
}

function press(event) {
  const isTyping = event.target.closest?.("input, select, textarea");
  if (now.stage !== "recording" || isTyping || event.ctrlKey || event.metaKey || event.altKey || !MARKS.includes(event.key)) return;
  event.preventDefault();
  event.stopPropagation();
  if (!event.repeat) mark();
}
