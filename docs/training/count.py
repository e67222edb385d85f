"""Minutes per texture and per sound in packs: python3 count.py PACK.xz ..."""
from __future__ import annotations

import collections
import io
import lzma
import sys
from pathlib import Path

import numpy as np

import theory


def main(paths):
    texture, sound, quality = (collections.Counter() for _ in range(3))
    for path in paths:
        z = np.load(io.BytesIO(lzma.decompress(Path(path).read_bytes())))
        minutes = z["lens"] * 1024 / 22050 / 60
        for t, s, m in zip(z["textures"], z["sounds"], minutes):
            texture[str(t)] += m
            sound["with bass, drums or lead"] += m if str(s).endswith("+band") else 0
            sound[str(s).removesuffix("+band")] += m
        kinds = np.where(z["cls"] < theory.NONE, z["cls"] // 12, np.where(z["cls"] == theory.NONE, 23, 24))
        for k, n in zip(*np.unique(kinds, return_counts=True)):
            quality[(theory.NAMES + ["none", "ignored"])[k]] += n * 1024 / 22050 / 60
        print(f"{path}: {len(z['lens'])} takes, {minutes.sum():.1f} min")
    for title, table in (("texture", texture), ("sound", sound), ("label", quality)):
        print(f"\n| {title} | minutes |\n| --- | --- |")
        for k, v in table.most_common():
            print(f"| {k} | {v:.1f} |")


if __name__ == "__main__":
    main(sys.argv[1:])
