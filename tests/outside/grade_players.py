"""Grades chords by mir_eval: python3 grade_players.py FOLDER

Of every NAME.json with `chords` and NAME.est.json: majmin, majmin_inv and seg, and how many chord
changes were written for each true one, a line of JSON a take."""
import json
import sys
from pathlib import Path

import mir_eval
import numpy as np

for path in sorted(Path(sys.argv[1]).glob("*.est.json")):
    name = path.name[: -len(".est.json")]
    truth = json.loads((path.parent / f"{name}.json").read_text())["chords"]
    est = json.loads(path.read_text())["chords"]
    score = mir_eval.chord.evaluate(np.array([c[:2] for c in truth]), [c[2] for c in truth],
                                    np.array([c[:2] for c in est]), [c[2] for c in est])
    inside = [c for c in est if c[1] > truth[0][0] and c[0] < truth[-1][1] and c[2] != "N"]
    changes = lambda rows: sum(a[2] != b[2] for a, b in zip(rows, rows[1:]))
    print(json.dumps({"take": name, **{k: score[k] for k in ("majmin", "majmin_inv", "seg")},
                      "few_changes": changes(truth) / max(1, changes(inside), changes(truth))}))
