// Light or dark paper: as the system says, until the switch says otherwise.

import { find } from "./dom.js";

const KEPT = "takebook.light";
const system = window.matchMedia("(prefers-color-scheme: dark)");

export function startLight() {
  put(localStorage.getItem(KEPT));
  find("#light").addEventListener("click", () => {
    const next = isDark() ? "light" : "dark";
    localStorage.setItem(KEPT, next);
    put(next);
  });
  system.addEventListener("change", () => put(localStorage.getItem(KEPT)));
}

const isDark = () => (document.documentElement.dataset.light ?? (system.matches ? "dark" : "light")) === "dark";

function put(wanted) {
  if (wanted) document.documentElement.dataset.light = wanted;
  find("#light").textContent = isDark() ? "Light" : "Dark";
}
