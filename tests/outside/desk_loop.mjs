// The loop of listening, judging, confirming and going on, at the speed of a person who
// knows the song: Enter many times a second, a playhead that stays where it is put, loops
// that are dragged, and many chords confirmed at once.

import assert from "node:assert/strict";
import { PATIENCE_MS, chooseBar, contented, openBrowser, openPage, placed, says, shown, startDesk } from "./desk_browser.mjs";

const at = (page) => page.evaluate(() => window.heldSound.currentTime);
const near = (page, wanted, within) => page.waitForFunction(([s, d]) => Math.abs(window.heldSound.currentTime - s) < d, [wanted, within]);
/** Silence before the first bar goes with whatever is confirmed beside it. */
const inBars = (song) => song.chords.filter((c) => c.label !== "N" || (c.end_s > song.bars[0].start_s + 0.02 && c.start_s < song.bars.at(-1).end_s - 0.02));
const nDecided = (song) => inBars(song).filter((c) => c.state === "decided").length;

async function allSaved(page) {
  await page.waitForFunction(() => document.documentElement.dataset.unsaved === "0", null, { timeout: PATIENCE_MS });
}

/** Enter at a pace; each press confirms another chord, in order, and nothing is left over. */
export async function neverSkips({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  await page.evaluate(() => {
    window.heldWords = [];
    new MutationObserver(() => window.heldWords.push(document.querySelector("#said").textContent)).observe(document.querySelector("#said"), { childList: true, characterData: true, subtree: true });
  });
  let before = nDecided(shown(program, log));
  assert.equal(before, 0, "nothing is confirmed yet");
  const fetched = page.requested.filter((url) => url.endsWith("/api/song")).length;
  for (const pace of [80, 150, 300]) {
    const order = [];
    for (let i = 0; i < 10; i += 1) {
      const began = Date.now();
      order.push(await page.textContent("#what"));
      await page.keyboard.press("Enter");
      await page.waitForTimeout(Math.max(0, pace - (Date.now() - began)));
    }
    await allSaved(page);
    const song = shown(program, log);
    const now = nDecided(song);
    assert.equal(now - before, 10, `ten Enters at ${pace} ms confirm ten chords: ${order.join(" | ")}`);
    // in order: the first ones of the song, none left out
    assert.ok(inBars(song).slice(0, now).every((c) => c.state === "decided"), `none is skipped at ${pace} ms`);
    before = now;
  }
  const words = await page.evaluate(() => window.heldWords);
  assert.deepEqual(words.filter((w) => /elsewhere|changed/.test(w)), [], "one's own decisions are nobody else's");
  await page.waitForTimeout(700);
  assert.equal(page.requested.filter((url) => url.endsWith("/api/song")).length, fetched, "the song is not fetched again");
  contented(page, desk.origin);
}

/** The playhead stays where it is put; Space plays and pauses there; loops are dragged. */
export async function playsFromHere({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = shown(program, log);
  const [one, two, three] = song.bars;
  await chooseBar(page, one.number);
  await page.waitForSelector(".evidence .heard");
  const box = await placed(page.locator(".evidence .heard"));
  const cell = box.width / 4;

  // a click puts the playhead there and chooses the bar; Space plays from there, and pauses there
  await page.mouse.click(box.x + cell * 1.5, box.y + 60);
  const middle = (two.start_s + two.end_s) / 2;
  await near(page, middle, 0.15);
  assert.equal(await page.textContent("#what .where"), `Bar ${two.number}`);
  await page.keyboard.press("Space");
  await page.waitForFunction((s) => window.heldSound.currentTime > s + 0.3, middle);
  await page.keyboard.press("Space");
  await page.waitForFunction(() => window.heldSound.paused);
  const paused = await at(page);
  assert.ok(paused > middle && paused < middle + 5, `pauses where it is: ${paused} s`);
  await page.keyboard.press("Space");
  await page.waitForFunction((s) => window.heldSound.currentTime > s + 0.1, paused);
  assert.ok((await at(page)) < paused + 3, "and goes on from there");
  await page.keyboard.press("Space");
  await page.waitForFunction(() => window.heldSound.paused);
  // a line shows the place
  assert.ok(await page.isVisible(".now-line"), "the playhead is seen in the waveform");
  // the bar's start is a key away
  await page.locator("#chosen").focus();
  const chosen = Number(/Bar (\d+)/.exec(await page.textContent("#what .where"))[1]);
  await page.keyboard.press("Home");
  await near(page, song.bars.find((b) => b.number === chosen).start_s, 0.05);

  // by keyboard: the playhead moves by half beats
  await page.locator(".now-line").focus();
  const from = await at(page);
  await page.keyboard.press("ArrowRight");
  const beat = (song.bars[1].end_s - song.bars[1].start_s) / song.bars[1].n_beats;
  await near(page, from + beat / 2, beat * 0.3);

  // dragging over the recording loops what lies between, and the edges can be moved
  await chooseBar(page, one.number);
  const again = await placed(page.locator(".evidence .heard"));
  await page.mouse.move(again.x + 2, again.y + 60);
  await page.mouse.down();
  await page.mouse.move(again.x + cell, again.y + 60, { steps: 6 });
  await page.mouse.move(again.x + cell * 2 - 1, again.y + 60, { steps: 6 });
  await page.mouse.up();
  await says(page, /^Loop/);
  assert.match(await page.textContent("#sound"), new RegExp(`bars ${one.number}–${two.number}`));
  const edge = page.locator(".loop-edge.to");
  const end = Number(await edge.getAttribute("aria-valuenow"));
  await edge.focus();
  await page.keyboard.press("ArrowLeft");
  await page.waitForFunction((e) => Number(document.querySelector(".loop-edge.to").getAttribute("aria-valuenow")) < e - 0.05, end);
  await page.locator("#chosen").focus();
  await page.keyboard.press("l");

  // dragging over bars chooses and loops them
  const [a, b] = await Promise.all([0, 2].map((i) => placed(page.locator("#parts .bar").nth(i))));
  await page.mouse.move(a.x + 20, a.y + 20);
  await page.mouse.down();
  await page.mouse.move(b.x + 30, b.y + 20, { steps: 8 });
  await page.mouse.up();
  await page.waitForFunction((words) => document.querySelector("#sound").textContent.includes(words), `bars ${one.number}–${three.number}`);
  await page.keyboard.press("l");

  // a pointer that picks leaves the space bar to the sound
  await page.locator("#parts .bar").nth(3).click();
  await page.click('#card [data-key="candidate 1"]');
  await page.keyboard.press("Space");
  await page.waitForFunction(() => !window.heldSound.paused);
  await page.keyboard.press("Space");
  await page.waitForFunction(() => window.heldSound.paused);

  // a reload keeps place and speed
  await page.keyboard.press("-");
  const where = await page.textContent("#what .where");
  await page.reload();
  await page.waitForSelector("html[data-ready=yes]");
  assert.equal(await page.textContent("#what .where"), where);
  assert.equal(await page.textContent("#sound .speed"), "95 %");
  contented(page, desk.origin);
}

/** Many at once, from the most sure down; back to a point; and no bar prints over another. */
export async function confirmsMany({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = shown(program, log);
  await page.click("#many-open");
  const least = Number(await page.inputValue('#many input[type="range"]'));
  const sure = inBars(song).filter((c) => c.certainty >= least).length;
  await page.click("#many .primary");
  await says(page, /^Saved/);
  await allSaved(page);
  const after = shown(program, log);
  assert.ok(Math.abs(nDecided(after) - sure) <= 1, `${nDecided(after)} confirmed, ${sure} are at least ${least} sure`);
  assert.ok(after.chords.every((c) => c.state === "decided" || c.certainty < least || c.label === "N"), "every sure chord is confirmed");
  // one decision: one undo
  await page.click("#history-open");
  await page.click("#history li:first-child button");
  await says(page, /^Undone/);
  assert.equal(nDecided(shown(program, log)), 0);
  // the confirm button is in view at every size, nothing is cut off at the sides
  for (const [width, height] of [[820, 1180], [390, 844], [1280, 800], [640, 400], [2560, 1440]]) {
    await page.setViewportSize({ width, height });
    await page.waitForTimeout(200);
    const dock = await page.evaluate(() => {
      const box = document.querySelector("#decide .primary").getBoundingClientRect();
      const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
      const small = [...document.querySelectorAll("#dock button")].filter((b) => b.offsetParent && b.getBoundingClientRect().height < 44).map((b) => b.textContent);
      const right = [...document.querySelectorAll("#dock button, #dock summary")].filter((b) => b.offsetParent && b.getBoundingClientRect().right > innerWidth + 1).map((b) => b.textContent);
      return { top: box.top, bottom: box.bottom, height: innerHeight, wide, small, right };
    });
    assert.ok(dock.top >= 0 && dock.bottom <= dock.height, `${width} x ${height}: the confirm button is in view: ${JSON.stringify(dock)}`);
    assert.equal(dock.wide, 0, `${width} x ${height}: nothing scrolls sideways`);
    assert.deepEqual([dock.small, dock.right], [[], []], `${width} x ${height}: large enough for a finger, none cut off`);
  }
  contented(page, desk.origin);
}
