// The song set in lines as on a lead sheet: sections folded into repeats with first and
// second endings, cut into lines of a few bars. Pure: from a song to plain values.
// Folds by the same rule as the printed chart.

import { keyAt } from "./music.js";
import { chordsIn } from "./state.js";

/** Two chords start at the same place in their bars if they differ by less, of a bar. */
const SAME_PLACE = 0.13;
/** More chords than this make a bar wider. */
const MOST_IN_CELL = 4;

/**
 * Gives parts `{letter, name, differs, times, numbers, lines}`; a line is a list of
 * measures `{bars, cells, ending, newKey, repeatStart, repeatEnd, last}`, `bars` being the indices
 * of the bars that the printed one stands for, one a pass. `newKey` is the label of the key
 * that begins there, and then the measure begins a line.
 */
export function setInLines(song, { folded, perLine }) {
  const parts = folded ? fold(song, split(song)) : split(song);
  markKeys(song, parts);
  return parts.map((part) => finish(song, part, perLine));
}

/** Where a new key begins: at the first bar printed in it, and where a repeat goes back to another. */
function markKeys(song, parts) {
  let before = song.key;
  for (const part of parts) {
    const keyOf = (measure) => keyAt(song, song.bars[measure.bars[0]].start_s);
    const begins = isPickup(song, part.measures[0]) && part.measures.length > 1 ? 1 : 0;
    const goesBack = part.times > 1 && keyOf(part.measures[begins]) !== keyOf(part.measures.at(-1));
    let split = before;
    part.measures.forEach((measure, i) => {
      const key = keyOf(measure);
      if (measure.ending === null) split = key;
      if (key !== before || (goesBack && i === begins)) measure.newKey = key;
      before = key;
    });
    if (part.second.length > 0) before = split;
    for (const measure of part.second) {
      const key = keyOf(measure);
      if (key !== before) measure.newKey = key;
      before = key;
    }
  }
}

const isPickup = (song, measure) => song.bars[measure.bars[0]].number === 0;

function split(song) {
  const starts = song.sections.length > 0 ? song.sections : [{ letter: "", name: null, differs: "", first_bar: 0 }];
  const parts = starts.map((s) => ({
    letter: s.letter,
    names: s.name ? [s.name] : [],
    differs: s.differs,
    times: 1,
    measures: [],
    second: [],
  }));
  song.bars.forEach((bar, index) => {
    const at = starts.findLastIndex((s) => s.first_bar <= bar.number);
    parts[Math.max(0, at)].measures.push({ bars: [index], ending: null });
  });
  return parts.filter((p) => p.measures.length > 0);
}

function fold(song, parts) {
  const out = [];
  for (const part of parts) {
    const last = out.at(-1);
    const [n, m] = [last?.measures.length, part.measures.length];
    if (!last || last.letter !== part.letter || last.second.length > 0 || song.bars[part.measures[0].bars[0]].number === 0) {
      out.push(part);
      continue;
    }
    let common = 0;
    while (common < Math.min(n, m) && same(song, last.measures[common].bars[0], part.measures[common].bars[0])) common += 1;
    const whole = common === n && common === m;
    const endings = last.times === 1 && common * 2 >= n && common * 2 >= m && common < n && common < m;
    if (!whole && !endings) {
      out.push(part);
      continue;
    }
    for (let i = 0; i < common; i += 1) last.measures[i].bars.push(...part.measures[i].bars);
    if (endings) {
      for (const measure of last.measures.slice(common)) measure.ending = 1;
      last.second = part.measures.slice(common).map((measure) => ({ ...measure, ending: 2 }));
    }
    last.times += 1;
    for (const name of part.names) if (!last.names.includes(name)) last.names.push(name);
  }
  return out;
}

/** Whether two bars say the same. */
export function same(song, a, b) {
  const [x, y] = [placed(song, a), placed(song, b)];
  const key = (index) => keyAt(song, song.bars[index].start_s);
  return (
    song.bars[a].n_beats === song.bars[b].n_beats &&
    key(a) === key(b) &&
    x.length === y.length &&
    x.every((c, i) => c.label === y[i].label && Math.abs(c.place - y[i].place) < SAME_PLACE)
  );
}

function placed(song, index) {
  const bar = song.bars[index];
  const length = bar.end_s - bar.start_s;
  return chordsIn(index, song)
    .filter((c) => c.start_s < bar.end_s - 0.02 && c.end_s > bar.start_s + 0.02)
    .map((c) => ({ label: c.label, place: Math.max(0, (c.start_s - bar.start_s) / length) }));
}

/** A bar of many chords is as wide as several. */
function cellsOf(song, measure) {
  const most = Math.max(...measure.bars.map((b) => chordsIn(b, song).length));
  return Math.max(1, Math.ceil(most / MOST_IN_CELL));
}

function finish(song, part, perLine) {
  const pickup = part.measures.filter((m) => isPickup(song, m));
  const full = part.measures.filter((m) => !isPickup(song, m));
  for (const m of pickup) m.cells = 1;
  const lines = pickup.length > 0 ? [pickup] : [];
  for (const bars of [full, part.second]) {
    let line = null;
    for (const measure of bars) {
      measure.cells = Math.min(perLine, cellsOf(song, measure));
      const taken = line?.reduce((n, m) => n + m.cells, 0);
      if (!line || taken + measure.cells > perLine || measure.newKey) lines.push((line = []));
      line.push(measure);
    }
  }
  if (part.times > 1 && full.length > 0) {
    full[0].repeatStart = true;
    full.at(-1).repeatEnd = true;
  }
  lines.at(-1).at(-1).last = true;
  for (const line of lines) {
    line.forEach((measure, i) => {
      const before = i === 0 ? null : line[i - 1].ending;
      measure.endingStarts = measure.ending !== null && measure.ending !== before;
    });
  }
  const passes = Array.from({ length: part.times }, (_, pass) => {
    const own = [...part.measures, ...part.second]
      .map((m) => (m.ending ? (m.ending === pass + 1 ? m.bars[0] : undefined) : m.bars[pass]))
      .filter((b) => b !== undefined)
      .map((b) => song.bars[b].number);
    return [own[0], own.at(-1)];
  });
  return { letter: part.letter, name: part.names.join(" / "), differs: part.differs, times: part.times, passes, lines };
}
