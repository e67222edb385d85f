"""Renders takes that play a chart, but not from start to end as it stands.

    python3 render_odd_takes.py FOLDER FIRST_SEED N_SEEDS

Charts are those of render_checks.py.  Every take plays what is written; what is
odd about it is one of: spoken (an introduction by espeak-ng, Debian package),
drift (from slower to faster by a fifth), extra repeat and missing repeat (of the
first four bars), middle (starts at bar 6), detuned (40 cents flat or sharp),
repeated bar (10 or 11), stumble (bar 10 or 11 breaks off half way and is begun again),
restart (breaks off there, is silent for three seconds and goes on from bar 9).
FOLDER/SEED.json has the chart and for each take: file, odd, left_out and
played_again as it should be told, each as lists of equally right answers.
"""
import json
import random
import subprocess
import sys
from pathlib import Path

import numpy as np
import scipy.signal
import soundfile

import render_checks as c
import render_takes as r

WORDS = ("So, this is the second song. The form is A A B A, and watch the bass in the middle part. "
         "Ready? One, two, three, four.")


def speech(folder):
    """Mono speech at 44.1 kHz."""
    path = folder / "speech.wav"
    subprocess.run(["espeak-ng", "-s", "150", "-w", str(path), WORDS], check=True)
    samples, rate = soundfile.read(path)
    return scipy.signal.resample_poly(samples, 44100, rate)


def drifting(notes, total):
    """Times as if the tempo went from 0.9 to 1.1 of what it was."""
    def at(t):
        x = t / total
        return total * (x / 0.9 - 0.5 * x * x * (1 / 0.9 - 1 / 1.1))
    return [[at(on), at(off), *rest] for on, off, *rest in notes], at(total)


def take(odd, bars, style, bpm, rng):
    """Bars as played and what should be told of them."""
    left, again = [[]], [[]]
    if odd == "extra repeat":
        bars, again = bars[:4] + bars, [[[1, 4]], [[5, 8]]]
    elif odd == "missing repeat":
        bars, left = bars[4:], [[[1, 4]], [[5, 8]]]
    elif odd == "middle":
        bars, left = bars[5:], [[[1, 5]]]
    elif odd in ("repeated bar", "stumble", "restart"):
        return broken(odd, bars, style, bpm * rng.uniform(0.9, 1.1), rng)
    notes, total = c.perform(bars, style, bpm * rng.uniform(0.9, 1.1), rng)
    if odd == "drift":
        notes, total = drifting(notes, total)
    return notes, total, left, again


def broken(odd, bars, style, bpm, rng):
    """A take that stops in bar 10 or 11, whichever differs from the bars beside it, and goes back."""
    at = next((i for i in (9, 10) if bars[i] not in (bars[i - 1], bars[i + 1])), 9)
    if odd == "repeated bar":
        first, rest, again = bars[:at + 1], bars[at:], [[[at + 1, at + 1]]]
    else:
        half = [(label, beats / len(bars[at]) / 2) for label, beats in bars[at][:1]]
        half = [(label, max(1, round(beats))) for label, beats in half]
        first = bars[:at] + [half]
        back = at if odd == "stumble" else 8
        rest = bars[back:]
        # half a bar may count as a bar that was begun, or as none
        again = [[[back + 1, at + 1]], [[back + 1, at]] if back < at else []]
    before, end_s = c.perform(first, style, bpm, rng)
    before = [n for n in before if n[0] < end_s - 1.5]
    pause_s = 3.0 if odd == "restart" else 0.0
    stop_s = end_s - 1.5        # perform lets the last chord ring for so long
    after, total = c.perform(rest, style, bpm, rng)
    lead_s = min(n[0] for n in after)
    shift_s = stop_s + pause_s - lead_s
    before = [[on, min(off, stop_s + 0.3 if pause_s else stop_s), *rest_] for on, off, *rest_ in before]
    after = [[on + shift_s, off + shift_s, *rest_] for on, off, *rest_ in after]
    return before + after, total + shift_s, [[]], again


ODD = ["spoken", "drift", "extra repeat", "missing repeat", "middle", "detuned", "repeated bar", "stumble", "restart"]


def main(folder, first, n):
    folder.mkdir(parents=True, exist_ok=True)
    spoken = speech(folder)
    for seed in range(first, first + n):
        key, n_beats, bpm, style, bars = c.compose(seed)
        truth = c.chart(key, n_beats, bpm, bars)
        truth["takes"] = []
        for odd in ODD:
            for sound in r.SOUNDS:
                rng = random.Random(f"odd {seed} {odd} {sound}")
                notes, total, left, again = take(odd, bars, style, bpm, rng)
                cents = rng.choice([-40, 40]) if odd == "detuned" else rng.uniform(-10, 10)
                path = folder / f"{seed}-{odd.replace(' ', '-')}-{sound}.wav"
                c.render(path, notes, total, sound, cents)
                if odd == "spoken":
                    samples, rate = soundfile.read(path, always_2d=True)
                    voice = spoken * (np.abs(samples).max() / np.abs(spoken).max())
                    silence = np.zeros(int(0.5 * rate))
                    lead = np.concatenate([voice, silence])[:, None].repeat(samples.shape[1], axis=1)
                    soundfile.write(path, np.concatenate([lead, samples]), rate, subtype="PCM_16")
                truth["takes"].append({"file": path.name, "odd": odd, "left_out": left,
                                       "played_again": again})
        (folder / f"{seed}.json").write_text(json.dumps(truth))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
