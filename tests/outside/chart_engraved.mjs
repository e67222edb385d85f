// MusicXML drawn by a second engraver, in headless Chromium: where things stand in the picture.
//   node tests/outside/chart_engraved.mjs FOLDER [FOLDER FOR PICTURES]
// Draws every .musicxml in the folder. Nothing may stand outside the drawing, no text on another, no
// number of four digits or more, and there must be as many measures
// as the file has. It draws no words of jumps and no frames: those are looked for elsewhere
// (chart_verovio.py, the schema). Prints a line for each file: measures, lines, texts.

import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { openBrowser, root, shutDown } from "./desk_browser.mjs";

const [folder, pictures] = process.argv.slice(2);
const ENGRAVER = path.join(root, ".venv/node/node_modules/opensheetmusicdisplay/build/opensheetmusicdisplay.min.js");
const SLACK = 1.5;

/** Draws the score and reads the picture back. */
async function draw(xml) {
  const place = document.querySelector("#score");
  place.replaceChildren();
  const engraver = new opensheetmusicdisplay.OpenSheetMusicDisplay(place, { backend: "svg", autoResize: false, newSystemFromXML: true, drawingParameters: "default" });
  await engraver.load(xml);
  engraver.render();
  const svg = place.querySelector("svg");
  const frame = svg.getBoundingClientRect();
  const trouble = [];
  const texts = [...svg.querySelectorAll("text")].filter((t) => t.textContent.trim()).map((t) => ({ text: t.textContent.trim(), box: t.getBoundingClientRect() }));
  for (const { text, box } of texts) {
    if (/^-?\d{4,}$/.test(text)) trouble.push(`the number ${text} is drawn`);
    // this engraver does not read halign: what ends with the last bar begins there instead
    if (text === "Fine") continue;
    if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1) trouble.push(`'${text}' is outside the drawing`);
  }
  for (const [i, a] of texts.entries()) {
    for (const b of texts.slice(i + 1)) {
      // words are drawn twice on one place by this engraver, which nobody sees
      if (a.text === b.text && Math.abs(a.box.left - b.box.left) < 1 && Math.abs(a.box.top - b.box.top) < 1) continue;
      const wide = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
      const high = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
      // a line of text is a third higher than its letters
      if (wide > 2 && high > 0.4 * Math.min(a.box.height, b.box.height)) trouble.push(`'${a.text}' lies on '${b.text}'`);
    }
  }
  const measures = engraver.GraphicSheet.MeasureList.length;
  const systems = engraver.GraphicSheet.MusicPages.reduce((n, p) => n + p.MusicSystems.length, 0);
  return { trouble, measures, systems, texts: texts.map((t) => t.text), size: [frame.width, frame.height] };
}

const context = await openBrowser();
try {
  const files = readdirSync(folder).filter((name) => name.endsWith(".musicxml")).sort();
  assert.ok(files.length > 0, `no score in ${folder}`);
  const page = await context.newPage();
  await page.setViewportSize({ width: 1100, height: 1400 });
  await page.setContent('<body style="margin:0;background:#fff"><div id="score" style="width:1100px"></div></body>');
  await page.addScriptTag({ path: ENGRAVER });
  const trouble = [];
  for (const file of files) {
    const xml = readFileSync(path.join(folder, file), "utf8");
    const drawn = await page.evaluate(draw, xml);
    trouble.push(...drawn.trouble.map((what) => `${file}: ${what}`));
    const part = xml.split("</part>")[0];
    const written = part.split("<measure ").length - 1;
    if (drawn.measures !== written) trouble.push(`${file}: ${drawn.measures} measures drawn, ${written} written`);
    console.log(`${file}: ${drawn.measures} measures, ${drawn.systems} systems, ${drawn.texts.length} texts`);
    if (pictures) await page.locator("#score").screenshot({ path: path.join(pictures, `${path.basename(file, ".musicxml")}.png`) });
  }
  assert.deepEqual(trouble, [], `${trouble.length} troubles in ${files.length} scores`);
} catch (error) {
  console.error(error.message);
  process.exitCode = 1;
} finally {
  await shutDown();
}
