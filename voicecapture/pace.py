"""How fast the cows come, when the last will have been scanned, and how long the vet has gone without a break."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

RECENT_S = 600.0
"""Ten minutes."""
BREAK_S = 300.0
"""A pause longer than five minutes is a break: arm and ears have rested."""


@dataclass(frozen=True, slots=True)
class Pace:
    """Rates on the audio clock; None where nothing can be said yet."""

    recent_per_hour: float | None
    """Cows an hour over the last ten minutes."""
    whole_per_hour: float | None
    """Cows an hour since the first cow."""
    finish_s: float | None
    """Seconds until the cows left are scanned at the recent pace."""
    longest_pause_s: float | None
    """Longest time between two cows, seconds."""


@dataclass(frozen=True, slots=True)
class Stint:
    """Work since the last break."""

    cows: int
    duration_s: float


def pace(times_s: Sequence[float], now_s: float, left: int) -> Pace:
    """The pace after some cows.

    Args:
        times_s: When each cow was taken, in order, seconds.
        now_s: Now, seconds.
        left: Cows still to come.
    """
    if len(times_s) < 2 or now_s <= times_s[0]:
        return Pace(None, None, None, None)
    # The first cow starts the clock and is not counted: one cow is no pace.
    begun_s = max(times_s[0], now_s - RECENT_S)
    recent = sum(begun_s < time_s for time_s in times_s) / (now_s - begun_s)
    whole = (len(times_s) - 1) / (now_s - times_s[0])
    longest_s = max(later - earlier for earlier, later in pairwise(times_s))
    return Pace(3600 * recent, 3600 * whole, left / recent if recent and left else None, longest_s)


def rates(times_s: Sequence[float], now_s: float, columns: int) -> list[float]:
    """Cows an hour in `columns` equal stretches from the first cow to now; empty before there is a pace."""
    if len(times_s) < 2 or now_s <= times_s[0]:
        return []
    width_s = (now_s - times_s[0]) / columns
    counts = [0] * columns
    for time_s in times_s[1:]:
        counts[min(columns - 1, int((time_s - times_s[0]) / width_s))] += 1
    return [3600 * count / width_s for count in counts]


def stint(times_s: Sequence[float], now_s: float) -> Stint:
    """Cows and time since the last break; nothing while there is one.

    Args:
        times_s: When each cow was taken, in order, seconds.
        now_s: Now, seconds.
    """
    if not times_s or now_s - times_s[-1] > BREAK_S:
        return Stint(0, 0.0)
    begun = next((i for i in range(len(times_s) - 1, 0, -1) if times_s[i] - times_s[i - 1] > BREAK_S), 0)
    return Stint(len(times_s) - begun, now_s - times_s[begun])
