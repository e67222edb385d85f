"""Invented guitar takes: what is played when, and so what is true.

`invent(seed)` makes a Take of about 40 s.  Times are seconds.  A note is
[on, off, midi, velocity, string, muted]; string 0..5 from low, None for other players.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

import forms
import theory
from shapes import TUNINGS, choose
from theory import QUALITIES

TEXTURES = {"strum": 20, "colour": 12, "slash": 16, "picked": 14, "arpeggio": 5, "fragment": 10,
            "power": 6, "boom-chuck": 5, "top-note": 4, "melody": 4, "sparse": 4}
# what nets already trained got wrong most: two plucked notes, and basses that are not the root
HARDER = {"strum": 16, "colour": 12, "slash": 18, "picked": 12, "arpeggio": 5, "fragment": 22,
          "power": 5, "boom-chuck": 4, "top-note": 3, "melody": 3, "sparse": 3}


@dataclass
class Chord:
    root: int                     # pitch class of what sounds (capo and tuning included)
    quality: str
    bass: int                     # semitones above the root
    start: float                  # beats
    beats: float
    frets: tuple | None           # None: plucks only
    plucks: list = field(default_factory=list)
    silent: str = ""              # "rest", "talk", "drums", "noise": no chord
    time: float = 0.0             # s, first string's onset
    unsure: bool = False          # not graded (bass alone)

    @property
    def label(self):
        return "N" if self.silent else theory.label(self.root, self.quality, self.bass)


@dataclass
class Take:
    seed: int
    texture: str
    bpm: float = 100.0
    bar: float = 4.0              # beats
    meter: str = "4/4"
    swing: float = 0.5
    opens: tuple = ()
    tuning: str = "standard"
    capo: int = 0
    offset: int = 0               # semitones the whole instrument is tuned up (negative: down)
    detune_cents: float = 0.0
    chords: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    bass: list = field(default_factory=list)
    lead: list = field(default_factory=list)
    drums: list = field(default_factory=list)     # [time, key, velocity]
    breaks: list = field(default_factory=list)    # (start, end, what) in s
    end: float = 0.0
    beats: list = field(default_factory=list)     # s; empty in 6/8, whose beats are not laid out here
    downbeats: list = field(default_factory=list)
    sections: list = field(default_factory=list)  # (letter, start in s); only of takes with a form

    @property
    def fragment(self):
        return self.texture == "fragment"


class Clock:
    """Beats to seconds, with a tempo that wanders and a swing on the off-beats."""

    def __init__(self, rng, bpm, beats, swing):
        n = int(math.ceil(beats)) + 4
        drift = abs(rng.normal(0, 0.012)) * (rng.random() < 0.7)
        wander = 1 + drift * np.sin(rng.uniform(0, 6.3) + np.arange(n) * rng.uniform(0.05, 0.4))
        self.at = rng.uniform(0.3, 1.1) + np.concatenate([[0], np.cumsum(60 / bpm * wander)])
        self.swing = swing

    def __call__(self, beat):
        i = int(math.floor(beat + 1e-6))
        f = max(0.0, beat - i)
        s = self.swing
        f = f * 2 * s if f < 0.5 else s + (f - 0.5) * 2 * (1 - s)
        return float(self.at[i] + f * (self.at[i + 1] - self.at[i]))


class Hand:
    """The player: strings that ring until they are played again, damped or left."""

    def __init__(self, rng, take):
        self.rng, self.take = rng, take
        self.ringing = [None] * 6
        self.level = rng.normal(0, 4, 6)
        self.gap = rng.uniform(8, 30) / 1000 if rng.random() < 0.8 else rng.uniform(3, 10) / 1000
        self.jitter = abs(rng.normal(0.004, 0.003))

    def pluck(self, string, fret, t, velocity, length=None, muted=False):
        self.stop(string, t - 0.004)
        v = float(np.clip(velocity + self.level[string] + self.rng.normal(0, 5), 20, 124))
        note = [t, t + length if length else math.inf, self.take.opens[string] + fret, v, string, muted]
        self.take.notes.append(note)
        self.ringing[string] = (note, fret)
        return note

    def stop(self, string, t):
        if self.ringing[string]:
            note = self.ringing[string][0]
            note[1] = max(note[0] + 0.02, min(note[1], t))
            self.ringing[string] = None

    def stop_all(self, t):
        for s in range(6):
            self.stop(s, t + self.rng.uniform(0, 0.03))

    def change(self, frets, t):
        """Fingers that move damp their strings, those that stay let them ring."""
        for s in range(6):
            if self.ringing[s] and (frets is None or frets[s] != self.ringing[s][1]):
                open_left = self.ringing[s][1] == 0 and frets is not None and frets[s] is None
                if not (open_left and self.rng.random() < 0.15):
                    self.stop(s, t + self.rng.uniform(-0.04, 0.03))

    def strum(self, strings, t, velocity, length=None, muted=False, slope=-1.0):
        gap = self.gap * self.rng.uniform(0.7, 1.3)
        for k, (s, f) in enumerate(strings):
            self.pluck(s, f, t, velocity + slope * k, length, muted)
            t += float(np.clip(gap * self.rng.uniform(0.8, 1.2), 0.002, 0.032))

    def moment(self, t):
        return t + float(np.clip(self.rng.normal(0, self.jitter), -0.015, 0.015))


# ---- patterns: one code per slot of a bar --------------------------------

def strum_pattern(rng, bar):
    """Eighth or sixteenth slots; down on the strong places, up between them."""
    fine = rng.random() < 0.25
    per = 4 if fine else 2
    slots, density = [], rng.uniform(0.1, 0.9)
    for k in range(int(bar * per)):
        strong = k % per == 0
        if k == 0:
            slots.append("D")
        elif strong:
            slots.append(str(rng.choice(list("DDdTx."), p=_p([5, 2, 2, 1.2, .7, 6 * (1 - density)]))))
        else:
            down = fine and k % 2 == 0
            codes = "dTx." if down else "Uux."
            slots.append(str(rng.choice(list(codes), p=_p([2 * density, density, .35, 2.2 * (1 - density) + .3]))))
    return slots, 1 / per


def _p(w):
    return np.array(w) / sum(w)


def boom_pattern(rng, bar):
    n = int(bar)
    kind = rng.integers(4)
    if kind == 0:
        slots = ["B." if k % 2 == 0 else "T." for k in range(n)]
    elif kind == 1:
        slots = ["B." if k % 4 == 0 else "b." if k % 2 == 0 else "TU" for k in range(n)]
    elif kind == 2:
        slots = ["B." if k == 0 else "T." if rng.random() < .6 else "TU" for k in range(n)]
    else:
        slots = ["B." if k == 0 else "b." if k == 2 else "T." for k in range(n)]
    return list("".join(slots)), 0.5


def power_pattern(rng, bar):
    per = 4 if rng.random() < 0.25 else 2
    slots = ["D" if k == 0 else str(rng.choice(list("mmmDp.."))) for k in range(int(bar * per))]
    if rng.random() < 0.3:
        slots = ["D"] + [str(rng.choice([".", "D"], p=[.85, .15])) for _ in range(int(bar * per) - 1)]
    return slots, 1 / per


def pick_pattern(rng, bar, kind):
    """Slots of string ranks (0 = lowest of the shape, -1 = top); '.' rests."""
    per = 4 if rng.random() < 0.2 else 2
    n = int(bar * per)
    slots = []
    if kind == "alternate":
        for k in range(n):
            s = [0] if k % (2 * per) == 0 else [1] if k % per == 0 and k % (2 * per) == per else []
            if not s and rng.random() < 0.75:
                s = [int(rng.integers(2, 6))]
            elif s and rng.random() < 0.25:
                s = s + [5]
            slots.append(s)
    elif kind == "arpeggio":
        up = list(range(6))
        shape = [up, up[::-1][:0] + up + up[::-1][1:-1], [0, 2, 3, 4, 3, 2], [0, 1, 2, 3, 2, 1],
                 [0, 3, 2, 4, 3, 5], [0, 2, 1, 3, 2, 4]][rng.integers(6)]
        for k in range(n):
            slots.append([0] if k == 0 else [shape[k % len(shape)]])
    elif kind == "sparse":
        slots = [[0] + ([4] if rng.random() < .4 else []) if k == 0 else
                 ([int(rng.integers(1, 6))] if rng.random() < 0.3 else []) for k in range(n)]
    else:                                            # free, with pinches and rolls
        density = rng.uniform(0.45, 0.95)
        for k in range(n):
            if k == 0:
                slots.append([0] + ([5] if rng.random() < .35 else []))
            elif rng.random() < density:
                pool = [1, 2, 3, 4, 5, 2, 3, 4] + ([0] if k % per == 0 else [])
                slots.append(sorted(set(int(x) for x in rng.choice(pool, rng.choice([1, 1, 1, 2, 3])))))
            else:
                slots.append([])
    slots = [s if k else (s or [0]) for k, s in enumerate(slots)]
    return slots, 1 / per


# ---- harmony -------------------------------------------------------------

def harmony(rng, take, count):
    tonic, minor = int(rng.integers(12)), rng.random() < 0.35
    colour = {"colour": rng.uniform(0.6, 0.95), "strum": 0.10, "slash": rng.choice([0.05, 0.3]),
              "picked": rng.choice([0.1, 0.5]), "arpeggio": rng.choice([0.15, 0.7]),
              "fragment": rng.choice([0.05, 0.3]), "boom-chuck": 0.12, "melody": 0.2,
              "sparse": 0.3, "top-note": 0.0, "power": 0.0}[take.texture]
    if take.texture == "colour" and rng.random() < 0.45:
        chords = theory.random_chords(rng, count)
    elif take.texture == "top-note":
        chords = []
        while len(chords) < count:                   # one root, the top note moves
            (root, q, _), = theory.progression(rng, 1, (tonic + int(rng.choice([0, 5, 7, 9, 2]))) % 12, False, 0)
            home = str(rng.choice(["maj", "maj", "min"]))
            others = ["sus4", "sus2", home, "maj(9)" if home == "maj" else "min(9)",
                      "maj7" if home == "maj" else "min7", "maj6" if home == "maj" else "min6"]
            chords += [(root, str(x), 0) for x in rng.choice(others, int(rng.integers(2, 5)))]
            chords.append((root, home, 0))
    else:
        phrase = int(rng.choice([2, 4, 4, 6, 8, 8]))
        chords = []
        while len(chords) < count:
            part = theory.progression(rng, phrase, tonic, minor, colour)
            chords += part * (2 if rng.random() < 0.4 else 1)
    if take.texture == "power":
        chords = [(r, "5" if q in ("maj", "min", "7", "sus4") else q if q in ("sus2",) else "5", 0) for r, q, _ in chords]
    share = {"slash": rng.uniform(0.5, 0.85), "power": 0, "fragment": 0, "top-note": 0.05}.get(take.texture, rng.choice([0, 0, 0.15]))
    if share:
        chords = theory.with_slashes(rng, chords, share)
    return chords[:count] if take.texture != "slash" else chords[:int(count * 1.2)]


def fit_shape(rng, take, chord, adventurous, memory, strings=None):
    root, quality, bass = chord
    key = (root, quality, bass)
    if key in memory and rng.random() < 0.85:
        return key, memory[key]
    fingered = (root - take.capo - take.offset) % 12
    frets = choose(rng, fingered, quality, bass, take.tuning, adventurous, strings)
    if frets is None and bass:
        key = (root, quality, 0)
        frets = choose(rng, fingered, quality, 0, take.tuning, adventurous, strings)
    if frets is not None:
        memory[key] = frets
    return key, frets


PAIRS = {"third": (0, 1), "upper": (1, 2), "fifth": (0, 2), "seventh": (0, 3), "guide": (1, 3)}


def pluck_pair(rng, take, chord, style, strings):
    """Two strings that stand for the chord: a third, sixth, tenth, fifth or shell."""
    root, quality, _ = chord
    ordered = sorted(QUALITIES[quality])
    tones = [0, *[t for t in ordered if t in (2, 3, 4, 5)][-1:], *[t for t in ordered if t in (6, 7, 8)][-1:]]
    tones = (tones + [7])[:3]
    tones += [t for t in ordered if t in (9, 10, 11)][-1:] or [tones[1]]
    a, b = (tones[i] for i in PAIRS[style])
    low, high = strings
    options = []
    for x, y in ((a, b), (b, a)):
        f1 = (root + x - take.opens[low]) % 12
        f2 = (root + y - take.opens[high]) % 12
        for g1 in (f1, f1 + 12):
            for g2 in (f2, f2 + 12):
                if max(g1, g2) <= 14 and (abs(g1 - g2) <= 4 or 0 in (g1, g2)) and \
                        take.opens[high] + g2 > take.opens[low] + g1:
                    options.append((g1, g2))
    if not options:
        return None
    g1, g2 = min(options, key=lambda g: max(g) + rng.normal(0, 2))
    frets = [None] * 6
    frets[low], frets[high] = g1, g2
    return tuple(frets)


def fragment_plucks(rng, take, chord, slid):
    for _ in range(40):
        style, strings = slid or (str(rng.choice(list(PAIRS), p=_p([5, 3, .8, 1, 1.2]))), _two_strings(rng))
        if len(QUALITIES[chord[1]]) < 4 and style in ("seventh", "guide"):
            style = "third"
        pair = pluck_pair(rng, take, chord, style, strings)
        if pair:
            return pair
        slid = None
    return None


def _two_strings(rng):
    low = int(rng.integers(0, 5))
    return low, int(min(5, low + rng.choice([1, 1, 2, 2, 3])))


# ---- a whole take --------------------------------------------------------

def invent(seed: int, seconds: float = 40.0, texture: str | None = None, textures: dict = TEXTURES, form: bool = False) -> Take:
    rng = np.random.default_rng([seed, 11])
    if texture is None:
        texture = str(rng.choice(list(textures), p=_p(list(textures.values()))))
    take = Take(seed, texture)
    take.meter = str(rng.choice(["4/4", "3/4", "6/8"], p=[.76, .14, .10]))
    take.bar = 4.0 if take.meter == "4/4" else 3.0
    take.bpm = float(np.exp(rng.uniform(math.log(50), math.log(200))))
    if take.meter == "6/8":
        take.bpm = float(rng.uniform(110, 260))       # beats are eighths in pairs of three
        take.bar = 3.0
    take.swing = float(rng.uniform(0.56, 0.68)) if rng.random() < 0.15 else 0.5
    take.tuning = "standard"
    if rng.random() < (0.25 if texture == "power" else 0.05):
        take.tuning = "drop-d"
    elif rng.random() < 0.015:
        take.tuning = "dadgad"
    take.offset = int(rng.choice([0, -1, -2], p=[.88, .10, .02]))
    take.capo = int(rng.choice([0, 1, 2, 3, 4, 5, 7], p=[.74, .05, .07, .05, .04, .03, .02]))
    take.opens = tuple(o + take.capo + take.offset for o in TUNINGS[take.tuning])
    take.detune_cents = float(np.clip(rng.normal(0, 8), -40, 40)) if rng.random() < 0.75 else float(rng.uniform(-40, 40))

    beats_wanted = seconds * take.bpm / 60
    per_chord = chord_lengths(rng, take)
    count = int(beats_wanted / np.mean(per_chord)) + 1
    memory, beat = {}, 0.0
    adventurous = float(rng.choice([0.0, 0.1, 0.3, 0.7, 1.0], p=[.3, .25, .2, .15, .1]))
    limit = int(rng.choice([3, 4])) if rng.random() < 0.12 else None
    slid = None
    if texture == "fragment" and rng.random() < 0.5:
        slid = (str(rng.choice(["third", "third", "upper", "fifth"], p=_p([4, 4, 3, 1]))), _two_strings(rng))
    starts = []
    plan = forms.plan(rng, take) if form else ((chord, 0.0, None) for chord in harmony(rng, take, count))
    for chord, beats, letter in plan:
        beats = beats or float(rng.choice(per_chord))
        if not form and beat + beats > beats_wanted:
            break
        if letter:
            starts.append((letter, beat))
        if not form and rng.random() < 0.018 and beat > 0:
            what = str(rng.choice(["rest", "rest", "talk", "drums", "noise"]))
            length = take.bar * int(rng.choice([1, 1, 2]))
            take.chords.append(Chord(0, "maj", 0, beat, length, None, silent=what))
            beat += length
        if texture == "fragment":
            n = int(rng.choice([1, 1, 2, 2, 3])) if beats > 1 else 1
            plucks = [p for p in (fragment_plucks(rng, take, chord, slid) for _ in range(n)) if p]
            if not plucks:
                continue
            take.chords.append(Chord(*chord[:2], 0, beat, beats, None, plucks))
        else:
            key, frets = fit_shape(rng, take, chord, adventurous, memory, limit)
            if frets is None and form:                # a bar of a form is never left out
                key, frets = fit_shape(rng, take, (chord[0], "min" if chord[1].startswith("min") else "maj", 0), 0.0, memory)
            if frets is None:
                continue
            take.chords.append(Chord(*key, beat, beats, frets))
        beat += beats
    clock = Clock(rng, take.bpm, beat, take.swing)
    if take.meter != "6/8":
        take.beats = [clock(b) for b in range(int(beat))]
        take.downbeats = [clock(b) for b in range(0, int(beat), int(take.bar))]
    take.sections = [(letter, clock(b)) for letter, b in starts]
    hand = Hand(rng, take)
    perform(rng, take, hand, clock)
    if not take.fragment or rng.random() < 0.3:
        backing(rng, take, clock)
    last = clock(beat)
    take.end = last + rng.uniform(1.0, 2.2)
    for note in take.notes + take.bass + take.lead:
        note[1] = min(note[1], take.end)
    take.notes.sort(key=lambda n: n[0])
    return take


def chord_lengths(rng, take):
    bar, fast = take.bar, take.bpm > 130
    if take.texture == "top-note":
        return [bar / 2, bar] if fast or bar == 3 else [1.0, 2.0, bar]
    if take.texture in ("picked", "arpeggio", "sparse"):
        return [bar, bar, bar * 2] if fast else [bar, bar, bar, 2.0 if bar == 4 else bar]
    if fast:
        return [bar, bar, bar * 2, 2.0 if bar == 4 else bar]
    slow = take.bpm < 80
    return [bar, bar / 2 if bar == 4 else bar, 1.0 if slow and rng.random() < .4 else bar]


def perform(rng, take, hand, clock):
    """Plays every chord in the take's texture; the texture may change at a bar."""
    style = None
    change_at = math.inf if rng.random() < 0.6 else float(rng.integers(4, 12)) * take.bar
    intro = take.bar * 2 if rng.random() < 0.04 else 0.0
    for k, chord in enumerate(take.chords):
        t = hand.moment(clock(chord.start))
        chord.time = t
        if chord.silent:
            hand.stop_all(t)
            take.breaks.append((t, clock(chord.start + chord.beats), chord.silent))
            continue
        if style is None or chord.start >= change_at:
            style, change_at = new_style(rng, take), math.inf
        if chord.plucks:
            play_fragment(rng, take, hand, clock, chord, t)
            continue
        hand.change(chord.frets, t)
        if chord.start < intro:
            s = next(i for i, f in enumerate(chord.frets) if f is not None)
            hand.stop_all(t - 0.03)
            hand.pluck(s, chord.frets[s], t, 90)
            chord.unsure = True
            continue
        last = k == len(take.chords) - 1
        if style[0] == "pick":
            play_picked(rng, take, hand, clock, chord, style, t)
        else:
            play_strokes(rng, take, hand, clock, chord, style, t, last)
        if take.texture == "melody" and rng.random() < 0.8:
            play_melody(rng, take, hand, clock, chord)


def new_style(rng, take):
    kind = {"picked": "pick", "arpeggio": "pick", "sparse": "pick", "power": "power",
            "boom-chuck": "boom"}.get(take.texture)
    if kind is None:
        kind = str(rng.choice(["strum", "pick", "boom", "held"], p=[.5, .25, .13, .12]))
        if take.texture == "slash":
            kind = str(rng.choice(["strum", "pick", "boom", "held"], p=[.3, .35, .25, .1]))
    if kind == "pick":
        feel = {"arpeggio": "arpeggio", "sparse": "sparse"}.get(take.texture) or \
            str(rng.choice(["alternate", "arpeggio", "free", "sparse"], p=[.35, .2, .3, .15]))
        slots, size = pick_pattern(rng, take.bar, feel)
        return "pick", slots, size, feel
    if kind == "power":
        return ("strokes", *power_pattern(rng, take.bar), "power")
    if kind == "boom":
        return ("strokes", *boom_pattern(rng, take.bar), "boom")
    if kind == "held":
        return "strokes", ["D"] + ["."] * (int(take.bar) - 1), 1.0, "held"
    return ("strokes", *strum_pattern(rng, take.bar), "strum")


def places(take, chord, slots, size):
    """Grid places inside the chord: (beat, slot content, index in the bar)."""
    k = math.ceil(chord.start / size - 1e-6)
    while k * size < chord.start + chord.beats - 1e-6:
        yield k * size, slots[k % len(slots)], k % len(slots)
        k += 1


def play_strokes(rng, take, hand, clock, chord, style, start, last):
    _, slots, size, feel = style
    strings = [(s, f) for s, f in enumerate(chord.frets) if f is not None]
    low, rest = strings[:1], strings[1:]
    loud = rng.normal(0, 4)
    for n, (beat, code, index) in enumerate(places(take, chord, slots, size)):
        if last and beat > chord.start + max(1, chord.beats - 2) and n:
            break
        t = start if n == 0 else hand.moment(clock(beat))
        accent = (8 if index == 0 else 0) + loud
        if n == 0 and code in ".xUumTpb":
            code = "B" if feel == "boom" and rng.random() < .7 else "D"
        if code == "D":
            hand.strum(strings, t, 92 + accent)
        elif code == "d":
            hand.strum(strings[:int(rng.integers(2, 5))], t, 76 + accent)
        elif code == "T":
            hand.strum(rest, t, 80 + accent)
        elif code == "U":
            hand.strum(strings[::-1][:int(rng.integers(3, 6))], t, 76 + loud)
        elif code == "u":
            hand.strum(strings[::-1][:int(rng.integers(2, 4))], t, 62 + loud)
        elif code == "B":
            hand.strum(low, t, 94 + accent)
        elif code == "b":
            hand.strum(rest[:1], t, 86 + accent)
        elif code in "mp":
            hand.strum(strings[:3], t, 86 + accent, length=rng.uniform(0.07, 0.16), muted=True)
        elif code == "x":
            hand.stop_all(t)
            hand.strum(strings[-4:], t, 45, length=0.03, muted=True)
            for s in range(6):
                hand.ringing[s] = None
        if feel == "strum" and rng.random() < 0.03:          # chopped off
            hand.stop_all(t + rng.uniform(0.12, 0.25))


def play_picked(rng, take, hand, clock, chord, style, start):
    _, slots, size, feel = style
    strings = [(s, f) for s, f in enumerate(chord.frets) if f is not None]
    for n, (beat, ranks, index) in enumerate(places(take, chord, slots, size)):
        t = start if n == 0 else hand.moment(clock(beat))
        if n == 0:
            ranks = sorted({0, *ranks[:1]} if rng.random() < .5 else {0})
        elif rng.random() < 0.06:
            continue
        picked = sorted({min(r, len(strings) - 1) for r in ranks})
        for j, r in enumerate(picked):
            s, f = strings[r]
            base = 92 if r == 0 else 80
            hand.pluck(s, f, t + j * rng.uniform(0.0, 0.012), base + (6 if index == 0 else 0))


def play_fragment(rng, take, hand, clock, chord, start):
    n = len(chord.plucks)
    again = rng.random() < 0.4                                # struck again inside
    for k, pair in enumerate(chord.plucks):
        beat = chord.start + chord.beats * k / n
        t = start if k == 0 else hand.moment(clock(beat))
        strings = [(s, f) for s, f in enumerate(pair) if f is not None]
        hand.change(pair, t)
        hand.strum(strings, t, 90)
        if again and chord.beats / n >= 2:
            t2 = hand.moment(clock(beat + 1))
            hand.strum(strings if rng.random() < .6 else strings[1:], t2, 80)
        if rng.random() < 0.08:
            hand.stop_all(clock(beat) + 0.3)


def play_melody(rng, take, hand, clock, chord):
    """A line on the top strings while the chord rings; it leans on chord tones."""
    step = float(rng.choice([0.5, 1.0, 1.0]))
    beat = chord.start + step
    string = int(rng.choice([3, 4, 5]))
    pitch = take.opens[string] + int(rng.integers(2, 8))
    tones = {(chord.root + i) % 12 for i in QUALITIES[chord.quality]}
    scale = {(chord.root + i) % 12 for i in (0, 2, 4 if 4 in QUALITIES[chord.quality] else 3, 5, 7, 9, 10 if 10 in QUALITIES[chord.quality] else 11)} | tones
    while beat < chord.start + chord.beats - 0.3:
        if rng.random() < 0.75:
            for _ in range(8):
                new = pitch + int(rng.integers(-4, 5))
                if new % 12 in (tones if rng.random() < .5 else scale) and 0 <= new - take.opens[string] <= 15:
                    pitch = new
                    break
            hand.pluck(string, pitch - take.opens[string], hand.moment(clock(beat)), 88,
                       length=(clock(beat + step) - clock(beat)) * rng.uniform(.6, 1.3))
        beat += step


def backing(rng, take, clock):
    """Bass player, drums and sometimes a lead line."""
    if rng.random() > (0.35 if take.texture in ("power", "strum", "colour") else 0.13):
        return
    with_bass, with_drums = rng.random() < 0.85, rng.random() < 0.75
    step = float(rng.choice([0.5, 1.0, 1.0, 2.0]))
    hat = float(rng.choice([0.5, 1.0, 0.25]))
    for c in take.chords:
        beat = c.start
        tones = sorted(QUALITIES[c.quality])
        fifth = next((i for i in tones if i in (6, 7, 8)), 0) if c.bass == 0 else c.bass
        while beat < c.start + c.beats - 1e-6:
            t = clock(beat)
            in_bar = beat % take.bar
            if with_drums and (not c.silent or c.silent == "drums"):
                if in_bar == 0 or (in_bar == 2 and rng.random() < .4):
                    take.drums.append([t, 36, 100])
                if in_bar in (1, 3) and take.bar == 4 or (take.bar == 3 and in_bar == 2):
                    take.drums.append([t, int(rng.choice([38, 40])), 96])
            if with_bass and not c.silent and (beat - c.start) % step < 1e-6:
                up = c.bass if beat == c.start or rng.random() < .75 else fifth
                low = 28 + (c.root + up - 28) % 12
                off = clock(beat + step) if beat + step <= c.start + c.beats else clock(c.start + c.beats)
                take.bass.append([t, t + (off - t) * rng.uniform(.6, .98), low, rng.uniform(80, 110), None, False])
            beat += 0.5
    if with_drums:
        first, last = take.chords[0].start, take.chords[-1].start + take.chords[-1].beats
        for b in np.arange(first, last, hat):
            take.drums.append([clock(b), 42, float(rng.uniform(55, 85))])
    if rng.random() < 0.3:
        for c in take.chords:
            if c.silent or c.unsure or rng.random() < 0.3:
                continue
            tones = [60 + (c.root + i) % 12 for i in QUALITIES[c.quality]]
            b = c.start + float(rng.choice([0, .5, 1]))
            while b < c.start + c.beats - .3:
                p = int(rng.choice(tones)) + int(rng.choice([0, 0, 12]))
                if rng.random() < .25:
                    p += int(rng.choice([-2, -1, 1, 2]))
                length = float(rng.choice([.5, 1, 2]))
                take.lead.append([clock(b), clock(min(b + length, c.start + c.beats)), p, 85, None, False])
                b += length
    for c in take.chords:
        if with_drums and c.silent == "rest" and rng.random() < .5:
            c.silent = "drums"
