// What the page of a song and the list of songs both show of the microphone: which one, and how
// loud it comes in. The program hears it; the browser has no part in it.

import { get } from "./api.js";
import { el } from "./dom.js";

/** Nothing lower is shown, dB under full scale. */
const LOWEST_DB = -60;
const HIGH_DB = -3;

/** A level: its parts for the page, and what shows it. */
export function levelMeter(id) {
  const meter = el("meter", { id, min: String(LOWEST_DB), max: "0", low: "-40", high: String(HIGH_DB), value: String(LOWEST_DB), "aria-label": "Level of the microphone, dB under full scale" });
  const words = el("span", { class: "quiet" }, "");
  return {
    parts: [el("label", { for: id }, "Level "), meter, words],
    show({ peak_dbfs, clipped }) {
      meter.value = Math.max(LOWEST_DB, peak_dbfs ?? LOWEST_DB);
      words.textContent = clipped ? "Too loud: move away or turn down" : "";
    },
    clear() {
      meter.value = LOWEST_DB;
      words.textContent = "";
    },
  };
}

/** A choice of the microphones of this machine; `fill` asks which there are. */
export function microphoneChoice(id) {
  const select = el("select", { id }, el("option", { value: "" }, "the usual one"));
  return {
    select,
    async fill() {
      const { devices } = await get("/api/live/devices");
      const chosen = select.value;
      select.replaceChildren(el("option", { value: "" }, "the usual one"), ...devices.map((d) => el("option", { value: d.name ?? d.id }, d.name ?? d.id)));
      select.value = chosen;
    },
  };
}
