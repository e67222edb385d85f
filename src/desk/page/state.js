// What the page knows: the song as the log has it, and what is chosen on the page.
// Modules subscribe by name; nothing else is shared.

/** A chord that shares less than this with a bar is not in it, s. */
const TOUCH_S = 0.02;

export const desk = {
  /** The song as it is shown: as the log has it, with what is on its way to the log. */
  song: null,
  /** The song as the log has it, or null before the first answer. */
  saved: null,
  /** Index of the chosen bar, and of the last one of a chosen stretch. */
  bar: 0,
  barTo: 0,
  /** Which of the bar's chords. */
  part: 0,
  /** Sections printed once with repeat signs, or every pass written out. */
  folded: true,
  /** Every harmony that sounds is shown under the song's chords: everywhere, or in these sections (their first bars). */
  detail: false,
  detailIn: new Set(),
  /** Decisions hold for every repeat. */
  repeats: false,
  /** Moments, s, where the user split a chord: both halves are shown, though of one name. */
  apart: [],
  /** Unconfirmed chords come in order, or the least sure first. */
  leastSureFirst: false,
};

const listeners = new Map();

/**
 * Calls `act` whenever `what` is told: "song", "choice" (with whether the user moved it), "view",
 * "line", "sound", "play", "page", "back", "elsewhere", "live", "level", "fragments", "analysis", "check".
 */
export function on(what, act) {
  listeners.set(what, [...(listeners.get(what) ?? []), act]);
}

export function tell(what, value) {
  for (const act of listeners.get(what) ?? []) act(value);
}

/** Takes a song in; the chosen bar stays where it lies in time. */
export function setSong(song) {
  const before = desk.song?.bars[desk.bar]?.start_s;
  const first = desk.song === null;
  desk.song = song;
  if (!first && before !== undefined && song.bars[desk.bar]?.start_s !== before) {
    desk.bar = desk.barTo = barAt(before + 0.01);
  }
  const last = Math.max(0, song.bars.length - 1);
  desk.bar = Math.min(desk.bar, last);
  desk.barTo = Math.min(Math.max(desk.barTo, desk.bar), last);
  desk.part = Math.min(desk.part, Math.max(0, chordsIn(desk.bar).length - 1));
  tell("song");
  tell("choice", false);
}

/** Chooses a bar, and one of its chords; `to` stretches the choice; `head` leaves the playhead alone. */
export function choose(bar, { part = 0, to = null, keepHead = false } = {}) {
  const last = desk.song.bars.length - 1;
  const clamp = (n) => Math.max(0, Math.min(last, n));
  const from = clamp(bar);
  const end = clamp(to ?? bar);
  desk.bar = Math.min(from, end);
  desk.barTo = Math.max(from, end);
  desk.part = Math.max(0, Math.min(part, chordsIn(desk.bar).length - 1));
  tell("choice", !keepHead);
}

/** Chords of each bar of a song, worked out once. */
const byBar = new WeakMap();

/**
 * Chords of a bar, in order; neighbours of one name are one, with its `members`. A chord that
 * sounds before the first bar or after the last one is theirs too, unless it is silence.
 */
export function chordsIn(index, song = desk.song) {
  if (!song?.bars[index]) return [];
  if (!byBar.has(song)) byBar.set(song, sortIntoBars(song));
  return byBar.get(song)[index];
}

function sortIntoBars(song) {
  const last = song.bars.length - 1;
  let first = 0;
  return song.bars.map((bar, index) => {
    const from = index === 0 ? Math.min(0, bar.start_s) : bar.start_s;
    const to = index === last ? Math.max(song.duration_s, bar.end_s) : bar.end_s;
    while (first < song.chords.length && song.chords[first].end_s <= from + TOUCH_S) first += 1;
    const own = [];
    for (let i = first; i < song.chords.length && song.chords[i].start_s < to - TOUCH_S; i += 1) {
      const c = song.chords[i];
      const outside = c.end_s <= bar.start_s + TOUCH_S || c.start_s >= bar.end_s - TOUCH_S;
      if (!(outside && c.label === "N") && c.end_s > from + TOUCH_S) own.push(c);
    }
    return grouped(own);
  });
}

function grouped(chords) {
  const out = [];
  for (const c of chords) {
    const before = out.at(-1);
    if (before?.label !== c.label || desk.apart.some((t) => Math.abs(t - c.start_s) < TOUCH_S)) out.push(c);
    else out[out.length - 1] = together([...(before.members ?? [before]), c]);
  }
  return out;
}

function together(members) {
  const open = members.filter((c) => c.state === "open");
  const least = open.length > 0 ? open.reduce((a, b) => ((a.certainty ?? 1) <= (b.certainty ?? 1) ? a : b)) : members[0];
  return { ...least, members, start_s: members[0].start_s, end_s: members.at(-1).end_s, notes: members.flatMap((c) => c.notes), shapes: members[0].shapes, n_decided_shapes: Math.min(...members.map((c) => c.n_decided_shapes)) };
}

/** The chord's own part of a bar, s; a chord outside of all bars keeps its own time. */
export function partOf(chord, bar) {
  const [from, to] = [Math.max(chord.start_s, bar.start_s), Math.min(chord.end_s, bar.end_s)];
  return to - from > TOUCH_S ? { from, to } : { from: chord.start_s, to: chord.end_s };
}

/** Chords that sound between two moments. */
export const within = (from, to) =>
  desk.song.chords.filter((c) => c.start_s < to - TOUCH_S && c.end_s > from + TOUCH_S);

/**
 * Every harmony that sounds in a bar, where that is more than the bar's chords; neighbours of one
 * name are one. Empty where it says the same.
 */
export function detailIn(index) {
  const heard = desk.song.detail ?? [];
  if (heard.length === 0) return [];
  const bar = desk.song.bars[index];
  const all = once(heard, `${bar.start_s} ${bar.end_s}`, () => joined(heard, bar));
  const names = (chords) => chords.map((c) => c.label).join(" ");
  return names(all) === names(chordsIn(index)) ? [] : all;
}

/** Harmonies inside a bar; neighbours of one name are one. */
function joined(heard, bar) {
  const inside = heard.filter((c) => c.start_s < bar.end_s - TOUCH_S && c.end_s > bar.start_s + TOUCH_S);
  const all = [];
  for (const c of inside) {
    const own = { ...c, start_s: Math.max(c.start_s, bar.start_s), end_s: Math.min(c.end_s, bar.end_s) };
    if (all.at(-1)?.label === c.label) all.at(-1).end_s = own.end_s;
    else all.push(own);
  }
  return all;
}

/** What was worked out of lists of a song, which are new ones whenever they differ. */
const known = new WeakMap();

function once(list, key, work) {
  if (!known.has(list)) known.set(list, new Map());
  const found = known.get(list);
  if (!found.has(key)) found.set(key, work());
  return found.get(key);
}

/** Whether a bar shows every harmony. */
export const isDetailed = (index) => desk.detail || desk.detailIn.has(sectionOf(index)?.first_bar);

/** The chosen chord, or undefined in a song without one. */
export const chosen = () => chordsIn(desk.bar)[desk.part];

/** From and to of the chosen bars, s. */
export const stretch = () => ({
  from: desk.song.bars[desk.bar].start_s,
  to: desk.song.bars[desk.barTo].end_s,
});

/** Index of the bar that sounds at a moment. */
export function barAt(seconds) {
  const found = desk.song.bars.findLastIndex((b) => b.start_s <= seconds + 1e-6);
  return Math.max(0, found);
}

export const barByNumber = (number) => desk.song.bars.findIndex((b) => b.number === number);

/** The section a bar belongs to. */
export const sectionOf = (index) => {
  const number = desk.song.bars[index]?.number;
  return desk.song.sections.findLast((s) => s.first_bar <= number);
};

/** Moments of the beats in a stretch, from 1 in each bar. */
export function beatsIn(index) {
  const bar = desk.song.bars[index];
  const all = desk.song.beats_s;
  const heard = once(all, `${bar.start_s} ${bar.end_s}`, () => all.filter((t) => t >= bar.start_s - 0.01 && t < bar.end_s - 0.01));
  if (heard.length > 0) return heard;
  const n = Math.max(1, bar.n_beats);
  return Array.from({ length: n }, (_, i) => bar.start_s + (i * (bar.end_s - bar.start_s)) / n);
}

/** Unconfirmed chords in order, each once: `{bar, part, certainty}`. */
export function unconfirmed() {
  const found = [];
  desk.song.bars.forEach((bar, index) => {
    const earliest = index === 0 ? -1 : bar.start_s - TOUCH_S;
    chordsIn(index).forEach((c, part) => {
      const open = (c.members ?? [c]).some((m) => m.state === "open" && m.start_s >= earliest);
      if (open) found.push({ bar: index, part, certainty: c.certainty ?? 1 });
    });
  });
  return found;
}

/** The unconfirmed chord that comes after the chosen one, or before it; around the end; or null. */
export function nextOpen(back = false) {
  const all = unconfirmed();
  if (desk.leastSureFirst && !back) return all.sort((a, b) => a.certainty - b.certainty || a.bar - b.bar)[0] ?? null;
  const after = (o) => o.bar > desk.barTo || (o.bar === desk.bar && desk.bar === desk.barTo && o.part > desk.part);
  const before = (o) => o.bar < desk.bar || (o.bar === desk.bar && o.part < desk.part);
  return (back ? (all.findLast(before) ?? all.at(-1)) : (all.find(after) ?? all[0])) ?? null;
}
