// A recording of the song's folder held against the chart: the marks on the page are those of
// `takebook check`, each is heard by one key, and nothing outside the folder is served.

import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import { readFileSync, symlinkSync, writeFileSync } from "node:fs";
import path from "node:path";
import { chooseBar, contented, drawn, openBrowser, openPage, root, says, shown, startDesk } from "./desk_browser.mjs";

/** The take with what is played in one bar laid over another one. */
function withASlip(take, from, over) {
  const bytes = readFileSync(take);
  const head = bytes.indexOf("data", 12, "latin1") + 8;
  const [rate, frame] = [bytes.readUInt32LE(24), bytes.readUInt16LE(32)];
  const place = (s) => head + Math.round(s * rate) * frame;
  const length = Math.min(from.end_s - from.start_s, over.end_s - over.start_s);
  bytes.copy(bytes, place(over.start_s), place(from.start_s), place(from.start_s + length));
  return bytes;
}

/** The page asked for an address, from inside. */
const asked = (page, address, body) =>
  page.evaluate(async ([to, json]) => {
    const post = { method: "POST", headers: { "content-type": "application/json" }, body: json };
    const response = await fetch(to, json ? post : {});
    return { status: response.status, text: await response.text() };
  }, [address, body]);

export async function checksRecordings({ program, log }) {
  const folder = path.dirname(log);
  const song = shown(program, log);
  // two bars that have one chord each, another one
  const alone = song.bars.filter((b) => song.chords.some((c) => c.start_s < b.start_s + 0.2 && c.end_s > b.end_s - 0.2));
  const chordOf = (bar) => song.chords.find((c) => c.start_s < bar.start_s + 0.2 && c.end_s > bar.end_s - 0.2).label;
  const over = alone.find((b) => b.number >= 4);
  const from = alone.findLast((b) => chordOf(b) !== chordOf(over) && b.number < song.bars.length);
  writeFileSync(path.join(folder, "lesson.wav"), withASlip(path.join(folder, JSON.parse(readFileSync(log)).take.file), from, over));
  writeFileSync(path.join(folder, ".hidden.wav"), "");
  symlinkSync(path.join(root, "fixtures/river-stairs.wav"), path.join(folder, "link.wav"));
  const { stdout, status } = spawnSync(program, ["check", log, path.join(folder, "lesson.wav"), "--json"]);
  const told = JSON.parse(stdout);
  assert.equal(status, 1, "a slip is to be looked at");
  const slips = told.bars.filter((b) => b.findings.length > 0);
  assert.ok(slips.some((b) => b.bar === over.number), `bar ${over.number} is another chord: ${told.summary}`);

  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  await page.locator("#chosen").focus();
  await page.keyboard.press("y");
  await says(page, /^No recording is checked yet/);
  await page.locator("#chosen").focus();
  await page.keyboard.press("f");
  await page.waitForSelector("#check-which option", { state: "attached" });
  const listed = await page.$$eval("#check-which option", (all) => all.map((o) => o.value));
  assert.deepEqual(listed, ["lesson.wav", ""], "no link, nothing hidden; the song's own last");

  // the verdict and the marks, as the command prints them
  await page.click("#check button[type=submit]");
  await drawn(page, () => page.textContent("#check .verdict"), (text) => text === told.summary);
  const words = told.bars.flatMap((b) => [...b.findings.map((f) => f.words), ...b.remarks]);
  const lines = await page.$$eval("#check .marks li", (all) => all.map((li) => li.textContent));
  assert.equal(lines.length, words.length);
  words.forEach((text, i) => assert.ok(lines[i].includes(text), `${lines[i]}: ${text}`));
  const marked = await page.$$eval("#parts .bar.differs", (all) => all.map((b) => b.dataset.all));
  const numbers = marked.flatMap((all) => all.split(" ").map((i) => song.bars[i].number));
  for (const b of slips) assert.ok(numbers.includes(b.bar), `bar ${b.bar} is marked on the chart`);
  const onBar = await page.locator(`#parts .bar.differs .check-mark`).first().textContent();
  assert.ok(slips.some((b) => b.findings.some((f) => onBar === `! ${f.words}`)), onBar);

  // each is a key away, with its sound
  await chooseBar(page, song.bars[0].number);
  await page.locator("#chosen").focus();
  await page.keyboard.press("q");
  await says(page, new RegExp(`^Bar ${slips[0].bar} as played`));
  await page.waitForFunction(([a, b]) => !window.heldSound.paused && window.heldSound.currentTime >= a - 0.05 && window.heldSound.currentTime <= b, [slips[0].start_s, slips[0].end_s]);
  await page.waitForFunction(() => window.heldSound.paused);
  await page.keyboard.press("y");
  await says(page, new RegExp(`^Bar ${slips[0].bar} as played`));

  // what was decided since is said; once the chart says what was played, the mark goes
  const slip = slips.find((b) => b.bar === over.number);
  await chooseBar(page, over.number);
  const label = slip.findings[0].heard;
  await asked(page, "/api/decide", JSON.stringify({ requests: [{ places: [String(over.number)], chord: label }] }));
  await page.waitForSelector("#check .quiet:not([hidden]) button");
  await page.click("#check button:has-text('Check again')");
  await drawn(page, () => page.$$eval("#check .marks li", (all) => all.map((li) => li.textContent).join("\n")), (text) => !text.includes(`Bar ${over.number}\b`) && !text.includes(slip.findings[0].words));

  // the folder alone
  for (const file of ["../lesson.wav", "link.wav", ".hidden.wav", "/etc/hostname", path.basename(log), "nothing.wav"]) {
    const query = `/api/recording?file=${encodeURIComponent(file)}`;
    assert.equal((await asked(page, query)).status, 404, file);
    assert.equal((await asked(page, "/api/check", JSON.stringify({ file }))).status, 404, file);
  }
  const own = await asked(page, "/api/check", JSON.stringify({ file: null }));
  assert.equal(own.status, 200);
  assert.equal(JSON.parse(own.text).recognized, true);
  // refusals that were asked for are no complaints
  page.complaints = page.complaints.filter((text) => !text.includes("404"));
  contented(page, desk.origin);
}
