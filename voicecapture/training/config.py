"""The one file that describes how a listener was made; it is kept with the weights."""

import tomllib
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Round:
    """One training, from given weights to better ones."""

    steps: int
    """Optimiser steps."""
    body_rate: float
    """Highest learning rate of the encoder."""
    head_rate: float
    """Highest learning rate of the layer to phones."""
    pull: float
    """Weight of the squared distance from the weights that it starts from."""
    mix: dict[str, float]
    """Shares of a batch: job, general, digits and other (people's), joined_digits, joined_words."""


@dataclass(frozen=True, slots=True)
class Config:
    """Everything that the making depends on, besides the recordings themselves and the seeds of the rounds."""

    seed: int
    """Of the speech."""
    clips: dict[str, int]
    """Synthetic recordings to make for training, calibration and reporting."""
    kokoro_share: dict[str, float]
    """Share of them by mixed kokoro speakers, for each part."""
    general_share: float
    """Share of them that are general sentences."""
    batch: int
    """Recordings in a batch."""
    seconds: float
    """Longest time for one run of the training, in seconds; the next goes on from there."""
    rounds: dict[str, Round]
    """By the name that `train` is given."""


def read_config(file: Path) -> Config:
    """Read a TOML file with exactly the fields of `Config`.

    Raises:
        KeyError: If there are no rounds.
        TypeError: If another field is missing, or unknown.
    """
    content = tomllib.loads(file.read_text(encoding="utf-8"))
    rounds = {name: Round(**of_round) for name, of_round in content.pop("rounds").items()}
    return Config(**content, rounds=rounds)
