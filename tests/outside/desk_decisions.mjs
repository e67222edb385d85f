// Deciding on the page; what counts is what another program then finds in the log.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { chooseBar, contented, does, drawn, openBrowser, openPage, placed, ready, says, shown, startDesk } from "./desk_browser.mjs";

const barOf = (song, number) => song.bars.find((b) => b.number === number);
/** Chords that start in a bar. */
const startsIn = (song, number) => {
  const bar = barOf(song, number);
  return song.chords.filter((c) => c.start_s >= bar.start_s - 0.02 && c.start_s < bar.end_s - 0.02);
};

export async function decides({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = () => shown(program, log);
  const before = song();

  // Enter takes the proposal and goes on to the next open chord
  await page.locator("#chosen").focus();
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  let now = song();
  assert.equal(now.n_open, before.n_open - 1);
  assert.equal(now.chords[0].state, "decided");
  assert.equal(await page.textContent("#open-count"), `${now.n_chords - now.n_open} of ${now.n_chords} confirmed`);

  // a digit takes that candidate; undo and redo
  await chooseBar(page, 2);
  await does(page, () => page.keyboard.press("2"), /^Saved: bar 2/);
  now = song();
  assert.equal(startsIn(now, 2)[0].label, startsIn(before, 2)[0].candidates[1].label);
  await does(page, () => page.keyboard.press("u"), /^Undone/);
  assert.equal(startsIn(song(), 2)[0].state, "open");
  await does(page, () => page.keyboard.press("Shift+U"), /^Redone/);
  assert.equal(startsIn(song(), 2)[0].state, "decided");
  await does(page, () => page.click("#undo"), /^Undone/);

  // split and join
  const n = song().chords.length;
  await chooseBar(page, 6);
  await page.click("#tab-change");
  await does(page, () => page.click('#card [data-key="split 1"]'), /^Saved/);
  now = song();
  assert.equal(now.chords.length, n + 1);
  assert.equal(startsIn(now, 6).length, 2);
  await chooseBar(page, 6);
  await does(page, () => page.keyboard.press("j"), /^Saved/);
  assert.equal(song().chords.length, n);

  // a boundary by half beats, by the pointer, and by its own arrow keys
  await chooseBar(page, 7);
  const start = startsIn(song(), 7)[0].start_s;
  await does(page, () => page.keyboard.press("]"), /^Saved/);
  const later = song().chords.find((c) => c.start_s > start + 0.05).start_s;
  assert.ok(later - start > 0.1 && later - start < 0.6, `half a beat later: ${start} to ${later}`);
  await does(page, () => page.keyboard.press("["), /^Saved/);
  const lines = page.locator(".evidence .change");
  const from = () => lines.evaluateAll((all) => all.map((line) => Number(line.dataset.from)));
  await drawn(page, from, (all) => all.some((t) => Math.abs(t - start) < 0.1));
  const moved = (await from()).at(-1);
  const handle = await placed(lines.last());
  const to = { x: handle.x + 12 + 60, y: handle.y + handle.height - 4 };
  await page.mouse.move(to.x - 60, to.y);
  await page.mouse.down();
  await page.mouse.move(to.x - 30, to.y, { steps: 3 });
  // another program decides meanwhile: the page is drawn anew, the change stays under the pointer
  execFileSync(program, ["confirm", log, "7", "--candidate", "1"]);
  await says(page, /changed elsewhere/);
  await drawn(page, () => lines.last().getAttribute("class"), (name) => name.includes("moved"));
  await page.mouse.move(to.x, to.y, { steps: 3 });
  await does(page, () => page.mouse.up(), /^Saved/);
  const dragged = song().chords.map((c) => c.start_s);
  assert.ok(!dragged.includes(moved) && dragged.some((t) => t > moved + 0.1 && t < moved + 1.5), `dragged from ${moved}`);
  await drawn(page, from, (all) => !all.includes(moved));
  await lines.last().focus();
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("ArrowLeft");
  const wanted = Number(await lines.last().getAttribute("aria-valuenow"));
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  await drawn(page, from, (all) => all.some((t) => Math.abs(t - wanted) < 0.011));
  assert.ok(song().chords.some((c) => Math.abs(c.start_s - wanted) < 0.011), `moved to ${wanted} by keys`);
  const held = await page.evaluate(() => document.activeElement.getAttribute("aria-valuenow"));
  assert.ok(Math.abs(Number(held) - wanted) < 0.011, `the change moved by keys keeps the focus: ${held}`);
  // the drag, the chord decided meanwhile, and the keys
  for (let i = 0; i < 3; i += 1) await does(page, () => page.click("#undo"), /^Undone/);

  // sections: two of four bars, the second another pass of the first
  for (const number of [5, 9]) {
    await chooseBar(page, number);
    if (song().sections.every((s) => s.first_bar !== number)) {
      await page.keyboard.press("s");
      await page.waitForFunction((b) => [...document.querySelectorAll(".part .span")].some((s) => new RegExp(`bars? ${b}\\b`).test(s.textContent)), number);
    }
  }
  await chooseBar(page, 5);
  await page.keyboard.press("Shift+ArrowRight");
  await page.keyboard.press("Shift+ArrowRight");
  await page.keyboard.press("Shift+ArrowRight");
  const letters = () => song().sections.filter((s) => s.first_bar === 1 || s.first_bar === 5).map((s) => s.letter);
  if (letters()[0] !== letters()[1]) {
    await does(page, () => page.keyboard.press("e"));
  }
  assert.equal(letters()[0], letters()[1], "bars 5 to 8 are another pass of bars 1 to 4");
  await chooseBar(page, 5);
  await page.keyboard.press("g");
  await page.keyboard.type("Verse");
  await does(page, () => page.keyboard.press("Enter"), /Verse/);
  assert.ok(song().sections.some((s) => s.name === "Verse"));

  // the same in the repeats
  await chooseBar(page, 2);
  await does(page, () => page.keyboard.press("r"), /all repeats/);
  await page.keyboard.press("t");
  await page.keyboard.type("Cmaj7");
  await page.waitForFunction(() => /Reads as C/.test(document.querySelector("#own-named").textContent));
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  now = song();
  assert.deepEqual([2, 6].map((b) => startsIn(now, b)[0].label), ["C:maj7", "C:maj7"], "written in both passes");
  await page.keyboard.press("r");

  // a note, a title
  await chooseBar(page, 3);
  await page.keyboard.press("k");
  await page.keyboard.type("let it ");
  // what is half typed stays while another program decides
  await does(page, async () => execFileSync(program, ["confirm", log, "4", "--candidate", "1"]), /changed elsewhere/);
  await page.waitForFunction(() => document.activeElement.id === "note-text" && document.activeElement.value === "let it ");
  await page.keyboard.type("ring <b>");
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  assert.equal(await page.inputValue("#note-text"), "", "what is saved is no longer typed");
  // what is refused stays typed too
  await page.click("#song-open");
  await page.fill("#fact-title", "Lamp & ladder");
  await page.fill("#fact-tuning", "nonsense");
  await page.click("#song form button[type=submit]");
  await page.waitForFunction(() => /nonsense/.test(document.querySelector("#song [role=alert]").textContent));
  assert.equal(await page.inputValue("#fact-title"), "Lamp & ladder");
  await page.fill("#fact-tuning", "standard");
  await page.fill("#fact-credit", "words: nobody");
  await page.click("#song form button[type=submit]");
  await page.waitForFunction(() => document.querySelector("#title").textContent === "Lamp & ladder");
  assert.equal(song().credit, "words: nobody");

  // words, a part to each bar, and fewer of them
  await chooseBar(page, 3);
  await page.click("#tab-change");
  await page.fill("#lyric-text", "oh the | lantern");
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  assert.deepEqual(song().lyrics.map((l) => l.text), ["oh the", "lantern"]);
  assert.equal(await page.inputValue("#lyric-text"), "oh the", "the words of the chosen bar");
  await page.fill("#lyric-text", "");
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  assert.deepEqual(song().lyrics.map((l) => l.text), ["lantern"]);

  // everything that is open in a stretch
  await chooseBar(page, 9);
  for (let i = 0; i < 3; i += 1) await page.keyboard.press("Shift+ArrowRight");
  await does(page, () => page.click("#decide .primary"), /^Saved/);
  now = song();
  for (const number of [9, 10, 11, 12]) for (const c of startsIn(now, number)) assert.equal(c.state, "decided", `bar ${number}`);

  // a new load finds it all
  await page.reload();
  await ready(page);
  now = song();
  assert.equal(await page.textContent("#title"), "Lamp & ladder");
  assert.ok((await page.textContent("#parts")).includes("let it ring <b>"), "the note stands as it was typed");
  await page.check("#written-out");
  const onPage = await page.$$eval("#parts .bar", (bars) => bars.map((b) => [...b.querySelectorAll(".chord")].map((c) => [c.querySelector(".symbol").textContent.replace("?", ""), c.classList.contains("open")])));
  const inLog = now.bars.map((bar, i) => {
    const [from, to] = [i === 0 ? 0 : bar.start_s, i === now.bars.length - 1 ? now.duration_s : bar.end_s];
    const isSilence = (c) => c.label === "N" && (c.end_s <= bar.start_s + 0.02 || c.start_s >= bar.end_s - 0.02);
    const own = now.chords.filter((c) => c.start_s < to - 0.02 && c.end_s > from + 0.02 && !isSilence(c));
    // neighbours of one name show once, unconfirmed if one of them is
    const shown = [];
    for (const c of own) {
      if (shown.at(-1)?.[0] !== c.symbol) shown.push([c.symbol, c.state === "open"]);
      else shown.at(-1)[1] ||= c.state === "open";
    }
    return shown;
  });
  assert.deepEqual(onPage, inLog, "the chart says what the log says");
  // the tuning that was refused is the browser's business: it prints 400 as an error
  page.complaints = page.complaints.filter((text) => !text.includes("400"));
  contented(page, desk.origin);
}

export async function writes({ program, log }) {
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const song = () => shown(program, log);

  // a shape is named while it is typed, and written with its name
  await chooseBar(page, 4);
  await page.keyboard.press("t");
  await page.keyboard.type("x02210");
  await page.waitForFunction(() => /is Am\b/.test(document.querySelector("#own-named").textContent));
  await does(page, () => page.keyboard.press("Enter"), /^Saved/);
  let [chord] = startsIn(song(), 4);
  assert.deepEqual([chord.label, chord.state, chord.shapes[0], chord.n_decided_shapes], ["A:min", "decided", "x02210", 1]);

  // either, or
  await page.click("#tab-fingering");
  await page.waitForSelector('#card [data-key^="or "]');
  await does(page, () => page.locator('#card [data-key^="or "]').first().click(), / or /);
  [chord] = startsIn(song(), 4);
  assert.equal(chord.n_decided_shapes, 2);
  assert.equal(chord.shapes[0], "x02210");

  // completion by arrows
  await chooseBar(page, 8);
  await page.keyboard.press("t");
  await page.keyboard.type("Dm");
  await page.waitForSelector("#own-list:not([hidden]) li");
  await page.keyboard.press("ArrowDown");
  const offered = await page.getAttribute("#own-list li[aria-selected=true]", "data-text");
  assert.equal(await page.getAttribute("#own", "aria-activedescendant"), await page.getAttribute("#own-list li[aria-selected=true]", "id"));
  await page.keyboard.press("Enter");
  assert.equal(await page.inputValue("#own"), offered);
  await page.waitForFunction(() => /Reads as/.test(document.querySelector("#own-named").textContent));
  await does(page, () => page.keyboard.press("Enter"), /^Saved: bar 8/);
  [chord] = startsIn(song(), 8);
  assert.equal(chord.state, "decided");
  assert.ok(chord.label.startsWith("D:"), chord.label);

  // what is no chord is said to be none, and changes nothing
  const bytes = readFileSync(log);
  await page.keyboard.press("t");
  await page.keyboard.type("H7");
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => document.querySelector("#said").textContent.includes("H7"));
  assert.ok(bytes.equals(readFileSync(log)), "the log is as it was");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Escape");
  contented(page, desk.origin);
}

/** What each format begins with, from its standard (from memory). */
const BEGINNINGS = { pdf: "%PDF-", html: "<!doctype html", svg: "<svg", txt: "", musicxml: "<?xml", mid: "MThd", vtt: "WEBVTT", lab: "0.", jams: "{", json: "{" };

export async function delivers({ program, log }) {
  const desk = await startDesk(program, log);
  const context = await openBrowser();
  const page = await openPage(context, desk.url);
  await page.click('a[data-view="deliver"]');
  for (const [format, beginning] of Object.entries(BEGINNINGS)) {
    const [download] = await Promise.all([page.waitForEvent("download"), page.click(`a[data-format="${format}"]`)]);
    const bytes = readFileSync(await download.path());
    assert.ok(bytes.length > 100, `${format} is empty`);
    assert.ok(bytes.toString("latin1").toLowerCase().includes(beginning.toLowerCase()), `${format} begins with ${bytes.subarray(0, 20)}`);
    assert.ok(download.suggestedFilename().endsWith(`.${format}`), download.suggestedFilename());
    assert.ok(bytes.equals(byCommand(program, log, format)), `${format} is what takebook chart writes`);
  }
  // options go along; on a page of their own, since Chromium stops the eleventh file of one page
  const second = await openPage(context, desk.origin);
  await second.click('a[data-view="deliver"]');
  const choose = (words, value) => second.selectOption(`#deliver label:has-text("${words}") select`, value);
  await choose("Repeats", "written_out");
  await second.fill('#deliver label:has-text("In the key of") input', "A");
  const [download] = await Promise.all([second.waitForEvent("download"), second.click('a[data-format="txt"]')]);
  const text = readFileSync(await download.path());
  assert.ok(text.equals(byCommand(program, log, "txt", ["--written-out", "--key", "A"])), "written out, in A");
  // what a beginner gets
  await second.fill('#deliver label:has-text("In the key of") input', "");
  await choose("Repeats", "");
  await choose("Roman numerals", "degrees_under");
  await choose("Tuning", "drop D");
  await second.check('#deliver label:has-text("easy chords only") input');
  await second.check('#deliver label:has-text("little ink") input');
  const [easy] = await Promise.all([second.waitForEvent("download"), second.click('a[data-format="svg"]')]);
  const asked = ["--degrees=under", "--tuning", "drop D", "--easy", "--save-ink"];
  assert.ok(readFileSync(await easy.path()).equals(byCommand(program, log, "svg", asked)), "simplified, in drop-d");
  await keepsVersions(second, { program, log, choose });
  const [print] = await Promise.all([context.waitForEvent("page"), page.click("text=Print view")]);
  await print.waitForLoadState();
  assert.match(await print.title(), /./);
  assert.ok((await print.textContent("body")).includes(shown(program, log).title), "the print view is the chart");
  contented(page, desk.origin);
}

/** The settings of the page as a student's version: saved, chosen again, charted, removed. */
async function keepsVersions(page, { program, log, choose }) {
  const told = (words) => page.waitForFunction((w) => document.querySelector(".versions [role=status]").textContent.includes(w), words);
  const versions = () => shown(program, log).versions;
  await page.fill('.versions label:has-text("Name") input', "Beginner");
  await page.fill('.versions label:has-text("For") input', "Robin");
  await page.click("text=Save these settings");
  await told("Beginner is saved");
  assert.deepEqual(versions(), [{ name: "Beginner", student: "Robin", settings: { tuning: versions()[0].settings.tuning, degrees: "under", easy: true, save_ink: true } }]);
  await choose("Version", "");
  assert.equal(await page.isChecked('#deliver label:has-text("easy chords only") input'), false, "the song as it is");
  await choose("Version", "Beginner");
  const [download] = await Promise.all([page.waitForEvent("download"), page.click('a[data-format="txt"]')]);
  assert.ok(readFileSync(await download.path()).equals(byCommand(program, log, "txt", ["--for", "Robin"])), "as the command line writes it");
  await page.click("text=Remove the version");
  await told("Beginner is removed");
  assert.deepEqual(versions(), []);
}

export async function showsKeys({ program, log }) {
  const command = (...words) => execFileSync(program, [words[0], log, ...words.slice(1)]);
  command("confirm", "10", "--key", "A");
  const desk = await startDesk(program, log);
  const page = await openPage(await openBrowser(), desk.url);
  const rows = () => page.$$eval("#parts .new-key", (all) => all.map((n) => [n.textContent, n.nextElementSibling.dataset.first]));
  const until = (n) => page.waitForFunction((m) => document.querySelectorAll("#parts .new-key").length === m, n);
  assert.deepEqual(await rows(), [["Key of A major", "10"]], "a line begins where the key does");
  assert.match(await page.textContent("#facts"), /G major, A major from bar 10 ·/);
  assert.match(byCommand(program, log, "txt").toString(), /Key: A major\n +10 /, "as on the printed chart");
  // the bars before it still fill their lines, and what was heard keeps its ground plan
  assert.deepEqual(await page.$$eval("#parts .line", (all) => all.slice(0, 4).map((n) => n.dataset.first)), ["1", "5", "9", "10"]);
  await chooseBar(page, 10);
  await page.waitForSelector(".evidence .heard");
  // back to the first key, by another program while the page is open
  command("confirm", "14", "--key", "G");
  await until(2);
  assert.deepEqual(await rows(), [["Key of A major", "10"], ["Key of G major", "14"]]);
  await does(page, () => page.click("#undo"), /^Undone/);
  await until(1);
  contented(page, desk.origin);
}

function byCommand(program, log, format, options = []) {
  try {
    return execFileSync(program, ["chart", log, "-o", "-", "--format", format, ...options], { stdio: ["ignore", "pipe", "ignore"] });
  } catch (answer) {
    if (answer.status !== 1) throw answer;
    return answer.stdout;
  }
}
