// Names and frequencies of notes on the page, against a music library that is not ours
// (npm @tonaljs/note) and the frequency that ISO 16:1975 fixes: A4 = 440 Hz.

import assert from "node:assert/strict";
import { chooseBar, contented, installed, openBrowser, openPage, shown, startDesk } from "./desk_browser.mjs";

export async function agreesOnNotes({ program, log }) {
  const library = installed("@tonaljs/note");
  const Note = library.default ?? library;
  assert.equal(Note.freq("A4"), 440, "the library tunes to ISO 16");
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = shown(program, log);
  let compared = 0;
  for (const bar of song.bars) {
    await chooseBar(page, bar.number);
    await page.waitForFunction(() => document.querySelector(".pitches li, .sounded .quiet"));
    const rows = await page.$$eval(".pitches li", (list) => list.map((li) => ({ name: li.querySelector(".pitch").textContent, midi: Number(li.querySelector(".pitch").dataset.midi), hertz: li.querySelector(".hertz").textContent })));
    for (const { name, midi, hertz } of rows) {
      const plain = name.replaceAll("♯", "#").replaceAll("♭", "b");
      assert.equal(Note.midi(plain), midi, `${name} is MIDI ${Note.midi(plain)}`);
      assert.equal(hertz, `${Note.freq(plain).toFixed(1)} Hz`, `${name} sounds at ${Note.freq(plain)} Hz`);
      compared += 1;
    }
  }
  assert.ok(compared > 20, `only ${compared} notes were there to compare`);

  // every MIDI note, by the page's own module
  const all = await page.evaluate(async () => {
    const { frequency, noteName } = await import("/desk/music.js");
    return Array.from({ length: 128 }, (_, midi) => [midi, noteName(midi, null), noteName(midi, "Eb:maj"), frequency(midi)]);
  });
  for (const [midi, sharp, flat, hz] of all) {
    for (const name of [sharp, flat]) assert.equal(Note.midi(name.replaceAll("♯", "#").replaceAll("♭", "b")), midi, name);
    assert.ok(Math.abs(hz - Note.freq(sharp.replaceAll("♯", "#"))) < 1e-6 * hz, `${sharp}: ${hz} Hz`);
  }
  assert.equal(all[69][1], "A4");
  assert.equal(all[69][3], 440);
  console.log(`${compared} notes of the take and all 128 MIDI notes agree`);
  contented(page, desk.origin);
}
