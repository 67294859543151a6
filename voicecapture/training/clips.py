"""Packed clips: clips.bin holds recordings as Opus end to end, clips.jsonl says what each is."""

import io
import json
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

PHONES = (
    *("AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH", "IH", "IY", "JH"),
    *("K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH", "UW", "V", "W", "Y", "Z", "ZH"),
)
"""ARPAbet without stress, as CMUdict writes it."""

_OPUS_COMPRESSION = 0.95
"""About 25 kbit/s."""


def encode(samples: NDArray[np.float32], rate_hz: int = 16_000) -> bytes:
    """A mono recording as Opus in Ogg."""
    file = io.BytesIO()
    soundfile.write(file, samples, rate_hz, format="OGG", subtype="OPUS", compression_level=_OPUS_COMPRESSION)
    return file.getvalue()


def read_clips(folder: Path) -> tuple[list[dict[str, Any]], list[NDArray[np.float32]]]:
    """Rows and samples (mono, 16 kHz) of a folder of packed clips."""
    rows = [json.loads(line) for line in (folder / "clips.jsonl").read_text(encoding="utf-8").splitlines()]
    content = (folder / "clips.bin").read_bytes()

    def samples(row: dict[str, Any]) -> NDArray[np.float32]:
        clip = io.BytesIO(content[row["offset"] : row["offset"] + row["bytes"]])
        return soundfile.read(clip, dtype="float32")[0]  # type: ignore[no-any-return]

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return rows, list(pool.map(samples, rows))
