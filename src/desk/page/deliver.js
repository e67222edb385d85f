// The chart in every format, from the same writer as `takebook chart`.

import { address } from "./api.js";
import { versionsFields } from "./deliver_versions.js";
import { el, find } from "./dom.js";
import { studentsOfSong } from "./lessons.js";
import { desk, on } from "./state.js";

/** `[format, ending words, what for]` */
const FORMATS = [
  ["pdf", "PDF", "pages to print or send"],
  ["html", "HTML", "one page for a screen; prints too"],
  ["png", "PNG", "the pages as a picture"],
  ["svg", "SVG", "the pages as a drawing, to edit or place"],
  ["txt", "Text", "80 columns, for mail"],
  ["musicxml", "MusicXML", "for notation programs"],
  ["mid", "MIDI", "plays along with the recording, sections as markers"],
  ["vtt", "Captions (WebVTT)", "for a video"],
  ["lab", "Labels (.lab)", "start, end, label; for evaluation"],
  ["jams", "JAMS", "for research"],
  ["json", "JSON", "everything, for your own programs"],
];

/** Names that `--tuning` knows. */
const TUNINGS = ["standard", "half a step down", "a whole step down", "drop D", "open G", "DADGAD"];

const options = {};
let list = null;

/** Turns to this page. */
export function openExport() {
  location.hash = "#deliver";
  find("#deliver select").focus();
}

export function startDeliver() {
  const field = (name, node) => (options[name] = node);
  const tick = (name, words) => el("label", { class: "tick" }, field(name, el("input", { type: "checkbox", "data-tick": name, onchange: draw })), ` ${words}`);
  list = el(
    "ul",
    { class: "formats" },
    ...FORMATS.map(([format, name, use]) => el("li", {}, el("a", { download: true, "data-format": format }, name), el("span", {}, use))),
  );
  find("#deliver").append(
    el(
      "div",
      { class: "paper" },
      el("h1", { id: "deliver-title" }, "Export the chart"),
      el("p", { id: "deliver-open" }),
      versionsFields(settings, put),
      el(
        "fieldset",
        {},
        el("legend", {}, "Layout"),
        el("label", {}, "Paper ", field("paper", el("select", { onchange: draw }, el("option", { value: "a4" }, "A4"), el("option", { value: "letter" }, "Letter"), el("option", { value: "a5" }, "A5")))),
        el("label", {}, "In the key of ", field("key", el("input", { type: "text", size: "6", placeholder: "as it is", autocomplete: "off", oninput: draw }))),
        el("label", {}, "Capo at fret ", field("capo", el("input", { type: "number", min: "0", max: "12", placeholder: "as it is", oninput: draw }))),
        el("label", {}, "Repeats ", field("repeats", el("select", { onchange: draw }, el("option", { value: "" }, "with repeat signs"), el("option", { value: "written_out" }, "written out"), el("option", { value: "short" }, "each section once, with the order")))),
        el("label", {}, "Roman numerals ", field("degrees", el("select", { onchange: draw }, el("option", { value: "" }, "no"), el("option", { value: "degrees" }, "instead of symbols"), el("option", { value: "degrees_under" }, "under the symbols")))),
        el("label", {}, "Tuning ", field("tuning", el("select", { onchange: draw }, el("option", { value: "" }, "as it is"), TUNINGS.map((name) => el("option", {}, name))))),
        tick("easy", "easy chords only"),
        tick("left_handed", "left-handed boxes"),
        el("label", {}, "Print ", field("print_size", el("select", { onchange: draw }, el("option", { value: "" }, "usual size"), el("option", { value: "large" }, "large, for two pages side by side"), el("option", { value: "compact" }, "small, for a binder")))),
        tick("landscape", "long side across"),
        tick("concert", "chord names in concert pitch"),
        tick("alternatives", "a second shape where there is one"),
        tick("save_ink", "little ink"),
        tick("steady", "MIDI in one tempo"),
        (options.lessons = el("label", { hidden: true }, "Your lesson notes ", field("lesson_notes", el("select", { onchange: draw })))),
        el("label", {}, "Captions later by ", field("offset", el("input", { type: "number", step: "0.1", value: "0", oninput: draw })), " s"),
      ),
      el("p", { class: "row" }, (options.pdf = el("a", { class: "primary button large", download: true, "data-format": "pdf-button" }, "Save the PDF")), (options.print = el("a", { class: "main button", target: "_blank", rel: "noopener" }, "Print view")), (options.practice = el("a", { class: "main button", download: true, "data-format": "practice", "aria-describedby": "practice-is" }, "Practice page"))),
      el("p", { class: "quiet", id: "practice-is" }, "The practice page holds the chart and the recording in one file, with loops, slower speeds and a count-in; it opens in any browser, without a network."),
      (options.trouble = el("p", { class: "refused", role: "alert" })),
      el("details", { class: "preview-fold" }, el("summary", {}, "Preview"), (options.preview = el("iframe", { class: "preview", title: "Preview of the chart" }))),
      list,
      el("p", { class: "quiet" }, "A chart of someone's song is for your own study; sharing or selling copies needs the owner's permission, and local law decides."),
    ),
  );
  on("song", draw);
  on("page", (page) => page === "deliver" && (draw(), look()));
  options.preview.closest("details").open = true;
  draw();
}

function query(format) {
  return {
    format,
    paper: options.paper.value,
    key: options.key.value.trim(),
    capo: options.capo.value,
    tuning: options.tuning.value,
    degrees: options.degrees.value === "degrees",
    degrees_under: options.degrees.value === "degrees_under",
    easy: options.easy.checked,
    save_ink: options.save_ink.checked,
    left_handed: options.left_handed.checked,
    large: options.print_size.value === "large",
    compact: options.print_size.value === "compact",
    landscape: options.landscape.checked,
    concert: options.concert.checked,
    alternatives: options.alternatives.checked,
    steady: options.steady.checked,
    written_out: options.repeats.value === "written_out",
    short: options.repeats.value === "short",
    offset_s: Number(options.offset.value) || "",
    ...lessonNotes(format),
  };
}

/** These have no place for notes. */
const WITHOUT_NOTES = ["mid", "vtt", "lab", "jams"];

/** Whose lesson notes are printed: nobody's, unless that is asked for here. */
function lessonNotes(format) {
  const whose = options.lesson_notes.value;
  if (!whose || WITHOUT_NOTES.includes(format)) return {};
  return { lesson_notes: true, student: whose === "all" ? "" : whose.slice("of ".length) };
}

/** Whose lesson notes there are; a choice that is gone is none. */
function drawLessonNotes() {
  const notes = desk.song?.lesson_notes ?? [];
  const names = studentsOfSong().filter((name) => notes.some((note) => note.student?.toLowerCase() === name.toLowerCase()));
  const before = options.lesson_notes.value;
  options.lessons.hidden = notes.length === 0;
  options.lesson_notes.replaceChildren(el("option", { value: "" }, "not on the chart"), ...names.map((name) => el("option", { value: `of ${name}` }, `those of ${name}`)), notes.length > 0 ? el("option", { value: "all" }, "all, with names") : "");
  options.lesson_notes.value = before;
  if (options.lesson_notes.selectedIndex < 0) options.lesson_notes.value = "";
}

const TICKS = ["easy", "left_handed", "landscape", "concert", "alternatives", "save_ink", "steady"];
const DEGREES = { degrees: "instead", degrees_under: "under" };

/** The page's settings, as a version keeps them; what is as usual is left out. */
function settings() {
  const value = (name, usual = "") => (options[name].value.trim() === usual ? undefined : options[name].value.trim());
  const capo = value("capo");
  return {
    paper: value("paper", "a4"),
    key: value("key"),
    capo: capo && Number(capo),
    tuning: value("tuning"),
    degrees: DEGREES[options.degrees.value],
    print: value("print_size"),
    repeats: value("repeats"),
    ...Object.fromEntries(TICKS.map((name) => [name, options[name].checked || undefined])),
    offset_s: Number(options.offset.value) || undefined,
  };
}

/** Puts a version's settings on the page. */
function put(version) {
  const tuning = version.tuning ?? "";
  if (![...options.tuning.options].some((o) => o.value === tuning)) options.tuning.append(el("option", {}, tuning));
  const values = {
    paper: version.paper ?? "a4",
    key: (version.key ?? "").replace(":maj", "").replace(":min", "m").replace(":", " "),
    capo: version.capo ?? "",
    tuning,
    degrees: Object.keys(DEGREES).find((name) => DEGREES[name] === version.degrees) ?? "",
    print_size: version.print ?? "",
    repeats: version.repeats ?? "",
    offset: version.offset_s ?? 0,
  };
  for (const [name, own] of Object.entries(values)) options[name].value = String(own);
  for (const name of TICKS) options[name].checked = version[name] ?? false;
  draw();
}

/** After the last change of an option, ms. */
const LOOK_MS = 400;
let timer = null;

/** Asks whether it can be written so; the preview, or why not. */
async function look() {
  if (find("#deliver").hidden || !desk.song) return;
  const path = address("/api/chart", { ...query("html"), inline: true });
  const answer = await fetch(path, { cache: "no-store" }).catch(() => null);
  const why = answer === null ? "the desk's program does not answer" : answer.ok ? "" : (await answer.json().catch(() => ({}))).error;
  options.trouble.textContent = why ? `This chart cannot be exported: ${why}.` : "";
  options.pdf.toggleAttribute("inert", Boolean(why));
  if (!why && options.preview.dataset.shown !== path) {
    options.preview.dataset.shown = path;
    options.preview.src = path;
  }
}

function draw() {
  // a decision on the chart has not to draw what is not seen
  if (find("#deliver").hidden) return;
  drawLessonNotes();
  const n = desk.song?.n_open ?? 0;
  find("#deliver-open").textContent = n === 0 ? "Every chord is confirmed." : `${n} unconfirmed: they are exported with a question mark.`;
  options.pdf.href = address("/api/chart", query("pdf"));
  clearTimeout(timer);
  timer = setTimeout(look, LOOK_MS);
  options.print.href = address("/api/chart", { ...query("html"), inline: true });
  options.practice.href = address("/api/practice", query("html"));
  options.practice.hidden = find("#practice-is").hidden = !desk.song?.take.present;
  // the links stay the same ones: a click that has begun is not lost
  for (const link of list.querySelectorAll("a")) {
    link.href = address("/api/chart", query(link.dataset.format));
  }
}
