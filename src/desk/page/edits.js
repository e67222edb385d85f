// The decisions a user can make about what is chosen. Each is one request; the server
// keeps it by the same rules as the command line.

import { decide } from "./decide.js";
import { moveChange, nudged } from "./evidence_changes.js";
import { isPlaying, now, player } from "./player.js";
import { say } from "./say.js";
import { barAt, barByNumber, beatsIn, choose, chordsIn, chosen, desk, nextOpen, partOf, sectionOf, stretch } from "./state.js";

const here = () => {
  const bar = desk.song.bars[desk.bar];
  return desk.barTo > desk.bar ? `bars ${bar.number} to ${desk.song.bars[desk.barTo].number}` : `bar ${bar.number}`;
};

const many = () => desk.barTo > desk.bar;

/** What a decision is about, as the program wants it: a stretch or a moment of the recording, s. */
const from_to = (start_s, end_s) => ({ places: [{ start_s, end_s }] });
const at = (at_s) => ({ places: [{ at_s }] });

/** The whole chord; neighbours of one name that show as one are several places. */
const whole = (chord) => ({ places: membersOf(chord).map(({ start_s, end_s }) => ({ start_s, end_s })), repeats: desk.repeats });
const membersOf = (chord) => chord.members ?? [chord];

/** What a decision about a chord shows at once, here and in the repeats it is carried to. */
function effectsOf(chord, what = {}) {
  const own = { start_s: chord.start_s, end_s: chord.end_s, ...what };
  if (!desk.repeats) return [own];
  return [own, ...twinsOf(chord).map((c) => ({ ...what, start_s: c.start_s, end_s: c.end_s }))];
}

/**
 * The bars of the repeats of some bars, by number: those that decisions are carried to (`same`),
 * and those that are left out, since they differ (`differ`). By the rule of the program: a
 * stretch is the same as a whole or not, within its section.
 */
export function repeatsOf(from, to) {
  const { bars } = desk.song;
  const last = Math.min(to, barByNumber(sectionOf(from)?.last_bar ?? bars[to].number));
  const found = { same: [], differ: [] };
  const first = [...(bars[from].repeats ?? []), ...(bars[from].repeats_that_differ ?? [])];
  for (const number of first.sort((a, b) => a - b)) {
    const at = barByNumber(number);
    let [isThere, isSame] = [true, true];
    for (let i = 0; i <= last - from; i += 1) {
      const [own, twin] = [bars[from + i], bars[at + i]?.number];
      const same = own.repeats?.includes(twin) ?? false;
      isSame &&= same;
      isThere &&= same || (own.repeats_that_differ?.includes(twin) ?? false);
    }
    if (isThere) found[isSame ? "same" : "differ"].push(number);
  }
  return found;
}

/** The repeats of what is chosen: of the bars, or of the bars that the chosen chord sounds in. */
export function repeatsOfChoice() {
  const chord = chosen();
  if (many() || !chord) return repeatsOf(desk.bar, desk.barTo);
  return repeatsOf(barAt(chord.start_s), barAt(chord.end_s - 0.001));
}

/** The same chord at the same place of the repeats that decisions are carried to. */
export function twinsOf(chord) {
  const bar = desk.song.bars[desk.bar];
  const place = (c, b) => (c.start_s - b.start_s) / (b.end_s - b.start_s);
  const first = barAt(chord.start_s);
  return repeatsOf(first, barAt(chord.end_s - 0.001)).same.flatMap((number) => {
    const index = barByNumber(number) + desk.bar - first;
    const other = desk.song.bars[index];
    if (!other) return [];
    return chordsIn(index).filter((c) => c.label === chord.label && Math.abs(place(c, other) - place(chord, bar)) < 0.13);
  });
}

/** Confirms the chosen chord, or every unconfirmed one in the chosen bars, and goes on. */
export function confirmIt({ goOn = true } = {}) {
  const chord = chosen();
  if (!chord) return Promise.resolve(false);
  const { from, to } = stretch();
  let sent = Promise.resolve(true);
  if (!many() && chord.state === "decided") say(`${here()}: ${chord.symbol} is confirmed already.`);
  else {
    const place = many() ? { ...from_to(from, to), repeats: desk.repeats } : whole(chord);
    const effects = many() ? [{ start_s: from, end_s: to }] : effectsOf(chord);
    say(`${here()}: ${many() ? "confirmed" : `${chord.symbol} confirmed`}.`);
    sent = decide(`${here()} as proposed`, { ...place, accept: true }, effects);
  }
  if (goOn) goToOpen();
  return sent;
}

/** What was decided about the chosen chord, or about all in the chosen bars, is taken back: as proposed again. */
export function unconfirm() {
  const chord = chosen();
  if (!chord) return Promise.resolve(false);
  const { from, to } = stretch();
  const isDecided = (c) => c.state === "decided" || c.n_decided_shapes > 0;
  if (!many() && !membersOf(chord).some(isDecided)) return say(`${here()}: ${chord.symbol} is not confirmed.`);
  const place = many() ? { ...from_to(from, to), repeats: desk.repeats } : whole(chord);
  const effects = many() ? [{ start_s: from, end_s: to, open: true }] : effectsOf(chord, { open: true });
  return decide(`${here()} unconfirmed`, { ...place, unconfirm: true }, effects);
}

/** The chords of the chosen bar as they sound in detail, each for its own time. */
export function writeDetail(chords) {
  return decide(`${here()} with every harmony`, chords.map((c) => ({ ...from_to(c.start_s, c.end_s), repeats: desk.repeats, chord: c.label })));
}

/** Confirms all chords between two moments that are at least so sure. */
export function confirmMany({ from, to, least, words }) {
  return decide(words, { ...from_to(from, to), accept: true, at_least: Math.round(least * 100) }, [{ start_s: from, end_s: to, least }]);
}

export function goToOpen(back = false) {
  const next = nextOpen(back);
  if (next) choose(next.bar, { part: next.part, keepHead: isPlaying() && player.loop === null });
  else say("Every chord is confirmed.");
}

/** Candidates as they are shown: the most probable first; `n` is the number that the song gives them. */
export const candidatesOf = (chord) => (chord?.candidates ?? []).map((c, i) => ({ ...c, n: i + 1 })).sort((a, b) => b.probability - a.probability);

/** Confirms a candidate by its place in the list, and goes on. */
export function takeCandidate(place) {
  const chord = chosen();
  const candidate = candidatesOf(chord)[place - 1];
  if (!candidate) return say(`There is no candidate ${place} here.`);
  const which = chord.members ? { chord: candidate.label } : { candidate: candidate.n };
  say(`${here()}: ${candidate.symbol} confirmed.`);
  const sent = decide(`${here()}: ${candidate.symbol}`, { ...whole(chord), ...which }, effectsOf(chord, { label: candidate.label, symbol: candidate.symbol }));
  goToOpen();
  return sent;
}

/** The user's own chord, for the part of the bar that it sounds in; a shape with it if given. */
export function writeChord(text, { shape = null, or = null, symbol = text } = {}) {
  const chord = chosen();
  const own = partOf(chord, desk.song.bars[desk.bar]);
  return decide(`${here()}: ${symbol}`, {
    ...from_to(own.from, own.to),
    repeats: desk.repeats,
    chord: text,
    ...(shape ? { shape } : {}),
    ...(or ? { alt_shape: or } : {}),
  });
}

export function writeShape(shape, or = null) {
  const chord = chosen();
  const words = `${here()}: fingering ${shape}${or ? ` or ${or}` : ""}`;
  return decide(words, { ...whole(chord), shape, ...(or ? { alt_shape: or } : {}) });
}

/** The chords that "this fingering for every" one of the name would change. */
export const chordsToFinger = (label, shape) => desk.song.chords.filter((c) => c.label === label && (c.shapes[0] !== shape || c.n_decided_shapes !== 1));

/** This fingering for every chord of the name, as one decision. */
export function shapeForAll(shape) {
  const { label, symbol } = chosen();
  const all = chordsToFinger(label, shape);
  if (all.length === 0) return say(`Every ${symbol} is fingered ${shape} already.`);
  return decide(`every ${symbol} fingered ${shape}`, { places: all.map(({ start_s, end_s }) => ({ start_s, end_s })), shape });
}

/** A bar that is longer or shorter than the others. */
export function barBeats(n) {
  const { number } = desk.song.bars[desk.bar];
  const all = [number, ...(desk.repeats ? repeatsOf(desk.bar, desk.bar).same : [])].sort((a, b) => a - b);
  return decide(`bar ${all.join(", ")}: ${n} beats`, { bar_beats: all.map((bar) => ({ bar, n_beats: n })) });
}

/** Another key from the chosen bar on. */
export const keyFromHere = (key) => decide(`${key} from ${here()} on`, { ...at(stretch().from), key, repeats: desk.repeats });

/** The first beat of the song is at the playhead, or at the chosen bar. */
export function firstDownbeat(seconds) {
  return decide(`first beat at ${seconds.toFixed(2)} s`, { first_downbeat: seconds });
}

export function writeNote(text) {
  const { from, to } = stretch();
  return decide(`note for ${here()}`, { ...from_to(from, to), note: text, repeats: desk.repeats });
}

/** Words from the chosen bar on, a part to each bar; a bar whose part is empty loses its words. */
export function writeWords(text) {
  const { from, to } = stretch();
  const n = desk.barTo - desk.bar + 1;
  const parts = text.split("|");
  // what was there in the chosen bars goes with what replaces it
  const all = parts.concat(Array(Math.max(0, n - parts.length)).fill(""));
  const lyric = all.length === 1 ? `${all[0].trim()}` : all.map((part) => part.trim()).join(" | ");
  return decide(`words from ${here()} on`, { ...from_to(from, to), lyric });
}

/** The chord changes at a beat; without one, at the beat nearest to the sound, or in mid-bar. */
export function splitAt(seconds) {
  const beats = beatsIn(desk.bar);
  const bar = desk.song.bars[desk.bar];
  const t = now();
  const inside = t > bar.start_s + 0.05 && t < bar.end_s - 0.05;
  const nearest = beats.slice(1).sort((a, b) => Math.abs(a - t) - Math.abs(b - t))[0];
  const moment = seconds ?? (inside ? nearest : beats[Math.floor(beats.length / 2)]);
  if (moment === undefined || moment <= bar.start_s + 0.02) return say("This bar has one beat only: there is nothing to split.");
  desk.apart.push(moment);
  return decide(`split in ${here()}`, { ...at(moment), split: true, repeats: desk.repeats });
}

/** The chosen bars hold one chord; a single chord is joined with the one after it. */
export function join() {
  const chord = chosen();
  const after = desk.song.chords.find((c) => c.start_s >= chord.end_s - 0.001);
  if (!many() && !after) return say("No chord follows: there is nothing to join.");
  const { from, to } = stretch();
  const place = many() ? from_to(from, to) : from_to(chord.start_s, after.end_s);
  return decide(`one chord in ${here()}`, { ...place, join: true, repeats: desk.repeats });
}

/** Moves the chosen chord's start by a half beat; it stays chosen, also where another now begins the bar. */
export async function nudge(way) {
  const chord = chosen();
  const to = nudged(chord, way);
  if (chord.start_s < 0.02 || to === undefined) return say("The first chord starts with the recording.");
  const bar = desk.bar;
  if (!(await moveChange(chord, to)) || desk.bar !== bar) return;
  const part = chordsIn(bar).findIndex((c) => Math.abs(c.start_s - to) < 0.02);
  if (part >= 0) choose(bar, { part, to: desk.barTo });
}

export function nameSection(name) {
  const { from, to } = stretch();
  return decide(`section named ${name}`, { ...from_to(from, to), section_name: name });
}

export function letterSection(letter) {
  const { from, to } = stretch();
  return decide(`section lettered ${letter}`, { ...from_to(from, to), section_letter: letter });
}

export function sectionStarts() {
  return decide(`a section starts at ${here()}`, { ...at(stretch().from), new_section: true });
}

export function sectionGoesOn() {
  return decide(`no section starts at ${here()}`, { ...at(stretch().from), merge_section: true });
}

/** What marking an ending would do here: the letter that this section then repeats, or why not. */
export function endingPlan() {
  const own = sectionOf(desk.bar);
  const index = desk.song.sections.indexOf(own);
  const before = desk.song.sections[index - 1];
  if (!own || !before) return { why: "There is no section before this one that it could repeat." };
  const last = desk.song.bars[desk.barTo];
  const ends = last.number >= own.last_bar;
  return { letter: before.letter, from: desk.song.bars[desk.bar].number, cut: ends ? null : last.end_s, same: own.letter === before.letter };
}

/**
 * The chosen bars are another ending of the section before: the section gets its letter
 * (and ends with the chosen bars), so that the chart prints a first and a second ending.
 */
export async function markEnding() {
  const plan = endingPlan();
  if (plan.why) return say(plan.why);
  if (plan.same && plan.cut === null) return say(`This section is ${plan.letter} already; where its last bars differ, the chart prints endings.`);
  // the section as a whole, from its first bar
  const from = desk.song.bars[barByNumber(sectionOf(desk.bar).first_bar)].start_s;
  const cut = plan.cut === null ? [] : [{ ...at(plan.cut), new_section: true }];
  const letter = plan.same ? [] : [{ ...from_to(from, stretch().to), section_letter: plan.letter }];
  return decide(`ending from bar ${plan.from}`, [...cut, ...letter]);
}

export const aboutTake = (what) => decide("song details", what);
