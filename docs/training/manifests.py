"""Suites and manifests: what weights were made of.

    python3 manifests.py first                 manifests for weights that lie in the tree without one

A manifest lies beside its weights (NAME.manifest.json): sha256 of the weights, the suites they
learned from with hashes, seeds, commit, settings, metrics, the day the data was made, and the
command that makes them again; for weights made before there was one, how they were made.
"""
from __future__ import annotations

import datetime
import hashlib
import json
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
WEIGHTS = ROOT / "src/hearing/weights"
# what a maker's takes depend on, beside the registry's sounds
SOURCES = {"play.py": ["play.py", "forms.py", "shapes.py", "theory.py", "qualities.json", "strings.py", "sounds.py", "recorded.py", "process.py", "make_packs.py"],
           "music.py": ["music.py", "shapes.py", "shape_table.py", "theory.py", "qualities.json", "bank.py", "studio.py", "truth.py", "sounds.py", "recorded.py"]}


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
NONE = "no command remakes it: "
BEFORE = "made before this chain; the command that would remake it is "


@dataclass
class First:
    """What is known of weights that lay in the tree before rebuild.py made any."""
    files: list
    part: str
    before: str = ""                               # how they were made, where no command of this chain made them
    suites: list = field(default_factory=list)
    seeds: list = field(default_factory=list)
    settings: dict = field(default_factory=dict)
    metrics: dict = field(default_factory=dict)
    graded_on: list = field(default_factory=list)


FIRST = [
    First(["acoustic-front.onnx", "acoustic-back.onnx"], "acoustic",
          "it learned from four teachers that are not in this repository, two of which heard takes of an older maker; the command trains the same net from the truth alone",
          ["takes-first-1", "takes-second-1", *A_TO_D, *HARDER], [21, 31],
          {"sizes": {"c": 48, "b": 16, "r": 64, "q": 16, "deep": 2}, "steps": [46786, 26959]}, {"chord": .709, "root": .882, "bass": .958, "struck_f": .746}, ["held-1"]),
    First(["live-front.onnx", "live-back.onnx"], "live", "", ["takes-a-1", "takes-b-1"], [0],
          {"sizes": {"c": 12, "p": 28, "r": 44}, "steps": 6238, "late": 2}, {"chord": .606, "root": .825, "bass": .923}, ["held-1"]),
    First(["songs-front.onnx", "songs-back.onnx", "songs-pulse.onnx"], "songs",
          "six runs in a row, seeds 1 to 6; the first three without taps, knocks and slow sweeps (songs-train-1)", ["songs-train-2"], [4, 5, 6]),
    First(["notes.bin"], "notes", "", ["takes-a-1", "takes-b-1", "takes-e-1", "takes-h-1", "takes-i-1"], [0],
          {"hidden": 32, "epochs": 12}, {"note_f": .832, "calibration_error": .017}, ["held-1"]),
    First(["strums.bin"], "strums", "560 of its takes came from a maker that is not in this repository; the command fits the same classifiers on suites of this one",
          ["strums-1", "strums-2"], [0, 1, 2], {"hidden": {"string": 32, "outside": 12}, "epochs": 40}),
    First(["beats.json"], "beats", "its log odds and ranks were fitted on 260 and some 700 takes of makers that are not in this repository"),
    First(["beat_search.json"], "beat-search", "first guesses, never fitted"),
    First(["bar-pointer.json"], "bar-pointer", "chosen by hand on takes of suite.py"),
    First(["song-level.json"], "song-level", "chosen by hand on takes of suite.py"),
    First(["candidates.json"], "candidates", "chosen on takes that are not in this repository"),
    First(["count-choice.json"], "song-use", "its commands fitted 79 of the suite's takes with the same numbers worked out in another program; trusted_* and hemiola_fit chosen by hand",
          ["songs-fit-2"]),
    First(["notes.json"], "song-use", "the joint weights lie between those fitted on 80 of the suite's takes and the classifier alone; the rest chosen by hand", ["songs-fit-2"]),
    First(["chords.json", "shapes.json", "plucks.json"], "search",
          "moved by fit_weights on 120 takes of a maker that is not in this repository, then half the way; some chosen by hand"),
    First(["segments.json"], "segments", "chosen by hand on takes that are not in this repository"),
    First(["keys.json"], "keys", "chosen on 250 forms as symbols whose maker is not in this repository"),
    First(["clock.json"], "clock", "chosen by hand on takes that are not in this repository"),
    First(["bars.json"], "", "set by hand; what describes a meter hypothesis is made with these, so another value asks for a new fit of beats.json"),
    First(["pulse.json"], "", "set by hand; what speaks for a beat is made with these, so another value asks for a new fit of beats.json"),
    First(["strum-window.json"], "", "set by hand; the classifiers of notes and strums were fitted with these"),
    First(["capo.json"], "", "set by hand on the first 49 takes of set-ups-1 and on takes of songs-fit-2; `cargo run --release --example suggested` says what it does there", ["set-ups-1", "songs-fit-2"]),
    First(["doubts.json"], "", "set by hand: when a warning is worth a word is for people to judge"),
    First(["fretboard/weights/ease.json"], "", "fitted on fingerings of an open data set (npm @tombatossals/chords-db 0.5.1) by a program that is not in this repository"),
    First(["theory/imply/weights/imply.json"], "", "set by hand, in the order that common practice gives, on the progressions of fixtures/naming/double-stops.tsv"),
    First([f"checking/weights/{n}.json" for n in ("evidence", "align", "margins", "verdict")], "", "chosen by hand on takes that are not in this repository"),
    First(["sections.json"], "sections", "fitted on 240 forms as symbols and 74 rendered ones of makers that are not in this repository"),
]


def first():
    """Writes manifests for weights that have none or another hash."""
    known = set()
    for f in FIRST:
        for name in f.files:
            path = ROOT / "src" / name if "/" in name else WEIGHTS / name
            known.add(path)
            settings, metrics = f.settings, f.metrics
            if f.part == "songs":
                told = json.loads((WEIGHTS / "songs.json").read_text())
                settings, metrics = {k: told[k] for k in ("sizes", "steps")} | {"runs": told["runs"]}, told["runs"][-1]["last"]
            git = lambda form: subprocess.run(["git", "log", "-1", f"--format={form}", "--", str(path)], cwd=ROOT, check=True,
                                              capture_output=True, text=True).stdout.strip()
            command = f"python3 docs/training/rebuild.py {f.part}"
            rebuild = command if not f.before else f"{BEFORE}{command}: {f.before}" if f.part else NONE + f.before
            write(path, f.part, f.suites, f.seeds, rebuild, settings, metrics, git("%cs") if f.suites else "unknown", f.graded_on, git("%H") or None)
    for path in sorted((ROOT / "src").glob("**/weights/*")):
        if path not in known and not path.name.endswith(".manifest.json") and path.name != "songs.json":
            raise SystemExit(f"{path}: who made it is not known here")


if __name__ == "__main__":
    if sys.argv[1:] != ["first"]:
        raise SystemExit(__doc__)
    first()
