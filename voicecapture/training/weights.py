"""Weights of the listener as files, and their mean.

    python -m voicecapture.training.weights OUT.npz WEIGHTS...

WEIGHTS are .npz files of `train` or `whisper_weights`, or a listener.onnx; one that is named twice counts twice.
OUT.npz gets their mean (Wortsman et al. 2022, "Model soups"). Reading a listener.onnx needs the package onnx.
"""

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Weights = dict[str, NDArray[np.float16]]
"""By their names in `network.Encoder`."""


def read_weights(file: Path) -> Weights:
    """Weights of one file, .npz or .onnx; a linear layer's have the shape (outputs, inputs)."""
    if file.suffix == ".onnx":
        # Here, since training machines that only read .npz have no onnx.
        import onnx
        from onnx import numpy_helper

        stored = {i.name: numpy_helper.to_array(i) for i in onnx.load(file).graph.initializer}
        named = {name: array for name, array in stored.items() if not name.startswith("constant")}
        return {name: array.T if is_matrix(name, array) else array for name, array in named.items()}
    with np.load(file) as content:
        return {name: content[name].astype(np.float16) for name in content.files}


def is_matrix(name: str, array: NDArray[np.float16]) -> bool:
    """Whether the model that is run holds it transposed: a linear layer's, not the table of positions."""
    return array.ndim == 2 and name.endswith(".weight")


def averaged(all_weights: Sequence[Weights]) -> Weights:
    """Mean of several weights, name by name.

    Raises:
        ValueError: If they have not all the same names.
    """
    if any(set(weights) != set(all_weights[0]) for weights in all_weights):
        raise ValueError("weights of different networks: those of whisper_weights have no layer to phones")
    return {
        name: np.mean([w[name].astype(np.float32) for w in all_weights], axis=0).astype(np.float16)
        for name in all_weights[0]
    }


def main() -> None:
    """Write the mean."""
    out, *files = map(Path, sys.argv[1:])
    np.savez(out, **averaged([read_weights(file) for file in files]))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
