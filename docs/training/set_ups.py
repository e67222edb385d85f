"""Songs for guitars that are set up otherwise: a capo, a guitar tuned down, drop D, and some as usual.

What is played behind a capo or on a lowered guitar is put into the key in which most of its chords are
open shapes there, as players do who set a guitar up so (common practice, no source); in drop D most
chords are on D.  For grading what hearing suggests: `cargo run --release --example suggested`.
"""
from __future__ import annotations

import random

from music import Piece
from shapes import TUNINGS

USUAL = (0, 0, "standard")
# capo, semitones down, tuning; a take's seed picks one
PLANS = [(capo, 0, "standard") for capo in (1, 2, 3, 4, 5, 7, 2, 3, 4, 5)] + [(0, -1, "standard")] * 5 + [(0, -2, "standard")] * 2 \
    + [(0, 0, "drop-d")] * 6 + [USUAL] * 9
STYLES = ["strum", "strum", "strum", "pick", "slash", "comp"]
# roots, as played, of chords that have an open shape
OPEN = {"maj": {0, 2, 4, 7, 9}, "min": {2, 4, 9}, "7": {0, 2, 4, 7, 9, 11}, "min7": {2, 4, 9}, "maj7": {0, 2, 4, 5, 7, 9}}
D = 2


class SetUp(Piece):
    """A song on the guitar of its plan."""

    def __init__(self, seed, first):
        self.plan = PLANS[(seed - first) % len(PLANS)]
        super().__init__(seed, (seed - first) % 4 == 0, random.Random(seed - first).choice(STYLES))

    def choose_guitar(self, r):
        super().choose_guitar(r)
        self.capo, self.offset, self.tuning = self.plan
        self.opens = [o + self.capo + self.offset for o in TUNINGS[self.tuning]]

    def lay_out(self, chords, beats, b):
        chords = list(chords)
        if self.plan != USUAL:
            moved = max(range(12), key=lambda t: self.suits(chords[:24], t))
            chords = [((c[0] + moved) % 12, *c[1:]) for c in chords]
        return super().lay_out(chords, beats, b)

    def suits(self, chords, moved):
        """How well chords that are moved up suit this guitar."""
        played = [((c[0] + moved - self.capo - self.offset) % 12, c[1]) for c in chords]
        like = lambda q: q if q in OPEN else "min" if str(q).startswith("min") else "maj"
        n_open = sum(root in OPEN[like(q)] for root, q in played)
        return (sum(root == D for root, _ in played), n_open) if self.tuning == "drop-d" else (n_open, 0)
