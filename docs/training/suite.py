"""Kept suites of takes: sound files with their truth, rendered on the processor.

    python3 suite.py fit|grade|set-ups FOLDER --bank BANK.npz --shapes SHAPES.pkl [--takes 64]

A suite is a range of seeds: train_songs.py begins at 1,000,000,000, `fit` at 1,000,000, `grade`
at 2,000,000, `set-ups` (set_ups.py) at 3,000,000, so that no take is in two of them. NAME.truth.json holds chords of the sheet and of
the moment, notes with strings, strums with direction, beats, downbeats and the meter.
"""
from __future__ import annotations

import argparse
import json
import os
from pathlib import Path

import numpy as np
import torch
from scipy.io import wavfile

import theory
from music import BASS, DRUM, LEAD, SECONDS, piece
from set_ups import SetUp
from shapes import TUNINGS
from studio import Bank, Studio, pack
from truth import RATE, detail_rows

FIRST = {"fit": 1_000_000, "grade": 2_000_000, "set-ups": 3_000_000}
VERSION = 1


def spans(rows, end):
    """Rows (start, end, root, quality, bass) within a take as labelled spans without gaps."""
    out = []
    for a, b, root, quality, bass in rows:
        a, b = max(0.0, a), min(end, b)
        if b - a < 1e-3:
            continue
        label = "N" if root is None else theory.label(root, quality, bass)
        if out and out[-1]["label"] == label:
            out[-1]["end"] = b
        else:
            if out:
                out[-1]["end"] = min(out[-1]["end"], a)
            out.append({"start": a, "end": b, "label": label})
    if out and out[0]["start"] > 0:
        out.insert(0, {"start": 0.0, "end": out[0]["start"], "label": "N"})
    return out


def truth(p):
    inside = lambda times: [t for t in times if 0 <= t < min(SECONDS, p.beat_end + .01)]
    beats = inside(p.beats)
    alone = not any(e[2] in (BASS, DRUM, LEAD) for e in p.events)
    return {"seed": p.seed, "style": p.style, "category": p.style, "tidy": not p.real, "duration": SECONDS, "duration_s": SECONDS, "meter": p.meter,
            "tempo": p.bpm, "tempo_bpm": p.bpm, "backing": "none" if alone else "band", "capo": p.capo,
            "tuning_offsets": [t - s + p.offset for t, s in zip(TUNINGS[p.tuning], TUNINGS["standard"])], "tuning": p.tuning, "offset": p.offset, "chords": spans(p.chords, SECONDS), "detail": spans(detail_rows(p), SECONDS),
            "beats_s": beats, "downbeats_s": inside(p.downbeats),
            "strums": sorted([t, way] for t, way in p.strums if 0 <= t < SECONDS),
            "notes": [[t, min(e[1], t + 8), m, int(e[9])] for t, m, e in p.notes if 0 <= t < SECONDS - .1],
            "voice": bool(p.lead_voices) and p.sung}


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("suite", choices=list(FIRST))
    a.add_argument("folder", type=Path)
    a.add_argument("--bank", required=True)
    a.add_argument("--shapes", required=True)
    a.add_argument("--takes", type=int, default=64)
    a = a.parse_args()
    os.environ["SHAPES"] = a.shapes
    a.folder.mkdir(parents=True, exist_ok=True)
    bank = Bank(a.bank)
    studio = Studio(bank, "cpu", 2)
    for k in range(a.takes):
        seed = FIRST[a.suite] + k
        torch.manual_seed(seed)
        p = SetUp(seed, FIRST[a.suite]).play() if a.suite == "set-ups" else piece(seed, tidy=k % 4 == 0)
        ints, floats, drive = pack(p, bank, 0)
        y = studio.render(torch.from_numpy(ints), torch.from_numpy(floats), torch.tensor([drive], dtype=torch.float32), 1)[0].numpy()
        y = y / (np.abs(y).max() + 1e-9) * .7
        wavfile.write(a.folder / f"{a.suite}-{k:03d}.wav", RATE, np.round(y * 32767).astype(np.int16))
        told = truth(p)
        (a.folder / f"{a.suite}-{k:03d}.truth.json").write_text(json.dumps(told))
        (a.folder / f"{a.suite}-{k:03d}.lab").write_text("".join(f"{c['start']:.4f}\t{c['end']:.4f}\t{c['label']}\n" for c in told["chords"]))
        print(a.suite, k, p.style, flush=True)


if __name__ == "__main__":
    main()
