// Not checks: how evenly the page draws while a long take plays and scrolls, and pictures.
//   node tests/outside/desk.mjs measuresFrames PROGRAM LOG
//   node tests/outside/desk.mjs measuresLoop PROGRAM LOG
//   node tests/outside/desk.mjs takesPictures PROGRAM LOG FOLDER [BAR]

import path from "node:path";
import { chooseBar, openBrowser, openPage, startDesk } from "./desk_browser.mjs";

export async function measuresFrames({ program, log }) {
  const desk = await startDesk(program, log);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  const opened = await page.evaluate(() => ({ usable: performance.getEntriesByName("usable")[0]?.startTime, bars: document.querySelectorAll("#parts .bar").length, nodes: document.querySelectorAll("*").length }));
  console.log(`opened: usable after ${Math.round(opened.usable)} ms; ${opened.bars} bars, ${opened.nodes} elements`);
  const startMeter = await context.newCDPSession(page);
  await startMeter.send("Performance.enable", { timeDomain: "threadTicks" });
  await page.reload();
  await page.waitForSelector("html[data-ready=yes]");
  await page.waitForSelector(".evidence .heard");
  const start = Object.fromEntries((await startMeter.send("Performance.getMetrics")).metrics.map((m) => [m.name, m.value]));
  console.log(`opening is ${Math.round(start.TaskDuration * 1000)} ms of work of the page's thread: script ${Math.round(start.ScriptDuration * 1000)}, layout ${Math.round(start.LayoutDuration * 1000)}, style ${Math.round(start.RecalcStyleDuration * 1000)}; usable after ${Math.round(await page.evaluate(() => performance.getEntriesByName("usable")[0].startTime))} ms`);
  // what this machine manages at this moment with next to nothing to draw
  const blank = await context.newPage();
  await blank.setContent("<p>An empty page</p>");
  report("an empty page, for comparison", await frames(blank, 4000));
  await blank.close();
  await page.bringToFront();
  const meter = await context.newCDPSession(page);
  await meter.send("Performance.enable", { timeDomain: "threadTicks" });
  const work = async () => Object.fromEntries((await meter.send("Performance.getMetrics")).metrics.map((m) => [m.name, m.value]));
  const during = async (what, ms) => {
    const before = await work();
    report(what, await frames(page, ms), before, await work());
  };
  await page.keyboard.press("p");
  await page.waitForFunction(() => window.heldSound.currentTime > 0.3);
  await during("playing", 8000);
  await page.evaluate(() => {
    const paper = document.querySelector(".paper");
    const step = () => {
      paper.scrollTop = (paper.scrollTop + 14) % (paper.scrollHeight - paper.clientHeight);
      window.scrolling = requestAnimationFrame(step);
    };
    step();
  });
  await during("playing and scrolling", 8000);
  await page.evaluate(() => cancelAnimationFrame(window.scrolling));
  await page.keyboard.press("p");
  const waits = [];
  const before = await work();
  for (let i = 0; i < 20; i += 1) {
    waits.push(await page.evaluate(() => new Promise((done) => {
      const began = performance.now();
      document.querySelector("#chosen").dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight", bubbles: true }));
      requestAnimationFrame(() => setTimeout(() => done(performance.now() - began), 0));
    })));
  }
  waits.sort((a, b) => a - b);
  console.log(`next bar: drawn after ${waits[10].toFixed(1)} ms in the median, ${waits[19].toFixed(1)} ms at most; ${(((await work()).TaskDuration - before.TaskDuration) * 50).toFixed(1)} ms of work each`);
}

/** Decisions, and lines gone to, that are measured. */
const [N_DECISIONS, N_LINES] = [20, 8];

/** The loop of a person who confirms: each step, in ms; one line of a table. */
export async function measuresLoop({ program, log }) {
  const began = performance.now();
  const desk = await startDesk(program, log);
  const link = performance.now() - began;
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  const [paint, usable] = await page.evaluate(() => [performance.getEntriesByName("first-contentful-paint")[0]?.startTime, performance.getEntriesByName("usable")[0].startTime]);
  await page.waitForSelector(".evidence .heard");
  await page.waitForTimeout(1500);
  const meter = await context.newCDPSession(page);
  await meter.send("Performance.enable", { timeDomain: "threadTicks" });
  const work = async () => (await meter.send("Performance.getMetrics")).metrics.find((m) => m.name === "TaskDuration").value * 1000;
  await page.locator("#chosen").focus();
  const before = await work();
  const saved = [];
  // Enter on what is confirmed already saves nothing
  const n = Math.min(N_DECISIONS, await page.locator("#parts .chord.open").count());
  for (let i = 0; i < n; i += 1) saved.push(await page.evaluate(enterToSaved));
  await page.waitForTimeout(400);
  const perDecision = ((await work()) - before) / n;
  const lines = [];
  await chooseBar(page, 1);
  const nLines = Math.min(N_LINES, (await page.locator("#parts .line").count()) - 1);
  for (let i = 0; i < nLines; i += 1) {
    lines.push(await page.evaluate(nextLine));
    await page.waitForTimeout(250);
  }
  await page.keyboard.press("p");
  await page.waitForFunction(() => window.heldSound.currentTime > 0.3);
  const gaps = await frames(page, 5000);
  await page.keyboard.press("p");
  const middle = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];
  const whole = (ms) => Math.round(ms);
  const facts = [whole(link), whole(paint), whole(usable), whole(middle(saved)), whole(Math.max(...saved)), whole(perDecision), whole(middle(lines)), (gaps.length / (gaps.reduce((a, b) => a + b, 0) / 1000)).toFixed(1)];
  console.log(`| ${facts.join(" | ")} |`);
}

/** From Enter to the log, ms. */
const enterToSaved = () => new Promise((done) => {
  const began = performance.now();
  let isOut = false;
  const observer = new MutationObserver(() => {
    const n = document.documentElement.dataset.unsaved;
    isOut ||= n !== "0";
    if (!isOut || n !== "0") return;
    observer.disconnect();
    done(performance.now() - began);
  });
  observer.observe(document.documentElement, { attributes: true });
  document.querySelector("#chosen").dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
});

/** From the arrow key to the next line with what was heard in it, ms. */
const nextLine = () => new Promise((done) => {
  const began = performance.now();
  const strip = document.querySelector(".evidence");
  const observer = new MutationObserver(() => {
    if (strip.previousSibling !== document.querySelector("#chosen").closest(".line") || !strip.querySelector(".heard")) return;
    observer.disconnect();
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - began), 0));
  });
  observer.observe(strip, { childList: true });
  document.querySelector("#chosen").dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowDown", bubbles: true }));
});

const frames = (page, ms) =>
  page.evaluate((length) => new Promise((done) => {
    const times = [];
    const step = (t) => {
      times.push(t);
      if (t - times[0] < length) requestAnimationFrame(step);
      else done(times.slice(1).map((x, i) => x - times[i]));
    };
    requestAnimationFrame(step);
  }), ms);

/** The gaps between pictures; and, undisturbed by other programs, the page's own work. */
function report(what, gaps, before = null, after = null) {
  const sorted = [...gaps].sort((a, b) => a - b);
  const at = (share) => sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))].toFixed(1);
  const total = gaps.reduce((a, b) => a + b, 0);
  console.log(`${what}: ${((gaps.length / total) * 1000).toFixed(1)} pictures a second; gap median ${at(0.5)} ms, 95 % ${at(0.95)} ms, 99 % ${at(0.99)} ms, most ${at(1)} ms; ${gaps.filter((g) => g > 25).length} of ${gaps.length} late`);
  if (before) {
    const each = (name) => (((after[name] - before[name]) * 1000) / gaps.length).toFixed(2);
    console.log(`  work of the page's thread for a picture: ${each("TaskDuration")} ms, of it script ${each("ScriptDuration")}, layout ${each("LayoutDuration")}, style ${each("RecalcStyleDuration")} (a 60th of a second is 16.67 ms)`);
  }
}

export async function takesPictures({ program, log, rest: [folder, bar = "6"] }) {
  const desk = await startDesk(program, log);
  const context = await openBrowser();
  let url = desk.url;
  for (const [width, height] of [[1280, 800], [820, 1180], [390, 844]]) {
    for (const colorScheme of ["light", "dark"]) {
      const page = await openPage(context, url);
      url = desk.origin;
      await page.setViewportSize({ width, height });
      await page.emulateMedia({ colorScheme });
      const shot = (name) => page.screenshot({ path: path.join(folder, `${name}-${width}-${colorScheme}.png`) });
      await page.waitForTimeout(700);
      await shot("open");
      await chooseBar(page, Number(bar));
      await page.waitForTimeout(700);
      await shot("bar");
      await page.locator("#card").evaluate((card) => (card.scrollTop = card.scrollHeight));
      await shot("card");
      await page.click('a[data-view="live"]');
      await page.waitForTimeout(200);
      await shot("live");
      await page.click('a[data-view="deliver"]');
      await page.waitForTimeout(200);
      await shot("deliver");
      await page.close();
    }
  }
}
