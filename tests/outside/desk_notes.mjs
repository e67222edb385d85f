// Names and frequencies of notes on the page, against music21 and the frequency that
// ISO 16:1975 fixes: A4 = 440 Hz.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { existsSync } from "node:fs";
import path from "node:path";
import { chooseBar, contented, openBrowser, openPage, root, shown, startDesk } from "./desk_browser.mjs";

/** What music21 says of names as the page writes them: name to `{midi, hz}`. */
function byMusic21(names) {
  const python = path.join(root, ".venv/bin/python3");
  assert.ok(existsSync(python), "no .venv/bin/python3 in the project: run tests/setup");
  const lines = execFileSync(python, [path.join(root, "tests/outside/note_names.py")], { input: names.join("\n") });
  return new Map(lines.toString().trim().split("\n").map((line) => JSON.parse(line)).map((n) => [n.name, n]));
}

export async function agreesOnNotes({ program, log }) {
  assert.equal(byMusic21(["A4"]).get("A4").hz, 440, "music21 tunes to ISO 16");
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = shown(program, log);
  const seen = [];
  for (const bar of song.bars) {
    await chooseBar(page, bar.number);
    await page.waitForFunction(() => document.querySelector(".pitches li, .sounded .quiet"));
    seen.push(...(await page.$$eval(".pitches li", (list) => list.map((li) => ({ name: li.querySelector(".pitch").textContent, midi: Number(li.querySelector(".pitch").dataset.midi), hertz: li.querySelector(".hertz").textContent })))));
  }
  assert.ok(seen.length > 20, `only ${seen.length} notes were there to compare`);
  const known = byMusic21(seen.map((n) => n.name));
  for (const { name, midi, hertz } of seen) {
    assert.equal(known.get(name).midi, midi, `${name} is MIDI ${known.get(name).midi}`);
    assert.equal(hertz, `${known.get(name).hz.toFixed(1)} Hz`, `${name} sounds at ${known.get(name).hz} Hz`);
  }

  // every MIDI note that music21 can name, by the page's own module
  const all = await page.evaluate(async () => {
    const { frequency, noteName } = await import("/desk/music.js");
    return Array.from({ length: 116 }, (_, i) => [i + 12, noteName(i + 12, null), noteName(i + 12, "Eb:maj"), frequency(i + 12)]);
  });
  const every = byMusic21(all.flatMap(([, sharp, flat]) => [sharp, flat]));
  for (const [midi, sharp, flat, hz] of all) {
    for (const name of [sharp, flat]) {
      assert.equal(every.get(name).midi, midi, name);
      assert.ok(Math.abs(hz - every.get(name).hz) < 1e-6 * hz, `${name}: ${hz} Hz`);
    }
  }
  console.log(`${seen.length} notes of the take and ${all.length} MIDI notes agree`);
  contented(page, desk.origin);
}
