// The decisions a user can make about what is chosen. Each is one request; the server
// keeps it by the same rules as the command line.

import { decide } from "./decide.js";
import { moveChange, nudged } from "./evidence_changes.js";
import { now } from "./player.js";
import { say } from "./say.js";
import { barByNumber, beatsIn, choose, chordsIn, chosen, desk, nextOpen, partOf, sectionOf, stretch } from "./state.js";

const here = () => {
  const bar = desk.song.bars[desk.bar];
  return desk.barTo > desk.bar ? `bars ${bar.number} to ${desk.song.bars[desk.barTo].number}` : `bar ${bar.number}`;
};

const many = () => desk.barTo > desk.bar;

/** What a decision is about, as the program wants it: a stretch or a moment of the take, s. */
const from_to = (start_s, end_s) => ({ places: [{ start_s, end_s }] });
const at = (at_s) => ({ places: [{ at_s }] });

/** The whole chord. */
const whole = (chord) => ({ ...from_to(chord.start_s, chord.end_s), repeats: desk.repeats });

/** Takes the proposal for the chosen chord, or for every open one in the chosen bars. */
export async function takeIt({ goOn = false } = {}) {
  const chord = chosen();
  if (!chord) return;
  const { from, to } = stretch();
  const place = many() ? { ...from_to(from, to), repeats: desk.repeats } : whole(chord);
  if (!many() && chord.state === "decided") say(`${here()}: ${chord.symbol} is decided already.`);
  else if (!(await decide(`${here()} as proposed`, { ...place, accept: true }))) return;
  if (goOn) goToOpen();
}

export function goToOpen(back = false) {
  const found = nextOpen(back ? desk.bar : desk.barTo, back);
  const own = chosen();
  // another open chord in the same bar comes first
  const later = back ? null : openLaterHere(own);
  const next = later ?? found;
  if (next) choose(next.bar, { part: next.part });
  else say("Nothing is open: every chord is decided.");
}

function openLaterHere(own) {
  if (!own || many()) return null;
  const bar = desk.song.bars[desk.bar];
  const part = desk.song.chords
    .filter((c) => c.start_s < bar.end_s - 0.02 && c.end_s > (desk.bar === 0 ? 0 : bar.start_s) + 0.02)
    .findIndex((c) => c.state === "open" && c.start_s > own.start_s);
  return part > 0 ? { bar: desk.bar, part } : null;
}

export function takeCandidate(n) {
  const chord = chosen();
  const candidate = chord?.candidates[n - 1];
  if (!candidate) return say(`There is no candidate ${n} here.`);
  return decide(`${here()}: ${candidate.symbol}`, { ...whole(chord), candidate: n });
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
  const words = `${here()}: shape ${shape}${or ? ` or ${or}` : ""}`;
  return decide(words, { ...whole(chord), shape, ...(or ? { alt_shape: or } : {}) });
}

export function writeNote(text) {
  const { from, to } = stretch();
  return decide(`note for ${here()}`, { ...from_to(from, to), note: text, repeats: desk.repeats });
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
  if (chord.start_s < 0.02 || to === undefined) return say("The first chord starts with the take.");
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
  return decide(`ending from bar ${plan.from}`, ...cut, ...letter);
}

export const aboutTake = (what) => decide("the take's facts", what);
