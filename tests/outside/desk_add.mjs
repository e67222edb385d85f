// Files added on the page of a folder, in a real browser: chosen, dropped and by keyboard alone;
// what becomes of each; cancelled, failed, tried again; axe at four sizes.

import assert from "node:assert/strict";
import { copyFileSync, existsSync, readFileSync, readdirSync } from "node:fs";
import path from "node:path";
import { PATIENCE_MS, contented, openBrowser, openPage, ready, root, says, startDesk } from "./desk_browser.mjs";
import { songsAreAccessible } from "./desk_songs.mjs";

const fixture = (name) => path.join(root, "fixtures", name);
const TYPED = "Ferry Lights\n============\nKey: G\nTempo: 96\n\nVerse\n| G | C | D | G |\n";
const coming = (page, name) => page.locator("#adding .coming", { hasText: name });
const titles = (page) => page.$$eval(".song .title", (all) => all.map((e) => e.textContent));

export async function addsFiles({ program, log: folder }) {
  const desk = await startDesk(program, folder);
  const page = await openPage(await openBrowser(), desk.url);
  // from now on the browser hands its file chooser over instead of showing it
  page.on("filechooser", () => {});
  assert.match(await page.textContent("#none"), /Drop recordings/);

  // chosen with the button: a recording, one that is none, a kind that is not read
  await page.locator("#add").focus();
  const [chooser] = await Promise.all([page.waitForEvent("filechooser"), page.keyboard.press("Enter")]);
  const bytes = (name, text) => ({ name, mimeType: "application/octet-stream", buffer: Buffer.from(text) });
  await page.evaluate(() => {
    window.seen = new Set();
    new MutationObserver(() => document.querySelectorAll("#adding .state").forEach((e) => window.seen.add(e.textContent.replace(/\d+/g, "n")))).observe(document.querySelector("#adding"), { childList: true, subtree: true, characterData: true });
  });
  await chooser.setFiles([{ ...bytes("lantern-porch.wav", ""), buffer: readFileSync(fixture("lantern-porch.wav")) }, bytes("hiss.wav", "this is no sound"), bytes("words.docx", "x")]);
  await coming(page, "words.docx").locator(".why", { hasText: "by its ending" }).waitFor();
  await coming(page, "hiss.wav").locator(".why", { hasText: "The file stays in the folder" }).waitFor();
  await coming(page, "lantern-porch").locator(".state", { hasText: "to confirm" }).waitFor();
  const seen = await page.evaluate(() => [...window.seen]);
  assert.ok(seen.includes("analysing, n %"), `progress was seen: ${seen}`);
  await page.waitForFunction(() => document.querySelectorAll(".song").length === 1);
  assert.deepEqual(readFileSync(path.join(folder, "lantern-porch.wav")), readFileSync(fixture("lantern-porch.wav")));
  assert.equal(existsSync(path.join(folder, "words.docx")), false);
  assert.equal(existsSync(path.join(folder, "hiss.wav")), true);

  // the song opens from its line, by keyboard; back in the list, the line is still there
  await coming(page, "lantern-porch").locator("a").focus();
  await page.keyboard.press("Enter");
  await page.waitForSelector("#songs-back:visible");
  await ready(page);
  assert.match(await page.textContent("#title"), /lantern-porch/);
  await page.keyboard.press("o");
  await page.waitForSelector("#folder");
  await ready(page);
  await coming(page, "lantern-porch").waitFor();
  await songsAreAccessible(page);

  await dropsAndCancels(page, folder);
  await asksForAll(page, folder);
  await opensATypedSong(page);
  contented(page, desk.origin);
}

/** A typed chart and three recordings are dropped; the last one is cancelled, then analysed. */
async function dropsAndCancels(page, folder) {
  const sound = readFileSync(fixture("lantern-porch.wav")).toString("base64");
  const data = await page.evaluateHandle(({ sound, typed }) => {
    const data = new DataTransfer();
    const wav = Uint8Array.from(atob(sound), (c) => c.charCodeAt(0));
    // silence after it, so that no two are the same
    const again = (n) => new Blob([wav, new Uint8Array(4 * n)]);
    data.items.add(new File([typed], "ferry.txt"));
    for (const n of [1, 2, 3]) data.items.add(new File([again(n)], `take ${n}.wav`));
    return data;
  }, { sound, typed: TYPED });
  await page.dispatchEvent("body", "dragenter", { dataTransfer: data });
  assert.equal(await page.isVisible("#drop"), true);
  await page.dispatchEvent("body", "drop", { dataTransfer: data });
  assert.equal(await page.isVisible("#drop"), false);
  const last = coming(page, "take 3.wav");
  await last.locator("button").focus();
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => ![...document.querySelectorAll("#adding .coming")].some((e) => e.textContent.includes("take 3.wav")));
  await page.waitForFunction(() => document.querySelector("#list").textContent.includes("Ferry Lights"));
  await coming(page, "take 2.wav").locator(".state", { hasText: "to confirm" }).waitFor();
  assert.equal(existsSync(path.join(folder, "take 3.takebook")), false, "nothing is written for what was cancelled");

  if (!existsSync(path.join(folder, "take 3.wav"))) copyFileSync(fixture("river-stairs.wav"), path.join(folder, "take 3.wav"));
  const analyse = page.locator("#without-song .coming", { hasText: "take 3.wav" }).locator("button");
  await analyse.focus();
  await page.keyboard.press("Enter");
  await coming(page, "take 3.wav").locator(".state", { hasText: "to confirm" }).waitFor();
  await page.waitForFunction(() => document.querySelectorAll(".song").length === 5);

  // one that failed is tried again, and stays one that failed
  await coming(page, "hiss.wav").locator("button", { hasText: "Try again" }).click();
  await says(page, /hiss\.wav could not be analysed/);
  await coming(page, "hiss.wav").locator("button", { hasText: "×" }).click();
  await page.waitForFunction(() => document.querySelector("#without-song:not([hidden])")?.textContent.includes("hiss.wav"));
  await page.locator("#adding .clear").click();
  await page.waitForFunction(() => !document.querySelector("#adding .coming.done"));
  assert.equal((await titles(page)).length, 5);
  assert.deepEqual(readdirSync(path.join(folder, ".takebook")).filter((name) => name.endsWith(".part")), [], "nothing half-written is left");
}

/** Recordings may be a student's, to be checked: nothing becomes a song unasked. */
async function asksForAll(page, folder) {
  for (const name of ["one.wav", "two.wav"]) copyFileSync(fixture("river-stairs.wav"), path.join(folder, name));
  const all = page.locator("#without-song .all");
  await all.waitFor();
  await all.focus();
  await page.keyboard.press("Enter");
  assert.match(await page.textContent("#analyse-all"), /each of 3 recordings\. A student’s recording that you only want to check needs none/);
  await songsAreAccessible(page);
  await page.getByRole("button", { name: "Cancel", exact: true }).click();
  assert.equal(await page.evaluate(() => document.activeElement.textContent), "Analyse all");
  assert.equal((await titles(page)).length, 5, "nothing was analysed");
  await page.keyboard.press("Enter");
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => document.querySelectorAll(".song").length === 7);
}

/** A song without sound asks for none, and says so when it is to play. */
async function opensATypedSong(page) {
  await page.locator(".song", { hasText: "Ferry Lights" }).locator("a").click();
  await page.waitForSelector("#songs-back:visible");
  await ready(page);
  await page.waitForTimeout(500);
  assert.equal((await page.textContent("#trouble")).trim(), "");
  assert.equal(page.requested.some((url) => url.includes("/song/ferry.takebook/api/take")), false, "no sound is asked for");
  await page.locator("#chosen").focus();
  await page.keyboard.press("Space");
  await says(page, /has no recording/);
  await page.keyboard.press("Shift+E");
  await page.waitForSelector("#deliver:not([hidden])");
  assert.equal(await page.isVisible('a[data-format="practice"]'), false);
  // this key leads back from every page of a song
  await page.locator(".versions .save").evaluate((e) => e.closest("fieldset").querySelector("select").blur());
  await page.keyboard.press("o");
  await page.waitForSelector("#folder");
  await ready(page);
}

/** Pictures of files coming in. */
export async function picturesAdding({ program, log: folder, rest: [out] }) {
  copyFileSync(fixture("river-stairs.wav"), path.join(folder, "river-stairs.wav"));
  copyFileSync(fixture("attic-letters.wav"), path.join(folder, "attic-letters.wav"));
  const desk = await startDesk(program, folder);
  const page = await openPage(await openBrowser({ deviceScaleFactor: 1.5 }), desk.url);
  const shoot = async (name) => {
    for (const [size, width, height, colorScheme] of [["", 1280, 800, "light"], ["-dark", 1280, 800, "dark"], ["-stand", 820, 1180, "light"], ["-phone", 390, 844, "light"]]) {
      await page.setViewportSize({ width, height });
      await page.emulateMedia({ colorScheme });
      await page.waitForTimeout(60);
      await page.screenshot({ path: path.join(out, `${name}${size}.png`), timeout: PATIENCE_MS });
    }
  };
  await shoot("empty");
  const sound = readFileSync(fixture("lantern-porch.wav"));
  const file = (name, buffer) => ({ name, mimeType: "application/octet-stream", buffer });
  const long = Buffer.concat(Array.from({ length: 3 }, () => sound.subarray(44)));
  const header = Buffer.from(sound.subarray(0, 44));
  header.writeUInt32LE(long.length + 36, 4);
  header.writeUInt32LE(long.length, 40);
  const slow = (n) => Buffer.concat([header, long, Buffer.alloc(4 * n)]);
  await page.setInputFiles("#files", [file("ferry.txt", Buffer.from(TYPED)), file("hiss.wav", Buffer.from("no sound")), file("words.docx", Buffer.from("x")), file("Thursday lesson, Ana.wav", slow(1)), file("lantern-porch.wav", slow(2)), file("evening on the pier.wav", slow(3)), file("two guitars.wav", slow(4))]);
  await page.waitForFunction(() => /analysing, [1-9]/.test(document.querySelector("#adding").textContent));
  await shoot("adding");
  await page.waitForFunction(() => document.querySelectorAll(".song").length === 5);
  await shoot("added");
}
