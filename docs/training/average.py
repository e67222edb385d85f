"""The mean of several lean nets' weights, as one net.

    python3 average.py OUT.pt A.pt B.pt [...] [--eval held.xz]

The nets must have gone on from the same weights (train.py --init), or one from the other: then their
mean is better than each of them (Wortsman et al., "Model soups", arXiv:2203.05482).  Writes OUT.pt
and, beside it, the halves as ONNX; with --eval also prints and writes figures (OUT.json).
"""
from __future__ import annotations

import argparse
import json
from pathlib import Path

import torch

import train
from net import Lean


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("out")
    ap.add_argument("nets", nargs="+")
    ap.add_argument("--eval", nargs="*", default=[])
    a = ap.parse_args()
    kept = [torch.load(p, map_location="cpu") for p in a.nets]
    if any(k["sizes"] != kept[0]["sizes"] for k in kept):
        raise SystemExit("the nets have different sizes: only like nets have a mean")
    net = Lean(**kept[0]["sizes"]).eval()
    first = kept[0]["state"]
    net.load_state_dict({k: torch.stack([o["state"][k].float() for o in kept]).mean(0) if v.is_floating_point() else v
                         for k, v in first.items()})
    # what is delivered is half precision: evaluate exactly that
    half = train.half(net)
    net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in half["state"].items()})
    torch.save(half, a.out)
    train.export(net, Path(a.out).with_suffix(".onnx"))
    figures = {"of": [Path(p).name for p in a.nets]}
    for path in a.eval:
        figures[Path(path).stem] = train.evaluate(net, train.Pack([path], "cpu"), "cpu")
    if a.eval:
        text = json.dumps(figures, indent=1, default=float)
        Path(a.out).with_suffix(".json").write_text(text)
        print(text)


if __name__ == "__main__":
    main()
