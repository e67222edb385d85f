"""Random timelines with the grades that mir_eval gives them, as JSON on stdout.

    python3 grade_cases.py SEED N

Every random choice comes from SEED.  A measure that mir_eval refuses for a
case is null.
"""
import json
import random
import sys
import warnings

import mir_eval
import numpy as np

warnings.simplefilter("ignore")

# the whole grammar that mir_eval can encode
SHORTHANDS = ("maj min dim aug 1 5 sus2 sus4 maj6 min6 7 maj7 min7 dim7 hdim7 minmaj7 "
              "9 maj9 min9 11 min11 13 maj13 min13").split()
COMMON = ["maj", "min", "7", "maj7", "min7"]
MEASURES = ("root thirds thirds_inv majmin majmin_inv triads triads_inv sevenths "
            "sevenths_inv tetrads tetrads_inv mirex").split()


def degree(rng):
    return rng.choice(["", "", "", "b", "#", "bb", "##"]) + str(rng.randint(1, 13))


def label(rng):
    dice = rng.random()
    if dice < 0.08:
        return "N"
    if dice < 0.13:
        return "X"
    text = rng.choice("CDEFGAB") + rng.choice(["", "", "", "b", "#", "bb", "##"])
    dice = rng.random()
    if dice < 0.10:
        pass
    elif dice < 0.18:
        text += ":(%s)" % ",".join(degree(rng) for _ in range(rng.randint(1, 4)))
    else:
        text += ":" + rng.choice(COMMON if rng.random() < 0.5 else SHORTHANDS)
        if rng.random() < 0.25:
            parts = [rng.choice(["", "", "*"]) + degree(rng) for _ in range(rng.randint(1, 3))]
            if rng.random() < 0.3:
                parts.append(parts[0])
            text += "(%s)" % ",".join(parts)
    if rng.random() < 0.3:
        text += "/" + degree(rng)
    return text


def timeline(rng, start, end, gaps, pool):
    """Spans from start to about end; times on a grid now and then, so that boundaries meet."""
    spans, t = [], start
    while t < end:
        length = rng.choice([0.25, 0.5, 1.0, 2.0]) if rng.random() < 0.5 else rng.uniform(0.05, 3)
        spans.append([t, t + length, rng.choice(pool)])
        t += length
        if gaps and rng.random() < 0.2:
            t += rng.uniform(0.01, 1.0)
    return spans


def split(spans):
    return (np.array([s[:2] for s in spans], dtype=float).reshape(-1, 2),
            [s[2] for s in spans])


def chords(reference, estimate):
    ref_i, ref_l = split(reference)
    est_i, est_l = split(estimate)
    out = dict.fromkeys(MEASURES + ["overseg", "underseg", "seg"])
    try:
        est_i, est_l = mir_eval.util.adjust_intervals(
            est_i, est_l, ref_i.min(), ref_i.max(), "N", "N")
        cut, ref_c, est_c = mir_eval.util.merge_labeled_intervals(ref_i, ref_l, est_i, est_l)
        weights = mir_eval.util.intervals_to_durations(cut)
    except ValueError:
        return out
    for name in MEASURES:
        compare = getattr(mir_eval.chord, name)
        out[name] = float(mir_eval.chord.weighted_accuracy(compare(ref_c, est_c), weights))
    merged_ref = mir_eval.chord.merge_chord_intervals(ref_i, ref_l)
    merged_est = mir_eval.chord.merge_chord_intervals(est_i, est_l)
    for name in ("overseg", "underseg", "seg"):
        try:
            out[name] = float(getattr(mir_eval.chord, name)(merged_ref, merged_est))
        except ValueError:
            pass
    return out


def chord_case(rng):
    pool = [label(rng) for _ in range(rng.randint(1, 6))]
    other = pool + [label(rng) for _ in range(rng.randint(0, 4))]
    start = rng.choice([0.0, 0.0, rng.uniform(0, 3)])
    end = start + rng.uniform(0.5, 25)
    reference = timeline(rng, start, end, rng.random() < 0.4, pool)
    start += rng.choice([0.0, 0.0, rng.uniform(-2, 2)])
    end += rng.choice([0.0, rng.uniform(-3, 3)])
    estimate = timeline(rng, max(0.0, start), end, rng.random() < 0.4, other)
    return reference, estimate


# estimate against reference, made by hand
EDGES = [
    ([[0, 4, "C:maj"]], []),
    ([[0, 4, "N"]], []),
    ([[0, 4, "N"]], [[0, 4, "N"]]),
    ([[0, 4, "X"]], [[0, 4, "C:maj"]]),
    ([[0, 4, "N"]], [[0, 4, "X"]]),
    ([[0, 4, "C:maj"]], [[0, 4, "X"]]),
    ([[0, 2, "C:maj"], [2, 4, "C:maj"]], [[0, 4, "C"]]),
    ([[0, 2, "C:9"], [2, 4, "C:7(9)"]], [[0, 4, "C:9"]]),
    ([[0, 4, "C:minmaj7"]], [[0, 2, "C:minmaj7"], [2, 4, "C:min(7)"]]),
    ([[2, 4, "C:maj"]], [[0, 1, "C:maj"]]),
    ([[2, 4, "C:maj"]], [[0, 2, "C:maj"]]),
    ([[0, 2, "C:maj"]], [[3, 4, "C:maj"]]),
    ([[0, 2, "C:maj"]], [[2, 4, "C:maj"]]),
    ([[1, 3, "C:maj"]], [[0, 9, "C:maj"]]),
    ([[0, 9, "C:maj"]], [[4, 5, "C:maj"]]),
    ([[0, 1, "C:maj"], [3, 4, "G:maj"]], [[0, 4, "C:maj"]]),
    ([[0, 4, "C:maj"]], [[0, 1, "C:maj"], [3, 4, "G:maj"]]),
    ([[0, 4, "C:maj/3"]], [[0, 4, "E:(b3,b6)"]]),
    ([[0, 4, "C:maj(*1)"]], [[0, 4, "C:maj"]]),
    ([[0, 4, "C:maj(*3,3)"]], [[0, 4, "C:5"]]),
    ([[0, 4, "Cb:maj/b1"]], [[0, 4, "B:maj7/7"]]),
    ([[0, 4, "C:1/5"]], [[0, 4, "C:5/5"]]),
    ([[0, 4, "C:5"]], [[0, 4, "C:maj"]]),
]


def beat_case(rng):
    reference = np.cumsum([rng.uniform(0.05, 0.8) for _ in range(rng.randint(0, 40))])
    kept = [t + rng.gauss(0, 0.05) for t in reference if rng.random() < 0.8]
    extra = [rng.uniform(0, 20) for _ in range(rng.randint(0, 8))]
    estimate = np.sort(np.abs(np.array(kept + extra)))
    return {"reference": list(map(float, reference)), "estimate": list(map(float, estimate)),
            "f": float(mir_eval.beat.f_measure(reference, estimate))}


def section_case(rng):
    reference, estimate = [], []
    for spans in (reference, estimate):
        t = 0.0
        for _ in range(rng.randint(2, 9)):
            length = rng.uniform(0.4, 12)
            spans.append([t, t + length, rng.choice("ABCab")])
            t += length
    if rng.random() < 0.5:
        estimate = [[s + 1, e + 1, x] for s, e, x in estimate]
    ref_i, ref_l = split(reference)
    est_i, est_l = split(estimate)
    est_i, est_l = mir_eval.util.adjust_intervals(est_i, est_l, 0.0, ref_i.max())
    if (est_i[:, 1] <= est_i[:, 0]).any():
        return section_case(rng)
    detect = mir_eval.segment.detection
    return {"reference": reference, "estimate": estimate,
            "f05": detect(ref_i, est_i, window=0.5),
            "f3": detect(ref_i, est_i, window=3.0),
            "f05_inner": detect(ref_i, est_i, window=0.5, trim=True),
            "pairs": mir_eval.segment.pairwise(ref_i, ref_l, est_i, est_l)}


def note_case(rng):
    reference = []
    for _ in range(rng.randint(0, 40)):
        start = round(rng.uniform(0, 4), 3)
        reference.append([start, start + rng.uniform(0.05, 2), rng.randint(40, 52)])
    estimate = [[abs(round(s + rng.choice([0, 0.05, rng.gauss(0, 0.04)]), 3)), e + 5,
                 p + rng.choice([0, 0, 0, 0.3, 0.7, 1, 12])]
                for s, e, p in reference if rng.random() < 0.9]
    for _ in range(rng.randint(0, 8)):
        start = rng.uniform(0, 4)
        estimate.append([start, start + 0.3, rng.randint(40, 52)])
    rng.shuffle(estimate)

    def arrays(notes):
        values = np.array(notes, dtype=float).reshape(-1, 3)
        return values[:, :2], mir_eval.util.midi_to_hz(values[:, 2])

    ref_i, ref_p = arrays(reference)
    est_i, est_p = arrays(estimate)
    return {"reference": reference, "estimate": estimate,
            "onsets": mir_eval.transcription.onset_precision_recall_f1(ref_i, est_i),
            "notes": mir_eval.transcription.precision_recall_f1_overlap(
                ref_i, ref_p, est_i, est_p, offset_ratio=None)[:3]}


def main(seed, n):
    rng = random.Random(seed)
    cases = [chord_case(rng) for _ in range(n)] + EDGES
    json.dump({
        "chords": [{"reference": r, "estimate": e, "expected": chords(r, e)} for r, e in cases],
        "beats": [beat_case(rng) for _ in range(n // 4)],
        "sections": [section_case(rng) for _ in range(n // 4)],
        "notes": [note_case(rng) for _ in range(n // 4)],
    }, sys.stdout)


main(int(sys.argv[1]), int(sys.argv[2]))
