// Two pages on one log, a command beside them, and a program that is killed in mid-edit.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { renameSync } from "node:fs";
import path from "node:path";
import { PATIENCE_MS, chooseBar, contented, does, openBrowser, openPage, says, shown, startDesk } from "./desk_browser.mjs";

const stateOf = (program, log, number) => {
  const song = shown(program, log);
  const bar = song.bars.find((b) => b.number === number);
  return song.chords.find((c) => c.start_s >= bar.start_s - 0.02 && c.start_s < bar.end_s - 0.02).state;
};

export async function twoPages({ program, log }) {
  const desk = await startDesk(program, log);
  const context = await openBrowser();
  const one = await openPage(context, desk.url);
  const two = await openPage(context, desk.origin);
  const shows = (page, number) => page.waitForFunction((n) => [...document.querySelectorAll("#parts .bar")].some((b) => b.querySelector(".number").textContent.replace("Bar ", "").split("/").includes(String(n)) && !b.querySelector(".chord:not(.outside).open")), number);

  await chooseBar(one, 2);
  await one.keyboard.press("1");
  await says(one, /^Saved/);
  await shows(two, 2);

  // at the same moment on both
  await chooseBar(one, 3);
  await chooseBar(two, 4);
  await Promise.all([one.keyboard.press("1"), two.keyboard.press("1")]);
  // one of them may have come second: it is told to look again, and does
  for (const [page, number] of [[one, 3], [two, 4]]) {
    await says(page, /^(Saved|Not saved|The song changed)/);
    await page.waitForTimeout(600);
    if (stateOf(program, log, number) === "open") {
      await page.keyboard.press("1");
      await says(page, new RegExp(`^Saved: bar ${number}`));
    }
  }
  // and a command
  execFileSync(program, ["confirm", log, "5", "--candidate", "1"]);
  for (const page of [one, two]) for (const number of [2, 3, 4, 5]) await shows(page, number);
  for (const number of [2, 3, 4, 5]) assert.equal(stateOf(program, log, number), "decided", `bar ${number}`);

  // many quick decisions from one page: none is lost
  await chooseBar(one, 6);
  const list = () => JSON.parse(execFileSync(program, ["undo", log, "--list", "--json"])).decisions;
  // one that was told to look again may have come through all the same
  const before = list().length;
  for (let i = 0; i < 12; i += 1) await one.keyboard.press(String(1 + (i % 3)));
  for (let i = 0; i < PATIENCE_MS / 250 && list().length < before + 12; i += 1) await one.waitForTimeout(250);
  assert.equal(list().length, before + 12, "each of the twelve is in the log");
  // refused decisions are the browser's business: it prints 409 as an error
  for (const page of [one, two]) page.complaints = page.complaints.filter((text) => !text.includes("409"));
  contented(one, desk.origin);
  contented(two, desk.origin);
}

export async function recoversFromARestart({ program, log }) {
  let desk = await startDesk(program, log);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  await chooseBar(page, 2);
  await page.keyboard.press("1");
  await says(page, /^Saved/);
  await chooseBar(page, 3);

  await desk.kill();
  await page.keyboard.press("t");
  await page.keyboard.type("Em7");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Escape");
  await does(page, () => page.keyboard.press("1"), /not saved yet/);
  await page.waitForSelector('#trouble [data-kind="link"]');
  assert.match(await page.textContent("#trouble"), /stopped/);
  // a second one waits behind it
  await page.locator("#chosen").focus();
  await does(page, () => page.keyboard.press("2"), /bar 4.* not saved yet/);
  assert.equal(stateOf(program, log, 3), "open", "nothing can have been saved");

  // started again: another key, so the page says what to do until it is done
  // the same address without being told
  const { port } = desk;
  desk = await startDesk(program, log);
  assert.equal(desk.port, port, "the address is the same");
  await page.waitForFunction(() => /started anew/.test(document.querySelector("#trouble").textContent));
  const opened = await openPage(context, desk.url);
  await page.waitForFunction(() => document.querySelector("#trouble").textContent.trim() === "");
  for (let i = 0; i < 100 && stateOf(program, log, 4) === "open"; i += 1) await page.waitForTimeout(100);
  assert.equal(stateOf(program, log, 2), "decided", "what was saved before stays");
  assert.equal(stateOf(program, log, 3), "decided", "what waited is saved");
  assert.equal(stateOf(program, log, 4), "decided", "and what waited behind it");

  // it hears of changes again
  await chooseBar(opened, 5);
  await opened.keyboard.press("1");
  await says(opened, /^Saved/);
  await page.waitForFunction(() => [...document.querySelectorAll("#parts .bar")].some((b) => b.querySelector(".number").textContent === "Bar 5" && !b.querySelector(".open")));
  await desk.stop();
}

export async function missesSoundAndLog({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const take = path.join(path.dirname(log), "lantern-porch.wav");
  const isTold = (pattern) => page.waitForFunction((source) => new RegExp(source).test(document.querySelector("#trouble").textContent), pattern.source);
  const isClear = () => page.waitForFunction(() => document.querySelector("#trouble").textContent.trim() === "");

  // without the sound one decides all the same
  renameSync(take, `${take}.away`);
  await isTold(/sound is gone/);
  await chooseBar(page, 2);
  await does(page, () => page.keyboard.press("1"));
  assert.equal(stateOf(program, log, 2), "decided");
  assert.ok(await page.isDisabled("#sound .play"), "there is nothing to play");
  renameSync(`${take}.away`, take);
  await isClear();
  await page.waitForSelector("#sound .play:not(:disabled)");

  // without the log nothing is lost either
  renameSync(log, `${log}.away`);
  await isTold(/./);
  await chooseBarOnPage(page, 3);
  await page.keyboard.press("1");
  await says(page, /^Not saved|not saved yet/);
  renameSync(`${log}.away`, log);
  // what was refused came back to its bar, until it is read
  await page.locator('#trouble [data-kind="refused"] button', { hasText: "Close" }).click({ timeout: 3000 }).catch(() => {});
  await isClear();
  assert.equal(stateOf(program, log, 2), "decided");
}

/** As chooseBar, where the program cannot be asked for the song. */
const chooseBarOnPage = (page, number) => page.locator("#parts .bar", { has: page.locator(".number", { hasText: new RegExp(`^Bar ${number}$`) }) }).click();
