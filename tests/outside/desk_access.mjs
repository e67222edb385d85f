// axe-core on every main state, light and dark; and the whole way by keyboard alone.

import assert from "node:assert/strict";
import { prepare } from "./desk_analysis.mjs";
import { chooseBar, contented, installed, openBrowser, openPage, says, shown, startDesk } from "./desk_browser.mjs";

/** What is open on the page, and how one gets there. */
const STATES = {
  "the chart": async () => {},
  "a bar with its evidence and card": async (page) => {
    await chooseBar(page, 2);
    if (await page.isVisible(".card-open")) await page.click(".card-open");
  },
  "completion": async (page) => {
    await page.fill("#own", "Dm");
    await page.waitForSelector("#own-list:not([hidden]) li");
  },
  "a shape being typed": async (page) => {
    await page.fill("#own", "x02210");
    await page.waitForSelector("#own-shapes svg");
  },
  "fingerings": async (page) => {
    await page.fill("#own", "");
    await page.click("#tab-fingering");
  },
  "a fingering for every such chord": async (page) => {
    await page.click('#card [data-key^="every "]');
    await page.waitForSelector("#card .every");
  },
  "every harmony, and an analysis that runs": async (page) => {
    await page.click('#card [data-key="every no"]');
    await page.locator("#chosen").focus();
    await page.keyboard.press("d");
    await page.waitForSelector("#parts .detail");
    await page.evaluate(() => (document.querySelector("#analysis").hidden = false));
  },
  "what can be changed": async (page) => page.click("#tab-change"),
  "the notes heard": async (page) => page.click("#tab-notes"),
  "sound options": async (page) => page.click(".more-sound summary"),
  "a stretch, looped and playing": async (page) => {
    await page.click(".more-sound summary");
    await page.locator("#chosen").focus();
    await page.keyboard.press("Shift+ArrowRight");
    await page.keyboard.press("l");
    await page.waitForFunction(() => !window.heldSound.paused);
  },
  "every pass written out": async (page) => {
    await page.keyboard.press("l");
    await page.check("#written-out");
  },
  "the keys": async (page) => page.click("#keys-open"),
  "the facts": async (page) => {
    await page.keyboard.press("Escape");
    await page.click("#song-open");
  },
  "several to confirm": async (page) => {
    await page.keyboard.press("Escape");
    await page.click("#many-open");
  },
  "the history": async (page) => {
    await page.keyboard.press("Escape");
    await page.click("#history-open");
  },
  "live": async (page) => {
    await page.keyboard.press("Escape");
    await page.click('a[data-view="live"]');
  },
  "deliver": async (page) => page.click('a[data-view="deliver"]'),
};

/** The part of the page that a state differs in from the one before; left out, all of it is looked at. */
const WITHIN = {
  "completion": "#card",
  "a shape being typed": "#card",
  "fingerings": "#card",
  "a fingering for every such chord": "#card",
  "what can be changed": "#card",
  "the notes heard": "#card",
  "sound options": "#dock",
  "the keys": "#keys",
  "the facts": "#song",
  "several to confirm": "#many",
  "the history": "#history",
  "live": "main",
  "deliver": "main",
};

export async function isAccessible({ program, log }) {
  const axe = installed("axe-core");
  prepare(log);
  const desk = await startDesk(program, log);
  const context = await openBrowser();
  // one chord decided, so that both ways of writing are looked at
  const first = await openPage(context, desk.url);
  await chooseBar(first, 2);
  await first.keyboard.press("1");
  await says(first, /^Saved/);
  await first.close();
  const found = new Map();
  let n = 0;
  const sizes = [{ width: 1280, height: 800 }, { width: 820, height: 1180 }, { width: 390, height: 844 }];
  for (const size of sizes) {
    // the colors of dark paper are the same at every size
    for (const colorScheme of size === sizes[0] ? ["light", "dark"] : ["light"]) {
      const page = await openPage(context, desk.origin);
      await page.setViewportSize(size);
      await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
      // the policy of the page allows no foreign script: axe comes by the debugger
      await page.evaluate(axe.source);
      for (const [state, reach] of Object.entries(STATES)) {
        await reach(page);
        await page.waitForTimeout(100);
        // by dark paper only the colors are other ones
        const colorsAlone = colorScheme === "dark";
        // the playhead takes no pointer (WCAG 2.2, 2.5.8 speaks of pointer targets) and passes over the
        // handles while it plays: it must not count as covering them
        const { violations, passes } = await page.evaluate(async ([within, colorsAlone]) => {
          const part = within ?? document;
          if (colorsAlone) return window.axe.run(part, { runOnly: ["color-contrast"] });
          const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
          const all = await window.axe.run(part, { runOnly: tags, rules: { "target-size": { enabled: false } } });
          const lines = [...document.querySelectorAll(".now-line")];
          for (const line of lines) line.style.display = "none";
          const sizes = await window.axe.run(part, { runOnly: ["target-size"] });
          for (const line of lines) line.style.display = "";
          return { violations: [...all.violations, ...sizes.violations], passes: [...all.passes, ...sizes.passes] };
        }, [WITHIN[state], colorsAlone]);
        assert.ok(passes.length > (colorsAlone ? 0 : 4), "axe looked at something");
        for (const v of violations) {
          // a change's handle lies where the music has it, and a loop may end there: its edge covers
          // the handle; both also move by arrow keys (WCAG 2.2, 2.5.8, exception "equivalent")
          if (v.id === "target-size" && v.nodes.every((node) => node.html.includes('class="change"'))) continue;
          const what = `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((node) => `${node.html.slice(0, 160)} (${node.failureSummary.replaceAll("\n", " ").slice(0, 200)})`).join(" | ")}`;
          found.set(what, [...(found.get(what) ?? []), `${size.width} ${colorScheme} ${state}`]);
        }
        n += 1;
      }
      await page.close();
    }
  }
  assert.deepEqual([...found], []);
  console.log(`axe ${axe.version}: nothing in ${n} states`);
}

export async function worksByKeyboard({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = shown(program, log);

  // Tab goes through everything and comes around: no trap; what has focus is seen
  const stops = [];
  for (let i = 0; i < 200; i += 1) {
    await page.keyboard.press("Tab");
    const stop = await page.evaluate(() => {
      const node = document.activeElement;
      if (!node || node === document.body) return null;
      const own = getComputedStyle(node);
      const box = node.getBoundingClientRect();
      return { what: node.id || node.dataset?.key || node.textContent.trim().slice(0, 20) || node.tagName, outline: own.outlineStyle !== "none" && parseFloat(own.outlineWidth) >= 2, wide: box.width, high: box.height, inside: box.bottom > 0 && box.top < innerHeight };
    });
    if (stop === null) break;
    stops.push(stop);
  }
  assert.ok(stops.length > 15 && stops.length < 200, `${stops.length} stops, then around again`);
  for (const need of ["chosen", "next-open", "own"]) assert.ok(stops.some((s) => s.what === need), `${need} is reached by Tab: ${stops.map((s) => s.what)}`);
  for (const s of stops) assert.ok(s.outline, `focus is seen on ${s.what}`);
  for (const s of stops) assert.ok(s.inside, `focus is in sight on ${s.what}`);
  // WCAG 2.2, 2.5.8: 24 by 24 CSS pixels; links in running text apart
  for (const s of stops) assert.ok(s.wide >= 24 && s.high >= 24, `${s.what} is ${s.wide} by ${s.high} px`);

  // arrows over the bars, a pedal's page keys to the next open chord
  await page.locator("#chosen").focus();
  await page.keyboard.press("ArrowRight");
  await page.waitForFunction((n) => document.activeElement.textContent.startsWith(`Bar ${n}`), song.bars[1].number);
  await page.keyboard.press("PageDown");
  await page.waitForFunction((n) => document.querySelector("#card h2").textContent.startsWith(`Bar ${n}`), song.bars[2].number);
  await page.waitForFunction((t) => !window.heldSound.paused && window.heldSound.currentTime > t, song.bars[2].start_s);
  await page.keyboard.press("PageUp");
  await page.keyboard.press("p");

  // single keys can be switched off
  await page.keyboard.press("?");
  await page.locator("#keys input[type=checkbox]").uncheck();
  await page.keyboard.press("Escape");
  await page.locator("#chosen").focus();
  const heading = await page.textContent("#card h2");
  await page.keyboard.press("n");
  await page.waitForTimeout(200);
  assert.equal(await page.textContent("#card h2"), heading, "a letter does nothing");
  contented(page, desk.origin);
}
