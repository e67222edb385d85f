// The chart in every format, from the same writer as `takebook chart`.

import { address } from "./api.js";
import { el, find } from "./dom.js";
import { desk, on } from "./state.js";

/** `[format, ending words, what for]` */
const FORMATS = [
  ["pdf", "PDF", "pages to print or send"],
  ["html", "HTML", "one page for a screen; prints too"],
  ["svg", "SVG", "the pages as a drawing, to edit or place"],
  ["txt", "Text", "80 columns, for mail"],
  ["musicxml", "MusicXML", "for notation programs"],
  ["mid", "MIDI", "plays along with the take, sections as markers"],
  ["vtt", "Captions (WebVTT)", "for a video"],
  ["lab", "Labels (.lab)", "start, end, label; for evaluation"],
  ["jams", "JAMS", "for research"],
  ["json", "JSON", "everything, for your own programs"],
];

/** Names that `--tuning` knows. */
const TUNINGS = ["standard", "half-down", "whole-down", "drop-d", "open-g", "dadgad"];

const options = {};
let list = null;

export function startDeliver() {
  const field = (name, node) => (options[name] = node);
  const tick = (name, words) => el("label", { class: "tick" }, field(name, el("input", { type: "checkbox", onchange: draw })), ` ${words}`);
  list = el(
    "ul",
    { class: "formats" },
    ...FORMATS.map(([format, name, use]) => el("li", {}, el("a", { download: true, "data-format": format }, name), el("span", {}, use))),
  );
  find("#deliver").append(
    el(
      "div",
      { class: "paper" },
      el("h1", { id: "deliver-title" }, "Deliver the chart"),
      el("p", { id: "deliver-open" }),
      el(
        "fieldset",
        {},
        el("legend", {}, "How it is set"),
        el("label", {}, "Paper ", field("paper", el("select", { onchange: draw }, el("option", { value: "a4" }, "A4"), el("option", { value: "letter" }, "Letter")))),
        el("label", {}, "In the key of ", field("key", el("input", { type: "text", size: "6", placeholder: "as it is", autocomplete: "off", oninput: draw }))),
        el("label", {}, "Capo at fret ", field("capo", el("input", { type: "number", min: "0", max: "12", placeholder: "as it is", oninput: draw }))),
        el("label", {}, "Repeats ", field("repeats", el("select", { onchange: draw }, el("option", { value: "" }, "folded"), el("option", { value: "written_out" }, "written out"), el("option", { value: "short" }, "each section once, with the order")))),
        el("label", {}, "Degrees of the key ", field("degrees", el("select", { onchange: draw }, el("option", { value: "" }, "no"), el("option", { value: "degrees" }, "instead of symbols"), el("option", { value: "degrees_under" }, "under the symbols")))),
        el("label", {}, "Tuning ", field("tuning", el("select", { onchange: draw }, el("option", { value: "" }, "as it is"), TUNINGS.map((name) => el("option", {}, name))))),
        tick("easy", "open shapes only, simplified"),
        tick("left_handed", "left-handed boxes"),
        tick("large", "a quarter larger"),
        tick("save_ink", "little ink"),
        el("label", {}, "Captions later by ", field("offset", el("input", { type: "number", step: "0.1", value: "0", oninput: draw })), " s"),
      ),
      el("p", {}, (options.print = el("a", { class: "main button", target: "_blank", rel: "noopener" }, "Print view"))),
      list,
      el("p", { class: "quiet" }, "A chart of someone's song is for your own study; sharing or selling copies needs the owner's permission, and local law decides."),
    ),
  );
  on("song", draw);
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
    large: options.large.checked,
    written_out: options.repeats.value === "written_out",
    short: options.repeats.value === "short",
    offset_s: Number(options.offset.value) || "",
  };
}

function draw() {
  const n = desk.song?.n_open ?? 0;
  find("#deliver-open").textContent = n === 0 ? "Every chord is decided." : `${n} still open: they are delivered with a question mark.`;
  options.print.href = address("/api/chart", { ...query("html"), inline: true });
  // the links stay the same ones: a click that has begun is not lost
  for (const link of list.querySelectorAll("a")) {
    link.href = address("/api/chart", query(link.dataset.format));
  }
}
