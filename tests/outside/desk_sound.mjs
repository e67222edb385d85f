// Hearing the take: play, seek, loop, slow at pitch, take against proposal, clicks.

import assert from "node:assert/strict";
import { chooseBar, contented, openBrowser, openPage, placed, says, shown, startDesk } from "./desk_browser.mjs";

const at = (page) => page.evaluate(() => window.heldSound.currentTime);
const wait = (page, ms) => page.waitForTimeout(ms);

export async function plays({ program, log }) {
  const desk = await startDesk(program, log);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  const song = shown(program, log);

  // the whole song is on the page
  const names = await page.$$eval("#parts .bar", (bars) => bars.map((b) => b.dataset.all.split(" ").length).reduce((a, b) => a + b, 0));
  assert.equal(names, song.bars.length, "every bar is on the chart");

  // play from a bar
  const bar = song.bars[3];
  await chooseBar(page, bar.number);
  await page.keyboard.press("Space");
  await page.waitForFunction((s) => window.heldSound.currentTime > s + 0.2, bar.start_s);
  const first = await at(page);
  assert.ok(first >= bar.start_s - 0.05 && first < bar.start_s + 3, `plays from bar ${bar.number}: ${first} s`);
  await page.waitForSelector(".playhead:not([hidden])");

  // seek by the evidence: a click lands where it points
  const box = await placed(page.locator(".evidence .heard"));
  const line = song.bars.slice(0, 4);
  await page.mouse.click(box.x + box.width * 0.55, box.y + 80);
  await wait(page, 150);
  const sought = await at(page);
  // the third of four bars, a fifth into it; the sound went on a little
  const there = line[2].start_s + 0.2 * (line[2].end_s - line[2].start_s);
  assert.ok(sought - there > -0.05 && sought - there < 0.8, `there it is ${there} s, sought ${sought} s`);
  await page.keyboard.press("p");
  await page.waitForFunction(() => window.heldSound.paused);

  // loop one bar, at full speed: it comes around and never leaves
  await chooseBar(page, bar.number);
  await page.keyboard.press("l");
  await page.waitForFunction(() => !window.heldSound.paused);
  const seen = [];
  const length = bar.end_s - bar.start_s;
  for (let i = 0; i < (length * 2.2) / 0.1; i += 1) {
    seen.push(await at(page));
    await wait(page, 100);
  }
  const inside = seen.every((t) => t > bar.start_s - 0.06 && t < bar.end_s + 0.15);
  assert.ok(inside, `stays in bar ${bar.number} (${bar.start_s} to ${bar.end_s} s): ${seen}`);
  assert.ok(seen.some((t, i) => i > 0 && t < seen[i - 1] - length / 2), `comes around: ${seen}`);

  // three tenths of the speed, at pitch
  const full = await strongest(page);
  for (let i = 0; i < 14; i += 1) await page.keyboard.press("-");
  assert.equal(await page.evaluate(() => window.heldSound.playbackRate), 0.3);
  const from = await at(page);
  const began = Date.now();
  await wait(page, 900);
  const share = ((await at(page)) - from) / ((Date.now() - began) / 1000);
  assert.ok((share > 0.22 && share < 0.38) || share < 0, `three tenths of the speed: ${share}`);
  assert.equal(await page.evaluate(() => window.heldSound.preservesPitch), true);
  const slow = await strongest(page);
  // the bar holds one chord: its pitch classes must stay, two octaves down would not show
  const cents = Math.abs(1200 * Math.log2(slow / full));
  assert.ok(cents < 60, `the strongest pitch was ${full} Hz, slowed ${slow} Hz: ${cents} cents apart`);

  // the proposal against the take, on one key
  await page.keyboard.press("b");
  await says(page, /as plucked strings/);
  assert.equal(await page.evaluate(() => window.heldSound.volume), 0, "the take is silent");
  await page.waitForFunction(() => performance.getEntriesByType("resource").some((e) => e.name.includes("/api/plucked")));
  await page.keyboard.press("b");
  await says(page, /recording on the left/);
  assert.ok((await page.evaluate(() => window.heldSound.volume)) > 0, "the take is back");

  await page.keyboard.press("m");
  await says(page, /Clicks/);
  await page.keyboard.press("l");
  await page.keyboard.press("p");
  await page.waitForFunction(() => window.heldSound.paused);
  contented(page, desk.origin);
}

/** The strongest frequency that comes out in a second, Hz, by the browser's own analyser. */
async function strongest(page) {
  return page.evaluate(async () => {
    if (!window.ear) {
      const context = new AudioContext({ sampleRate: 44100 });
      const source = context.createMediaElementSource(window.heldSound);
      const analyser = context.createAnalyser();
      analyser.fftSize = 32768;
      analyser.smoothingTimeConstant = 0;
      source.connect(analyser);
      analyser.connect(context.destination);
      await context.resume();
      window.ear = { context, analyser, sum: null };
    }
    const { context, analyser } = window.ear;
    const bins = new Float32Array(analyser.frequencyBinCount);
    const sum = new Float64Array(bins.length);
    await new Promise((done) => setTimeout(done, 1000));
    for (let i = 0; i < 12; i += 1) {
      analyser.getFloatFrequencyData(bins);
      bins.forEach((db, k) => (sum[k] += 10 ** (db / 10)));
      await new Promise((done) => setTimeout(done, 150));
    }
    let best = 20;
    for (let k = 20; k < sum.length; k += 1) if (sum[k] > sum[best]) best = k;
    return (best * context.sampleRate) / analyser.fftSize;
  });
}
