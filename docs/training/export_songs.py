"""The trained song net as the program's weights: three ONNX files and a manifest.

    python3 export_songs.py OUT/songs.pt FOLDER --told RUN.json [RUN.json ...]

Batch norms are folded into the convolutions; on noise the files must answer as the net does.
"""
from __future__ import annotations

import argparse
import copy
import json
from pathlib import Path

import numpy as np
import onnx
import onnx.numpy_helper
import onnxruntime
import torch

from net import STACK_LONG, STACK_SHORT, WIDTH
from songnet import SHORT_LAYERS, LONG_LAYERS, SongNet, layers

FILES = {"front": (["long", "short"], ["fold", "struck", "sounding", "bands"]),
         "back": (["fold"], ["chord", "bass", "now", "now_bass", "tones", "mean"]),
         "pulse": (["bands", "mean"], ["pulse"])}


def fold_norms(net):
    """A copy in which every Block is one convolution."""
    from net import Block
    net = copy.deepcopy(net).float().cpu().eval()
    for m in net.modules():
        if isinstance(m, Block):
            m.conv = torch.nn.utils.fusion.fuse_conv_bn_eval(m.conv, m.norm)
            m.norm = torch.nn.Identity()
        elif hasattr(m, "t") and hasattr(m, "n") and isinstance(m.n, torch.nn.BatchNorm1d):
            m.t = torch.nn.utils.fusion.fuse_conv_bn_eval(m.t, m.n)
            m.n = torch.nn.Identity()
    return net


def write(net, folder: Path, frames=400):
    f = fold_norms(net)
    x = torch.rand(1, frames, 252), torch.rand(1, frames, 84)
    long, short = layers(x[0][:, ::2], STACK_LONG, 3), layers(x[1], STACK_SHORT, 1)
    assert long.shape[1:] == (LONG_LAYERS, frames // 2, WIDTH) and short.shape[1:] == (SHORT_LAYERS, frames, WIDTH)
    with torch.no_grad():
        fold, struck, sounding, bands = f.front(long, short)
        mean = f.back(fold)[-1]
        want = net.float().cpu().eval()(*x)
    inputs = {"front": (long, short), "back": (fold,), "pulse": (bands, mean)}
    axes = {"long": {2: "half"}, "short": {2: "t"}, "fold": {2: "s"}, "struck": {1: "t"}, "sounding": {1: "t"}, "bands": {2: "t"},
            "chord": {1: "s"}, "bass": {1: "s"}, "now": {1: "s"}, "now_bass": {1: "s"}, "tones": {1: "s"}, "mean": {2: "s"}, "pulse": {2: "t"}}
    for name, (ins, outs) in FILES.items():
        part = getattr(f, name)
        path = folder / f"songs-{name}.onnx"
        torch.onnx.export(part, inputs[name], str(path), input_names=ins, output_names=outs,
                          dynamic_axes={k: axes[k] for k in ins + outs}, opset_version=17, dynamo=False)
        onnx.checker.check_model(onnx.load(str(path)))
    run = lambda name, feed: dict(zip(FILES[name][1], onnxruntime.InferenceSession(str(folder / f"songs-{name}.onnx"),
                                  providers=["CPUExecutionProvider"]).run(None, {k: v.numpy() if hasattr(v, "numpy") else v for k, v in feed.items()})))
    a = run("front", {"long": long, "short": short})
    b = run("back", {"fold": a["fold"]})
    c = run("pulse", {"bands": a["bands"], "mean": b["mean"]})
    got = [b["chord"], b["bass"], b["now"], b["now_bass"], b["tones"], a["struck"], a["sounding"], c["pulse"]]
    worst = max(float(np.abs(g - w.numpy()).max()) for g, w in zip(got, want))
    if worst > .02:
        raise SystemExit(f"the files answer otherwise than the net: by {worst}")
    return worst


def restored(folder: Path, long, short):
    """The net of a folder's three files, to train on: their convolutions, with batch norms that leave a
    batch of inputs (long, short as `SongNet` takes them) as it is and learn from there."""
    files = [onnx.load(str(folder / f"songs-{name}.onnx")) for name in FILES]
    told = {f"{name}.{w.name}": torch.from_numpy(onnx.numpy_helper.to_array(w).copy())
            for name, file in zip(FILES, files) for w in file.graph.initializer}
    net = SongNet(**json.loads((folder / "songs.json").read_text())["sizes"]).to(long.device).eval()
    own, hooks = net.state_dict(), []
    own.update({k: v.to(long.device) for k, v in told.items() if k in own})
    net.load_state_dict(own)

    def learn(bias):
        def hook(norm, inputs):
            x = inputs[0].transpose(0, 1).flatten(1)
            norm.running_mean.copy_(x.mean(1)), norm.running_var.copy_(x.var(1, unbiased=False))
            norm.weight.copy_((norm.running_var + norm.eps).sqrt()), norm.bias.copy_(norm.running_mean + bias)
        return hook
    for name, m in net.named_modules():
        if isinstance(m, (torch.nn.BatchNorm1d, torch.nn.BatchNorm2d)):
            near, last = name.rsplit(".", 1)
            hooks.append(m.register_forward_pre_hook(learn(told[f"{near}.{'conv' if last == 'norm' else 't'}.bias"].to(long.device))))
    with torch.no_grad():
        net(long, short)
    for hook in hooks:
        hook.remove()
    return net


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("weights")
    p.add_argument("folder", type=Path)
    p.add_argument("--told", nargs="*", default=[], type=Path)
    a = p.parse_args()
    z = torch.load(a.weights, map_location="cpu", weights_only=True)
    net = SongNet(**z["sizes"])
    net.load_state_dict(z["ema"])
    worst = write(net, a.folder)
    told = {"net": "songs", "sizes": z["sizes"], "steps": z["step"], "runs": [json.loads(f.read_text()) for f in a.told],
            "weights": sum(w.numel() for w in net.parameters()), "worst_difference": worst}
    (a.folder / "songs.json").write_text(json.dumps(told, indent=1) + "\n")
    print(json.dumps(told))


if __name__ == "__main__":
    main()
