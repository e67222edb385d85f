// The page of the microphone, with a microphone of this machine that plays known chords.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { PATIENCE_MS, contented, does, installed, openBrowser, openPage, startDesk } from "./desk_browser.mjs";

export async function listens({ program, log, rest: [played] }) {
  const axe = installed("axe-core");
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  await page.click('a[data-view="live"]');
  await does(page, () => page.click("text=Listen"), /^Listening/);
  const heard = [];
  const wanted = played.split(",");
  const enough = () => new Set(heard.filter((symbol) => wanted.includes(symbol))).size >= wanted.length - 1;
  // hearing comes late on a busy machine
  for (let i = 0; i < PATIENCE_MS / 50 && !enough(); i += 1) {
    const now = await page.evaluate(() => document.querySelector(".big .symbol")?.textContent ?? "");
    if (now && now !== heard.at(-1)) heard.push(now);
    await page.waitForTimeout(50);
  }
  // one may be missed between two looks
  assert.ok(enough(), `played ${wanted}, the page showed ${heard}`);
  assert.ok(Number(await page.evaluate(() => document.querySelector("#level").value)) >= -60);
  assert.match(await page.textContent(".sounding"), /Strings: [A-G]/);
  assert.ok((await page.locator(".sounding svg").count()) > 0, "shapes are drawn");
  await page.evaluate(axe.source);
  const { violations } = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
  assert.deepEqual(violations.map((v) => `${v.id}: ${v.nodes[0].html}`), []);

  const kept = await does(page, () => page.click("text=Keep this moment"), /takebook\)/);
  const moments = log.replace(/\.takebook$/, "-moments.takebook");
  assert.ok(kept.includes("-moments.takebook"), kept);
  const song = JSON.parse(readFileSync(moments));
  assert.ok(song.heard.chords.length > 0, "the moment is in its log");
  await does(page, () => page.click("text=Stop listening"), /^Not listening/);
  contented(page, desk.origin);
}
