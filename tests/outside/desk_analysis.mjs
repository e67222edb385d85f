// The take analysed again from the page, choices to click, every harmony, unconfirming, and what
// got no answer: each as `takebook show` and the list of decisions then tell it.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { chooseBar, contented, does, drawn, openBrowser, openPage, says, shown, startDesk } from "./desk_browser.mjs";

const decisions = (program, log) => JSON.parse(execFileSync(program, ["undo", log, "--list", "--json"])).decisions;
const confirmed = (song) => song.chords.filter((c) => c.state === "decided").map((c) => `${c.start_s} ${c.label}`);

/** Hearing leaves two choices open, and has heard an ornament in the second bar. */
export function prepare(log) {
  const document = JSON.parse(readFileSync(log));
  const { heard } = document;
  document.version = 4;
  heard.choices = [
    { words: "meter is unclear: 4/4 at 100 bpm or 3/4 at 100", instead: "3/4 at 100 bpm", set: { meter: "3/4" }, keep: { meter: "4/4" }, margin_nats: 0.3 },
    { words: "the chords lie as open shapes behind a capo at fret 3", instead: "capo 3", set: { capo: 3 }, keep: { capo: 0 } },
  ];
  const bar = heard.bars[1];
  const at = heard.chords.findIndex((c) => c.start_s <= bar.start_s + 0.05 && c.end_s > bar.start_s + 0.1);
  const chord = heard.chords[at];
  const [from, to] = [bar.start_s + (bar.end_s - bar.start_s) / 4, bar.start_s + (bar.end_s - bar.start_s) / 2].map((t) => Math.round(t * 1e4) / 1e4);
  const ornament = { ...chord, candidates: [{ label: "F#:sus4", probability: 0.9, reason: "fourth heard" }], shapes: [], start_s: from, end_s: to };
  heard.detail = [...heard.chords.slice(0, at), { ...chord, end_s: from }, ornament, { ...chord, start_s: to }, ...heard.chords.slice(at + 1)];
  writeFileSync(log, JSON.stringify(document));
}

export async function analysesAgain({ program, log }) {
  prepare(log);
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = () => shown(program, log);
  const until = (pattern) => drawn(page, () => page.textContent("#doubts"), (text) => pattern.test(text));
  const analysed = (act) => does(page, act, /^Analysed again/);
  const heard = song();

  // one quiet line; kept as it is, undone, and kept again
  await until(/^Meter is unclear/);
  await does(page, () => page.click("#doubts button:has-text('Keep 4/4')"), /^Saved: meter 4\/4/);
  await until(/capo at fret 3/);
  await does(page, () => page.click("#undo"), /^Undone/);
  await until(/^Meter is unclear/);
  await does(page, () => page.click("#doubts button:has-text('Keep 4/4')"));

  // every harmony by one key, and taken into the song
  assert.equal(await page.locator("#parts .detail").count(), 0, "the song's chords alone");
  await page.locator("#chosen").focus();
  await page.keyboard.press("d");
  await page.waitForSelector("#parts .detail");
  assert.match(await page.textContent("#parts .detail"), /F♯sus4/);
  await page.keyboard.press("d");
  await drawn(page, () => page.locator("#parts .detail").count(), (n) => n === 0);
  await page.locator(".part-head button").first().click();
  await page.waitForSelector("#parts .detail");
  await chooseBar(page, 2);
  await does(page, () => page.click('#card [data-key="use harmonies"]'), /^Saved/);
  assert.ok(song().chords.some((c) => c.label === "F#:sus4" && c.state === "decided"), "the ornament is a chord of the song");
  await does(page, () => page.click("#undo"), /^Undone/);

  // confirmed, and unconfirmed again
  await chooseBar(page, 3);
  await does(page, () => page.keyboard.press("2"), /^Saved/);
  await chooseBar(page, 3);
  await does(page, () => page.keyboard.press("Backspace"), /unconfirmed again/);
  assert.deepEqual(confirmed(song()), [], "nothing is confirmed");
  assert.equal(song().chords.find((c) => c.start_s >= song().bars[2].start_s - 0.02).symbol, heard.chords.find((c) => c.start_s >= heard.bars[2].start_s - 0.02).symbol, "as proposed");
  await chooseBar(page, 5);
  await does(page, () => page.keyboard.press("1"));
  const own = confirmed(song());
  assert.equal(own.length, 1);

  // a choice is one click; the decision stays
  await analysed(() => page.click("#doubts button:has-text('Capo 3 instead')"));
  assert.equal(song().capo, 3);
  assert.deepEqual(confirmed(song()), own, "what was confirmed stays");
  await until(/^$/);

  // half the tempo: bars and header change together
  const before = song();
  await page.keyboard.press("a");
  await page.click("#song button:has-text('Half the tempo')");
  await analysed(() => page.click("#song form button[type=submit]"));
  const half = song();
  assert.ok(Math.abs(half.tempo_bpm / before.tempo_bpm - 0.5) < 0.03, `${before.tempo_bpm} to ${half.tempo_bpm} bpm`);
  assert.ok(half.bars.length < 0.7 * before.bars.length, `${before.bars.length} to ${half.bars.length} bars`);
  assert.match(await page.textContent("#facts"), new RegExp(`${Math.round(half.tempo_bpm)} bpm`));
  await drawn(page, () => page.locator("#parts .bar").last().textContent(), (text) => text.includes(String(half.bars.at(-1).number)));
  assert.deepEqual(confirmed(half), own, "and what was confirmed still stays");

  // what makes no sense is refused at its place, and nothing is written
  const bytes = readFileSync(log);
  await page.keyboard.press("a");
  await page.fill("#fact-meter", "nonsense");
  await page.click("#song form button[type=submit]");
  await page.waitForFunction(() => /^meter: .*nonsense/.test(document.querySelector("#song [role=alert]").textContent));
  await page.click("#song button:has-text('Cancel')");
  // cancelled, it writes nothing either
  const was = await page.evaluate(async () => {
    const ask = (path, body) => fetch(path, { method: "POST", headers: { "content-type": "application/json" }, body }).then((r) => r.json());
    await ask("/api/analyse", "{}");
    return ask("/api/analyse/cancel", "{}");
  });
  assert.equal(was.was_running, true);
  await says(page, /cancelled/);
  await page.waitForTimeout(1500);
  assert.ok(bytes.equals(readFileSync(log)), "the log is as it was");
  assert.ok(await page.isHidden("#analysis"));
  page.complaints = page.complaints.filter((text) => !text.includes("400"));
  contented(page, desk.origin);
}

/** The answer is lost on its way: what is saved is not saved twice. */
export async function savesOnce({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  await chooseBar(page, 2);
  let lost = 0;
  await page.route("**/api/decide*", async (route) => {
    if (lost > 0) return route.continue();
    lost += 1;
    await route.fetch();
    await route.abort();
  });
  await page.keyboard.press("2");
  await page.keyboard.press("1");
  await says(page, /^Saved/);
  await page.waitForFunction(() => document.documentElement.dataset.unsaved === "0");
  assert.equal(lost, 1);
  const all = decisions(program, log);
  assert.equal(all.length, 2, JSON.stringify(all));
  assert.equal((await page.textContent("#trouble")).trim(), "", "and nobody is asked");
}
