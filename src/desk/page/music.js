// Names of notes, moments and degrees of certainty, as people read them.

const SHARP = ["C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B"];
const FLAT = ["C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B"];
/** Keys written with flats (common practice, no source). */
const FLAT_KEYS = /^([A-G]b:|F:maj|[DGCF]:min)/;

/** Spells a pitch class (0 is C) in a key's label, "G:maj" or null. */
export const spelled = (pitchClass, key) =>
  (FLAT_KEYS.test(key ?? "") ? FLAT : SHARP)[((pitchClass % 12) + 12) % 12];

/** "A4" for MIDI 69. */
export const noteName = (midi, key) => spelled(midi, key) + (Math.floor(midi / 12) - 1);

/** Hz in equal temperament with A4 = 440 Hz (ISO 16:1975). */
export const frequency = (midi) => 440 * 2 ** ((midi - 69) / 12);

/** "440.0 Hz" */
export const hertz = (midi) => `${frequency(midi).toFixed(1)} Hz`;

/** "98 %" */
export const percent = (share) => `${Math.round(share * 100)} %`;

/** A probability: ">99 %" and "<1 %" where rounding would claim more than hearing can know. */
export function probability(share) {
  const whole = Math.round(share * 100);
  return whole >= 100 ? ">99 %" : whole <= 0 ? "<1 %" : `${whole} %`;
}

/** How sure hearing is of an open chord, or "" where it was not asked: a file said it. */
export const sureness = (chord) =>
  chord.certainty === null || (chord.candidates.length === 1 && chord.certainty === 1) ? "" : probability(chord.certainty);

/** "0:23.2" */
export function clock(seconds) {
  const tenths = Math.max(0, Math.round(seconds * 10));
  const minutes = Math.floor(tenths / 600);
  return `${minutes}:${((tenths % 600) / 10).toFixed(1).padStart(4, "0")}`;
}

/** Label of the key at a moment of the song, s, or null. */
export const keyAt = (song, time) => song.key_changes.findLast((c) => c.at_s <= time + 0.001)?.key ?? song.key;

/** "G major" for "G:maj" */
export function keyWords(label) {
  const [root, mode] = (label ?? "").split(":");
  if (!root) return "key not found";
  const words = { maj: "major", min: "minor" };
  return `${accidentals(root)} ${words[mode] ?? mode}`;
}

const accidentals = (text) => text.replace(/(?<=[A-G])b/g, "♭").replace(/#/g, "♯");

/** A symbol in its parts: root, kind in plain letters (m, dim), what is set raised, bass. */
export function parts(symbol) {
  const found = /^([A-G][♯♭𝄪𝄫]*)(m(?!aj)|dim|aug)?(.*?)(\/[A-G][♯♭𝄪𝄫]*)?$/u.exec(symbol);
  if (!found) return { root: symbol, kind: "", tail: "", bass: "" };
  const [, root, kind = "", tail, bass = ""] = found;
  return { root, kind, tail, bass };
}

/** Names of open strings, lowest first: E A D G B e; of two of a name the highest is small. */
export function stringNames(tuning) {
  const names = tuning.map((midi) => spelled(midi, null));
  return names.map((name, i) => (names.indexOf(name) < i && names.lastIndexOf(name) === i ? name.toLowerCase() : name));
}

export const plural = (n, one, many = `${one}s`) => `${n} ${n === 1 ? one : many}`;
