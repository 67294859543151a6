"""How fast the cows come, and when the last will have been scanned."""

from collections.abc import Sequence
from dataclasses import dataclass

RECENT_S = 600.0
"""Ten minutes."""


@dataclass(frozen=True, slots=True)
class Pace:
    """Rates on the audio clock; None where nothing can be said yet."""

    recent_per_hour: float | None
    """Cows an hour over the last ten minutes."""
    whole_per_hour: float | None
    """Cows an hour since the first cow."""
    finish_s: float | None
    """Seconds until the cows left are scanned at the recent pace."""


def pace(times_s: Sequence[float], now_s: float, left: int) -> Pace:
    """The pace after some cows.

    Args:
        times_s: When each cow was taken, in order, seconds.
        now_s: Now, seconds.
        left: Cows still to come.
    """
    if len(times_s) < 2 or now_s <= times_s[0]:
        return Pace(None, None, None)
    # The first cow starts the clock and is not counted: one cow is no pace.
    begun_s = max(times_s[0], now_s - RECENT_S)
    recent = sum(begun_s < time_s for time_s in times_s) / (now_s - begun_s)
    whole = (len(times_s) - 1) / (now_s - times_s[0])
    return Pace(3600 * recent, 3600 * whole, left / recent if recent and left else None)
