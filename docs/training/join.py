"""Joins nets of the same inputs and outputs to one that gives the mean of their logits, in two
files: the front hears notes, a few frames at a time; the back hears chords, over seconds.

    python3 join.py OUT A.onnx B.onnx [...]      writes OUT-front.onnx and OUT-back.onnx

Nets that start from other random numbers err in other places, so their mean is better than
either (Hansen and Salamon, "Neural network ensembles", IEEE PAMI 12, 1990).  Needs onnx.
"""
from __future__ import annotations

import sys

import numpy as np
import onnx
from onnx import TensorProto, compose, helper, numpy_helper
from onnx.utils import Extractor

FOLDED = "/fold/Relu_output_0"               # net.py: Net.fold, [1, r, frames, 12]
NOTES, CHORDS = ["struck", "sounding"], ["chord", "bass", "tones"]


def parts(path):
    """A net cut after its fold to twelve pitch classes."""
    net = onnx.load(path)
    # the chords' shape, else taken from the input that the back does not have
    net.graph.initializer.append(numpy_helper.from_array(np.array([1, -1, 276], np.int64), "chords"))
    made = {name: node for node in net.graph.node for name in node.output}
    made[made["chord"].input[0]].input[1] = "chords"
    net = onnx.shape_inference.infer_shapes(net)
    cut = Extractor(net)
    return (cut.extract_model(["long", "short"], [FOLDED, *NOTES]),
            cut.extract_model([FOLDED], CHORDS))


def prefixed(net, prefix, shared):
    """The net with every name prefixed but the shared inputs'."""
    net = compose.add_prefix(net, prefix)
    for node in net.graph.node:
        for k, name in enumerate(node.input):
            if name.removeprefix(prefix) in shared:
                node.input[k] = name.removeprefix(prefix)
    return net


def joined(nets, inputs, outputs, mean, first):
    """One net of several that stand side by side; the outputs in `mean` are averaged."""
    nodes = [node for net in nets for node in net.graph.node]
    weights = [w for net in nets for w in net.graph.initializer]
    weights.append(numpy_helper.from_array(np.array(1 / len(nets), np.float32), "share"))
    for name in mean:
        nodes.append(helper.make_node("Sum", [f"n{k}_{name}" for k in range(len(nets))], [f"{name}_sum"]))
        nodes.append(helper.make_node("Mul", [f"{name}_sum", "share"], [name]))
    graph = helper.make_graph(nodes, "mean", inputs, outputs, weights)
    model = helper.make_model(graph, opset_imports=first.opset_import, ir_version=first.ir_version)
    onnx.checker.check_model(model)
    return model


def main():
    out, *paths = sys.argv[1:]
    cut = [parts(path) for path in paths]
    fronts = [prefixed(front, f"n{k}_", {"long", "short"}) for k, (front, _) in enumerate(cut)]
    backs = [prefixed(back, f"n{k}_", set()) for k, (_, back) in enumerate(cut)]
    # between the halves: folded0, folded1, ...
    folded = []
    for k, (front, back) in enumerate(zip(fronts, backs)):
        inner, name = f"n{k}_{FOLDED}", f"folded{k}"
        for net in (front, back):
            for node in net.graph.node:
                for names in (node.input, node.output):
                    names[:] = [name if n == inner else n for n in names]
        shape = [i for i in back.graph.input if i.name == inner][0].type.tensor_type.shape.dim
        folded.append(helper.make_tensor_value_info(name, TensorProto.FLOAT, [1, shape[1].dim_value, "T", 12]))
    first = cut[0]
    by_name = lambda net, names: [o for o in net.graph.output if o.name in names]
    onnx.save(joined(fronts, first[0].graph.input, folded + by_name(first[0], NOTES), NOTES, first[0]), f"{out}-front.onnx")
    onnx.save(joined(backs, folded, by_name(first[1], CHORDS), CHORDS, first[1]), f"{out}-back.onnx")


if __name__ == "__main__":
    main()
