"""Invented songs and the hands that play them: events for the renderer, and what is true.

`piece(seed)` gives a `Piece` of SECONDS seconds: events (rows of EVENT) for studio.py, and its
truth. Two levels of harmony are kept apart: `chords`, what a lead sheet says, and `detail`,
what the hand plays at the moment. The hands are untidy as people's are (common practice, no
source): they brush strings beside the shape, miss others, mute, push chords ahead of the bar,
ornament them, rest, and play richer or plainer voicings than the sheet asks for.

`piece(seed, tidy=True)` plays such music cleanly: whole shapes, no brushed strings, no
ornaments, so that the sheet's chord is the chord that is played.
"""
from __future__ import annotations

import math
import os
import pickle
import random

import numpy as np

import theory
from shapes import TUNINGS
from theory import QUALITIES

SECONDS = 26.0
GUITAR, BASS, DRUM, LEAD, NOISE = range(5)
SWEEP = .035                                       # half of an ordinary strum's sweep, s
# on s, off s, kind, midi (float) or drum key, gain, bend semitones, bend time s, vibrato cents, vibrato Hz, string
EVENT = 10
STYLES = {"strum": 29, "comp": 25, "pick": 11, "boogie": 5, "power": 4, "fragment": 7, "sparse": 3, "slash": 12, "solo": 6}
METERS = {"4/4": (4, 2), "3/4": (3, 2), "2/4": (2, 2), "6/8": (2, 3), "12/8": (4, 3)}     # beats a bar, parts of a beat
_shapes = None


def shape_table():
    global _shapes
    if _shapes is None:
        with open(os.environ.get("SHAPES", "shapes.pkl"), "rb") as f:
            _shapes = pickle.load(f)
    return _shapes


class Piece:
    def __init__(self, seed, tidy=False, style=None):
        self.seed = seed
        self.r = r = random.Random(seed * 7919 + 13)
        self.np = np.random.default_rng([seed, 5])
        self.real = real = not tidy
        self.events, self.notes, self.strums, self.chords, self.detail = [], [], [], [], []
        self.style = style or r.choices(list(STYLES), list(STYLES.values()))[0]
        self.choose_time(r)
        self.choose_guitar(r)
        self.choose_hands(r, real)

    def choose_time(self, r):
        st = self.style
        weights = [62, 14, 7, 11, 6] if st in ("strum", "pick", "slash", "sparse", "fragment") else [80, 7, 5, 3, 5]
        self.meter = r.choices(list(METERS), weights)[0]
        self.bar, self.parts = METERS[self.meter]
        self.compound = self.parts == 3
        if self.compound:
            self.bpm = r.uniform(38, 112)
        elif r.random() < .7:
            self.bpm = min(205, max(54, 108 * math.exp(r.gauss(0, .3))))
        else:
            self.bpm = math.exp(r.uniform(math.log(54), math.log(205)))
        if st == "sparse":
            self.bpm = min(self.bpm, 130)
        swings = .5 if st in ("comp", "boogie", "solo") else .15
        self.swing = r.uniform(.54, .69) if not self.compound and r.random() < swings else .5
        n = int(SECONDS * self.bpm / 60) + 30
        drift = abs(r.gauss(0, .012)) * (r.random() < (.5 if st == "comp" else .75))
        w, x = [], 0.0
        for _ in range(n):
            x = .8 * x + r.gauss(0, drift)
            w.append(60 / self.bpm * math.exp(max(-.15, min(.15, x))))
        begin = r.uniform(.05, 1.6) if r.random() < .6 else -r.uniform(0, 8)
        self.at = begin + np.concatenate([[0], np.cumsum(w)])

    def choose_guitar(self, r):
        self.capo = r.choices([0, 1, 2, 3, 4, 5, 7], [70, 5, 8, 6, 5, 4, 2])[0]
        self.offset = r.choices([0, -1, -2], [88, 9, 3])[0]
        self.tuning = "drop-d" if r.random() < (.3 if self.style == "power" else .05) else "standard"
        self.opens = [o + self.capo + self.offset for o in TUNINGS[self.tuning]]
        self.detune = r.gauss(0, .04)                       # what the tuning stage leaves over, semitones
        self.string_tune = [r.gauss(0, .04) for _ in range(6)]
        self.level = [10 ** (r.gauss(0, 2.2) / 20) for _ in range(6)]
        self.ring = [None] * 6
        self.frets_before = None

    def choose_hands(self, r, real):
        few = lambda p, a, b: r.uniform(a, b) if real and r.random() < p else 0.0
        st = self.style
        self.jitter = abs(r.gauss(0, .012)) + .002 if real else .004
        self.brush = few(.6, .1, 1.0)               # chance that a neighbour open string sounds
        self.brush_gain = r.uniform(.15, 1.0)
        self.drop = few(.7, .02, .2)                # chance that a string is missed
        self.ghost = few(.5, .05, .5)
        self.lift = few(.4, .1, .8)                 # open strings while the hand moves
        self.push = few(.55 if st == "comp" else .35, .1, .9)
        if st == "slash":
            self.brush *= .3
        self.embellish = few(.5, .1, .6)
        self.runs = few(.35, .1, .6)
        self.passing = few(.35, .05, .4)
        self.fills = few(.35, .05, .5)
        self.colour_play = few(.5, .2, .9)          # plays richer or plainer than the sheet
        self.taps = few(.45, .05, .6)               # a finger set down is heard
        self.tap_gain = math.exp(r.uniform(math.log(.03), math.log(.25)))
        self.rustle = few(.4, .1, 2.5)              # knocks and squeaks of the hand, a second
        self.uneven = r.uniform(2, 7) if real else 2  # dB, string to string
        self.gap = math.exp(r.uniform(math.log(.003), math.log(.028)))
        self.gap_spread = .5 if real else .15
        self.late = r.gauss(0, .012) if real else 0
        self.adventurous = r.choice([0, 0, .2, .6, 1]) if st != "comp" else r.choice([.2, .6, 1, 1.3])

    # ---- time
    def t(self, beat):
        """Seconds of a place in beats, swung."""
        i = max(0, min(len(self.at) - 2, int(math.floor(beat + 1e-6))))
        f, s = beat - i, self.swing
        f = f * 2 * s if f < .5 else s + (f - .5) * 2 * (1 - s)
        return float(self.at[i] + f * (self.at[i + 1] - self.at[i]))

    def moment(self, beat):
        return self.t(beat) + self.late + max(-.05, min(.05, self.r.gauss(0, self.jitter)))

    def slots(self, beat, length, step):
        """(place, its index in the bar, its index here) of every slot of a stretch."""
        k, out = 0, []
        while k * step < length - 1e-6:
            pos = beat + k * step
            inbar = (pos - self.bar_zero) % self.bar
            out.append((pos, int(round(inbar / step)), k))
            k += 1
        return out

    # ---- strings
    def pluck(self, s, fret, t, gain, length=None, muted=False, told=True, bend=0.0):
        self.stop(s, t - .003)
        r = self.r
        midi = self.opens[s] + fret
        g = gain * self.level[s] * 10 ** (r.gauss(0, self.uneven) / 20)
        if muted:
            self.events.append([t, t + r.uniform(.02, .07), GUITAR, midi + self.detune, g * .7, 0, 0, 0, 0, s])
            return
        e = [t, t + (length or 99), GUITAR, midi + self.detune + self.string_tune[s], g, bend, t + r.uniform(.03, .25), 0, 0, s]
        if r.random() < .04 and self.real:
            e[7], e[8] = r.uniform(5, 30), r.uniform(4, 6.5)
        self.events.append(e)
        self.ring[s] = e
        if told:
            self.notes.append([t, midi, e])

    def stop(self, s, t):
        e = self.ring[s]
        if e:
            e[1] = max(e[0] + .02, min(e[1], t))
            self.ring[s] = None

    def damp(self, t):
        for s in range(6):
            self.stop(s, t + self.r.uniform(0, .02))

    def change(self, frets, t, chord=None):
        """Fingers move: strings that change are damped, the rest ring on; `chord` names the shape."""
        old = self.frets_before
        for s in range(6):
            if self.ring[s] and (frets is None or old is None or frets[s] != old[s]):
                left_open = frets is not None and frets[s] is None and old and old[s] == 0
                if not (self.real and left_open and self.r.random() < .3):
                    self.stop(s, t + self.r.uniform(-.04, .02))
        if self.taps and frets is not None:
            for s in range(6):
                if frets[s] and (old is None or frets[s] != old[s]) and self.r.random() < self.taps:
                    self.tap(s, frets[s], t - self.r.uniform(.02, .25))
        self.frets_before = frets
        if chord:
            self.detail.append([t, *self.named(frets, chord)])

    def tap(self, s, fret, t):
        """A finger set down hard on a string: a soft tone or knock that nobody plucked."""
        midi = self.opens[s] + fret + self.detune
        gain = self.tap_gain * self.r.uniform(.3, 1)
        self.events.append([t, t + self.r.uniform(.03, .3), GUITAR, midi, gain, 0, 0, 0, 0, s])
        if self.r.random() < .5:
            self.click(t, gain * self.r.uniform(.3, 2))

    def named(self, frets, chord):
        """(root, quality, bass) of what is fingered over a chord's root; the chord's own name if none fits."""
        root, quality, bass = chord
        pitches = [self.opens[s] + f for s, f in enumerate(frets) if f is not None]
        tones = {(p - root) % 12 for p in pitches}
        low = (min(pitches) - root) % 12 if pitches else bass
        for full in (tones, tones | {7}, tones - {low}, (tones - {low}) | {7}):
            for q, t in QUALITIES.items():
                if set(t) == full:
                    return root, q, low
        return chord

    def strum(self, frets, t, gain=.8, way="D", part="all", length=None, muted=False, told=True):
        r = self.r
        strings = [(s, f) for s, f in enumerate(frets) if f is not None]
        if not strings:
            return
        if part == "all":
            strings = self.part_of(strings, way)
        elif part == "low":
            strings = strings[:max(1, len(strings) // 2)]
        elif part == "high":
            strings = strings[len(strings) // 2 - 1:] if len(strings) > 3 else strings
        rows = [(s, f, 1.0, False) for s, f in strings if not (self.drop and len(strings) > 2 and r.random() < self.drop)]
        if self.brush and not muted:
            lo, hi = strings[0][0], strings[-1][0]
            whole = part == "all" and len(strings) >= sum(f is not None for f in frets) - 1
            for s in range(6):
                if frets[s] is None and (whole or lo <= s <= hi) and r.random() < self.brush * (1 if s in (lo - 1, hi + 1) else .35):
                    if r.random() < .7:
                        rows.append((s, 0, self.brush_gain * r.uniform(.4, 1.2), False))
                    else:
                        rows.append((s, r.randint(1, 4), .6, True))
        rows.sort(reverse=way == "U")
        gap = self.gap * math.exp(r.gauss(0, .3))
        first, loud = t, []
        for k, (s, f, g, mute) in enumerate(rows):
            self.pluck(s, f, t, gain * g * (1 - .04 * k), length, muted or mute, told=not (muted or mute))
            loud.append((t, g * g))
            t += max(.001, min(.05, gap * math.exp(r.gauss(0, self.gap_spread))))
        if told and rows:
            self.strums.append([self.heard_at(loud), way])
        if r.random() < .5 and self.real:
            self.click(first, gain * r.uniform(.05, .35))

    @staticmethod
    def heard_at(loud):
        """When a strum is heard, s: at its first string, but a slow sweep when half of it has sounded
        (the perceptual onset of a tone is when it has risen, not when it begins: Vos and Rasch, Perception
        and Psychophysics 29, 1981); `loud` are times and energies of its strings."""
        first, total = loud[0][0], sum(g for _, g in loud) + 1e-9
        return max(first, sum(t * g for t, g in loud) / total - SWEEP)

    def part_of(self, strings, way):
        """The strings that a strum reaches: up-strums the upper ones, others sometimes a part."""
        r = self.r
        if not self.real:
            return strings[-4:] if way == "U" and len(strings) > 4 and self.seed % 3 else strings
        if way == "U":
            return strings[-r.choices([2, 3, 4, 5, 6], [1, 3, 4, 2, 1])[0]:]
        if r.random() < .35:
            n = r.choices([2, 3, 4, 5], [1, 2, 3, 2])[0]
            return strings[:n] if r.random() < .5 else strings[-n:]
        return strings

    def click(self, t, gain):
        self.events.append([t, t + .1, NOISE, self.r.randrange(0, 24), gain, 0, 0, 0, 0, -1])

    def low(self, pc):
        return self.opens[0] + (pc - self.opens[0]) % 12

    # ---- harmony
    def make_chords(self, beats):
        r, st = self.r, self.style
        tonic, minor = r.randrange(12), r.random() < .35
        if st in ("strum", "boogie", "slash") and r.random() < .6:
            tonic = r.choice([0, 7, 2, 9, 4, 0, 7])
        colour = {"strum": r.choice([0, .03, .15, .5]), "comp": r.choice([.1, .3, .6, .9]), "pick": r.choice([.05, .2, .6]),
                  "slash": .1, "sparse": .4, "fragment": r.choice([0, 0, .15]), "power": 0, "boogie": 0, "solo": r.choice([0, .4])}[st]
        out, count = [], int(beats) + 4
        if st == "boogie" or (st in ("comp", "solo") and r.random() < .15):
            form = r.choice([[0, 0, 0, 0, 5, 5, 0, 0, 7, 5, 0, 7], [0, 5, 0, 0, 5, 5, 0, 0, 7, 5, 0, 0], [0, 0, 5, 5, 7, 5, 0, 0]])
            q = "maj" if r.random() < .5 else "7"
            out = [((tonic + d) % 12, q, 0) for d in form] * 5
            self.lengths = [float(self.bar)]
        elif st in ("comp", "solo") and r.random() < .45:
            keys = [tonic]
            while len(out) < count:                 # ii V I chains, as lead sheets have them
                k = keys[-1]
                sheet = r.choice([[(2, "min7"), (7, "7"), (0, "maj7")], [(2, "min"), (7, "7"), (0, "maj"), (0, "maj")],
                                  [(2, "hdim7"), (7, "7"), (0, "min")], [(0, "maj"), (9, "7"), (2, "min"), (7, "7")],
                                  [(2, "min"), (7, "7"), (0, "maj"), (5, "maj"), (11, "hdim7"), (4, "7"), (9, "min")],
                                  [(4, "min7"), (9, "7"), (2, "min7"), (7, "7")], [(0, "maj7"), (1, "dim7"), (2, "min7"), (7, "7")]])
                out += [((k + d) % 12, q, 0) for d, q in sheet]
                keys.append((k + r.choice([0, 0, 0, 5, 2, 10, 3, 8])) % 12)
        else:
            phrase = r.choice([2, 4, 4, 4, 6, 8, 8])
            if colour > .55 and r.random() < .4:
                out = theory.random_chords(self.np, count)
            while len(out) < count:
                out += theory.progression(self.np, phrase, tonic, minor, colour) * (2 if r.random() < .5 else 1)
        if st == "power":
            out = [(a, "5" if r.random() < .95 else "maj", 0) for a, q, b in out]
        if st == "slash":
            out = theory.with_slashes(self.np, out, r.uniform(.4, .8))
        elif st in ("strum", "pick") and r.random() < .15:
            out = theory.with_slashes(self.np, out, .1)
        self.tonic, self.minor = tonic, minor
        return out

    def shape(self, chord, small=False, rootless=False):
        root, q, bass = chord
        key = (chord, small)
        if key in self.memory and self.r.random() < .85:
            return self.memory[key]
        k = ((root - self.capo - self.offset) % 12, q, bass)
        table = shape_table()
        found = next(f for f in (table.get((self.tuning, *k)), table.get((self.tuning, k[0], q, 0)), table.get((self.tuning, k[0], "maj", 0))) if f)
        heat = .25 + 1.5 * self.adventurous
        top = max(s for _, s in found)
        ws = []
        for f, s in found:
            n = sum(x is not None for x in f)
            near = 0
            if self.last_place is not None:
                p = [x for x in f if x]
                near = .12 * abs((sum(p) / len(p) if p else 0) - self.last_place)
            ws.append(math.exp((s - top - near) / heat) * ((1 if n <= 4 else .05) if small else 1) + 1e-9)
        f = self.r.choices([f for f, _ in found], ws)[0]
        if rootless and sum(x is not None for x in f) > 3:
            low = next(i for i, x in enumerate(f) if x is not None)
            f = tuple(None if i == low else x for i, x in enumerate(f))
        self.memory[key] = f
        p = [x for x in f if x]
        self.last_place = sum(p) / len(p) if p else 0
        return f

    def embellished(self, frets, c):
        """The shape with one finger moved: third to fourth or second, fifth to sixth."""
        root, q, _ = c
        f = list(frets)
        ups = [(4, 1), (4, -2), (7, 2), (0, 2), (0, -1)] if 4 in QUALITIES[q] else [(3, 2), (3, -1), (7, 1), (0, -2)]
        iv, d = self.r.choice(ups)
        for s in range(5, -1, -1):
            if f[s] is not None and (self.opens[s] + f[s] - root) % 12 == iv and f[s] + d >= 0 and s > 0:
                f[s] += d
                return tuple(f)
        return frets

    def walk(self, c, nxt, beat, steps, step=1.0):
        """Single low notes towards the next root."""
        if nxt is None:
            return
        r = self.r
        target = self.low(nxt[0] + nxt[2])
        way = r.choice([-1, 1])
        scale = [0, 2, 4, 5, 7, 9, 11] if not self.minor else [0, 2, 3, 5, 7, 8, 10]
        p, line = target, []
        while len(line) < steps:
            p -= way
            if (p - self.tonic) % 12 in scale or r.random() < .2:
                line.append(p)
        for k, p in enumerate(reversed(line)):
            s = min(max([x for x in range(6) if self.opens[x] <= p] or [0]), 2)
            if p >= self.opens[s]:
                self.pluck(s, p - self.opens[s], self.moment(beat + k * step), .8)

    def line(self, beat, length, steps, strings=(2, 3, 4, 5), density=.8, bends=.1, frets=(0, 9)):
        """Single notes on the upper strings; the chord's label stays."""
        r = self.r
        scale = [(self.tonic + i) % 12 for i in ([0, 2, 4, 7, 9] if not self.minor else [0, 3, 5, 7, 10])]
        if r.random() < .4:
            scale = [(self.tonic + i) % 12 for i in (0, 2, 3, 4, 5, 7, 9, 10)]
        s, f = r.choice(strings), r.randint(*frets)
        pos = 0.0
        while pos < length - .05:
            step = r.choice(steps)
            if r.random() < density:
                for _ in range(10):
                    g = max(0, min(15, f + r.choice([-3, -2, -1, 1, 2, 3])))
                    if (self.opens[s] + g) % 12 in scale:
                        f = g
                        break
                else:
                    s = max(min(strings), min(max(strings), s + r.choice([-1, 1])))
                gain = .8 if r.random() < .75 else .4                   # hammered on, pulled off
                self.pluck(s, f, self.moment(beat + pos), gain, step * 60 / self.bpm * r.uniform(.6, 1.3),
                           bend=r.choice([1, 2, -1]) if r.random() < bends else 0)
                if r.random() < .2 and max(strings) > min(strings):
                    s = max(min(strings), min(max(strings), s + r.choice([-1, 1])))
            pos += step

    def fill(self, c, beat, length):
        step = self.r.choice([1 / self.parts, 1 / self.parts, .25 if self.bpm < 110 and not self.compound else 1 / self.parts, 1 / 3])
        self.line(beat, length, [step])

    # ---- a take
    def play(self):
        r = self.r
        beats = (SECONDS - self.at[0]) * self.bpm / 60 * 1.02
        self.memory, self.last_place = {}, None
        b = float(self.bar)
        self.lengths = r.choice([[b], [b], [b], [b * 2], [b, b, b * 2], [b / 2] if b % 2 == 0 and b > 2 else [b],
                                 [b, b / 2, b / 2] if b == 4 else [b], [b, b * 2], [1., 2.] if b == 4 and self.bpm < 110 else [b]])
        if b == 2 and r.random() < .4:
            self.lengths = [4.]
        spans = self.lay_out(self.make_chords(beats), beats, b)
        kit = {"strum": self.bar_strum, "slash": self.bar_strum, "comp": self.bar_comp, "pick": self.bar_pick, "power": self.bar_power,
               "boogie": self.bar_boogie, "fragment": self.bar_fragment, "sparse": self.bar_sparse, "solo": self.bar_solo}
        self.how = how = r.choice(["strum", "pick", "pick", "sparse"]) if self.style == "slash" else self.style
        self.patterns = [self.pattern(how) for _ in range(2)]
        self.pair_style = self.choose_pairs() if how == "fragment" else None
        for n, (c, beat, length) in enumerate(spans):
            a, end = self.t(beat), self.t(beat + length)
            if c is None:
                self.damp(self.moment(beat))
                self.chords.append([a, end, None, None, None])
                self.detail.append([a, None, None, None])
                continue
            nxt = spans[n + 1][0] if n + 1 < len(spans) else None
            began = len(self.notes)
            kit[how](c, beat, length, nxt)
            if how in ("strum", "pick", "sparse", "power", "fragment") and len(self.notes) > began:
                first = self.notes[began][0]
                if first - a < .35 * (end - a) and abs(first - a) < .1:
                    a = first
            self.chords.append([a, end, *c])
        last = self.t(spans[-1][1] + spans[-1][2])
        if r.random() < .5:
            self.damp(last + r.uniform(0, 2))
        for one, two in zip(self.chords, self.chords[1:]):
            one[1] = two[0]
        self.chords[-1][1] = max(last, self.chords[-1][1]) + (1.5 if r.random() < .5 else 0)
        total = len(self.at) - 2
        self.beats = [self.t(k) for k in range(total)]
        self.downbeats = [self.t(k) for k in range(total) if (k - self.bar_zero) % self.bar == 0]
        self.beat_end = last
        for _ in range(int(self.rustle * last)):
            self.click(r.uniform(0, last), math.exp(r.uniform(math.log(.02), math.log(.4))))
        self.others(spans)
        return self

    def lay_out(self, chords, beats, b):
        """[chord or None, first beat, beats] until the take ends."""
        r, spans, beat, table = self.r, [], 0.0, shape_table()
        lead_in = r.choice([0, 0, 0, r.randrange(0, int(b))])      # the song begins inside a bar
        self.bar_zero = lead_in
        for c in chords:
            n = float(r.choice(self.lengths))
            inbar = (beat - lead_in) % b
            if not spans and lead_in:
                n = float(lead_in)
            elif inbar and n > b - inbar:
                n = b - inbar
            if n == b and inbar == 0 and self.real and r.random() < .02 and b == 4:
                n = r.choice([2., 6.]) if r.random() < .5 else 8.
            if spans and r.random() < .012:
                spans.append([None, beat, b])
                beat += b
            root = (c[0] - self.capo - self.offset) % 12
            if (self.tuning, root, c[1], c[2]) not in table:    # no hand plays this bass: the sheet does not ask for it
                c = (c[0], c[1] if (self.tuning, root, c[1], 0) in table else "maj", 0)
            spans.append([c, beat, n])
            beat += n
            if beat > beats:
                break
        stop = beat if r.random() < .8 else beats * r.uniform(.6, .95)
        return [s for s in spans if s[1] < stop]

    # ---- patterns
    def pattern(self, how):
        r, b, parts = self.r, self.bar, self.parts
        if how in ("strum", "sparse"):
            fine = not self.compound and (self.bpm < 112 and r.random() < .42)
            per = 4 if fine else parts
            d = r.uniform(.1, .95)
            if how == "strum" and r.random() < .12:
                return [("B" if k % (2 * per) == 0 else "T" if k % per == 0 else r.choice(".U")) for k in range(int(b * per))], 1 / per
            out = []
            for k in range(int(b * per)):
                if k == 0:
                    out.append("D")
                elif k % per == 0:
                    out.append(r.choices("DdTX.", [4, 2, 1.5, 1.6 * self.ghost, 4 * (1 - d)])[0])
                elif fine and k % 2 == 0 or self.compound and k % 2 == 0:
                    out.append(r.choices("DdX.", [d, d, self.ghost, 2 * (1 - d) + .2])[0])
                else:
                    out.append(r.choices("UuX.", [2 * d, d, self.ghost, 2 * (1 - d) + .3])[0])
            return out, 1 / per
        if how == "comp":
            return self.comp_pattern()
        if how == "pick":
            per = parts if self.compound else 4 if self.bpm < 100 and r.random() < .4 else 2
            kind = r.choice(["arp", "arp" if self.compound else "alternate", "free", "free"])
            arp = r.choice([[0, 2, 3, 4, 3, 2], [0, 1, 2, 3, 4, 5], [0, 3, 2, 4, 3, 5], [0, 2, 1, 3], [0, 2, 3, 2, 4, 2, 3, 2]])
            out = []
            for k in range(int(b * per)):
                if kind == "arp":
                    out.append([0] if k == 0 else [arp[k % len(arp)]])
                elif kind == "alternate":
                    s = [0] if k % (2 * per) == 0 else [1] if k % per == 0 else []
                    if not s or r.random() < .3:
                        s = s + ([r.randint(2, 5)] if r.random() < .7 else [])
                    out.append(s)
                else:
                    out.append([0] if k == 0 else r.sample([1, 2, 3, 4, 5], r.choice([1, 1, 1, 2, 3])) if r.random() < .7 else [])
            return out, 1 / per
        return None

    def comp_pattern(self):
        r, parts = self.r, self.parts
        kind = r.choice(["free", "free", "charleston", "four", "two-four", "bossa", "bossa", "roll", "off", "funk", "whole", "shell"])
        if self.compound:
            kind = r.choice(["free", "four", "off", "whole"])
        n = int(self.bar * parts)
        if kind == "free":
            d = r.uniform(.15, .6)
            hits = [k for k in range(n) if r.random() < d] or [0]
        elif kind == "charleston":
            hits = [0, 3]
        elif kind == "four":
            hits = list(range(0, n, parts))
        elif kind == "two-four":
            hits = list(range(2, n, 4))
        elif kind == "bossa":
            hits = sorted(r.sample(range(n), min(n, r.choice([3, 4, 5]))))
        elif kind == "off":
            hits = [k for k in range(n) if k % parts]
        elif kind == "funk":
            return kind, [r.choices("Sx.", [2, 2, 2])[0] for _ in range(int(self.bar * 4))], .25
        elif kind == "shell":
            hits = r.choice([[0], [0, 5], [0, 4], [1, 4]])
        else:
            hits = [0] if r.random() < .6 else [0, 4]
        return kind, ["S" if k in hits else "." for k in range(n)], 1 / parts

    # ---- one chord's time
    def bar_strum(self, c, beat, length, nxt):
        r = self.r
        frets = self.shape(c)
        pat, step = self.patterns[0 if r.random() < .8 else -1]
        pushed = self.push and beat > 0 and r.random() < self.push
        if pushed:
            t = self.moment(beat - 1 / self.parts)
            self.change(frets, t, c)
            self.strum(frets, t, .9, "U" if r.random() < .6 else "D")
        tail = length
        if self.runs and length >= 2 and r.random() < self.runs:
            tail = length - min(r.choice([1, 2, 2, 3]), length - 1)
        elif self.fills and length >= 2 and r.random() < self.fills:
            tail = length - r.choice([1, 1.5 if not self.compound else 1])
        emb = self.embellished(frets, c) if self.embellish and r.random() < self.embellish else None
        emb_at = r.uniform(.2, .8) * length
        whole = r.random() < .5
        for pos, k, n in self.slots(beat, tail, step):
            code = pat[k % len(pat)]
            if n == 0:
                if pushed and r.random() < .6:
                    continue
                code = "D" if r.random() < .9 or not self.real else "T"
            elif self.real and r.random() < .06:
                code = r.choice(".UDX")
            if code == ".":
                continue
            t = self.moment(pos)
            f = emb if emb and n > 0 and emb_at <= pos - beat < emb_at + (1 if not whole else 1.6) else frets
            if n == 0 or self.frets_before != f:
                self.change(f, t, c)
            last = pos - beat >= tail - step - 1e-6 and n > 0
            if last and self.lift and r.random() < self.lift and code in "UuDd":
                f = tuple(0 if (x is None or r.random() < .75) else x for x in frets)
                self.change(f, t)
                self.strum(f, t, .6, "U" if code in "Uu" else "D")
            elif code == "X":
                self.strum(frets, t, .6, "D" if k % 2 == 0 else "U", muted=True)
            elif code == "B":
                self.strum(f, t, .9, "D", "low")
            elif code == "T":
                self.strum(f, t, .75, "D", "high")
            else:
                meant = n == 0 and c[2]                 # a bass that is meant is struck
                self.strum(f, t, (.95 if k == 0 else .8) * (1 if code in "DU" else .55), "D" if code in "Dd" or meant else "U", "whole" if meant else "all")
        if tail < length:
            if self.runs:
                self.walk(c, nxt, beat + tail, int(length - tail))
            else:
                self.fill(c, beat + tail, length - tail)

    RICH = {"maj": ["maj6", "maj7", "maj(9)", "maj6(9)", "maj", "sus2", "7"], "7": ["9", "7", "sus4(b7)", "7(#9)", "9"],
            "min": ["min7", "min(9)", "min6", "min9", "min", "min7"], "min7": ["min9", "min", "min7"], "maj7": ["maj9", "maj6", "maj", "maj7"],
            "hdim7": ["hdim7", "min6"], "dim": ["dim7"]}

    def bar_comp(self, c, beat, length, nxt):
        r = self.r
        root, q, _ = c
        played = c
        if self.colour_play and r.random() < self.colour_play and q in self.RICH:
            played = (root, r.choice(self.RICH[q]), 0)
        frets = self.shape(played, small=r.random() < .75, rootless=self.real and r.random() < .15)
        kind, pat, step = self.patterns[0 if r.random() < .75 else -1]
        short, hold, struck = r.random() < .5, r.uniform(.08, .5), 0
        if self.push and beat > 0 and r.random() < self.push:
            t = self.moment(beat - 1 / self.parts)
            self.change(frets, t, played)
            self.strum(frets, t, .85, "D", length=hold if short and r.random() < .5 else None)
            struck += 1
        tail = length
        if self.fills and length >= 2 and r.random() < self.fills:
            tail = length - (r.choice([1, 1.5, 2]) if not self.compound else 1)
        silent = self.real and r.random() < .05
        for pos, k, n in self.slots(beat, tail, step):
            code = pat[k % len(pat)]
            if self.real and r.random() < .08:
                code = r.choice("S.")
            if n == 0 and struck == 0 and r.random() < .5:
                code = "S"
            if silent and pos < beat + tail / 2:
                code = "."
            if kind == "bossa" and n % max(1, int(2 / step)) == 0:
                self.bossa_bass(root, n, step, pos, frets, played)
            if code == ".":
                continue
            t = self.moment(pos)
            struck += 1
            if code == "x":
                self.strum(frets, t, .5, r.choice("DU"), muted=True)
                continue
            f = frets
            if self.passing and nxt and pos >= beat + length - 1.01 and r.random() < self.passing:
                d = r.choice([-1, 1])
                f = tuple(None if x is None else max(0, x + d) for x in self.shape(nxt, small=True))
                self.change(f, t, ((nxt[0] + d) % 12, nxt[1], 0))
            elif self.embellish and n > 0 and r.random() < self.embellish * .4:
                f = self.embellished(frets, c)
                self.change(f, t, played)
            elif self.frets_before != frets:
                self.change(frets, t, played)
            if kind == "bossa":
                up = [x for x in range(6) if f[x] is not None][-3:]
                f = tuple(x if s in up else None for s, x in enumerate(f))
            old = self.gap
            if kind == "roll":
                self.gap = r.uniform(.03, .09)
            elif kind in ("bossa", "whole") and r.random() < .7:
                self.gap = .004
            self.strum(f, t, r.uniform(.6, .95), "D" if r.random() < .8 else "U", length=hold * math.exp(r.gauss(0, .3)) if short else None)
            self.gap = old
        if struck == 0 and (not self.real or r.random() < .8):
            t = self.moment(beat + (0 if not self.real else r.choice([0, 0, .5, 1, 1.5])))
            self.change(frets, t, played)
            self.strum(frets, t, .8)
        if tail < length:
            if r.random() < .4:
                self.walk(c, nxt, beat + tail, max(1, int((length - tail) * 2)), .5)
            else:
                self.fill(c, beat + tail, length - tail)

    def bossa_bass(self, root, n, step, pos, frets, played):
        r = self.r
        p = self.low(root if n % max(1, int(4 / step)) == 0 or r.random() < .4 else root + 7)
        t = self.moment(pos)
        if n == 0:
            self.change(frets, t, played)
        s = 0 if p < self.opens[1] or r.random() < .5 else 1
        self.pluck(s, p - self.opens[s], t, .85, None if r.random() < .6 else .5)

    def bar_pick(self, c, beat, length, nxt):
        r = self.r
        frets = self.shape(c)
        strings = [(s, f) for s, f in enumerate(frets) if f is not None]
        pat, step = self.patterns[0 if r.random() < .8 else -1]
        emb = self.embellished(frets, c) if self.embellish and r.random() < self.embellish else None
        cut = length * r.uniform(.4, .8)
        melody = self.real and r.random() < .3
        for pos, k, n in self.slots(beat, length, step):
            ranks = pat[k % len(pat)] if n else [0] + ([5] if r.random() < .3 else [])
            if n and self.real and r.random() < .07:
                continue
            t = self.moment(pos)
            if n == 0:
                self.change(frets, t, c)
            use = strings
            if emb and pos - beat > cut:
                use = [(s, f) for s, f in enumerate(emb) if f is not None]
                if self.frets_before != emb:
                    self.change(emb, t, c)
            for j, x in enumerate(sorted({min(x, len(use) - 1) for x in ranks})):
                s, f = use[x]
                self.pluck(s, f, t + j * r.uniform(0, .012), .9 if x == 0 else .75)
            if melody and n and r.random() < .3:
                scale = [0, 2, 4, 5, 7, 9, 11] if not self.minor else [0, 2, 3, 5, 7, 8, 10]
                s = r.choice([4, 5])
                f = r.choice([x for x in range(0, 13) if (self.opens[s] + x - self.tonic) % 12 in scale])
                self.pluck(s, f, t + .005, .95)

    def bar_power(self, c, beat, length, nxt):
        r = self.r
        frets = self.shape(c)
        d = r.uniform(.3, 1)
        for pos, k, n in self.slots(beat, length, 1 / self.parts):
            if n and r.random() > d:
                continue
            t = self.moment(pos)
            if n == 0:
                self.change(frets, t, c)
            pm = n and r.random() < .4
            self.strum(frets, t, .9, "D", "all" if not pm else "low", length=r.uniform(.08, .2) if pm else None)

    def bar_boogie(self, c, beat, length, nxt):
        """Root and fifth, sixth, seventh, sixth on the low strings; label as on the sheet."""
        r = self.r
        root = c[0]
        s = 0 if self.low(root) - self.opens[0] <= 8 and r.random() < .6 else 1
        base = (root - self.opens[s]) % 12
        if base > 9:
            s = 1 - s
            base = (root - self.opens[s]) % 12
        fig = r.choice([[7, 7, 9, 9], [7, 7, 9, 9, 10, 10, 9, 9], [7, 9, 10, 9], [7, 9]])
        tail = length - (r.choice([1, 2]) if self.fills and r.random() < self.fills else 0)
        tail = max(1, tail)
        chordal = r.random() < .15 * self.real
        frets = self.shape(c)
        for pos, k, n in self.slots(beat, tail, 1 / self.parts):
            t = self.moment(pos)
            up = base + fig[n % len(fig)] - (self.opens[s + 1] - self.opens[s])
            f = [None] * 6
            f[s], f[s + 1] = base, max(0, up)
            f = frets if chordal and n in (0, 3) else tuple(f)
            if self.frets_before != f:
                self.change(f, t, c)
            self.strum(f, t, .9 if n % 2 == 0 else .7, "D", length=None if r.random() < .7 else .15)
        if tail < length:
            self.fill(c, beat + tail, length - tail)

    PAIRS = {"third": (0, 1), "upper": (1, 2), "fifth": (0, 2), "seventh": (0, 3), "guide": (1, 3)}

    def choose_pairs(self):
        """A pair of tones and strings that is kept while it is slid along the neck, or None for any."""
        if self.r.random() < .5:
            low = self.r.randint(0, 4)
            return self.r.choice(["third", "third", "upper", "fifth"]), (low, min(5, low + self.r.choice([1, 1, 2, 2, 3])))
        return None

    def pair(self, c):
        r = self.r
        ordered = sorted(QUALITIES[c[1]])
        tones = [0, *[t for t in ordered if t in (2, 3, 4, 5)][-1:], *[t for t in ordered if t in (6, 7, 8)][-1:]]
        tones = (tones + [7])[:3]
        tones += [t for t in ordered if t in (9, 10, 11)][-1:] or [tones[1]]
        slid = self.pair_style
        for _ in range(30):
            low = r.randint(0, 4)
            style, (s, s2) = slid or (r.choices(list(self.PAIRS), [5, 3, .8, 1, 1.2])[0], (low, min(5, low + r.choice([1, 1, 2, 2, 3]))))
            if len(ordered) < 4 and style in ("seventh", "guide"):
                style = "third"
            a, b = (tones[i] for i in self.PAIRS[style])
            options = []
            for x, y in ((a, b), (b, a)):
                for f1 in ((c[0] + x - self.opens[s]) % 12, (c[0] + x - self.opens[s]) % 12 + 12):
                    for f2 in ((c[0] + y - self.opens[s2]) % 12, (c[0] + y - self.opens[s2]) % 12 + 12):
                        if max(f1, f2) <= 14 and (abs(f1 - f2) <= 4 or 0 in (f1, f2)) and self.opens[s2] + f2 > self.opens[s] + f1:
                            options.append((max(f1, f2) + r.gauss(0, 2), f1, f2))
            if options:
                _, f1, f2 = min(options)
                f = [None] * 6
                f[s], f[s2] = f1, f2
                return tuple(f)
            slid = None
        return self.shape(c)

    def bar_fragment(self, c, beat, length, nxt):
        r = self.r
        f = self.pair(c)
        self.detail.append([self.t(beat), *c])
        again = r.uniform(0, .7)
        for pos, k, n in self.slots(beat, length, 1.0):
            if n == 0 or r.random() < again:
                t = self.moment(pos)
                if n and r.random() < .2:
                    f = self.pair(c)
                if n == 0 or self.frets_before != f:
                    self.change(f, t)
                brush, self.brush = self.brush, 0
                self.strum(f, t, .85, "D", "whole")
                self.brush = brush

    def bar_sparse(self, c, beat, length, nxt):
        t = self.moment(beat)
        frets = self.shape(c)
        self.change(frets, t, c)
        old, self.gap = self.gap, self.r.uniform(.005, .06)
        self.strum(frets, t, .85, "D")
        self.gap = old
        if self.r.random() < .3 and length > 2:
            self.strum(frets, self.moment(beat + 2), .7, "D")

    def bar_solo(self, c, beat, length, nxt):
        """A line alone over chords that nobody plays: notes and beats are known, chords are not graded."""
        r = self.r
        p = 1 / self.parts
        steps = r.choice([[p, p, 1.], [p], [1., p, 2.], [p, p / 2 if self.bpm < 120 else p, 1.], [1 / 3, 1 / 3, 1.], [p, 1.5]])
        if r.random() < .12:
            return
        self.line(beat, length, steps, (1, 2, 3, 4, 5), r.uniform(.6, 1), .12, (0, 12))

    # ---- other players
    def others(self, spans):
        r = self.r
        loud = self.style == "power"
        bass, drums, lead = r.random() < (.5 if loud else .2), r.random() < (.5 if loud else .2), r.random() < .36
        bg, dg, lg = r.uniform(.3, 1.2), r.uniform(.2, 1.2), math.exp(r.uniform(math.log(.25), math.log(2.5)))
        if bass:
            self.bass_player(spans, r.choice([1 / self.parts, 1, 1, 2]), bg)
        if drums:
            self.drummer(spans, dg)
        self.lead_voices = []
        if lead and self.style != "solo":
            self.singer(spans, lg)

    def bass_player(self, spans, step, gain):
        r = self.r
        for c, beat, n in spans:
            if c is None:
                continue
            for pos, k, m in self.slots(beat, n, step):
                p = c[0] + (c[2] if m == 0 or r.random() < .7 else 7)
                if self.real and m > 0 and r.random() < .15:
                    p += r.choice([-2, -1, 2, 3, 4])
                t = self.t(pos) + r.gauss(0, .008)
                self.events.append([t, t + step * 60 / self.bpm * r.uniform(.5, .98), BASS, 28 + (p - 28) % 12 + self.detune, gain, 0, 0, 0, 0, -1])

    def drummer(self, spans, gain):
        r = self.r
        total = spans[-1][1] + spans[-1][2]
        hit = lambda t, key, g: self.events.append([t, t + .4, DRUM, key, gain * g, 0, 0, 0, 0, -1])
        hat = 1 / self.parts if self.compound else r.choice([.5, .5, 1, .25])
        for pos, k, m in self.slots(0, total, hat):
            hit(self.t(pos), 42 if r.random() < .95 else 46, r.uniform(.2, .5))
        kick = r.choice([[0], [0, 2], [0, 2.5], [0, 1.5, 2]])
        back = {4: (1, 3), 3: (1, 2), 2: (1,)}[self.bar]
        for pos, k, m in self.slots(0, total, 1 if self.compound else .5):
            b = (pos - self.bar_zero) % self.bar
            if b in kick or r.random() < .04:
                hit(self.t(pos), 36, 1)
            if b in back:
                hit(self.t(pos), r.choice([38, 38, 40, 37]), 1)

    def singer(self, spans, gain):
        """A line on top, sung or played: phrases with breaths, slides, vibrato; sometimes a second voice."""
        r = self.r
        scale = [0, 2, 4, 5, 7, 9, 11] if not self.minor else [0, 2, 3, 5, 7, 8, 10]
        p = base = r.randint(50, 74)
        vib, hz, slides = r.uniform(5, 70), r.uniform(4.5, 6.5), r.uniform(0, .7)
        second = r.choice([0, 0, 0, 3, 4, -12, 12, -5])
        breath = r.uniform(.1, .5)
        for c, beat, n in spans:
            if r.random() < breath:
                continue
            pos = beat + r.choice([0, .5, .5, 1])
            tones = {(c[0] + i) % 12 for i in QUALITIES[c[1]]} if c else set()
            while pos < beat + n - .2:
                long = r.choice([.25, .5, .5, 1, 1, 2]) if not self.compound else r.choice([1 / 3, 1 / 3, 2 / 3, 1, 2])
                for _ in range(12):
                    z = max(base - 10, min(base + 10, p + r.choice([-5, -4, -3, -2, -1, 0, 1, 2, 3, 4, 5])))
                    if z % 12 in tones and r.random() < .7 or (z - self.tonic) % 12 in scale:
                        p = z
                        break
                t = self.t(pos) + r.gauss(.01, .025)
                slide = r.choice([-2, -1, 1]) * r.random() if r.random() < slides else 0
                end = t + long * 60 / self.bpm * r.uniform(.6, 1.05)
                for up in ({0, second} if second and r.random() < .8 else {0}):
                    self.events.append([t, end, LEAD, p + up + self.detune * r.random() + r.gauss(0, .15) - slide,
                                        gain * r.uniform(.5, 1) * (.7 if up else 1), slide, t + .04, vib, hz, -1])
                self.lead_voices.append((t, end))
                pos += long


def piece(seed, tidy=False, style=None):
    """A take, played: see the module's head."""
    return Piece(seed, tidy, style).play()
