"""Rebuilds what takebook has learned, from this repository and packages of the registries.

    python3 docs/training/rebuild.py                  all parts, in order
    python3 docs/training/rebuild.py PART             one part and what it needs that is not there yet
    python3 docs/training/rebuild.py --list           the parts: what each reads, writes and runs
    python3 docs/training/rebuild.py --toy            the same chain at toy size, into a folder of its own
    python3 docs/training/rebuild.py PART --install   puts the weights into src/hearing/weights, with manifests

Everything goes to target/training (--work DIR). A part whose outputs are there is not run again
(--again). An accelerator is used where torch finds one; without one training takes days, not hours.
A part that cannot be made yet says so and fails. README.md lists what must be installed.
"""
from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import manifests

HERE, ROOT = manifests.HERE, manifests.ROOT
SUITES = manifests.suites()
NETS = ["takes-a-1", "takes-b-1", "takes-c-1", "takes-d-1", "takes-f-1", "takes-g-1"]
NOTES = ["takes-e-1", "takes-h-1", "takes-i-1"]
STRUMS = ["strums-1", "strums-2", "strums-3"]
TOY_TAKES = 2


@dataclass
class Part:
    needs: list
    outputs: list
    commands: list                                # each a list of words; {work} and {toy:A|B} are filled in
    weights: list = field(default_factory=list)
    suites: list = field(default_factory=list)
    seeds: list = field(default_factory=lambda: [0])
    metrics: str = ""                             # JSON that a command leaves
    not_yet: str = ""


def seeds(name, toy):
    first, last = SUITES[name]["seeds"]
    return [str(first), str(min(last, first + TOY_TAKES) if toy else last)]


def packs(names, toy):
    out = []
    for n in names:
        options = [o for o in SUITES[n]["options"] if o not in ("--live", "--held")]
        live = ["--live"] if n in ("takes-a-1", "takes-b-1", "held-1") else []
        kind = "held" if SUITES[n]["purpose"] == "grade" else "train"
        out.append(["py", "make_packs.py", kind, f"{{work}}/{n}.xz", "--seeds", *seeds(n, toy), *options, *live])
    return out


def kept(names, toy):
    return [["py", "make_packs.py", "takes", f"{{work}}/{n}", "--seeds", *seeds(n, toy), *SUITES[n]["options"]] for n in names]


def parts(toy):
    xz = lambda names, end="": [f"{{work}}/{n}{end}.xz" for n in names]
    nets, notes, strums = (NETS[:1], NOTES[:1], STRUMS[:1]) if toy else (NETS, NOTES, STRUMS)
    live = nets[:1] if toy else nets[:2]
    longer = lambda seconds: ["--steps", "3"] if toy else ["--seconds", str(seconds)]
    size = ["--batch", "4" if toy else "64"]
    both = ["{work}/weights/acoustic-front.onnx", "{work}/weights/acoustic-back.onnx"]
    train = ["py", "train.py", "--out", "{work}/nets"]
    return {
        "packs": Part([], xz([*nets, *notes, "held-1"]), packs([*nets, *notes, "held-1"], toy)),
        "shapes": Part([], ["{work}/shapes.pkl"], [["py", "shape_table.py", "{work}/shapes.pkl"]]),
        "bank": Part([], ["{work}/bank.npz"], [["py", "bank.py", "{work}/bank.npz"]]),
        "songs": Part(["shapes", "bank"], [f"{{work}}/weights/songs-{k}.onnx" for k in ("front", "back", "pulse")],
                      [["py", "train_songs.py", "--bank", "{work}/bank.npz", "--shapes", "{work}/shapes.pkl", "--out", "{work}/nets",
                        *(["--steps", "2", "--batch", "2", "--workers", "0"] if toy else ["--seconds", "1540"])],
                       ["py", "export_songs.py", "{work}/nets/songs.pt", "{work}/weights", "--told", "{work}/nets/songs.json"]],
                      ["songs-front.onnx", "songs-back.onnx", "songs-pulse.onnx"], ["songs-train-1"], [1], "nets/songs.json"),
        "acoustic": Part(["packs"], both,
                         [[*train, "--split", "--data", *xz(nets), "--eval", *xz(["held-1"]), "--name", "acoustic", *longer(2600), *size,
                           "--dropout", ".1", "--seed", "21", "--fragments", "1"],
                          ["copy", "{work}/nets/acoustic-front.onnx", both[0]], ["copy", "{work}/nets/acoustic-back.onnx", both[1]]],
                         ["acoustic-front.onnx", "acoustic-back.onnx"], nets, [21], "nets/acoustic.json"),
        "live": Part(["packs"], ["{work}/weights/live-front.onnx", "{work}/weights/live-back.onnx"],
                     [[*train, "--live", "--late", "2", "--data", *xz(live, "-live"), "--eval", *xz(["held-1"], "-live"), "--name", "live",
                       *longer(480), *size, "--p", "28", "--r", "44"],
                      ["copy", "{work}/nets/live-front.onnx", "{work}/weights/live-front.onnx"],
                      ["copy", "{work}/nets/live-back.onnx", "{work}/weights/live-back.onnx"]],
                     ["live-front.onnx", "live-back.onnx"], live, [0], "nets/live.json"),
        "notes": Part(["packs", "acoustic"], ["{work}/weights/notes.bin"],
                      [["py", "fit_notes.py", "--net", both[0], "--data", *xz(nets[:2] + notes), "--test", *xz(["held-1"]),
                        "--out", "{work}/weights/notes.bin"]], ["notes.bin"], nets[:2] + notes),
        "strums": Part([], ["{work}/weights/strums.bin"],
                       kept(strums, toy) + [["rows", "strum_rows", f"{{work}}/{n}", f"{{work}}/{n}.txt"] for n in strums]
                       + [["py", "fit_strums.py", "--data", *[f"{{work}}/{n}.txt" for n in strums], "--out", "{work}/weights/strums.bin"]],
                       ["strums.bin"], strums, [0, 1, 2]),
        "beats": Part([], ["{work}/beats.json"],
                      kept(["beats-1"], toy) + [["rows", "beat_rows", "{work}/beats-1", "{work}/beats.txt"],
                                                ["py", "fit_beats.py", "--data", "{work}/beats.txt", "--out", "{work}/beats.json"]]),
        "grade": Part([], ["{work}/tables.md"], kept(["held-1"], toy) + [["rows", "grade_takes", "{work}/held-1", "{work}/tables.md"]]),
        "hypotheses": Part([], [], [], not_yet="the ranks of meter and tempo hypotheses need takes in 2/4, 6/8 and 12/8 whose beats are known; play.py lays out none "
                           "(examples/fit_form.rs fits them on folders that have them)"),
        "sections": Part([], [], [], not_yet="the costs of sections and keys need whole forms; no maker of forms is in this repository"),
        "ease": Part([], [], [], not_yet="what makes a shape easy was fitted by a program that is not in this repository"),
    }


def filled(word, work):
    return word.replace("{work}", str(work))


def run(command, work, toy):
    kind, *words = [filled(w, work) for w in command]
    if kind == "copy":
        shutil.copy(*words)
        return
    if kind == "rows":                             # a program of ours, its answer kept
        name, folder, out = words
        environment = dict(os.environ)
        if toy and name == "grade_takes" and any((work / "weights").iterdir()):
            environment["TAKEBOOK_WEIGHTS"] = str(work / "weights")
        built = subprocess.run(["cargo", "run", "--locked", "--release", "--quiet", "--example", name, "--", folder], cwd=ROOT,
                               env=environment, stdout=subprocess.PIPE, text=True)
        if built.returncode:
            raise SystemExit(f"{name} failed")
        if not built.stdout.strip():
            raise SystemExit(f"{name} said nothing of {folder}")
        Path(out).write_text(built.stdout)
        return
    done = subprocess.run([sys.executable, *words], cwd=HERE)
    if done.returncode:
        raise SystemExit(f"failed: {' '.join(words)}")


def outputs(part, work):
    return [Path(filled(o, work)) for o in part.outputs]


def make(name, table, work, toy, again, took):
    part = table[name]
    if part.not_yet:
        raise SystemExit(f"{name}: not rebuildable: {part.not_yet}")
    for need in part.needs:
        if not all(o.exists() for o in outputs(table[need], work)):
            make(need, table, work, toy, again, took)
    if not again and all(o.exists() for o in outputs(part, work)):
        print(f"{name}: is there", flush=True)
        return
    began = time.time()
    for command in part.commands:
        run(command, work, toy)
    missing = [str(o) for o in outputs(part, work) if not o.exists() or not o.stat().st_size]
    if missing:
        raise SystemExit(f"{name}: did not make {', '.join(missing)}")
    took[name] = round(time.time() - began, 1)
    print(f"{name}: made in {took[name]} s", flush=True)


def install(name, part, work):
    for file in part.weights:
        target = manifests.WEIGHTS / file
        shutil.copy(work / "weights" / file, target)
        metrics = json.loads((work / part.metrics).read_text()) if part.metrics else {}
        settings = {"commands": [" ".join(c) for c in part.commands]}
        manifests.write(target, name, part.suites, part.seeds, f"python3 docs/training/rebuild.py {name}", settings, metrics,
                        graded_on=["held-1"] if name in ("acoustic", "live", "notes") else [])
        print(f"{target} put in place: build takebook again", flush=True)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("part", nargs="?")
    ap.add_argument("--toy", action="store_true")
    ap.add_argument("--work", type=Path)
    ap.add_argument("--again", action="store_true")
    ap.add_argument("--install", action="store_true")
    ap.add_argument("--list", action="store_true")
    a = ap.parse_args()
    table = parts(a.toy)
    if a.list:
        for name, part in table.items():
            print(f"{name}: needs {', '.join(part.needs) or 'nothing'}; makes {', '.join(part.outputs) or 'nothing'}")
            print(f"  not rebuildable: {part.not_yet}" if part.not_yet else "".join(f"  {' '.join(c)}\n" for c in part.commands), end="\n")
        return
    if a.part and a.part not in table:
        raise SystemExit(f"no part '{a.part}'; the parts are {', '.join(table)}")
    if a.toy and a.install:
        raise SystemExit("toy weights are never put in place")
    work = (a.work or ROOT / "target" / ("training-toy" if a.toy else "training")).resolve()
    for folder in (work / "weights", work / "nets"):
        folder.mkdir(parents=True, exist_ok=True)
    took, failed = {}, []
    # at toy size only what can be made is asked for; what cannot is still named
    for name in [a.part] if a.part else list(table):
        if a.toy and not a.part and table[name].not_yet:
            print(f"{name}: not rebuildable: {table[name].not_yet}", flush=True)
            continue
        try:
            make(name, table, work, a.toy, a.again, took)
        except SystemExit as e:
            if a.part or a.toy:
                raise
            print(e, file=sys.stderr, flush=True)
            failed.append(name)
            continue
        if a.install:
            install(name, table[name], work)
    print(json.dumps({"seconds": took, "failed": failed}))
    if failed:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
