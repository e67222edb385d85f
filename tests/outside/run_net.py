"""Runs a net by ONNX Runtime, an implementation that is not ours.

    python3 run_net.py NET.onnx < INPUTS.json

INPUTS: {"name": {"shape": [...], "values": [...]}}. Prints the outputs by name,
each as a flat list.
"""
import json
import sys

import numpy as np
import onnxruntime

inputs = {
    name: np.array(given["values"], np.float32).reshape(given["shape"])
    for name, given in json.load(sys.stdin).items()
}
net = onnxruntime.InferenceSession(sys.argv[1], providers=["CPUExecutionProvider"])
names = [output.name for output in net.get_outputs()]
outputs = net.run(names, inputs)
print(json.dumps({name: values.astype(float).ravel().tolist() for name, values in zip(names, outputs)}))
