"""Write trained weights as the ONNX file that the listener runs.

    python -m voicecapture.training.export MEL_FILTERS.npy FOLDER WEIGHTS.npz

FOLDER gets listener.onnx, phones.json and mel_filters.npy. Needs the package onnx. Weights are kept as float16, which
halves the file, under the names that they are trained under, and widened when the model is loaded.
"""

import json
import shutil
import sys
from pathlib import Path
from typing import Any

import numpy as np
import onnx
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

from voicecapture.training.clips import PHONES
from voicecapture.training.weights import Weights, is_matrix, read_weights

_LAYERS, _WIDTH, _HEADS = 4, 384, 6


class _Graph:
    """Collects nodes and weights in the order of the computation."""

    def __init__(self, weights: Weights) -> None:
        self.weights = weights
        self.nodes: list[onnx.NodeProto] = []
        self.initialisers: list[onnx.TensorProto] = []

    def add(self, operator: str, *inputs: str, **attributes: Any) -> str:
        output = f"v{len(self.nodes)}"
        self.nodes.append(helper.make_node(operator, inputs, [output], **attributes))
        return output

    def constant(self, array: NDArray[np.generic]) -> str:
        return self.stored(array, f"constant{len(self.initialisers)}")

    def stored(self, array: NDArray[np.generic], name: str) -> str:
        self.initialisers.append(numpy_helper.from_array(np.array(array, order="C"), name))
        return name

    def weight(self, name: str) -> str:
        array = self.weights[name]
        half = self.stored(array.T if is_matrix(name, array) else array, name)
        return self.add("Cast", half, to=TensorProto.FLOAT)

    def linear(self, x: str, name: str) -> str:
        product = self.add("MatMul", x, self.weight(f"{name}.weight"))
        return self.add("Add", product, self.weight(f"{name}.bias"))

    def norm(self, x: str, name: str) -> str:
        scale, bias = self.weight(f"{name}.weight"), self.weight(f"{name}.bias")
        return self.add("LayerNormalization", x, scale, bias, axis=-1, epsilon=1e-5)

    def attention(self, x: str, layer: str) -> str:
        joined = self.linear(x, f"{layer}.qkv")
        shape = self.constant(np.array([0, -1, 3, _HEADS, _WIDTH // _HEADS]))
        split = self.add("Transpose", self.add("Reshape", joined, shape), perm=[2, 0, 3, 1, 4])
        query, key, value = (
            self.add("Gather", split, self.constant(np.array(i, dtype=np.int64)), axis=0) for i in range(3)
        )
        scores = self.add("MatMul", query, self.add("Transpose", key, perm=[0, 1, 3, 2]))
        scale = self.constant(np.array((_WIDTH / _HEADS) ** -0.5, dtype=np.float32))
        mixed = self.add("MatMul", self.add("Softmax", self.add("Mul", scores, scale), axis=-1), value)
        flat = self.constant(np.array([0, -1, _WIDTH]))
        together = self.add("Reshape", self.add("Transpose", mixed, perm=[0, 2, 1, 3]), flat)
        return self.linear(together, f"{layer}.mix")


def build_model(weights: Weights) -> onnx.ModelProto:
    """Make the ONNX model.

    Input `log_mel` float32 (1, 80, frames), 100 frames a second; output `log_probabilities` float32
    (1, frames / 2, phones + 1), index 0 is the CTC blank.
    """
    g = _Graph(weights)
    x = "log_mel"
    for name, stride in (("conv1", 1), ("conv2", 2)):
        x = g.add("Conv", x, g.weight(f"{name}.weight"), g.weight(f"{name}.bias"), pads=[1, 1], strides=[stride])
        x = g.add("Gelu", x)
    x = g.add("Transpose", x, perm=[0, 2, 1])
    length = g.add("Gather", g.add("Shape", x), g.constant(np.array([1])), axis=0)
    positions = g.add("Slice", g.weight("positions"), g.constant(np.array([0])), length)
    x = g.add("Add", x, positions)
    for i in range(_LAYERS):
        layer = f"layers.{i}"
        x = g.add("Add", x, g.attention(g.norm(x, f"{layer}.norm1"), layer))
        inner = g.add("Gelu", g.linear(g.norm(x, f"{layer}.norm2"), f"{layer}.up"))
        x = g.add("Add", x, g.linear(inner, f"{layer}.down"))
    logits = g.linear(g.norm(x, "norm"), "head")
    g.nodes.append(helper.make_node("LogSoftmax", [logits], ["log_probabilities"], axis=-1))
    count = weights["head.bias"].shape[0]
    graph = helper.make_graph(
        g.nodes,
        "listener",
        [helper.make_tensor_value_info("log_mel", TensorProto.FLOAT, [1, 80, "frames"])],
        [helper.make_tensor_value_info("log_probabilities", TensorProto.FLOAT, [1, "steps", count])],
        g.initialisers,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 20)], ir_version=9)
    onnx.checker.check_model(model, full_check=True)
    return model


def main() -> None:
    """Write model, phones and mel filters into a folder."""
    mel_path, folder, weights = map(Path, sys.argv[1:])
    folder.mkdir(parents=True, exist_ok=True)
    onnx.save(build_model(read_weights(weights)), folder / "listener.onnx")
    (folder / "phones.json").write_text(json.dumps(PHONES) + "\n", encoding="utf-8")
    if mel_path.resolve() != (folder / "mel_filters.npy").resolve():
        shutil.copy(mel_path, folder / "mel_filters.npy")


if __name__ == "__main__":
    main()
