"""Grades beats by mir_eval: F of beats and of downbeats within 70 ms, one JSON object a take.

    python3 grade_counts.py FOLDER

Reads FOLDER/NAME.json (truth) and NAME.est.json (beats_s, downbeats_s).
Reference: mir_eval (PyPI) 0.8, mir_eval.beat.f_measure.
"""
import json
import sys
from pathlib import Path

import mir_eval
import numpy as np

for path in sorted(Path(sys.argv[1]).glob("*.est.json")):
    name = path.name[:-9]
    est = json.loads(path.read_text())
    truth = json.loads((path.parent / f"{name}.json").read_text())
    scores = {what: mir_eval.beat.f_measure(np.array(truth[f"{what}_s"]), np.array(est[f"{what}_s"]))
              for what in ("beats", "downbeats")}
    print(json.dumps({"take": name, **scores}))
