"""What speaks for a struck note: the judge of notes' input (src/hearing/notes/evidence.rs reads the same).

A candidate is a local peak in time of a pitch's struck probability over FLOOR.  Spectra are
decibels, long [T, 280] and short [T, 94], margins included, as features.py makes them; `cents`
is the take's tuning.  Levels are read at the tuned place of a semitone (linear between bins),
below the loudest bin of the frames -1..3 about the candidate, not under -60 dB, in units of
20 dB.  Frames and semitones are relative to the candidate's; times beyond the take are its
first or last frame; pitches and bins beyond the grid are silent.
"""
from __future__ import annotations

import numpy as np

from features import LONG, SHORT

PITCHES = 64                                    # MIDI 28..91; pitch 0 is 4 semitones above bin 0
FLOOR = 0.08
SILENT = -200.0
STRUCK_AT = (-2, -1, 0, 1, 2)                   # frames, own pitch
SOUNDING_AT = (-6, -4, -3, -2, -1, 0, 1, 2, 4, 6)
PARTIALS = (0, 12, 19, 24, 28, 31)              # semitones above the pitch: partials 1 to 6
SHORT_AT = (-4, -2, -1, 0, 1, 2, 4)
LONG_PARTIALS = (0, 12, 19, 24)
LONG_AT = (-5, -2, 1, 4)
STRUCK_BESIDE = (-36, -31, -28, -24, -19, -16, -12, -9, -7, -5, -4, -3, -2, -1,
                 1, 2, 3, 4, 5, 7, 9, 12, 16, 19, 24)
SOUNDING_BESIDE = (-36, -31, -28, -24, -19, -12, -7, -5, 5, 7, 12, 19, 24)
LEVEL_BESIDE = (-28, -24, -19, -16, -12, -9, -7, -5, -4, -3, -1, 1, 4, 5, 7, 9, 16, 21, 26)
HISTORY = ((-64, -13), (-12, -3), (3, 12), (13, 64))    # frames


def logit(p):
    p = np.clip(p, .004, .996)
    return np.log(p / (1 - p))


def candidates(struck, floor=FLOOR):
    """(pitch, frame, center of the peak's three frames), by pitch, then time."""
    z = np.zeros((1, PITCHES), struck.dtype)
    before, after = np.vstack([z, struck[:-1]]), np.vstack([struck[1:], z])
    p, t = np.nonzero(((struck >= floor) & (struck >= before) & (struck > after)).T)
    here, a, b = struck[t, p], after[t, p], before[t, p]
    return p, t, np.maximum(t + (a - b) / (a + here + b), 0.0)


class Levels:
    """Decibels at any frame and semitone above C1."""

    def __init__(self, db, kind, cents):
        self.db, per = db, kind["per_octave"] // 12
        self.per, self.zero = per, kind["margin"] + cents / 100 * per

    def __call__(self, frame, semitone):
        at = np.asarray(semitone) * self.per + self.zero
        low = np.floor(at).astype(int)
        inside = (low >= 0) & (low < self.db.shape[1] - 1)
        low = np.clip(low, 0, self.db.shape[1] - 2)
        part = at - np.floor(at)
        value = self.db[frame, low] * (1 - part) + self.db[frame, low + 1] * part
        return np.where(inside, value, SILENT)


def evidence(struck, sounding, long_db, short_db, cents, p, t):
    """[candidates, numbers] and the numbers' names."""
    n = len(struck)
    names, columns = [], []

    def add(name, values):
        names.append(name)
        columns.append(np.asarray(values, np.float32))

    def at(frames):
        return np.clip(t + frames, 0, n - 1)
    short, long = Levels(short_db, SHORT, cents), Levels(long_db, LONG, cents)
    top_short, top_long = short_db.max(1), long_db.max(1)
    about = (-1, 0, 1, 2, 3)
    loudest = np.max([top_short[at(o)] for o in about], 0)
    loudest_long = np.max([top_long[at(o)] for o in about], 0)
    below = lambda level, top: np.maximum(level - top, -60) / 20
    bin0 = p + 4
    after = lambda b: np.maximum(short(at(1), b), short(at(2), b))
    before = lambda b: np.maximum(short(at(-1), b), short(at(-2), b))

    for o in STRUCK_AT:
        add(f"struck {o}", logit(struck[at(o), p]) / 3)
    for o in SOUNDING_AT:
        add(f"sounding {o}", logit(sounding[at(o), p]) / 3)
    for h in PARTIALS:
        for o in SHORT_AT:
            add(f"short {h} {o}", below(short(at(o), bin0 + h), loudest))
    for h in LONG_PARTIALS:
        for o in LONG_AT:
            add(f"long {h} {o}", below(long(at(o), bin0 + h), loudest_long))
    pad = ((0, 0), (40, 40))
    wide_s, wide_r = np.pad(struck, pad), np.pad(sounding, pad)
    near = np.maximum(np.maximum(wide_s[at(-1)], wide_s[t]), wide_s[at(1)])
    rings = sum(wide_r[at(o)] for o in (0, 1, 2, 3)) / 4
    rang = sum(wide_r[at(o)] for o in (-4, -3, -2)) / 3
    row = np.arange(len(p))
    for r in STRUCK_BESIDE:
        add(f"struck beside {r}", near[row, p + 40 + r])
    for r in SOUNDING_BESIDE:
        add(f"rings beside {r}", rings[row, p + 40 + r])
        add(f"rang beside {r}", rang[row, p + 40 + r])
    for r in LEVEL_BESIDE:
        now, was = after(bin0 + r), before(bin0 + r)
        add(f"level beside {r}", below(now, loudest))
        add(f"rise beside {r}", np.clip((now - was) / 20, -1.5, 1.5))
    for h in PARTIALS[:5]:
        add(f"rise {h}", np.clip((after(bin0 + h) - before(bin0 + h)) / 10, -2, 3))
    add("others", np.minimum(struck[t].sum(1) - struck[t, p], 6) / 2)
    add("strokes", (near > .5).sum(1) / 4)
    add("ring", rings.sum(1) / 4)
    add("rang", rang.sum(1) / 4)
    add("pitch", p / 32 - 1)
    add("pitch squared", (p / 32 - 1) ** 2)
    add("rise of all", np.clip((top_short[at(1)] - np.maximum(top_short[at(-1)], top_short[at(-2)])) / 10, -2, 3))
    rise = np.maximum(short_db[at(1)], short_db[at(2)]) - np.maximum(short_db[at(-1)], short_db[at(-2)])
    add("flux", np.clip(rise, 0, 20).mean(1) / 5)
    add("loud", np.maximum((loudest - np.sort(top_short)[int((n - 1) * .97)]) / 20, -3))
    for first, last in HISTORY:
        most = np.zeros(len(p))
        for o in range(first, last + 1):
            inside = (t + o >= 0) & (t + o < n)
            most = np.maximum(most, np.where(inside, struck[at(o), p], 0))
        add(f"struck {first} to {last}", most)
    return np.stack(columns, 1) if len(p) else np.zeros((0, len(names)), np.float32), names


WINDOW = 64                                     # frames on each side that tell the texture


def second_look(p, t, probability, frames):
    """What the others' probabilities (of the first look) say of each candidate: [candidates, numbers].

    Struck beside and own history as above, of these probabilities; how many notes this stroke
    has in all and below; and the texture: notes a stroke, and strokes, within three seconds.
    """
    grid = np.zeros((frames + 2, PITCHES + 80), np.float32)
    grid[t, p + 40] = np.round(probability * 255) / 255
    n = len(grid)
    zero = np.zeros((1, grid.shape[1]), np.float32)
    near = np.maximum(np.maximum(grid, np.vstack([zero, grid[:-1]])), np.vstack([grid[1:], zero]))
    row, own, here = np.arange(len(p)), near[t, p + 40], near[t, 40:40 + PITCHES]
    columns = [np.log(np.clip(probability, 1e-4, 1 - 1e-4) / np.clip(1 - probability, 1e-4, 1 - 1e-4)) / 4]
    columns += [near[t, p + 40 + r] for r in STRUCK_BESIDE]
    columns.append((here.sum(1) - own) / 3)
    columns.append((here > .5).sum(1) / 4)
    columns.append((np.cumsum(here, 1)[row, p] - own) / 3)
    for first, last in HISTORY:
        most = np.zeros(len(p), np.float32)
        for o in range(first, last + 1):
            inside = (t + o >= 0) & (t + o < n)
            most = np.maximum(most, np.where(inside, grid[np.clip(t + o, 0, n - 1), p + 40], 0))
        columns.append(most)
    notes = np.round(grid * 255).astype(int).sum(1)           # whole 255ths: sums that are alike are equal
    stroke = notes + np.r_[0, notes[:-1]] + np.r_[notes[1:], 0]
    peak = (stroke > 102) & (stroke >= np.r_[0, stroke[:-1]]) & (stroke > np.r_[stroke[1:], 0])
    sums, counts = np.r_[0, np.cumsum(np.where(peak, stroke, 0))], np.r_[0, np.cumsum(peak)]
    a, b = np.clip(t - WINDOW, 0, n), np.clip(t + WINDOW + 1, 0, n)
    strokes = np.maximum(counts[b] - counts[a], 1)
    mean = (sums[b] - sums[a]) / strokes / 255
    columns += [mean / 3, strokes / 12, np.abs(stroke[t] / 255 - mean) / 3]
    return np.stack(columns, 1).astype(np.float32)
