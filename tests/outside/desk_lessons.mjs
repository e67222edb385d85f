// Notes of lessons in a real browser, by keyboard: written, changed, removed, brought back; what the
// songs' list says of them; on a chart only when asked; axe at four sizes, light and dark.
// The week's files are made from the list.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import path from "node:path";
import { contented, drawn, installed, openBrowser, openPage, ready, says, shown, startDesk } from "./desk_browser.mjs";

const SIZES = [{ width: 1280, height: 800 }, { width: 820, height: 1180 }, { width: 390, height: 844 }];
const notes = (program, log) => shown(program, log).lesson_notes.map((n) => [n.number, n.date, n.student, n.tempo_bpm, n.next_goal]);

export async function keepsLessons({ program, log: folder, rest: [pictures] }) {
  const log = path.join(folder, "lantern.takebook");
  const desk = await startDesk(program, folder);
  const page = await openPage(await openBrowser(), desk.url);
  await page.goto(`${desk.origin}/song/lantern.takebook/#lessons`);
  await ready(page);
  assert.match(await page.textContent("#lessons .quiet"), /on no chart unless you ask/);

  // by keyboard alone, from field to field; the date is today's
  const today = await page.inputValue(".lesson .date input");
  const now = await page.evaluate(() => new Date().toLocaleDateString("sv-SE"));
  assert.equal(today, now, "today, here");
  await page.focus(".lesson .student input");
  await page.keyboard.type("Robin");
  await page.focus(".lesson .tempo_bpm input");
  await page.keyboard.type("72");
  await page.keyboard.press("Tab");
  await page.keyboard.type("G to Em: thumb alone\nthen with the fingers");
  await page.keyboard.press("Tab");
  await page.keyboard.type("80 bpm without a stop");
  await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  await page.locator(".told", { hasText: "The note is saved" }).waitFor();
  assert.deepEqual(notes(program, log), [[1, today, "Robin", 72, "80 bpm without a stop"]]);
  assert.equal(await page.inputValue(".lesson .student input"), "Robin", "the student stays");
  assert.match(await page.textContent(".lesson .last"), /Last time, .*: 72 bpm; goal: 80 bpm/);

  // nothing to save is said, and nothing saved; what is typed outlasts a reload
  await page.click(".lesson button[type=submit]");
  assert.match(await page.textContent(".told"), /Write what was practised/);
  await page.fill(".lesson .student input", "Kim <b>");
  await page.fill(".lesson .practised textarea", "palmwork");
  await page.reload();
  await ready(page);
  assert.equal(await page.inputValue(".lesson .practised textarea"), "palmwork");
  await page.fill(".lesson .date input", "2026-01-09");
  await page.click(".lesson button[type=submit]");
  await page.locator(".lessons li").nth(1).waitFor();
  assert.deepEqual(await page.$$eval(".lessons .whose", (all) => all.map((e) => e.textContent)), ["Robin", "Kim <b>"], "the latest on top; a name is text");
  await page.selectOption(".which select", "Kim <b>");
  await drawn(page, () => page.locator(".lessons li").count(), (n) => n === 1);
  await page.selectOption(".which select", "");

  // changed and removed; undo brings it back
  await page.click('[aria-label$="Robin"]:text("Change")');
  assert.match(await page.textContent(".lesson h2"), /^Change the note of/);
  await page.fill(".lesson .tempo_bpm input", "76.5");
  await page.click(".lesson button[type=submit]");
  await page.locator(".lessons dd", { hasText: "76.5 bpm" }).waitFor();
  assert.equal(await page.textContent(".lesson h2"), "New note");
  await page.click('[aria-label$="Kim <b>"]:text("Remove")');
  await drawn(page, () => page.locator(".lessons li").count(), (n) => n === 1);
  await page.click("#undo");
  await drawn(page, () => page.locator(".lessons li").count(), (n) => n === 2);
  assert.equal(notes(program, log).length, 2);
  for (const size of SIZES) await looksRight(page, size, "#lessons", pictures && path.join(pictures, `lessons-${size.width}.png`));

  await staysOffTheChart(page);
  await page.goto(desk.origin);
  await ready(page);
  await showsInTheList(page, pictures);
  await makesTheWeek(page, program, log);
  contented(page, desk.origin);
}

/** The chart has no note unless the export page is asked; then one student's alone. */
async function staysOffTheChart(page) {
  await page.click('a[data-view="deliver"]');
  const text = async () => {
    const href = await page.getAttribute('a[data-format="txt"]', "href");
    return page.evaluate((href) => fetch(href).then((r) => r.text()), href);
  };
  assert.doesNotMatch(await text(), /thumb|palmwork|Robin/);
  await page.locator("label", { hasText: "Your lesson notes" }).locator("select").selectOption("of Robin");
  const own = await text();
  assert.match(own, /thumb alone/);
  assert.doesNotMatch(own, /palmwork|Robin|Kim/);
  const midi = await page.getAttribute('a[data-format="mid"]', "href");
  assert.equal(await page.evaluate((href) => fetch(href).then((r) => r.status), midi), 200, "a format without notes is written as ever");
  const practice = await page.getAttribute('a[data-format="practice"]', "href");
  const made = await page.evaluate((href) => fetch(href).then(async (r) => [r.status, r.headers.get("content-disposition"), await r.text()]), practice);
  assert.deepEqual([made[0], made[1].startsWith("attachment")], [200, true]);
  assert.match(made[2], /id="sound"[^>]*>[A-Za-z0-9+/]{1000}/);
}

/** A student's songs are listed with the last lesson. */
async function showsInTheList(page, pictures) {
  assert.equal(await page.textContent(".lesson-line"), "");
  await page.selectOption("#student", "Robin");
  assert.match(await page.textContent(".lesson-line"), /last lesson .*; 76.5 bpm; next: 80 bpm without a stop/);
  for (const size of SIZES) await looksRight(page, size, "body", pictures && path.join(pictures, `songs-lesson-${size.width}.png`));
  await page.selectOption("#student", "");
}

/** Every student's versions as one archive: a PDF each, and the practice page. */
async function makesTheWeek(page, program, log) {
  await page.waitForSelector("#week-open", { state: "hidden" });
  execFileSync(program, ["chart", log, "--easy", "--save-version", "Beginner", "--student", "Robin"]);
  await page.locator("#week-open").waitFor();
  await page.locator("#week-open").focus();
  await page.keyboard.press("Enter");
  const [download] = await Promise.all([page.waitForEvent("download"), page.click("#week-save")]);
  assert.match(download.suggestedFilename(), /\.zip$/);
  const listed = execFileSync("unzip", ["-Z1", await download.path()]).toString();
  assert.deepEqual(listed.trim().split("\n").sort(), ["Robin/lantern-porch - Beginner.html", "Robin/lantern-porch - Beginner.pdf"]);
  assert.equal(readFileSync(await download.path()).subarray(0, 2).toString(), "PK");
  await page.keyboard.press("Escape");
}

async function looksRight(page, size, within, picture) {
  const axe = installed("axe-core");
  await page.setViewportSize(size);
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
    await page.waitForTimeout(200);
    await page.evaluate(axe.source);
    const { violations, passes } = await page.evaluate((within) => window.axe.run(within, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }), within);
    assert.ok(passes.length > 4, "axe looked at something");
    assert.deepEqual(violations.map((v) => `${v.id}: ${v.help}: ${v.nodes[0].html.slice(0, 160)} ${v.nodes[0].failureSummary.slice(0, 200)}`), [], `axe, ${size.width} ${colorScheme}`);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(wide <= 0, `${size.width}: ${wide} px too wide`);
    if (picture) await page.screenshot({ path: picture.replace(".png", colorScheme === "dark" ? "-dark.png" : ".png") });
  }
  await page.emulateMedia({ colorScheme: "light" });
}
