// A take recorded on the page of a folder, in a real browser with a microphone of this machine:
// by keyboard alone, with count-in and marks; named, analysed, and its marks on the song's page.

import assert from "node:assert/strict";
import { existsSync, readdirSync } from "node:fs";
import path from "node:path";
import { PATIENCE_MS, contented, openBrowser, openPage, ready, says, startDesk } from "./desk_browser.mjs";
import { songsAreAccessible } from "./desk_songs.mjs";

const stage = (page, name) => page.waitForSelector(`#recording[data-stage="${name}"]:not([hidden])`);
const seconds = async (page) => {
  const [, minutes, rest] = /^(\d+):([\d.]+)$/.exec(await page.textContent(".record-clock")) ?? [];
  return minutes === undefined ? 0 : 60 * Number(minutes) + Number(rest);
};
const lasts = (page, least) => page.waitForFunction((s) => {
  const found = /^(\d+):([\d.]+)$/.exec(document.querySelector(".record-clock").textContent);
  return found && 60 * Number(found[1]) + Number(found[2]) >= s;
}, least);

export async function recordsATake({ program, log: folder }) {
  const desk = await startDesk(program, folder);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  await page.locator("#record").focus();
  await page.keyboard.press("Enter");
  await stage(page, "idle");
  assert.equal(await page.evaluate(() => document.activeElement.textContent), "Start recording");
  await page.selectOption(".record-form select >> nth=1", "1");
  await page.locator(".record-form input[type=number]").first().fill("120");
  await page.getByLabel("with clicks").check();
  assert.ok(await page.getByText("Clicks can be loud in headphones").isVisible(), "the caution");
  await songsAreAccessible(page);
  await page.getByLabel("with clicks").uncheck();
  assert.equal(await page.getByText("Clicks can be loud in headphones").isVisible(), false);

  await page.getByText("Start recording").focus();
  await page.keyboard.press("Enter");
  await stage(page, "counting");
  await page.waitForFunction(() => document.querySelector(".record-clock").textContent === "3 of 4");
  await stage(page, "recording");
  assert.equal(await page.evaluate(() => document.activeElement.textContent), "Stop");
  await lasts(page, 2);
  await page.keyboard.press("m");
  await says(page, /^Marked at 0:0/);
  assert.ok(Number(await page.evaluate(() => document.querySelector("#record-level").value)) > -60, "the level shows");
  await songsAreAccessible(page);
  // another page shows the same, and can mark by touch or pointer
  const other = await openPage(context, desk.origin);
  await stage(other, "recording");
  assert.equal(await other.isDisabled("#record"), true);
  await lasts(page, 4);
  await other.getByText("Mark this moment").click();
  await page.waitForFunction(() => /Marked: .*, /.test(document.querySelector("#recording").textContent));
  await other.close();
  await lasts(page, 8);
  await page.getByText("Stop", { exact: true }).focus();
  await page.keyboard.press("Enter");
  await stage(page, "recorded");
  assert.match(await page.textContent("#recording"), /of sound, highest peak −?-?[\d.]+ dB, 2 marks/);
  await songsAreAccessible(page);

  // named by keyboard: the name is chosen, and typing replaces it
  assert.match(await page.inputValue("#recording input[type=text]"), /^Recording \d{4}-\d\d-\d\d \d\d\.\d\d$/);
  await page.keyboard.type("Porch at dusk");
  await page.keyboard.press("Enter");
  await says(page, /^Porch at dusk\.wav is saved/);
  assert.ok(existsSync(path.join(folder, "Porch at dusk.wav")));
  await page.waitForFunction(() => document.querySelector("#list").textContent.includes("Porch at dusk"));
  assert.deepEqual(readdirSync(folder).filter((name) => name.startsWith("Recording")), [], "no other file is left");

  // its marks stand on the page of the song
  await page.locator(".song a").first().click();
  await page.waitForSelector("#songs-back:visible");
  await ready(page);
  const marks = page.locator("#marks button");
  assert.equal(await marks.count(), 2);
  assert.equal(await page.locator(".strip-mark").count(), 2);
  const at = await marks.nth(1).textContent();
  await marks.nth(1).click();
  await page.waitForFunction((at) => document.querySelector("#sound .at").textContent.slice(0, 4) === at.slice(0, 4), at);
  await page.keyboard.press("o");
  await ready(page);
  await throwsAway(page, folder);
  contented(page, desk.origin);
}

/** A second take is thrown away, after a question; a third is stopped while it counts. */
async function throwsAway(page, folder) {
  const before = readdirSync(folder).sort();
  await page.click("#record");
  await page.selectOption(".record-form select >> nth=1", "0");
  await page.getByText("Start recording").click();
  await stage(page, "recording");
  await lasts(page, 0.5);
  await page.getByText("Stop", { exact: true }).click();
  await stage(page, "recorded");
  await page.getByText("Throw away", { exact: true }).click();
  assert.equal(await page.evaluate(() => document.activeElement.textContent), "Keep it", "a second Enter throws nothing away");
  await songsAreAccessible(page);
  await page.getByText("Throw away for good").click();
  await says(page, /thrown away/);
  assert.equal(await page.isVisible("#recording"), false);
  assert.deepEqual(readdirSync(folder).sort(), before);
}

/** Pictures of a take being recorded. */
export async function picturesRecording({ program, log: folder, rest: [out] }) {
  const desk = await startDesk(program, folder);
  const page = await openPage(await openBrowser({ deviceScaleFactor: 1.5 }), desk.url);
  const shoot = async (name) => {
    for (const [size, width, height, colorScheme] of [["", 1280, 800, "light"], ["-dark", 1280, 800, "dark"], ["-stand", 820, 1180, "light"], ["-phone", 390, 844, "light"]]) {
      await page.setViewportSize({ width, height });
      await page.emulateMedia({ colorScheme });
      await page.waitForTimeout(80);
      await page.screenshot({ path: path.join(out, `${name}${size}.png`), timeout: PATIENCE_MS });
    }
  };
  await page.click("#record");
  await page.selectOption(".record-form select >> nth=1", "1");
  await page.getByLabel("with clicks").check();
  await shoot("record-set-up");
  await page.getByLabel("with clicks").uncheck();
  await page.getByText("Start recording").click();
  await stage(page, "recording");
  await lasts(page, 2);
  await page.keyboard.press("m");
  await says(page, /^Marked/);
  await shoot("record-running");
  console.log(`recorded ${await seconds(page)} s`);
  await page.getByText("Stop", { exact: true }).click();
  await stage(page, "recorded");
  await shoot("record-named");
}
