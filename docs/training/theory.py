"""Chord qualities, labels and invented chord progressions.

Labels use the syntax of Harte, Sandler, Abdallah and Gomez (ISMIR 2005) and the
shorthands `sus2` and `5`.  A chord is (root pitch class, quality, bass interval in
semitones above the root).
"""
from __future__ import annotations

import json
import re
from pathlib import Path

# the program's own vocabulary (src/theory/qualities.rs), which `UPDATE_DOCS=1 cargo test --test it weights` exports
QUALITIES = {row["label"]: tuple(row["semitones"]) for row in json.loads((Path(__file__).parent / "qualities.json").read_text())}
NAMES = list(QUALITIES)                      # class number = index * 12 + root
NONE = len(NAMES) * 12                       # 276: no chord
IGNORE = 65535
SHARPS = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
DEGREES = {"1": 0, "2": 2, "3": 4, "4": 5, "5": 7, "6": 9, "7": 11, "9": 2, "11": 5, "13": 9}
INTERVAL_NAMES = ["1", "b2", "2", "b3", "3", "4", "b5", "5", "#5", "6", "b7", "7"]
LABEL = re.compile(r"^([A-G][b#]*)(?::([a-z0-9]*(?:\([^)]*\))?))?(?:/([b#]*\d+))?$")


def shifted(text: str, number: int) -> int:
    return (number + text.count("#") - text.count("b")) % 12


def label(root: int, quality: str, bass: int = 0) -> str:
    return f"{SHARPS[root]}:{quality}" + (f"/{INTERVAL_NAMES[bass]}" if bass else "")


def parse(text: str):
    """(root, quality, bass interval), "N", or None where the quality is not one of ours."""
    if text == "N":
        return "N"
    m = LABEL.match(text)
    if not m:
        return None
    root = shifted(m[1][1:], LETTERS[m[1][0]])
    quality = m[2] or "maj"
    bass = shifted(m[3], DEGREES[m[3].lstrip("b#")]) if m[3] else 0
    return (root, quality, bass) if quality in QUALITIES else None


# ---- progressions --------------------------------------------------------
# degree: semitones above the tonic, and the plain chord that stands there
MAJOR = {"I": (0, "maj"), "ii": (2, "min"), "iii": (4, "min"), "IV": (5, "maj"),
         "V": (7, "maj"), "vi": (9, "min"), "bVII": (10, "maj"), "iv": (5, "min"),
         "V7": (7, "7"), "II": (2, "7"), "III": (4, "7"), "VI": (9, "7"), "I7": (0, "7"),
         "bVI": (8, "maj"), "bIII": (3, "maj"), "vii": (11, "dim"), "#iv": (6, "hdim7"),
         "#i": (1, "dim7"), "I+": (0, "aug"), "v": (7, "min")}
MAJOR_NEXT = {
    "I": "IV IV V V V vi vi ii iii I7 bVII VI II I+ #i iii IV", "ii": "V V V7 V7 IV I iii bVII",
    "iii": "vi vi IV IV ii VI", "IV": "V V I I ii iv bVII vi #iv V7 I", "V": "I I I vi IV ii V7",
    "vi": "IV IV ii ii V iii II I", "bVII": "IV IV I I bIII V", "iv": "I I V bVII V7",
    "V7": "I I I vi bVI", "II": "V V V7 ii", "III": "vi vi IV VI", "VI": "ii ii II",
    "I7": "IV IV iv", "bVI": "bVII bVII V I", "bIII": "IV bVII bVI", "vii": "I iii III",
    "#iv": "V IV V7 III", "#i": "ii ii V7", "I+": "IV vi I", "v": "IV I7 ii"}
MINOR = {"i": (0, "min"), "iv": (5, "min"), "v": (7, "min"), "V": (7, "maj"), "V7": (7, "7"),
         "bVI": (8, "maj"), "bVII": (10, "maj"), "bIII": (3, "maj"), "ii": (2, "hdim7"),
         "bII": (1, "maj"), "IV": (5, "maj"), "vii": (11, "dim7"), "bVII7": (10, "7"),
         "vi": (9, "hdim7"), "iM": (0, "minmaj7")}
MINOR_NEXT = {
    "i": "iv iv bVI bVI bVII bVII v V bIII ii iM IV V7", "iv": "i i V V7 bVII bVI ii",
    "v": "i i bVI iv", "V": "i i i bVI", "V7": "i i i bVI", "bVI": "bVII bVII bIII V iv i V7",
    "bVII": "i i bVI bIII bIII v", "bIII": "bVII bVI iv IV bVII7", "ii": "V V7 V7",
    "bII": "V i V7", "IV": "i i bVII bIII", "vii": "i i", "bVII7": "bIII bIII", "vi": "bVI ii V",
    "iM": "iv i vi"}
COLOURS = {
    "maj": "maj7 maj7 maj(9) maj(9) maj6 maj6 sus2 sus4 maj9 maj6(9) aug 7 9",
    "min": "min7 min7 min7 min(9) min(9) min6 min9 minmaj7 sus2 hdim7",
    "7": "9 9 sus4(b7) sus4(b7) 7(#9) 7 aug 7 maj6",
    "dim": "dim7 dim hdim7", "hdim7": "hdim7 min6 dim", "dim7": "dim7", "aug": "aug",
    "minmaj7": "minmaj7"}


def progression(rng, count: int, tonic: int, minor: bool, colour: float):
    """`count` plain chords in a key; a share `colour` of them gets richer qualities."""
    out = []
    table, after = (MINOR, MINOR_NEXT) if minor else (MAJOR, MAJOR_NEXT)
    degree = "i" if minor else "I"
    if rng.random() < 0.35:
        degree = str(rng.choice(list(after)[:6]))
    for _ in range(count):
        up, quality = table[degree]
        if rng.random() < colour:
            quality = str(rng.choice(COLOURS[quality].split()))
        elif colour < 0.2 and quality == "7" and rng.random() < 0.4:
            quality = "maj"
        out.append(((tonic + up) % 12, quality, 0))
        if rng.random() < 0.03:                       # the key moves
            tonic = (tonic + int(rng.choice([2, 5, 7, 3, 1]))) % 12
        degree = str(rng.choice(after[degree].split()))
    return out


def random_chords(rng, count: int):
    """Any root, any quality: nothing to be learnt from the neighbours."""
    return [(int(rng.integers(12)), NAMES[rng.integers(len(NAMES))], 0) for _ in range(count)]


def with_slashes(rng, chords, share: float):
    """Basses that walk: each chord takes the inversion nearest to the bass before."""
    out, before = [], None
    for root, quality, _ in chords:
        tones = QUALITIES[quality]
        options = [(0, 2.0)] + [(i, 3.0) for i in tones[1:3]] + [(i, 1.2) for i in tones[3:]]
        options += [(10 if rng.random() < 0.6 else 11, 1.0), (2, 0.7), (5, 0.25), (9, 0.3)]
        weights = []
        for i, w in options:
            step = ((root + i - (before if before is not None else root)) + 6) % 12 - 6
            near = {0: 0.7, 1: 3.0, 2: 3.0}.get(abs(step), 0.8)
            weights.append(w * near * (share if i else 1 - share))
        weights = [w / sum(weights) for w in weights]
        bass = options[rng.choice(len(options), p=weights)][0]
        out.append((root, quality, bass))
        before = root + bass
        if rng.random() < 0.25 * share:               # same chord, the bass walks on
            step = int(rng.choice([-2, -1, 1, 2]))
            out.append((root, quality, (bass + step) % 12))
            before = root + bass + step
    return out
