"""Rebuilds what takebook has learned, from this repository and packages of the registries.

    python3 docs/training/rebuild.py                  all parts, in order
    python3 docs/training/rebuild.py PART             one part and what it needs that is not there yet
    python3 docs/training/rebuild.py --list           the parts: what each reads, writes and runs
    python3 docs/training/rebuild.py --toy            the same chain at toy size, into a folder of its own
    python3 docs/training/rebuild.py PART --install   puts the weights into src/hearing/weights, with manifests

Everything goes to target/training (--work DIR). A part whose outputs are there is not run again
(--again). An accelerator is used where torch finds one; without one training takes days, not hours.
Each part works with the weights that the parts before it made. README.md lists what must be installed.
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
# the weights of the search for chords and shapes that fit_weights moves
SEARCHED = ["chord", "bass", "bass_start", "lowest_struck", "lowest_sounding", "masked", "low_sounds", "inversion", "far_bass", "on_bar", "on_beat",
            "on_half", "off_grid", "key", "colour", "rare", "ease", "margin", "unplucked", "hidden", "left_out", "most_sounding"]
# files of numbers that are searched by what is graded: file, suite, measures (a minus: the less the better)
CHORDS = ["root", "majmin_inv", "sevenths", "seg"]
NUMBERS = {
    "song-level": ("song-level.json", "songs-fit-2", CHORDS),
    "bar-pointer": ("bar-pointer.json", "songs-fit-2", ["beats", "downbeats"]),
    "beat-search": ("beat_search.json", "songs-fit-2", ["beats", "downbeats"]),
    "segments": ("segments.json", "songs-fit-2", CHORDS),
    "keys": ("keys.json", "forms-1", ["root", "sevenths", "sections_3_s"]),
    "clock": ("clock.json", "songs-fit-2", ["beats", "downbeats"]),
    "candidates": ("candidates.json", "songs-fit-2", ["-calibration_error"]),
}
# at toy size: takes of a pack, of a kept suite, of songs and of forms; eight in all
TOY = {"takes-a-1": 3, "strums-1": 2, "songs-fit-2": 2, "forms-1": 1}


@dataclass
class Part:
    needs: list
    outputs: list
    commands: list                                # each a list of words; {work} and {toy:A|B} are filled in
    weights: list = field(default_factory=list)
    suites: list = field(default_factory=list)
    seeds: list = field(default_factory=lambda: [0])
    metrics: str = ""                             # JSON that a command leaves


def seeds(name, toy):
    first, last = SUITES[name]["seeds"]
    return [str(first), str(first + TOY[name] if toy else last)]


def maker(kind, name, out, toy):
    own = ["--own"] if toy else []
    return ["py", "make_packs.py", kind, out, "--seeds", *seeds(name, toy), *SUITES[name]["options"], *own]


def pack(name, toy):
    live = ["--live"] if name in ("takes-a-1", "takes-b-1", "held-1") else []
    return maker("train" if SUITES[name]["purpose"] != "grade" else "held", name, f"{{work}}/{name}.xz", toy) + live


def songs(name, toy):
    first, last = map(int, seeds(name, toy))
    return ["py", "suite.py", SUITES[name]["purpose"], f"{{work}}/{name}", "--bank", "{work}/bank.npz", "--shapes", "{work}/shapes.pkl", "--takes", str(last - first)]


def takes(name, toy):
    """A kept suite as a part of its own: a folder of sound files with their truth."""
    made = songs(name, toy) if SUITES[name]["maker"] == "music.py" else maker("takes", name, f"{{work}}/{name}", toy)
    return Part(["shapes", "bank"] if made[1] == "suite.py" else [], [f"{{work}}/{name}"], [made])


def numbers(file, folder, measures, toy):
    """The search of a file of numbers by what is graded (fit_numbers.py)."""
    few = ["--only", "1", "--steps", ".2"] if toy else []
    return ["numbers", file, f"{{work}}/{folder}", *few, "--measures", *measures]


def parts(toy):
    xz = lambda names, end="": [f"{{work}}/{n}{end}.xz" for n in names]
    weights = lambda *names: [f"{{work}}/weights/{n}" for n in names]
    nets, notes, strums = (list(TOY)[:1], [], ["strums-1"]) if toy else (NETS, NOTES, STRUMS)
    live, held = nets[:1] if toy else nets[:2], nets if toy else ["held-1"]
    beats, graded = (["strums-1"], ["strums-1", "songs-fit-2"]) if toy else (["beats-1", "songs-fit-2"], ["held-1", "songs-grade-2", "forms-grade-1"])
    # nets of a few steps hear nothing: at toy size what is fitted on a net reads the tree's
    heard_by = [str(manifests.WEIGHTS / "acoustic-front.onnx")] if toy else weights("acoustic-front.onnx")
    longer = lambda seconds: ["--steps", "3"] if toy else ["--seconds", str(seconds)]
    size = ["--batch", "4" if toy else "64"]
    train = ["py", "train.py", "--out", "{work}/nets"]
    nets_of = lambda name: [["copy", f"{{work}}/nets/{name}-{half}.onnx", f"{{work}}/weights/{name}-{half}.onnx"] for half in ("front", "back")]
    packed = list(dict.fromkeys([*nets, *notes, *held]))
    table = {
        "packs": Part([], xz(packed), [pack(n, toy) for n in packed]),
        "shapes": Part([], ["{work}/shapes.pkl"], [["py", "shape_table.py", "{work}/shapes.pkl"]]),
        "bank": Part([], ["{work}/bank.npz"], [["py", "bank.py", "{work}/bank.npz", *(["--toy"] if toy else [])]]),
    }
    kept = dict.fromkeys([*strums, *beats, "songs-fit-2", "forms-1", *graded])
    table |= {n: takes(n, toy) for n in kept}
    table |= {
        "songs": Part(["shapes", "bank"], weights("songs-front.onnx", "songs-back.onnx", "songs-pulse.onnx"),
                      [["py", "train_songs.py", "--bank", "{work}/bank.npz", "--shapes", "{work}/shapes.pkl", "--out", "{work}/nets",
                        *(["--steps", "2", "--batch", "1", "--workers", "0"] if toy else ["--seconds", "1540"])],
                       ["py", "export_songs.py", "{work}/nets/songs.pt", "{work}/weights", "--told", "{work}/nets/songs.json"]],
                      ["songs-front.onnx", "songs-back.onnx", "songs-pulse.onnx"], ["songs-train-2"], [1], "nets/songs.json"),
        "acoustic": Part(["packs"], weights("acoustic-front.onnx", "acoustic-back.onnx"),
                         [[*train, "--split", "--data", *xz(nets), "--eval", *xz(held), "--name", "acoustic", *longer(2600), *size,
                           "--dropout", ".1", "--seed", "21", "--fragments", "1"], *nets_of("acoustic")],
                         ["acoustic-front.onnx", "acoustic-back.onnx"], nets, [21], "nets/acoustic.json"),
        "live": Part(["packs"], weights("live-front.onnx", "live-back.onnx"),
                     [[*train, "--live", "--late", "2", "--data", *xz(live, "-live"), "--eval", *xz(held, "-live"), "--name", "live",
                       *longer(480), *size, "--p", "28", "--r", "44"], *nets_of("live")],
                     ["live-front.onnx", "live-back.onnx"], live, [0], "nets/live.json"),
        "notes": Part(["packs", "acoustic"], weights("notes.bin"),
                      [["py", "fit_notes.py", "--net", *heard_by, "--data", *xz(nets[:2] + notes), "--test", *xz(held),
                        "--out", *weights("notes.bin")]], ["notes.bin"], nets[:2] + notes),
        "strums": Part(strums, weights("strums.bin"),
                       [["rows", "strum_rows", f"{{work}}/{n}.txt", f"{{work}}/{n}"] for n in strums]
                       + [["py", "fit_strums.py", "--data", *[f"{{work}}/{n}.txt" for n in strums], "--out", *weights("strums.bin")]],
                       ["strums.bin"], strums, [0, 1, 2]),
        "beats": Part([*beats, "songs-fit-2"], weights("beats.json"),
                      [["rows", "beat_rows", "{work}/beats.txt", *[f"{{work}}/{n}" for n in beats]],
                       ["py", "fit_beats.py", "--data", "{work}/beats.txt", "--out", *weights("beats.json")],
                       ["ours", "fit_form", "count", "{work}/songs-fit-2", "{work}/songs-fit-2", "0.01", "--out", "{work}/weights"]],
                      ["beats.json"], [*beats, "songs-fit-2"], [0]),
        "search": Part(["songs-fit-2"], weights("chords.json", "shapes.json", "plucks.json"),
                       [["ours", "fit_weights", "{work}/songs-fit-2", "key" if toy else ",".join(SEARCHED), "--out", "{work}/weights"]],
                       ["chords.json", "shapes.json", "plucks.json"], ["songs-fit-2"], [0]),
        "sections": Part(["forms-1"], weights("sections.json"),
                         [["ours", "fit_form", "sections", "{work}/forms-1", "{work}/forms-1", "2" if toy else "300", "--out", "{work}/weights"]],
                         ["sections.json"], ["forms-1"], [1]),
    }
    table["song-use"] = Part(["songs-fit-2"], weights("notes.json", "count-choice.json"),
                             [["copy", str(manifests.WEIGHTS / n), f"{{work}}/weights/{n}"] for n in ("notes.json", "count-choice.json")]
                             + [["rows", "hearing_rows", "{work}/hearing.jsonl", "{work}/songs-fit-2"],
                                ["py", "fit_song_use.py", "{work}/hearing.jsonl", "{work}/songs-fit-2", "{work}/weights"]],
                             ["notes.json", "count-choice.json"], ["songs-fit-2"], [0])
    for name, (file, folder, measures) in NUMBERS.items():
        table[name] = Part([folder], weights(file), [numbers(file, folder, measures, toy)], [file], [folder], [0])
    table["grade"] = Part(graded, ["{work}/tables.md"], [["rows", "grade_takes", "{work}/tables.md", *[f"{{work}}/{n}" for n in graded]]])
    return table


def filled(word, work):
    return word.replace("{work}", str(work))


def run(command, work, toy):
    kind, *words = [filled(w, work) for w in command]
    if kind == "copy":
        shutil.copy(*words)
        return
    if kind in ("rows", "ours", "numbers"):        # a program of ours, with the weights made so far
        environment = dict(os.environ)
        # at toy size only the grader reads them
        if any((work / "weights").iterdir()) and (not toy or words[0] == "grade_takes"):
            environment["TAKEBOOK_WEIGHTS"] = str(work / "weights")
        if kind == "numbers":
            file, folder, *rest = words
            command = [sys.executable, str(HERE / "fit_numbers.py"), file, folder, "--weights", str(work / "weights"), *(["--built-in"] if toy else []), *rest]
        else:
            name, *rest = words
            out = Path(rest.pop(0)) if kind == "rows" else None
            command = ["cargo", "run", "--locked", "--release", "--quiet", "--example", name, "--", *rest]
        done = subprocess.run(command, cwd=ROOT, env=environment, text=True, stdout=subprocess.PIPE if kind == "rows" else None)
        if done.returncode:
            raise SystemExit(f"failed: {' '.join(command)}")
        if kind == "rows":
            if not done.stdout.strip():
                raise SystemExit(f"{name} said nothing of {', '.join(rest)}")
            out.write_text(done.stdout)
        return
    done = subprocess.run([sys.executable, *words], cwd=HERE)
    if done.returncode:
        raise SystemExit(f"failed: {' '.join(words)}")


def outputs(part, work):
    return [Path(filled(o, work)) for o in part.outputs]


def make(name, table, work, toy, again, took):
    part = table[name]
    for need in part.needs:
        if not all(o.exists() for o in outputs(table[need], work)):
            make(need, table, work, toy, again, took)
    if not again and all(o.exists() for o in outputs(part, work)):
        print(f"{name}: is there", flush=True)
        return
    began = time.time()
    try:
        for command in part.commands:
            run(command, work, toy)
    except BaseException:
        # half of a part is not taken for the part at the next start
        for output in outputs(part, work):
            shutil.rmtree(output) if output.is_dir() else output.unlink(missing_ok=True)
        raise
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
            print("".join(f"  {' '.join(c)}\n" for c in part.commands))
        return
    if a.part and a.part not in table:
        raise SystemExit(f"no part '{a.part}'; the parts are {', '.join(table)}")
    if a.toy and a.install:
        raise SystemExit("toy weights are never put in place")
    work = (a.work or ROOT / "target" / ("training-toy" if a.toy else "training")).resolve()
    for folder in (work / "weights", work / "nets"):
        folder.mkdir(parents=True, exist_ok=True)
    took, failed = {}, []
    for name in [a.part] if a.part else list(table):
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
