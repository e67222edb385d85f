// What was decided, the latest first: take back up to a point.

import { get } from "./api.js";
import { undo } from "./decide.js";
import { button, el, find } from "./dom.js";

export function startHistory() {
  find("#history-open").addEventListener("click", show);
}

async function show() {
  const dialog = find("#history");
  const close = button("Close", () => dialog.close(), { class: "primary" });
  const body = el("div", {}, el("p", {}, "…"));
  dialog.replaceChildren(el("h2", { id: "history-title" }, "History"), body, close);
  if (!dialog.open) dialog.showModal();
  try {
    const { decisions } = await get("/api/decisions");
    body.replaceChildren(decisions.length > 0 ? list(decisions, dialog) : el("p", {}, "Nothing is decided yet."));
  } catch (trouble) {
    body.replaceChildren(el("p", {}, trouble.message));
  }
}

function list(decisions, dialog) {
  const real = decisions.filter((d) => d.undoes.length === 0);
  return el(
    "ol",
    { class: "history" },
    real.map((d, i) => {
      const back = real.slice(0, i + 1).filter((o) => o.holds).map((o) => o.id);
      const more = d.n_acts > d.acts.length ? `; and ${d.n_acts - d.acts.length} more` : "";
      return el(
        "li",
        { class: d.holds ? null : "undone" },
        el("span", { class: "time" }, new Date(d.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })),
        el("span", {}, d.acts.join("; ") + more, d.holds ? "" : " (undone)"),
        d.holds ? button(i === 0 ? "Undo" : `Undo back to here (${back.length})`, () => (undo(back), dialog.close())) : el("span", {}),
      );
    }),
  );
}
