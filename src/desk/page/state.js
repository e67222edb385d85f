// What the page knows: the song as the log has it, and what is chosen on the page.
// Modules subscribe by name; nothing else is shared.

/** A chord that shares less than this with a bar is not in it, s. */
const TOUCH_S = 0.02;

export const desk = {
  /** GET /api/song, or null before the first answer. */
  song: null,
  /** Index of the chosen bar, and of the last one of a chosen stretch. */
  bar: 0,
  barTo: 0,
  /** Which of the bar's chords. */
  part: 0,
  /** Sections printed once with repeat signs, or every pass written out. */
  folded: true,
  /** Decisions hold for every repeat. */
  repeats: false,
};

const listeners = new Map();

/** Calls `act` whenever `what` is told: "song", "choice", "view", "sound", "play", "page", "back", "elsewhere", "live", "level", "fragments". */
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
  tell("choice");
}

/** Chooses a bar, and one of its chords; `to` stretches the choice. */
export function choose(bar, { part = 0, to = null } = {}) {
  const last = desk.song.bars.length - 1;
  const clamp = (n) => Math.max(0, Math.min(last, n));
  const from = clamp(bar);
  const end = clamp(to ?? bar);
  desk.bar = Math.min(from, end);
  desk.barTo = Math.max(from, end);
  desk.part = Math.max(0, Math.min(part, chordsIn(desk.bar).length - 1));
  tell("choice");
}

/**
 * Chords that sound in a bar, in order. What sounds before the first bar or after the
 * last one is theirs too, so that no chord is out of reach.
 */
export function chordsIn(index) {
  const song = desk.song;
  const bar = song?.bars[index];
  if (!bar) return [];
  const from = index === 0 ? Math.min(0, bar.start_s) : bar.start_s;
  const to = index === song.bars.length - 1 ? Math.max(song.duration_s, bar.end_s) : bar.end_s;
  return within(from, to);
}

/** The chord's own part of a bar, s; a chord outside of all bars keeps its own time. */
export function partOf(chord, bar) {
  const [from, to] = [Math.max(chord.start_s, bar.start_s), Math.min(chord.end_s, bar.end_s)];
  return to - from > TOUCH_S ? { from, to } : { from: chord.start_s, to: chord.end_s };
}

/** Chords that sound between two moments. */
export const within = (from, to) =>
  desk.song.chords.filter((c) => c.start_s < to - TOUCH_S && c.end_s > from + TOUCH_S);

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
  const heard = desk.song.beats_s.filter((t) => t >= bar.start_s - 0.01 && t < bar.end_s - 0.01);
  if (heard.length > 0) return heard;
  const n = Math.max(1, bar.n_beats);
  return Array.from({ length: n }, (_, i) => bar.start_s + (i * (bar.end_s - bar.start_s)) / n);
}

/** Index of the next bar with an open chord after one, or the first before it, or -1. */
export function nextOpen(after, back = false) {
  const n = desk.song.bars.length;
  // silence before the first bar and after the last is nobody's to decide
  const outside = (c, bar) => c.end_s <= bar.start_s + TOUCH_S || c.start_s >= bar.end_s - TOUCH_S;
  const silence = (c) => c.label === "N" && desk.song.bars.every((bar) => outside(c, bar));
  for (let i = 1; i <= n; i += 1) {
    const at = (after + (back ? n - i : i)) % n;
    const earliest = at === 0 ? -1 : desk.song.bars[at].start_s - TOUCH_S;
    const part = chordsIn(at).findIndex((c) => c.state === "open" && c.start_s >= earliest && !silence(c));
    if (part >= 0) return { bar: at, part };
  }
  return null;
}
