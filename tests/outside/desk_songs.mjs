// All songs of a folder in a real browser: found, opened, confirmed, back; a set list; what comes
// and goes; axe at three sizes. `measuresSongs` prints how long it takes.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { copyFileSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import path from "node:path";
import { PATIENCE_MS, contented, installed, openBrowser, openPage, ready, says, startDesk } from "./desk_browser.mjs";

/** Titles that are seen, in order. */
const seen = (page) => page.$$eval(".song:not([hidden]) .title", (all) => all.map((e) => e.textContent));
const count = (page) => page.textContent("#count");

export async function worksThroughAFolder({ program, log: folder }) {
  const demo = path.join(folder, "lantern.takebook");
  const title = (file, words) => execFileSync(program, ["confirm", path.join(folder, file), "--title", words]);
  for (const [file, words] of [["b.takebook", "Blue Éclair"], ["c.takebook", '<img src=x onerror="document.title=1">']]) {
    copyFileSync(demo, path.join(folder, file));
    title(file, words);
  }
  writeFileSync(path.join(folder, "cut.takebook"), readFileSync(demo).subarray(0, 400));
  const desk = await startDesk(program, folder);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  assert.deepEqual(await seen(page), ["cut.takebook", '<img src=x onerror="document.title=1">', "Blue Éclair", "lantern-porch"], "what cannot be opened first, then by title; a title is text");
  assert.match(await page.textContent(".damaged .why"), /damaged/);

  // Enter opens the first song, before one was chosen
  await page.keyboard.press("Enter");
  await page.waitForSelector("#songs-back:visible");
  await ready(page);
  assert.match(await page.textContent("#title"), /^<img/);
  await page.keyboard.press("o");
  await page.waitForSelector("#folder");
  await ready(page);

  // letters search, without accents; Escape shows all again
  await page.keyboard.type("eclair");
  assert.deepEqual(await seen(page), ["Blue Éclair"]);
  assert.equal(await count(page), "1 of 4 songs");
  await page.keyboard.press("Escape");
  assert.equal((await seen(page)).length, 4);

  // one key opens the song that was found; what is confirmed there shows in the list
  await page.keyboard.type("blue");
  await page.keyboard.press("Enter");
  await ready(page);
  await page.waitForSelector("#songs-back:visible");
  assert.equal(await page.textContent("#title"), "Blue Éclair");
  assert.match(new URL(page.url()).pathname, /^\/song\/b\.takebook\/$/);
  await page.locator("#chosen").focus();
  await page.keyboard.press("Enter");
  await says(page, /^Saved/);
  await page.keyboard.press("o");
  await page.waitForSelector("#folder");
  await ready(page);
  assert.equal(await page.inputValue("#query"), "blue", "the list is as it was left");
  assert.equal(await page.evaluate(() => document.activeElement.getAttribute("href")), "/song/b.takebook/");
  await page.keyboard.press("Escape");
  // the list looks at the folder anew, which takes a moment
  await page.waitForFunction(() => {
    const todo = [...document.querySelectorAll(".song:not(.damaged) .todo")].map((e) => Number.parseInt(e.textContent, 10));
    return todo[1] === todo[2] - 1;
  });

  // what others decide, add and remove shows by itself
  title("c.takebook", "A Quiet Name");
  await page.waitForFunction(() => document.querySelector("#list").textContent.includes("A Quiet Name"));
  copyFileSync(demo, path.join(folder, "d.takebook"));
  await page.waitForFunction(() => document.querySelectorAll(".song").length === 5);
  rmSync(path.join(folder, "d.takebook"));
  await page.waitForFunction(() => document.querySelectorAll(".song").length === 4);

  await bindsASet(page);
  await foldsOnAPhone(page);
  await page.selectOption("#sort", "todo");
  const heads = await page.$$eval("#list h2", (all) => all.map((e) => e.textContent));
  assert.deepEqual(heads, ["Cannot be opened", "To confirm"]);
  await songsAreAccessible(page);
  contented(page, desk.origin);

  // the program ends: the page says so and goes on with the next one
  await desk.kill();
  await page.waitForSelector('#trouble [data-kind="link"]');
  const again = await startDesk(program, folder, desk.port);
  const other = await openPage(context, again.url);
  await other.close();
  await page.waitForSelector('#trouble [data-kind="link"]', { state: "detached" });
  assert.equal((await seen(page)).length, 4);
}

/** Two songs by keyboard, turned around, saved. */
async function bindsASet(page) {
  await page.locator('.song a[tabindex="0"]').focus();
  await page.keyboard.press("Home");
  await page.keyboard.press("+");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("+");
  const titles = () => page.$$eval(".set-songs .title", (all) => all.map((e) => e.textContent));
  assert.deepEqual(await titles(), ["A Quiet Name", "Blue Éclair"]);
  await page.locator(".set-songs .earlier").nth(1).focus();
  await page.keyboard.press("Enter");
  assert.deepEqual(await titles(), ["Blue Éclair", "A Quiet Name"]);
  await page.fill("#set input[type=text]", "Friday");
  const [saved] = await Promise.all([page.waitForEvent("download"), page.click("#set a.primary")]);
  assert.equal(saved.suggestedFilename(), "Friday.pdf");
  assert.match(readFileSync(await saved.path()).subarray(0, 5).toString(), /%PDF-/);
}

/** On a phone a set list is a line, until it is to be changed. */
async function foldsOnAPhone(page) {
  await page.setViewportSize({ width: 390, height: 844 });
  const height = () => page.evaluate(() => document.querySelector("#set").offsetHeight);
  assert.ok((await height()) < 160, `the set list takes ${await height()} of 844`);
  assert.ok(await page.isVisible("#set a.primary"), "it can be saved so");
  await page.click(".fold-set");
  assert.equal(await page.getAttribute(".fold-set", "aria-expanded"), "true");
  assert.ok(await page.isVisible(".set-songs"));
  await songsAreAccessible(page);
  await page.setViewportSize({ width: 390, height: 844 });
  await page.click(".fold-set");
  await page.setViewportSize({ width: 1280, height: 800 });
  assert.ok(await page.isVisible(".set-songs"), "beside a wide window it is always open");
}

/** No fault by axe, and nothing wider than the window, at four sizes. */
export async function songsAreAccessible(page) {
  const axe = installed("axe-core");
  await page.evaluate(axe.source);
  const sizes = [[1280, 800, "light"], [1280, 800, "dark"], [820, 1180, "light"], [390, 844, "light"]];
  for (const [width, height, colorScheme] of sizes) {
    await page.setViewportSize({ width, height });
    await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
    const { violations, passes } = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
    assert.ok(passes.length > 10, "axe looked at something");
    const found = violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => `${n.html.slice(0, 160)} (${n.failureSummary.slice(0, 200)})`).join(" | ")}`);
    assert.deepEqual(found, [], `${width} ${colorScheme}`);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(wide <= width, `the page is ${wide} wide in a window of ${width}`);
  }
  await page.setViewportSize({ width: 1280, height: 800 });
  await page.emulateMedia({ colorScheme: "light" });
}

/** First paint, everything read, a letter of the search, another order, ms: as a row. */
export async function measuresSongs({ program, log: folder }) {
  const desk = await startDesk(program, folder);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  const [paint, usable, n] = await page.evaluate(() => [performance.getEntriesByName("first-contentful-paint")[0]?.startTime, performance.getEntriesByName("usable")[0].startTime, document.querySelectorAll(".song").length]);
  await page.reload();
  await ready(page);
  const again = await page.evaluate(() => performance.getEntriesByName("usable")[0].startTime);
  const searched = await page.evaluate(async () => {
    const field = document.querySelector("#query");
    const times = [];
    for (const text of ["s", "so", "son", "song", "song 1", "song 12", "", "g major", "g", ""]) {
      const began = performance.now();
      field.value = text;
      field.dispatchEvent(new Event("input"));
      // what was hidden or shown is laid out
      document.querySelector("#list").getBoundingClientRect();
      times.push(performance.now() - began);
      await new Promise((done) => setTimeout(done, 100));
    }
    return times;
  });
  const sorted = await page.evaluate(() => {
    const began = performance.now();
    const order = document.querySelector("#sort");
    order.value = "touched";
    order.dispatchEvent(new Event("change"));
    document.querySelector("#list").getBoundingClientRect();
    return performance.now() - began;
  });
  const whole = (ms) => Math.round(ms);
  console.log(`| ${[n, whole(paint), whole(usable), whole(again), whole(Math.max(...searched)), whole(sorted)].join(" | ")} |`);
}

/** Pictures of the list. */
export async function picturesSongs({ program, log: folder, rest: [out] }) {
  const desk = await startDesk(program, folder);
  const page = await openPage(await openBrowser({ deviceScaleFactor: 1.5 }), desk.url);
  for (const n of [1, 3, 6]) await page.locator(".song:not(.damaged) .add").nth(n).click();
  for (const [name, width, height, colorScheme] of [["songs", 1280, 800, "light"], ["songs-dark", 1280, 800, "dark"], ["songs-stand", 820, 1180, "light"], ["songs-phone", 390, 844, "light"]]) {
    await page.setViewportSize({ width, height });
    await page.emulateMedia({ colorScheme });
    await page.waitForTimeout(200);
    await page.screenshot({ path: path.join(out, `${name}.png`), timeout: PATIENCE_MS });
  }
}
