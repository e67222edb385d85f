"""Suites and manifests: what weights were made of.

    python3 manifests.py first                 manifests for weights that lie in the tree without one

A manifest lies beside its weights (NAME.manifest.json): sha256 of the weights, the suites they
learned from with hashes, seeds, commit, settings, metrics, the day the data was made, and the
command that makes them again, or why there is none.
"""
from __future__ import annotations

import datetime
import hashlib
import json
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
WEIGHTS = ROOT / "src/hearing/weights"
# what a maker's takes depend on, beside the registry's sounds
SOURCES = {"play.py": ["play.py", "shapes.py", "theory.py", "strings.py", "sounds.py", "recorded.py", "process.py", "make_packs.py"],
           "music.py": ["music.py", "shapes.py", "shape_table.py", "theory.py", "bank.py", "studio.py", "truth.py", "sounds.py", "recorded.py"]}


def suites():
    return {s["name"]: s for s in json.loads((HERE / "suites.json").read_text())["suites"]}


def suite_hash(suite, at=None):
    """Of the suite's row and of the programs that make it (as they were at a commit): the same takes come of the same hash."""
    sum_ = hashlib.sha256(json.dumps(suite, sort_keys=True).encode())
    for name in SOURCES[suite["maker"]]:
        if at is None:
            sum_.update((HERE / name).read_bytes())
        else:
            # a program that was not there yet counts as empty
            sum_.update(subprocess.run(["git", "show", f"{at}:docs/training/{name}"], cwd=ROOT, capture_output=True).stdout)
    return sum_.hexdigest()


def commit():
    return subprocess.run(["git", "rev-parse", "HEAD"], cwd=ROOT, check=True, capture_output=True, text=True).stdout.strip()


def write(weights: Path, part, used, seeds, rebuild, settings, metrics, data_date=None, graded_on=(), at=None):
    known = suites()
    rows = [{"name": n, "sha256": suite_hash(known[n], at)} for n in used]
    rows += [{"name": n, "sha256": suite_hash(known[n], at), "graded_on": True} for n in graded_on]
    told = {"file": weights.name, "part": part, "sha256": hashlib.sha256(weights.read_bytes()).hexdigest(), "suites": rows, "seeds": seeds,
            "commit": at or commit(), "settings": settings, "metrics": metrics,
            "data_date": data_date or datetime.date.today().isoformat(), "rebuild": rebuild}
    weights.with_name(weights.name + ".manifest.json").write_text(json.dumps(told, indent=1) + "\n")


A_TO_D, HARDER = ["takes-a-1", "takes-b-1", "takes-c-1", "takes-d-1"], ["takes-f-1", "takes-g-1"]
FIRST = {
    "acoustic": (["acoustic-front.onnx", "acoustic-back.onnx"], ["takes-first-1", "takes-second-1", *A_TO_D, *HARDER], [21, 31],
                 "not rebuildable: its four teachers are not in the repository and two of them heard takes of an older maker; "
                 "rebuild.py acoustic trains the same net from the truth alone",
                 {"sizes": {"c": 48, "b": 16, "r": 64, "q": 16, "deep": 2}, "steps": [46786, 26959]}, {"chord": .709, "root": .882, "bass": .958, "struck_f": .746}),
    "live": (["live-front.onnx", "live-back.onnx"], ["takes-a-1", "takes-b-1"], [0], "python3 docs/training/rebuild.py live",
             {"sizes": {"c": 12, "p": 28, "r": 44}, "steps": 6238, "late": 2}, {"chord": .606, "root": .825, "bass": .923}),
    "notes": (["notes.bin"], ["takes-a-1", "takes-b-1", "takes-e-1", "takes-h-1", "takes-i-1"], [0], "python3 docs/training/rebuild.py notes",
              {"hidden": 32, "epochs": 12}, {"note_f": .832, "calibration_error": .017}),
    "strums": (["strums.bin"], ["strums-1", "strums-2"], [0, 1, 2],
               "not rebuildable: 560 of its takes came from a maker that is not in the repository; rebuild.py strums fits the same classifiers on suites of this one",
               {"hidden": {"string": 32, "outside": 12}, "epochs": 40}, {}),
    "songs": (["songs-front.onnx", "songs-back.onnx", "songs-pulse.onnx"], ["songs-train-1"], [1, 2, 3], "python3 docs/training/rebuild.py songs", {}, {}),
}


def first():
    known = set()
    for part, (files, used, seeds, rebuild, settings, metrics) in FIRST.items():
        for name in files:
            known.add(name)
            if part == "songs":
                told = json.loads((WEIGHTS / "songs.json").read_text())
                settings, metrics = {k: told[k] for k in ("sizes", "steps")} | {"runs": told["runs"]}, told["runs"][-1]["last"]
            day = {"songs": "2026-11-30", "live": "2026-11-25"}.get(part, "2026-11-26")
            at = subprocess.run(["git", "log", "-1", "--format=%H", "--", f"src/hearing/weights/{name}"], cwd=ROOT, check=True,
                                capture_output=True, text=True).stdout.strip()
            write(WEIGHTS / name, part, used, seeds, rebuild, settings, metrics, day, [] if part in ("songs", "strums") else ["held-1"], at)
    for path in sorted(WEIGHTS.iterdir()):
        if not path.name.endswith(".json") and path.name not in known:
            raise SystemExit(f"{path.name}: who made it is not known here")


if __name__ == "__main__":
    if sys.argv[1:] != ["first"]:
        raise SystemExit(__doc__)
    first()
