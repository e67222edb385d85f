"""Grades beats and sections of long takes by mir_eval, beside a peer.

    python3 grade_forms.py FOLDER

For each FOLDER/NAME.json (truth) reads NAME.est.json (beats_s, downbeats_s,
tempo_bpm, sections as start, end, letter) and prints one JSON object a line:
the take, who heard it, and the measures of mir_eval (PyPI) 0.8: F of beats and
downbeats within 70 ms, F of section boundaries within 0.5 and 3 s (first and
last left out), pairwise F of letters; tempo as share of the true one.  The peer
for beats is librosa's (PyPI) beat tracker.
"""
import json
import sys
from pathlib import Path

import librosa
import mir_eval
import numpy as np


def segments(rows, end):
    rows = [list(row) for row in rows]
    rows[0][0], rows[-1][1] = 0.0, end
    for a, b in zip(rows, rows[1:]):
        a[1] = b[0]
    return np.array([row[:2] for row in rows]), [row[2] for row in rows]


def main(folder):
    for path in sorted(folder.glob("*.est.json")):
        name = path.name[:-9]
        est = json.loads(path.read_text())
        truth = json.loads((folder / f"{name}.json").read_text())
        beats = np.array(truth["beats_s"])
        end = truth["sections"][-1][1]
        bpm = 60 / float(np.median(np.diff(beats)))
        ours = {"take": name, "by": "takebook"}
        for what in ("beats", "downbeats"):
            ours[what] = mir_eval.beat.f_measure(
                np.array(truth[f"{what}_s"]), np.array(est[f"{what}_s"]))
        ours["tempo"] = est["tempo_bpm"] / bpm
        ri, rl = segments(truth["sections"], end)
        ei, el = segments(est["sections"], end)
        for key, window in (("sections_0.5", 0.5), ("sections_3", 3.0)):
            ours[key] = mir_eval.segment.detection(ri, ei, window=window, trim=True)[2]
        ours["letters"] = mir_eval.segment.pairwise(ri, rl, ei, el)[2]
        print(json.dumps(ours))
        samples, rate = librosa.load(folder / f"{name}.wav", sr=22050)
        tempo, found = librosa.beat.beat_track(y=samples, sr=rate, units="time")
        print(json.dumps({"take": name, "by": "librosa",
                          "beats": mir_eval.beat.f_measure(beats, found),
                          "tempo": float(np.atleast_1d(tempo)[0]) / bpm}))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
