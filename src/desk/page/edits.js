// The decisions a user can make about what is chosen. Each is one request; the server
// keeps it by the same rules as the command line.

import { decide } from "./decide.js";
import { moveChange, nudged } from "./evidence_changes.js";
import { isPlaying, now, player } from "./player.js";
import { say } from "./say.js";
import { barByNumber, beatsIn, choose, chordsIn, chosen, desk, nextOpen, partOf, sectionOf, stretch } from "./state.js";

const here = () => {
  const bar = desk.song.bars[desk.bar];
  return desk.barTo > desk.bar ? `bars ${bar.number} to ${desk.song.bars[desk.barTo].number}` : `bar ${bar.number}`;
};

const many = () => desk.barTo > desk.bar;

/** Start and end of what a chord decision is about: the whole chord. */
const whole = (chord) => ({ start_s: chord.start_s, end_s: chord.end_s, repeats: desk.repeats });

/** What a decision about a chord shows at once, here and in the repeats it is carried to. */
function effectsOf(chord, what = {}) {
  const own = { start_s: chord.start_s, end_s: chord.end_s, ...what };
  if (!desk.repeats) return [own];
  return [own, ...twinsOf(chord).map((c) => ({ ...what, start_s: c.start_s, end_s: c.end_s }))];
}

/** The same chord at the same place of the repeats. */
export function twinsOf(chord) {
  const bar = desk.song.bars[desk.bar];
  const place = (c, b) => (c.start_s - b.start_s) / (b.end_s - b.start_s);
  return (bar.repeats ?? []).flatMap((number) => {
    const index = barByNumber(number);
    const other = desk.song.bars[index];
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
    const place = many() ? { start_s: from, end_s: to, repeats: desk.repeats } : whole(chord);
    const effects = many() ? [{ start_s: from, end_s: to }] : effectsOf(chord);
    say(`${here()}: ${many() ? "confirmed" : `${chord.symbol} confirmed`}.`);
    sent = decide(`${here()} as proposed`, { ...place, take: "proposed" }, effects);
  }
  if (goOn) goToOpen();
  return sent;
}

/** Confirms all chords between two moments that are at least so sure. */
export function confirmMany({ from, to, least, words }) {
  return decide(words, { start_s: from, end_s: to, take: "proposed", at_least: least }, [{ start_s: from, end_s: to, least }]);
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
    start_s: own.from,
    end_s: own.to,
    repeats: desk.repeats,
    chord: text,
    ...(shape ? { shape } : {}),
    ...(or ? { or_shape: or } : {}),
  });
}

export function writeShape(shape, or = null) {
  const chord = chosen();
  const words = `${here()}: fingering ${shape}${or ? ` or ${or}` : ""}`;
  return decide(words, { ...whole(chord), shape, ...(or ? { or_shape: or } : {}) });
}

/** This fingering for every chord of the name. */
export async function shapeForAll(shape) {
  const { label, symbol } = chosen();
  const all = desk.song.bars.flatMap((_, b) => chordsIn(b)).filter((c) => c.label === label);
  const places = [...new Map(all.map((c) => [c.start_s, c])).values()].filter((c) => c.shapes[0] !== shape || c.n_decided_shapes === 0);
  const sent = places.map((c) => decide(`${symbol} at ${c.start_s.toFixed(1)} s: fingering ${shape}`, { start_s: c.start_s, end_s: c.end_s, shape }));
  const saved = (await Promise.all(sent)).filter(Boolean).length;
  say(`Saved: ${symbol} is fingered ${shape} in ${saved} of ${places.length} places.`);
}

export function writeNote(text) {
  const { from, to } = stretch();
  return decide(`note for ${here()}`, { start_s: from, end_s: to, note: text, repeats: desk.repeats });
}

/** The chord changes at a beat; without one, at the beat nearest to the sound, or in mid-bar. */
export function splitAt(seconds) {
  const beats = beatsIn(desk.bar);
  const bar = desk.song.bars[desk.bar];
  const at = now();
  const inside = at > bar.start_s + 0.05 && at < bar.end_s - 0.05;
  const nearest = beats.slice(1).sort((a, b) => Math.abs(a - at) - Math.abs(b - at))[0];
  const moment = seconds ?? (inside ? nearest : beats[Math.floor(beats.length / 2)]);
  if (moment === undefined || moment <= bar.start_s + 0.02) return say("This bar has one beat only: there is nothing to split.");
  return decide(`split in ${here()}`, { split_at_s: moment, repeats: desk.repeats });
}

/** The chosen bars hold one chord; a single chord is joined with the one after it. */
export function join() {
  const chord = chosen();
  const after = desk.song.chords.find((c) => c.start_s >= chord.end_s - 0.001);
  if (!many() && !after) return say("No chord follows: there is nothing to join.");
  const { from, to } = stretch();
  const place = many() ? { start_s: from, end_s: to } : { start_s: chord.start_s, end_s: after.end_s };
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
  return decide(`section named ${name}`, { start_s: from, end_s: to, section_name: name });
}

export function letterSection(letter) {
  const { from, to } = stretch();
  return decide(`section lettered ${letter}`, { start_s: from, end_s: to, section_letter: letter });
}

export function sectionStarts() {
  return decide(`a section starts at ${here()}`, { section_split_at_s: stretch().from });
}

export function sectionGoesOn() {
  return decide(`no section starts at ${here()}`, { section_join_at_s: stretch().from });
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
  return decide(`ending from bar ${plan.from}`, {
    ...(plan.same ? {} : { start_s: from, end_s: stretch().to, section_letter: plan.letter }),
    ...(plan.cut === null ? {} : { section_split_at_s: plan.cut }),
  });
}

export const aboutTake = (what) => decide("song details", what);
