// Charts as web pages on a phone, a tablet, a laptop and paper: what a person would see at once.
//   node tests/outside/chart_pages.mjs FOLDER [FOLDER FOR PICTURES]
// Looks at every .html in the folder: nothing runs out of the window or out of its bar, no text lies
// on another or on a bar line, none is too small; axe-core (WCAG 2.2 A and AA) on a few. Exits with 1
// and says the place if something does not hold.

import assert from "node:assert/strict";
import { readdirSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { installed, openBrowser, shutDown } from "./desk_browser.mjs";

const [folder, pictures] = process.argv.slice(2);
// paper: the width between the margins of A4 and of A5 at 96 dots an inch
const SIZES = { phone: [360, 740], tablet: [820, 1180], laptop: [1280, 800], a4: [695, 1000], a5: [461, 700] };
/** Every so many pages axe looks. */
const AXE_EVERY = 10;

/** What is wrong in the page as it is shown. */
function look(leastPx) {
  const out = [];
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) out.push(`the page is ${root.scrollWidth} wide, the window ${root.clientWidth}`);
  const seen = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const owner = node.parentElement;
    if (!node.data.trim() || owner.closest(".quiet, title, style")) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const style = getComputedStyle(owner);
    // a line box is higher than its letters: about three quarters of the size are ink
    const size = owner.closest("svg") ? owner.getBoundingClientRect().height * 0.8 : parseFloat(style.fontSize);
    if (size < leastPx) out.push(`'${node.data.trim()}' is ${size.toFixed(1)} px`);
    for (const r of range.getClientRects()) {
      const middle = (r.top + r.bottom) / 2;
      seen.push({ text: node.data.trim(), owner, left: r.left, right: r.right, top: middle - size * 0.37, bottom: middle + size * 0.37, bar: owner.closest(".bar") });
    }
  }
  for (const [i, a] of seen.entries()) {
    if (a.right > root.clientWidth + 0.5 || a.left < -0.5) out.push(`'${a.text}' is outside the window`);
    if (a.bar) {
      const bar = a.bar.getBoundingClientRect();
      if (a.left < bar.left + 0.5 || a.right > bar.right + 0.5) out.push(`'${a.text}' lies on a bar line of '${a.bar.textContent.trim().slice(0, 40)}'`);
      if (a.bottom > bar.bottom + 1) out.push(`'${a.text}' runs out of its bar`);
    }
    for (const b of seen.slice(i + 1)) {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 1 && high > 1) out.push(`'${a.text}' and '${b.text}' lie on each other at ${Math.round(a.left)}, ${Math.round(a.top)}`);
    }
  }
  return out;
}

async function axe(page) {
  await page.addScriptTag({ path: path.join(path.dirname(new URL(import.meta.url).pathname), "../../.venv/node/node_modules/axe-core/axe.min.js") });
  const found = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
  return found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 80)).join("; ")}`);
}

const context = await openBrowser();
try {
  installed("axe-core");
  const files = readdirSync(folder).filter((name) => name.endsWith(".html")).sort();
  assert.ok(files.length > 0, `no page in ${folder}`);
  const trouble = [];
  const page = await context.newPage();
  for (const [i, file] of files.entries()) {
    await page.emulateMedia({ media: "screen" });
    await page.goto(pathToFileURL(path.resolve(folder, file)).href);
    for (const [name, [width, height]] of Object.entries(SIZES)) {
      const paper = name.startsWith("a");
      // a page made for A5 is printed on A5
      if (paper && file.includes("-a5") !== (name === "a5")) continue;
      await page.emulateMedia({ media: paper ? "print" : "screen" });
      await page.setViewportSize({ width, height });
      const found = await page.evaluate(look, 6);
      trouble.push(...found.map((what) => `${file}, ${name}: ${what}`));
      if (pictures) await page.screenshot({ path: path.join(pictures, `${path.basename(file, ".html")}-${name}.png`), fullPage: true });
    }
    if (i % AXE_EVERY === 0) trouble.push(...(await axe(page)).map((what) => `${file}: ${what}`));
  }
  assert.deepEqual(trouble, [], `${trouble.length} troubles on ${files.length} pages`);
  console.log(`${files.length} pages`);
} catch (error) {
  console.error(error.message);
  process.exitCode = 1;
} finally {
  await shutDown();
}
