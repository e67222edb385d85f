"""Whole songs as sections: what play.py plays when a take is to have a form.

`plan(rng, take)` gives (chord, beats, letter): `letter` where a section starts, else None. Sections
of a letter have the same chords; the last time a letter comes its ending may differ. Which letters
follow each other and how long they last is common practice, no source.
"""
from __future__ import annotations

import theory

FORMS = ["AABA", "ABAB", "ABABCB", "AABB", "ABACA", "AABABA", "ABAC", "IABABCBO", "IAABA"]
BARS = {"I": [2, 4], "O": [2, 4]}                  # introductions and endings are short
LENGTHS, SHARES = [4, 8, 8, 12, 16], [.25, .25, .3, .08, .12]
TEXTURES = {"strum": 5, "picked": 3, "boom-chuck": 1, "arpeggio": 1}


def part(rng, tonic, minor, bars):
    """Chords of a section, each with how many bars it lasts."""
    phrase = 4 if bars >= 8 else bars
    chords = []
    while len(chords) < bars:
        some = theory.progression(rng, phrase, tonic, minor, .1)
        chords += some * (2 if rng.random() < .4 else 1)
    return [(c, 1) for c in chords[:bars]]


def plan(rng, take):
    letters = str(rng.choice(FORMS))
    tonic, minor = int(rng.integers(12)), bool(rng.random() < .3)
    parts = {}
    for letter in dict.fromkeys(letters):
        bars = int(rng.choice(BARS[letter])) if letter in BARS else int(rng.choice(LENGTHS, p=SHARES))
        moved = (tonic + int(rng.choice([0, 5, 9]))) % 12 if letter == "C" else tonic
        parts[letter] = part(rng, moved, minor, bars)
    for at, letter in enumerate(letters):
        chords = list(parts[letter])
        last = letter not in letters[at + 1:]
        if last and letters.count(letter) > 1 and rng.random() < .3:
            chords[-1] = ((tonic, "min" if minor else "maj", 0), 1)
        for k, (chord, bars) in enumerate(chords):
            yield chord, bars * take.bar, letter if k == 0 else None
