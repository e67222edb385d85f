// The orders that the songs can stand in, each with the heads that its groups have.

import { keyWords } from "./music.js";
import { studentsOf } from "./songs_students.js";

const LETTERS = new Intl.Collator("en", { sensitivity: "base", numeric: true });
const DAY_MS = 86_400_000;

/** Tempos of the groups, bpm, and lengths, s: each up to the next. */
const TEMPOS = [0, 80, 100, 120, 140];
const LENGTHS = [0, 120, 180, 240, 300];

/** Each order: its words, how two songs stand to each other, and the head of the group of one. */
export const ORDERS = {
  title: { words: "title", compare: () => 0, head: (s) => letter(s.title), isLetters: true },
  touched: { words: "last worked on", compare: (a, b) => (b.touched ?? "").localeCompare(a.touched ?? ""), head: (s) => day(s.touched) },
  todo: { words: "still to confirm", compare: (a, b) => left(b) - left(a), head: (s) => (left(s) > 0 ? "To confirm" : "Confirmed") },
  key: { words: "key", compare: (a, b) => LETTERS.compare(keyOrder(a.key), keyOrder(b.key)), head: (s) => keyHead(s.key) },
  tempo: { words: "tempo", compare: (a, b) => (a.tempo_bpm ?? Infinity) - (b.tempo_bpm ?? Infinity), head: (s) => (s.tempo_bpm === null ? "No tempo" : band(Math.round(s.tempo_bpm), TEMPOS, (n) => String(n), " bpm")) },
  student: { words: "student", compare: (a, b) => LETTERS.compare(students(a) || "\uffff", students(b) || "\uffff"), head: (s) => students(s) || "Nobody\u2019s" },
  length: { words: "length", compare: (a, b) => a.duration_s - b.duration_s, head: (s) => band(s.duration_s, LENGTHS, (n) => String(n / 60), " min") },
};

/** The students of a song by name, as one text. */
const students = (song) => studentsOf(song).sort(LETTERS.compare).join(", ");

/** Chords that are not confirmed yet. */
export const left = (song) => song.n_chords - song.n_confirmed;

/** Songs in groups, `[head, songs]`; what cannot be opened comes first in every order. */
export function grouped(songs, name) {
  const order = ORDERS[name];
  const sorted = [...songs].sort((a, b) => Boolean(b.trouble) - Boolean(a.trouble) || (a.trouble ? 0 : order.compare(a, b)) || LETTERS.compare(a.title, b.title) || LETTERS.compare(a.file, b.file));
  const groups = new Map();
  for (const song of sorted) {
    const head = song.trouble ? "Cannot be opened" : order.head(song);
    if (!groups.has(head)) groups.set(head, []);
    groups.get(head).push(song);
  }
  return [...groups];
}

/** First letter of a title without its accent; figures and signs together. */
function letter(title) {
  const [first = ""] = title.trim().normalize("NFD").toUpperCase();
  return /\p{L}/u.test(first) ? first : "0–9";
}

/** Roots from A on, major before minor; songs without a key last. */
const keyOrder = (key) => key ?? "Z";
const keyHead = (key) => (key ? keyWords(key) : "No key");

/** The band that a number lies in: "under 80 bpm", "80 to 100 bpm", "140 bpm and more". */
function band(value, edges, words, unit) {
  const i = edges.findLastIndex((edge) => value >= edge);
  if (i <= 0) return `under ${words(edges[1])}${unit}`;
  return i === edges.length - 1 ? `${words(edges[i])}${unit} and more` : `${words(edges[i])} to ${words(edges[i + 1])}${unit}`;
}

/** "Today", "Yesterday", "This week", then the month. */
function day(at) {
  if (!at) return "No date";
  const then = new Date(at);
  const midnight = (date) => new Date(date.getFullYear(), date.getMonth(), date.getDate()).getTime();
  const days = Math.round((midnight(new Date()) - midnight(then)) / DAY_MS);
  if (days <= 0) return "Today";
  if (days === 1) return "Yesterday";
  if (days < 7) return "Last 7 days";
  return then.toLocaleDateString("en-GB", { month: "long", year: "numeric" });
}
