// The page's front door: fetch the song, start each part, follow the log.

import { startAnalysis } from "./analysis.js";
import { Refused } from "./api.js";
import { startBulk } from "./bulk.js";
import { startCard } from "./card.js";
import { startChart } from "./chart.js";
import { startCheck } from "./check.js";
import { startClicks } from "./clicks.js";
import { redo, takeUpUnsaved, undo } from "./decide.js";
import { startDeliver } from "./deliver.js";
import { find } from "./dom.js";
import { backToPlace, startDock } from "./dock.js";
import { startEvidence } from "./evidence.js";
import { startHistory } from "./history.js";
import { keysInShort, startKeys } from "./keys.js";
import { startLessons } from "./lessons.js";
import { startLight } from "./light.js";
import { follow, lost, refresh } from "./link.js";
import { startLive } from "./live.js";
import { startOverview } from "./overview.js";
import { warn } from "./say.js";
import { startSongFacts } from "./song_facts.js";
import { startBack } from "./songs_back.js";
import { choose, desk, tell, unconfirmed } from "./state.js";
import { startTransport } from "./transport.js";

const PAGES = ["chart", "live", "lessons", "deliver"];

function turnTo() {
  const wanted = location.hash.slice(1);
  const page = PAGES.includes(wanted) ? wanted : "chart";
  for (const section of document.querySelectorAll("[data-page]")) section.hidden = section.dataset.page !== page;
  for (const part of ["#dock", "#overview", "#doubts"]) find(part).hidden = page !== "chart";
  for (const link of document.querySelectorAll("[data-view]")) {
    if (link.dataset.view === page) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  if (page === "chart" && desk.song) tell("view");
  tell("page", page);
}

async function start() {
  startLight();
  startChart();
  startEvidence();
  startCard();
  startTransport();
  startClicks();
  startKeys();
  startSongFacts();
  startAnalysis();
  startCheck();
  startLive();
  startLessons();
  startDeliver();
  startOverview();
  startDock();
  startBulk();
  startHistory();
  startBack();
  find("#undo").addEventListener("click", () => undo());
  find("#redo").addEventListener("click", redo);
  find("#dock").append(keysInShort());
  window.addEventListener("hashchange", turnTo);
  turnTo();
  try {
    await refresh();
  } catch (trouble) {
    if (trouble instanceof Refused && trouble.status !== 403) warn("song", `The song cannot be shown: ${trouble.message}`);
    lost(trouble);
    return;
  }
  const [open] = unconfirmed();
  if (!backToPlace() && open) choose(open.bar, { part: open.part });
  turnTo();
  follow();
  takeUpUnsaved();
  performance.mark("usable");
  document.documentElement.dataset.ready = "yes";
}

start();
