"""Searches the numbers of a weights file by what grade_takes reports with them.

    python3 fit_numbers.py song-level.json TAKES --weights FOLDER --measures root seg [--steps .25 .1]

One number after another is made larger and smaller by a share of itself, as long as the mean of the
measures over TAKES (NAME.wav with NAME.truth.json) gets better; a measure with a minus before it
counts the other way. Whole numbers (counts and limits) stay. The search begins with FOLDER's file,
or the built-in one, and writes FOLDER's. FOLDER's other weights are heard with, unless --built-in.
Never give takes that are used to say how well hearing does.
"""
from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
LEAST = 2e-5                                       # a gain smaller than this is none


def places(value, path=()):
    """Where the numbers are that may be moved."""
    if isinstance(value, dict):
        return [p for k, v in value.items() for p in places(v, (*path, k))]
    if isinstance(value, list):
        return [p for k, v in enumerate(value) for p in places(v, (*path, k))]
    return [path] if isinstance(value, float) else []


def moved(value, path, factor):
    out = json.loads(json.dumps(value))
    at = out
    for k in path[:-1]:
        at = at[k]
    at[path[-1]] = round(at[path[-1]] * factor, 5)
    return out


class Grader:
    def __init__(self, a):
        self.a, self.work = a, Path(tempfile.mkdtemp())
        if not a.built_in:
            for f in a.weights.iterdir():
                shutil.copy(f, self.work)

    def __call__(self, numbers):
        (self.work / self.a.file).write_text(json.dumps(numbers, indent=2) + "\n")
        told = self.work / "grades.out"
        done = subprocess.run(["cargo", "run", "--locked", "--release", "--quiet", "--example", "grade_takes", "--", str(self.a.takes), "--json", str(told)],
                              cwd=ROOT, env={**os.environ, "TAKEBOOK_WEIGHTS": str(self.work)}, capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"grade_takes failed: {done.stderr[-400:]}")
        (of,) = json.loads(told.read_text()).values()
        sums = []
        for m in self.a.measures:
            name = m.lstrip("-")
            got = of[name] if name in of else of["all"][name]
            if got is None:
                raise SystemExit(f"{self.a.takes} has no truth for {name}")
            sums.append(-got if m.startswith("-") else got)
        return sum(sums) / len(sums)


def main():
    # a measure may begin with a minus, as options do
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("file")
    ap.add_argument("takes", type=Path)
    ap.add_argument("--weights", type=Path, required=True)
    ap.add_argument("--built-in", action="store_true")
    ap.add_argument("--only", type=int, help="move so many numbers")
    ap.add_argument("--steps", nargs="+", type=float, default=[.25, .1])
    ap.add_argument("--measures", nargs=argparse.REMAINDER, required=True)
    a = ap.parse_args()
    a.takes = a.takes.resolve()
    begin = a.weights / a.file
    numbers = json.loads((begin if begin.exists() else ROOT / "src/hearing/weights" / a.file).read_text())
    grade = Grader(a)
    best = grade(numbers)
    print(f"{a.file}: {best:.5f} as given", flush=True)
    for step in a.steps:
        for path in places(numbers)[: a.only]:
            for factor in (1 + step, 1 / (1 + step)):
                while True:
                    tried = moved(numbers, path, factor)
                    now = grade(tried)
                    if now <= best + LEAST:
                        break
                    best, numbers = now, tried
                    print(f"{best:.5f} {'.'.join(map(str, path))}", flush=True)
    begin.write_text(json.dumps(numbers, indent=2) + "\n")
    shutil.rmtree(grade.work)


if __name__ == "__main__":
    main()
