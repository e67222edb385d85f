"""Makes the packs that train.py reads.

    python3 make_packs.py train OUT.xz --seeds FIRST LAST     takes rendered from seeds
    python3 make_packs.py held OUT.xz --seeds FIRST LAST      the same with the held-out guitars
    python3 make_packs.py folder OUT.xz --takes DIR           NAME.wav and NAME.truth.json
    python3 make_packs.py takes DIR --seeds FIRST LAST        no pack, but NAME.wav and NAME.truth.json

With --live, OUT-live.xz holds the same takes in the live net's spectra (windows at the frames'
ends); its labels are the same, four frames later (see labels.py).

A pack is an xz-compressed .npz: X [frames, 374] bytes (long 280, short 94), class, bass,
pcs, sounding, struck (see labels.py), and per take: lens, names, fragment, texture, sound.
"""
from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[_name] = "1"

import argparse
import io
import json
import lzma
import sys
import time
from pathlib import Path

import numpy as np
from scipy.io import wavfile

import features
import forms
import labels
import play
import process
import sounds
import strings
import theory


def rendered(seed, held_out, harder=False, knocks=False, form=False, own=False):
    take = play.invent(seed, textures=forms.TEXTURES if form else play.HARDER if harder else play.TEXTURES, form=form)
    rng = np.random.default_rng([seed, 22])
    more = {"own_share": .45, "recorded_share": .30,
            "character": strings.Character(np.random.default_rng([seed, 33]), knocks=.6 * knocks)} if harder else {}
    if own:
        held_out, more, take.bass, take.drums, take.lead = False, {"own_share": 1.0}, [], [], []
    guitar, faint, sound = sounds.guitar(rng, take, held_out, **more)
    bank = sounds.HELD_OUT if held_out else "FluidR3_GM.sf2"
    back = sounds.backing(rng, take, bank) if take.bass or take.drums or take.lead else None
    x, steps = process.finish(rng, take, guitar, back)
    ends = [c.time for c in take.chords[1:]] + [take.end + 9]
    heard = [n for n in take.notes if n[1] - n[0] > 0.045]
    notes = [(n[0], min(n[1], f), n[2]) for n, f in zip(take.notes, faint) if n[1] - n[0] > 0.045]
    notes += [(n[0], n[1], n[2]) for n in take.bass + take.lead]
    spans = []
    for c, end in zip(take.chords, ends):
        low = None
        if c.plucks:
            inside = [n[2] for n in take.notes + take.bass if c.time - .01 <= n[0] < end - .01]
            low = min(inside) % 12 if inside else None
        parsed = "N" if c.silent else None if c.unsure else (c.root, c.quality, c.bass)
        if c.unsure:
            low = (c.root + c.bass) % 12
        spans.append((c.time, end, parsed, low))
    kind = sound + ("+band" if back is not None else "")
    return x, spans, notes, {"name": f"{'held' if held_out else 'take'}-{seed}", "fragment": take.fragment,
                             "texture": take.texture, "sound": kind, "steps": "+".join(steps), "take": take, "notes": heard, "spans": spans}


def write_take(folder, x, info):
    """NAME.wav (22,050 Hz) and its truth, and NAME.lab."""
    name, take, notes = info["name"], info["take"], info["notes"]
    x = x / max(1.0, np.abs(x).max())
    wavfile.write(folder / f"{name}.wav", process.RATE, (x * 32767).astype(np.int16))
    standard = (40, 45, 50, 55, 59, 64)
    silent = lambda parsed: parsed is None or parsed == "N"
    chords = [{"start": round(a, 4), "end": round(min(b, take.end), 4), "label": "X" if p is None else "N" if p == "N" else theory.label(*p),
               "frets": None if silent(p) or c.frets is None else [-1 if f is None else f for f in c.frets]}
              for (a, b, p, _), c in zip(info["spans"], take.chords)]
    (folder / f"{name}.lab").write_text("".join(f"{c['start']:.4f}\t{c['end']:.4f}\t{c['label']}\n" for c in chords))
    truth = {"name": name, "duration_s": round(len(x) / process.RATE, 4), "chords": chords, "meter": take.meter,
             "beats_s": [round(b, 4) for b in take.beats], "downbeats_s": [round(b, 4) for b in take.downbeats],
             "tempo_bpm": take.bpm if take.beats else None, "category": info["texture"], "sound": [info["sound"]], "capo": 0,
             "tuning_offsets": [o - s for o, s in zip(take.opens, standard)],
             "backing": "band" if take.bass or take.lead else "none",
             "notes": [[round(n[0], 4), round(n[1], 4), n[2], n[4]] for n in notes]}
    if take.sections:
        ends = [at for _, at in take.sections[1:]] + [take.end]
        truth["sections"] = [{"letter": letter, "start": round(at, 4), "end": round(end, 4)} for (letter, at), end in zip(take.sections, ends)]
    (folder / f"{name}.truth.json").write_text(json.dumps(truth))


def from_folder(folder):
    for path in sorted(Path(folder).glob("*.truth.json")):
        truth = json.loads(path.read_text())
        name = path.name[: -len(".truth.json")]
        spans = []
        for c in truth["chords"]:
            parsed = theory.parse(c["label"])
            low = c.get("bass_midi")
            spans.append((c["start"], c["end"], parsed, None if low is None else low % 12))
        notes = [(n[0], n[1], n[2]) for n in truth["notes"]]
        yield features.load(path.with_name(name + ".wav")), spans, notes, {
            "name": name, "fragment": truth["category"] == "fragment", "texture": truth["category"],
            "sound": str(truth["sound"][0]), "steps": ""}


class Pack:
    def __init__(self, end=False):
        self.end = end
        self.parts = {k: [] for k in ("X", "cls", "bass", "pcs", "sounding", "struck")}
        self.info = []

    def add(self, x, spans, notes, info):
        q = features.to_bytes(*features.spectra(x, self.end))
        self.parts["X"].append(q)
        for key, value in zip(("cls", "bass", "pcs", "sounding", "struck"), labels.frame_labels(spans, notes, len(q), features.SIZE // 2 if self.end else 0)):
            self.parts[key].append(value)
        self.info.append({**info, "frames": len(q)})

    @property
    def minutes(self):
        return sum(i["frames"] for i in self.info) * features.HOP / features.RATE / 60

    def save(self, path):
        arrays = {k: np.concatenate(v) for k, v in self.parts.items()}
        arrays["X"] = np.ascontiguousarray(arrays["X"].T)      # bins by frames: packs smaller
        arrays["lens"] = np.array([i["frames"] for i in self.info])
        arrays["fragment"] = np.array([i["fragment"] for i in self.info])
        for key in ("name", "texture", "sound", "steps"):
            arrays[key + "s"] = np.array([i[key] for i in self.info])
        raw = io.BytesIO()
        np.savez(raw, **arrays)
        filters = [{"id": lzma.FILTER_LZMA2, "preset": 1, "lc": 4, "lp": 0, "pb": 0}]
        Path(path).write_bytes(lzma.compress(raw.getvalue(), format=lzma.FORMAT_XZ, filters=filters))
        return Path(path).stat().st_size


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("kind", choices=["train", "held", "folder", "takes"])
    ap.add_argument("out")
    ap.add_argument("--seeds", nargs=2, type=int)
    ap.add_argument("--takes")
    ap.add_argument("--until", type=float, help="stop after this many seconds and pack what there is")
    ap.add_argument("--live", action="store_true")
    ap.add_argument("--harder", action="store_true", help="more fragments, other basses, and high notes that die fast")
    ap.add_argument("--knocks", action="store_true", help="with --harder: strings whose knock may be as loud as their tone")
    ap.add_argument("--held", action="store_true", help="with takes: on guitars that are never trained on")
    ap.add_argument("--forms", action="store_true", help="whole songs with sections (forms.py)")
    ap.add_argument("--own", action="store_true", help="own strings alone, no other players: needs no sound set, for trying the chain")
    a = ap.parse_args()
    if a.kind == "takes":
        Path(a.out).mkdir(parents=True, exist_ok=True)
    began, pack, failed = time.time(), Pack(), 0
    live = Pack(True) if a.live else None
    if a.kind == "folder":
        for item in from_folder(a.takes):
            pack.add(*item)
            if live:
                live.add(*item)
    else:
        for seed in range(*a.seeds):
            if a.until and time.time() - began > a.until:
                break
            try:
                item = rendered(seed, a.kind == "held" or a.held, a.harder, a.knocks, a.forms, a.own)
                if a.kind == "takes":
                    write_take(Path(a.out), item[0], item[3])
                    continue
                pack.add(*item)
                if live:
                    live.add(*item)
            except Exception as error:                        # one bad take must not lose the rest
                failed += 1
                print(f"seed {seed}: {error!r}", file=sys.stderr, flush=True)
                if failed > 20:
                    raise
            if seed % 20 == 0:
                print(f"{a.out}: seed {seed}, {pack.minutes:.1f} min, {time.time() - began:.0f} s", flush=True)
    if a.kind == "takes":
        return
    if live:
        live.save(a.out.replace(".xz", "-live.xz"))
    size = pack.save(a.out)
    print(f"{a.out}: {len(pack.info)} takes, {pack.minutes:.1f} min, {size / 2**20:.1f} MiB, "
          f"{failed} failed, {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
