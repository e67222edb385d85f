// Title, credit, key, meter, tempo, capo and tuning of the whole take, and a note to it.

import { button, el, find } from "./dom.js";
import { aboutTake } from "./edits.js";
import { desk } from "./state.js";

export function startSongFacts() {
  find("#song-open").addEventListener("click", show);
}

function show() {
  const song = desk.song;
  const capos = Array.from({ length: 13 }, (_, i) => el("option", { value: String(i), selected: i === song.capo }, i === 0 ? "none" : `fret ${i}`));
  const fields = {
    title: el("input", { type: "text", value: song.title }),
    credit: el("input", { type: "text", value: song.credit ?? "", placeholder: "words and music: …" }),
    key: el("input", { type: "text", value: (song.key ?? "").replace(":maj", "").replace(":min", "m").replace(":", " "), placeholder: "G, F#m" }),
    meter: el("input", { type: "text", value: song.meter ?? "", placeholder: "4/4" }),
    tempo_bpm: el("input", { type: "number", min: "20", max: "400", step: "any", value: song.tempo_bpm === null ? "" : String(Math.round(song.tempo_bpm * 10) / 10) }),
    capo: el("select", {}, capos),
    tuning: el("input", { type: "text", value: song.tuning, placeholder: "standard, drop D, DADGBE" }),
    note: el("input", { type: "text", placeholder: "for the whole song" }),
  };
  const before = Object.fromEntries(Object.entries(fields).map(([name, input]) => [name, input.value]));
  const words = { title: "Title", credit: "Credit", key: "Key", meter: "Meter", tempo_bpm: "Tempo, bpm", capo: "Capo", tuning: "Tuning", note: "Note" };
  const dialog = find("#song");
  const refused = el("p", { role: "alert" });
  const save = async (event) => {
    event.preventDefault();
    const changed = Object.entries(fields).filter(([name, input]) => input.value !== before[name] && (name === "credit" || input.value.trim() !== ""));
    const acts = Object.fromEntries(changed.map(([name, i]) => [name, name === "tempo_bpm" || name === "capo" ? Number(i.value) : i.value.trim()]));
    if (changed.length === 0 || (await aboutTake(acts))) dialog.close();
    // what was typed stays, with the reason beside it
    else refused.textContent = find("#said").textContent;
  };
  dialog.replaceChildren(
    el("h2", { id: "song-title" }, "Song details"),
    el(
      "form",
      { class: "facts", onsubmit: save },
      Object.entries(fields).map(([name, input]) => {
        input.id = `fact-${name}`;
        return el("div", { class: "row" }, el("label", { for: input.id }, words[name]), input);
      }),
      el(
        "div",
        { class: "row" },
        el("span", { class: "quiet" }, "Counted too fast or too slow:"),
        button("Half the tempo", () => (fields.tempo_bpm.value = String(Math.round((song.tempo_bpm ?? 120) * 5) / 10)), { disabled: song.tempo_bpm === null }),
        button("Double the tempo", () => (fields.tempo_bpm.value = String(Math.round((song.tempo_bpm ?? 120) * 20) / 10)), { disabled: song.tempo_bpm === null }),
      ),
      refused,
      el("div", { class: "row" }, el("button", { type: "submit", class: "primary" }, "Save"), button("Cancel", () => dialog.close())),
    ),
  );
  dialog.showModal();
}
