"""The one file that describes a training run."""

import tomllib
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Config:
    """Everything that a run depends on, besides the recordings themselves."""

    seed: int
    clips: dict[str, int]
    """Synthetic recordings to make for training, calibration and reporting."""
    kokoro_share: dict[str, float]
    """Share of them by mixed kokoro speakers, for each part."""
    general_share: float
    """Share of them that are general sentences."""
    steps: int
    """Optimiser steps of the whole training."""
    seconds: float
    """Longest time for one run of the training, in seconds; the next goes on from there."""
    batch: int
    body_rate: float
    """Highest learning rate of the encoder."""
    head_rate: float
    """Highest learning rate of the layer to phones."""
    pull: float
    """Weight of the squared distance from Whisper's weights."""
    mix: dict[str, float]
    """Shares of a batch: job, general, digits and other (people's), joined_digits, joined_words."""


def read_config(file: Path) -> Config:
    """Read a TOML file with exactly the fields of `Config`."""
    return Config(**tomllib.loads(file.read_text(encoding="utf-8")))
