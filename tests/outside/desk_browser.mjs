// Starting the program and the browser, and what every scenario asks of a page.

import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";

export const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), "../..");
const CHROMIUM = "/usr/bin/chromium";
const FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"];
/** The longest that anything on the page may take in a test, ms; machines may be busy. */
export const PATIENCE_MS = Number(process.env.PATIENCE_MS ?? 90_000);

/** A node package that tests/setup installed. */
export function installed(name) {
  try {
    return createRequire(path.join(root, ".venv/node/package.json"))(name);
  } catch {
    throw new Error(`the node package ${name} is not installed: run tests/setup`);
  }
}

const running = [];
const folders = [];
let browser = null;

/** Starts `takebook desk`; gives `{url, origin, port, stop, kill}`. */
export async function startDesk(program, log, port = 0) {
  const child = spawn(program, ["desk", log, "--no-open", ...(port ? ["--port", String(port)] : [])], { stdio: ["ignore", "pipe", "pipe"] });
  running.push(child);
  let said = "";
  const url = await new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error(`the desk printed no address in time: ${said}`)), PATIENCE_MS);
    for (const stream of [child.stdout, child.stderr]) {
      stream.on("data", (bytes) => {
        said += bytes;
        const found = /desk: (http:\S+)/.exec(said);
        if (!found) return;
        clearTimeout(timer);
        resolve(found[1]);
      });
    }
    child.on("exit", (code) => reject(new Error(`the desk ended with ${code}: ${said}`)));
  });
  const { origin, port: ownPort } = new URL(url);
  const gone = new Promise((resolve) => child.on("exit", resolve));
  return { url, origin, port: Number(ownPort), kill: () => (child.kill("SIGKILL"), gone), stop: () => (child.kill("SIGINT"), gone) };
}

/** A browser of its own, with an empty profile. */
export async function openBrowser(options = {}) {
  assert.ok(existsSync(CHROMIUM), `${CHROMIUM} is not installed: run tests/setup`);
  const { chromium } = installed("playwright-core");
  const profile = mkdtempSync(path.join(tmpdir(), "desk-"));
  folders.push(profile);
  browser = await chromium.launchPersistentContext(profile, { executablePath: CHROMIUM, headless: true, args: FLAGS, viewport: { width: 1280, height: 800 }, acceptDownloads: true, ...options });
  browser.setDefaultTimeout(PATIENCE_MS);
  if (process.env.DESK_PAGE_FROM) await serveFrom(browser, process.env.DESK_PAGE_FROM);
  return browser;
}

/** While one works on the page: its files from a folder instead of from the program. */
async function serveFrom(context, folder) {
  const isSong = (url) => /^\/song\/[^/]+\/$/.test(url.pathname);
  const isPage = (url) => url.pathname === "/" || isSong(url) || url.pathname.startsWith("/desk/");
  const first = process.env.DESK_PAGE_FIRST ?? "index.html";
  await context.route(isPage, async (route) => {
    const url = new URL(route.request().url());
    const answer = url.search ? null : path.join(folder, url.pathname === "/" ? first : isSong(url) ? "index.html" : url.pathname.slice("/desk/".length));
    await (answer ? route.fulfill({ path: answer }) : route.continue());
  });
}

/** A page of the desk, ready; whatever it complains about fails the scenario. */
export async function openPage(context, url) {
  const page = await context.newPage();
  page.complaints = [];
  page.requested = [];
  page.on("pageerror", (error) => page.complaints.push(error.stack ?? String(error)));
  page.on("console", (message) => {
    if (message.type() === "error") page.complaints.push(message.text());
  });
  page.on("request", (request) => page.requested.push(request.url()));
  await page.addInitScript(() => {
    // the page's sound is no element of it: keep hold of it
    const Own = window.Audio;
    window.Audio = function (...given) {
      window.heldSound = new Own(...given);
      return window.heldSound;
    };
  });
  await page.goto(url);
  // the answer to a link leads on past the folder that stands in for the program's page
  if (process.env.DESK_PAGE_FROM) {
    await page.goto(new URL(url).origin);
    page.complaints.length = 0;
  }
  await ready(page);
  return page;
}

export const ready = (page) => page.waitForSelector("html[data-ready=yes]");

/** The song as another program tells it. */
export function shown(program, log) {
  try {
    return JSON.parse(execFileSync(program, ["show", log, "--json"]));
  } catch (answer) {
    // 1: something is open
    if (answer.status !== 1) throw answer;
    return JSON.parse(answer.stdout);
  }
}

/** Does something, and gives what the page then says, once that fits. */
export async function does(page, act, pattern = /^Saved/) {
  await page.evaluate(() => (document.querySelector("#said").textContent = ""));
  await act();
  return says(page, pattern);
}

/** What the page says of its last act, once it says something that fits. */
export async function says(page, pattern) {
  await page.waitForFunction(({ source, flags }) => new RegExp(source, flags).test(document.querySelector("#said").textContent), { source: pattern.source, flags: pattern.flags });
  return page.textContent("#said");
}

/** Waits until what is asked of the page fits; after a decision it is drawn anew, but not at once. */
export async function drawn(page, ask, fits) {
  let last;
  for (let i = 0; i < PATIENCE_MS / 50; i += 1) {
    last = await ask();
    if (fits(last)) return;
    await page.waitForTimeout(50);
  }
  assert.fail(`the page never came to show it: ${JSON.stringify(last)}`);
}

/** Where an element lies; one that is drawn anew at this moment has no place for an instant. */
export async function placed(locator) {
  let box = null;
  await drawn(locator.page(), async () => (box = await locator.boundingBox()), (found) => found !== null);
  return box;
}

/** Chooses a bar by its number, as a pointer would; in a folded repeat by way of the card. */
export async function chooseBar(page, number) {
  const index = await page.evaluate((n) => fetch("/api/song").then((r) => r.json()).then((s) => s.bars.findIndex((b) => b.number === n)), number);
  const bar = page.locator(`#parts .bar[data-all~="${index}"]`);
  await bar.click();
  if (Number(await bar.getAttribute("data-bar")) !== index) await page.click("#tab-chord");
  if (Number(await bar.getAttribute("data-bar")) !== index) await page.click(`#card [data-key="repeat ${number}"]`);
  await page.waitForFunction((n) => new RegExp(`^Bars? ${n}\\b`).test(document.querySelector("#card h2").textContent), number);
  return bar;
}

/** Nothing left the machine, and nothing went wrong on the way. */
export function contented(page, origin) {
  const foreign = page.requested.filter((url) => !url.startsWith(origin) && !url.startsWith("blob:") && !url.startsWith("data:"));
  assert.deepEqual(foreign, [], "requests to elsewhere");
  assert.deepEqual(page.complaints, [], "errors on the page");
}

export async function shutDown() {
  await browser?.close().catch(() => {});
  for (const child of running) if (child.exitCode === null) child.kill("SIGKILL");
  for (const folder of folders) rmSync(folder, { recursive: true, force: true });
}
