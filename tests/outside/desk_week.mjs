// A new user's way, from an empty folder to three songs confirmed, two students' versions saved
// as PDF and a page to practise with: in a real browser by keyboard alone, or by touch on a
// tablet or a phone. What it took is counted and printed.
//   node tests/outside/desk.mjs worksThroughAWeek PROGRAM FOLDER keyboard|touch|phone [PACE_MS]
// PACE_MS is the pause after each key or tap: 0 in tests, 300 as a person types. Nothing is
// listened to, and choosing the files in the system's own dialog is not counted.

import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { contented, openBrowser, openPage, ready, root, shown, startDesk } from "./desk_browser.mjs";

const FIXTURES = ["lantern-porch.wav", "river-stairs.wav", "attic-letters.wav"];
const DEVICES = {
  keyboard: {},
  touch: { viewport: { width: 820, height: 1180 }, hasTouch: true, deviceScaleFactor: 1 },
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, deviceScaleFactor: 1 },
};
/** More than this many Tabs to one control are too many. */
const MOST_TABS = 60;

/** What a hand does: keys or taps, each counted, with a pause after it. */
class Hand {
  constructor(page, how, pace_ms) {
    Object.assign(this, { page, how, pace_ms, n: 0, counts: [], began: performance.now() });
  }

  async pause() {
    this.n += 1;
    if (this.pace_ms > 0) await this.page.waitForTimeout(this.pace_ms);
  }

  async press(key) {
    await this.page.keyboard.press(key);
    await this.pause();
  }

  /** Text, a key at a time; by touch on the keyboard that the device shows. */
  async type(text) {
    for (const key of text) {
      await this.page.keyboard.type(key);
      await this.pause();
    }
  }

  /** Tab until an element has the focus: forward, or back if that is meant. */
  async reach(selector, { back = false } = {}) {
    for (let n = 0; n <= MOST_TABS; n += 1) {
      if (await this.page.evaluate((s) => document.activeElement?.matches(s), selector)) return n;
      await this.press(back ? "Shift+Tab" : "Tab");
    }
    return assert.fail(`${selector} is not reached by ${MOST_TABS} Tabs`);
  }

  /** Goes to a control and uses it: Tab and Enter, or a tap. */
  async use(selector, options = {}) {
    if (this.how === "keyboard") {
      await this.reach(selector, options);
      await this.press(options.key ?? "Enter");
      return;
    }
    await this.page.locator(selector).first().tap();
    await this.pause();
  }

  /** The time and the keys or taps since the last step. */
  done(words) {
    const now = performance.now();
    this.counts.push([words, this.n - this.counts.reduce((sum, [, n]) => sum + n, 0), now - this.began]);
    this.began = now;
  }

  tell() {
    const what = this.how === "keyboard" ? "keys" : "taps and keys";
    console.log(`| step, by ${this.how} | ${what} | s |\n| --- | --- | --- |`);
    for (const [words, n, ms] of this.counts) console.log(`| ${words} | ${n} | ${(ms / 1000).toFixed(1)} |`);
    const [n, ms] = [this.n, this.counts.reduce((sum, [, , ms]) => sum + ms, 0)];
    console.log(`| all | ${n} | ${(ms / 1000).toFixed(1)} |`);
  }
}

export async function worksThroughAWeek({ program, log: folder, rest: [how = "keyboard", pace = "0"] }) {
  const desk = await startDesk(program, folder);
  const context = await openBrowser({ acceptDownloads: true, ...DEVICES[how] });
  const page = await openPage(context, desk.url);
  const hand = new Hand(page, how, Number(pace));
  await adds(hand);
  const songs = readdirSync(folder).filter((name) => name.endsWith(".takebook") && name !== ".takebook").sort();
  assert.equal(songs.length, 3);
  for (const [i, song] of songs.entries()) {
    await opensSong(hand, i);
    await confirmsAll(hand, i);
    if (i < 2) await savesVersion(hand, ["Robin", "Ana"][i]);
    if (i === 2) await savesPractice(hand);
    await goesBack(hand);
    const { n_open: open, versions } = shown(program, path.join(folder, song));
    assert.equal(open, 0, `${song} is confirmed`);
    if (i < 2) assert.equal(versions[0].student, ["Robin", "Ana"][i]);
  }
  for (const [i, student] of ["Ana", "Robin"].entries()) await printsFor(hand, student, i);
  hand.tell();
  contented(page, desk.origin);
}

async function adds(hand) {
  const { page } = hand;
  const [chooser] = await Promise.all([page.waitForEvent("filechooser"), hand.use("#add")]);
  await chooser.setFiles(FIXTURES.map((name) => path.join(root, "fixtures", name)));
  await page.waitForFunction(() => document.querySelectorAll("#adding .coming.done").length === 3 && document.querySelectorAll(".song").length === 3);
  hand.done("three recordings added and analysed");
}

async function opensSong(hand, i) {
  const { page } = hand;
  if (hand.how === "keyboard") {
    // from the buttons, or from the song that was open
    await hand.press("ArrowDown");
    await hand.press("Enter");
  } else {
    await page.locator(".song a").nth(i).tap();
    await hand.pause();
  }
  await page.waitForSelector("#songs-back:visible");
  await ready(page);
  hand.done(`song ${i + 1} opened`);
}

/** Of the first song each chord by itself; of the others what is sure at once, then the rest. */
async function confirmsAll(hand, i) {
  const { page } = hand;
  const left = () => page.evaluate(() => document.querySelector("#open-count").textContent);
  if (i > 0) {
    await hand.use("#many-open");
    await page.waitForSelector("#many[open]");
    await hand.use("#many .primary");
    await page.waitForFunction(() => !document.querySelector("#many").open && /^Saved/.test(document.querySelector("#said").textContent));
  }
  for (let n = 0; n < 80 && !/^Every/.test(await left()); n += 1) {
    const before = await left();
    if (hand.how === "keyboard") {
      // Escape leads to the chosen bar from wherever one is
      if (n === 0) await hand.press("Escape");
      await hand.press("Enter");
    } else await hand.use("#decide .primary");
    await page.waitForFunction((text) => document.querySelector("#open-count").textContent !== text, before);
  }
  assert.match(await left(), /^Every chord is confirmed/);
  await page.waitForFunction(() => !document.querySelector("#said").textContent.startsWith("Saving"));
  hand.done(`its chords confirmed, ${i > 0 ? "all that is sure at once" : "one by one"}`);
}

async function savesVersion(hand, student) {
  const { page } = hand;
  await toExport(hand);
  const field = async (selector, text) => {
    if (hand.how === "keyboard") await hand.reach(selector);
    else await hand.use(selector);
    await hand.type(text);
  };
  await field('.versions input[placeholder="Beginner"]', "Easy");
  await field('.versions input[placeholder="nobody named"]', student);
  if (hand.how === "keyboard") await hand.use('[data-tick="easy"]', { key: "Space" });
  else await hand.use('label:has([data-tick="easy"])');
  await hand.use(".versions .save", { back: true });
  await page.waitForFunction(() => document.querySelector(".versions").textContent.includes("is saved"));
  hand.done(`version for ${student} saved`);
}

async function toExport(hand) {
  if (hand.how === "keyboard") await hand.press("Shift+E");
  else await hand.use('a[data-view="deliver"]');
  await hand.page.waitForSelector("#deliver:not([hidden])");
}

async function savesPractice(hand) {
  const { page } = hand;
  await toExport(hand);
  const [saved] = await Promise.all([page.waitForEvent("download"), hand.use('a[data-format="practice"]')]);
  assert.match(saved.suggestedFilename(), /practice\.html$/);
  hand.done("practice page saved");
  const file = `${await saved.path()}.html`;
  await saved.saveAs(file);
  await sounds(page.context(), file);
}

/** The browser itself decodes the sound of the saved page, which asks for nothing else. */
async function sounds(context, file) {
  const page = await context.newPage();
  const asked = [];
  page.on("request", (request) => /^(file|blob|data):/.test(request.url()) || asked.push(request.url()));
  await page.addInitScript(() => {
    const Own = window.Audio;
    window.Audio = function (...given) {
      window.take = new Own(...given);
      return window.take;
    };
  });
  await page.goto(pathToFileURL(file).href);
  await page.waitForFunction(() => window.take?.readyState >= 2 && window.take.duration > 5);
  assert.deepEqual(asked, []);
  await page.close();
}

async function goesBack(hand) {
  if (hand.how === "keyboard") await hand.press("o");
  else await hand.use("#songs-back");
  await hand.page.waitForSelector("#folder");
  await ready(hand.page);
  hand.done("back to all songs");
}

/** One student's charts as a PDF. */
async function printsFor(hand, student, i) {
  const { page } = hand;
  if (hand.how === "keyboard") {
    await hand.reach("#student", { back: true });
    await hand.type(student[0]);
  } else {
    // the device's own list: one tap opens it, one chooses
    await hand.use("#student");
    await page.selectOption("#student", student);
    await hand.pause();
    await page.keyboard.press("Escape");
  }
  await page.waitForFunction((name) => document.querySelector("#student").value === name, student);
  const [saved] = await Promise.all([page.waitForEvent("download"), hand.use("#student-pdf")]);
  assert.equal(saved.suggestedFilename(), `${student}.pdf`);
  assert.match(readFileSync(await saved.path()).subarray(0, 5).toString(), /%PDF-/);
  hand.done(`${student}'s charts saved as PDF (${i + 1} of 2)`);
}
