"""Shares with their intervals, and counts of things that are each uncertain."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

import numpy as np

_EXACT_TERMS = 1000
"""Above this many events the count is approximated; the exact sum costs their square."""


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many."""

    count: int
    of: int

    @property
    def value(self) -> float | None:
        """The share, 0-1; None of nothing."""
        return self.count / self.of if self.of else None

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's 95 % interval."""
        return wilson(self.count, self.of)


def wilson(count: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a share, 0-1; (0, 1) of nothing.

    Wilson EB 1927, J Am Stat Assoc 22:209-212; Newcombe RG 1998, Stat Med 17:857-872.
    """
    if not of:
        return 0.0, 1.0
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    share = count / of
    middle = share + z**2 / (2 * of)
    half = z * sqrt(share * (1 - share) / of + z**2 / (4 * of**2))
    return max(0.0, (middle - half) / (1 + z**2 / of)), min(1.0, (middle + half) / (1 + z**2 / of))


def poisson_binomial(chances: Sequence[float]) -> np.ndarray:
    """Chance of each count of independent events, shape (events + 1,).

    Exact, by the discrete Fourier transform of its characteristic function (Hong Y 2013, Computational Statistics and
    Data Analysis 59:41-51); equal chances are raised to a power at once.
    """
    n = len(chances)
    turns = np.exp(2j * np.pi * np.arange(n + 1) / (n + 1))
    characteristic = np.ones(n + 1, dtype=complex)
    for chance, times in Counter(chances).items():
        characteristic *= (1 - chance + chance * turns) ** times
    return np.clip(np.fft.fft(characteristic).real / (n + 1), 0.0, 1.0)


def count_band(chances: Sequence[float], coverage: float = 0.8) -> tuple[int, int]:
    """Least and greatest count of independent events that leave out at most (1 - coverage) / 2 on either side.

    Exact up to 1,000 events; beyond, the normal distribution of the same mean and variance with half a count of
    continuity, whose error is then far below one count.
    """
    tail = (1 - coverage) / 2
    p = np.asarray(chances, dtype=float)
    if len(p) > _EXACT_TERMS:
        mean, sd = p.sum(), sqrt((p * (1 - p)).sum())
        band = NormalDist(mean, max(sd, 1e-9))
        return max(0, round(band.inv_cdf(tail))), min(len(p), round(band.inv_cdf(1 - tail)))
    cumulative = np.cumsum(poisson_binomial(chances))
    # What is a tail but for the rounding is a tail.
    low, high = np.searchsorted(cumulative, [tail + 1e-12, 1 - tail - 1e-12])
    return int(low), int(high)
