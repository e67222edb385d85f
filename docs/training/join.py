"""Joins nets of the same inputs and outputs into one file that gives the mean of their logits.

    python3 join.py OUT.onnx A.onnx B.onnx [...]

Nets that start from other random numbers err in other places, so their mean is better than
either (Hansen and Salamon, "Neural network ensembles", IEEE PAMI 12, 1990).  Needs onnx.
"""
from __future__ import annotations

import sys

import onnx
from onnx import compose, helper, numpy_helper
import numpy as np


def inner(path, prefix):
    """The net with every name prefixed but the inputs'."""
    net = onnx.load(path)
    inputs = {i.name for i in net.graph.input}
    net = compose.add_prefix(net, prefix)
    for node in net.graph.node:
        for k, name in enumerate(node.input):
            if name.removeprefix(prefix) in inputs:
                node.input[k] = name.removeprefix(prefix)
    return net


def main():
    out, *paths = sys.argv[1:]
    first = onnx.load(paths[0])
    nodes, weights = [], []
    for k, path in enumerate(paths):
        net = inner(path, f"n{k}_")
        nodes += net.graph.node
        weights += net.graph.initializer
    weights.append(numpy_helper.from_array(np.array(1 / len(paths), np.float32), "share"))
    for output in first.graph.output:
        names = [f"n{k}_{output.name}" for k in range(len(paths))]
        nodes.append(helper.make_node("Sum", names, [f"{output.name}_sum"]))
        nodes.append(helper.make_node("Mul", [f"{output.name}_sum", "share"], [output.name]))
    graph = helper.make_graph(nodes, "mean", first.graph.input, first.graph.output, weights)
    model = helper.make_model(graph, opset_imports=first.opset_import, ir_version=first.ir_version)
    onnx.checker.check_model(model)
    onnx.save(model, out)


if __name__ == "__main__":
    main()
