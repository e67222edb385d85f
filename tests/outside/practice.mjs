// The page to practise with, from a file, in a real browser, as phone, tablet and laptop.
//   node tests/outside/practice.mjs PAGE [FOLDER FOR PICTURES]
// Exits with 1 and says what was expected if something does not hold.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { PATIENCE_MS, installed, openBrowser, shutDown } from "./desk_browser.mjs";

const [file, pictures] = process.argv.slice(2);
const SIZES = { phone: { width: 390, height: 844 }, tablet: { width: 820, height: 1180 }, laptop: { width: 1280, height: 800 } };

/** The page, ready; whatever it asks for or complains about fails the check. */
async function opened(context, size, colorScheme = "light") {
  const page = await context.newPage();
  await page.setViewportSize(size);
  await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
  const trouble = [];
  page.on("pageerror", (error) => trouble.push(error.stack ?? String(error)));
  page.on("console", (message) => message.type() === "error" && trouble.push(message.text()));
  page.on("request", (request) => {
    if (!/^(file|blob|data):/.test(request.url())) trouble.push(`asks for ${request.url()}`);
  });
  await page.addInitScript(() => {
    const Own = window.Audio;
    window.Audio = function (...given) {
      window.take = new Own(...given);
      return window.take;
    };
  });
  await page.goto(pathToFileURL(path.resolve(file)).href);
  await page.waitForFunction(() => window.take?.readyState >= 2, null, { timeout: PATIENCE_MS });
  return { page, trouble };
}

const at = (page) => page.evaluate(() => window.take.currentTime);

/** Nothing runs out of its place. */
async function fits(page, where) {
  const wide = await page.evaluate(() => {
    const out = [];
    const root = document.documentElement;
    if (root.scrollWidth > root.clientWidth) out.push(`the page is ${root.scrollWidth} wide, the window ${root.clientWidth}`);
    for (const bar of document.querySelectorAll(".bar")) {
      const box = bar.getBoundingClientRect();
      for (const cell of bar.querySelectorAll(".cell")) {
        const own = cell.getBoundingClientRect();
        if (own.right > box.right + 1 || own.bottom > box.bottom + 1) out.push(`${bar.textContent}: '${cell.textContent}' runs out of its bar`);
      }
    }
    return out;
  });
  assert.deepEqual(wide, [], where);
}

async function plays(context) {
  const { page, trouble } = await opened(context, SIZES.laptop);
  const { bars, chords } = await page.evaluate(() => JSON.parse(document.querySelector("#song").textContent));
  const shown = page.locator(".bar");
  assert.equal(await shown.count(), bars.length, "a button for each bar");

  // a tap on a bar plays from there, the playhead follows, the diagram of what sounds is lit
  const there = Math.min(4, bars.length - 3);
  await shown.nth(there).click();
  await page.waitForFunction((s) => window.take.currentTime > s + 0.3, bars[there].start);
  const first = await at(page);
  assert.ok(first < bars[there].start + 3, `plays from bar ${bars[there].number}: ${first} s`);
  await page.waitForFunction((i) => document.querySelectorAll(".bar")[i].hasAttribute("aria-current"), there + 1);
  const state = await page.evaluate(() => {
    const figures = [...document.querySelectorAll("#shapes figure")];
    return { time: window.take.currentTime, lit: figures.flatMap((f, i) => (f.classList.contains("on") ? [i] : [])), current: document.querySelectorAll("[aria-current]").length };
  });
  const sounding = chords.findLast((c) => c.start <= state.time + 0.05);
  assert.equal(state.current, 1, "one bar is current");
  assert.deepEqual(state.lit, sounding.shape === null ? [] : [sounding.shape], "the diagram of what sounds");

  // the loop of a section comes around
  await page.selectOption("#loop", "bars");
  await page.fill("#from", String(bars[there].number));
  await page.fill("#to", String(bars[there].number));
  await shown.nth(there).click();
  const [from, to] = [bars[there].start, bars[there].end];
  const seen = [];
  for (let i = 0; i < ((to - from) * 2.4) / 0.1; i += 1) {
    seen.push(await at(page));
    await page.waitForTimeout(100);
  }
  assert.ok(seen.every((t) => t > from - 0.3 && t < to + 0.3), `stays in its bar (${from} to ${to}): ${seen}`);
  assert.ok(seen.some((t, i) => i > 0 && t < seen[i - 1] - (to - from) / 2), `comes around: ${seen}`);
  await page.selectOption("#loop", "");

  // half the speed, the browser keeps the pitch
  const strongestAtFull = await strongest(page, bars[there].start);
  await page.fill("#speed", "50");
  assert.equal(await page.evaluate(() => window.take.playbackRate), 0.5);
  assert.equal(await page.textContent("#percent"), "50 %");
  const slow = await strongest(page, bars[there].start);
  const cents = 1200 * Math.abs(Math.log2(slow / strongestAtFull));
  const octaves = Math.abs(cents - 1200 * Math.round(cents / 1200));
  assert.ok(cents < 30 || (octaves < 30 && slow > strongestAtFull * 0.9), `pitch kept: ${strongestAtFull} Hz, at half speed ${slow} Hz`);
  await page.fill("#speed", "100");

  // the count-in clicks a bar first
  await page.click("#play");
  await page.check("#count");
  await shown.nth(there).click();
  const length = bars[there].end - bars[there].start;
  await page.waitForTimeout(length * 500);
  const waiting = await page.evaluate(() => ({ paused: window.take.paused, time: window.take.currentTime }));
  assert.ok(waiting.paused && Math.abs(waiting.time - bars[there].start) < 0.2, `waits for the count: ${JSON.stringify(waiting)}`);
  await page.waitForFunction((s) => !window.take.paused && window.take.currentTime > s + 0.2, bars[there].start);
  await page.click("#play");
  assert.ok(await page.evaluate(() => window.take.paused), "stops");

  // by keyboard alone: to a bar, play from it
  await page.uncheck("#count");
  await shown.nth(2).focus();
  await page.keyboard.press("Enter");
  await page.waitForFunction((s) => !window.take.paused && window.take.currentTime > s, bars[2].start);
  await page.click("#play");
  assert.deepEqual(trouble, [], "errors and requests");
  await page.close();
}

/** The strongest frequency of a second and a half from a moment on, Hz. */
async function strongest(page, from) {
  return page.evaluate(async (from) => {
    if (!window.ear) {
      const context = new AudioContext({ sampleRate: 44100 });
      const source = context.createMediaElementSource(window.take);
      const analyser = context.createAnalyser();
      analyser.fftSize = 32768;
      analyser.smoothingTimeConstant = 0;
      source.connect(analyser);
      analyser.connect(context.destination);
      await context.resume();
      window.ear = { context, analyser };
    }
    const { context, analyser } = window.ear;
    window.take.currentTime = from;
    await window.take.play();
    await new Promise((done) => setTimeout(done, 900));
    const bins = new Float32Array(analyser.frequencyBinCount);
    const sum = new Float64Array(bins.length);
    for (let i = 0; i < 8; i += 1) {
      analyser.getFloatFrequencyData(bins);
      bins.forEach((db, k) => (sum[k] += 10 ** (db / 10)));
      await new Promise((done) => setTimeout(done, 100));
    }
    let best = 20;
    for (let k = 20; k < sum.length; k += 1) if (sum[k] > sum[best]) best = k;
    return (best * context.sampleRate) / analyser.fftSize;
  }, from);
}

/** Tempos that went well are noted, kept for the next time, and given as text; by keyboard. */
async function keepsTempos(context) {
  const { page, trouble } = await opened(context, SIZES.phone);
  const { bars, bpm, title } = await page.evaluate(() => JSON.parse(document.querySelector("#song").textContent));
  const rows = () => page.$$eval("#tempos tr", (all) => all.map((tr) => [...tr.children].slice(0, 3).map((cell) => cell.textContent)));
  const words = (percent) => `${Math.round((bpm * percent) / 100)} bpm`;
  assert.match(await page.textContent("#kept"), /stays in this browser/);
  assert.match(await page.textContent("#plan"), /rest every few minutes.*stop for today.*see a doctor/s);
  await page.selectOption("#loop", "bars");
  await page.fill("#from", String(bars[1].number));
  await page.fill("#to", String(bars[2].number));
  await page.fill("#speed", "70");
  assert.equal(await page.textContent("#reached"), `Reached ${words(70)}`);
  await page.focus("#reached");
  await page.keyboard.press("Enter");
  const loop = `bars ${bars[1].number} to ${bars[2].number}`;
  assert.deepEqual(await rows(), [[loop, "\u2013", words(70)]]);
  await page.selectOption("#loop", "");
  await page.fill("#speed", "100");
  await page.focus("#reached");
  await page.keyboard.press("Space");
  assert.equal((await rows())[1][0], "the whole song");

  // the next day, in the same browser
  await page.evaluate(() => {
    const [name] = Object.keys(localStorage).filter((key) => key.startsWith("takebook practice"));
    const kept = JSON.parse(localStorage.getItem(name));
    for (const loop of Object.values(kept)) loop.days = { "2026-01-09": Object.values(loop.days)[0] };
    localStorage.setItem(name, JSON.stringify(kept));
  });
  await page.reload();
  await page.waitForFunction(() => window.take?.readyState >= 2);
  assert.deepEqual((await rows())[0], [loop, `${words(70)}, 9 January 2026`, "\u2013"]);
  await page.focus("#tempos button");
  await page.keyboard.press("Enter");
  assert.deepEqual(await page.evaluate(() => [document.querySelector("#speed").value, document.querySelector("#from").value, window.take.playbackRate]), ["70", String(bars[1].number), 0.7]);
  await page.fill("#speed", "75");
  await page.click("#reached");
  await page.focus("#as-text");
  await page.keyboard.press("Enter");
  const text = await page.inputValue("#text");
  assert.ok(text.startsWith(`Practice tempos: ${title}\n`), text);
  assert.ok(text.includes(`${loop}: last time ${words(70)} (9 January 2026), today ${words(75)}\n`), text);
  const [download] = await Promise.all([page.waitForEvent("download"), page.click("#text-file")]);
  assert.equal(download.suggestedFilename(), "practice-tempos.txt");
  assert.equal(readFileSync(await download.path(), "utf8"), text);
  await fits(page, "with tempos");
  if (pictures) await page.screenshot({ path: path.join(pictures, "practice-tempos-phone.png"), fullPage: true });

  // damaged by hand, it is begun anew; forgotten only when asked twice
  await page.click("#forget");
  assert.equal((await rows()).length, 2);
  await page.click("#forget");
  assert.deepEqual([await rows(), await page.evaluate(() => Object.keys(localStorage).length)], [[], 0]);
  await page.click("#reached");
  await page.evaluate(() => Object.keys(localStorage).forEach((key) => localStorage.setItem(key, '{"1-2":7,"all":{"words":"x","days":{"y":"z"}}}')));
  await page.reload();
  await page.waitForFunction(() => window.take?.readyState >= 2);
  assert.deepEqual(await rows(), []);
  assert.deepEqual(trouble, [], "errors and requests");
  await page.close();

  // where the browser keeps nothing, the page says so and works on
  const other = await context.newPage();
  await other.addInitScript(() => Object.defineProperty(window, "localStorage", { get: () => { throw new DOMException("no", "SecurityError"); } }));
  await other.goto(pathToFileURL(path.resolve(file)).href);
  await other.locator("#kept", { hasText: "keeps nothing" }).waitFor();
  await other.click("#reached");
  assert.equal(await other.locator("#tempos tr").count(), 1);
  await other.close();
}

async function looksRight(context) {
  const axe = installed("axe-core");
  for (const [name, size] of Object.entries(SIZES)) {
    for (const scheme of ["light", "dark"]) {
      const { page, trouble } = await opened(context, size, scheme);
      for (const larger of [false, true]) {
        if (larger) await page.check("#larger");
        await fits(page, `${name} ${scheme}${larger ? " larger" : ""}`);
        await page.locator(".bar").nth(1).click();
        await page.click("#play");
        await page.evaluate(axe.source);
        const { violations, passes } = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
        assert.ok(passes.length > 10, "axe looked at something");
        const found = violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 2).map((n) => `${n.html.slice(0, 120)} ${n.failureSummary.replaceAll("\n", " ").slice(0, 200)}`).join(" | ")}`);
        assert.deepEqual(found, [], `axe, ${name} ${scheme}`);
        if (pictures && scheme === "light" && !larger) await page.screenshot({ path: path.join(pictures, `practice-${name}.png`) });
        if (pictures && name === "phone" && scheme === "dark" && larger) await page.screenshot({ path: path.join(pictures, "practice-phone-dark-larger.png") });
      }
      assert.deepEqual(trouble, [], "errors and requests");
      await page.close();
    }
  }
}

try {
  const context = await openBrowser();
  await plays(context);
  await keepsTempos(context);
  await looksRight(context);
  console.log("practice page: all holds");
} catch (trouble) {
  console.error(trouble.stack ?? String(trouble));
  process.exitCode = 1;
} finally {
  await shutDown();
}
