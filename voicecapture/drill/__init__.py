"""Faults made on purpose while a day is listened to, and figures of what came of them."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tried:
    """One kind of fault, tried so many times."""

    fault: str
    times: int
    lost: int
    """Entries announced as saved, or to be written once the fault was over, that are not there."""
    false_saved: int = 0
    """Tones of a saved entry without the entry on the disk."""
    alarmed_s: float | None = None
    """Longest time until the alarm, seconds; None where nobody is left to be alarmed."""
    unalarmed: int = 0
    """Faults that nobody was told of."""
    broken: int = 0
    """Files that SQLite's integrity check, or a sound that its reader, did not find whole."""

    @property
    def is_good(self) -> bool:
        """Whether nothing went wrong."""
        return not (self.lost or self.false_saved or self.unalarmed or self.broken)


HEADING = f"{'fault':<44} {'times':>5} {'lost':>5} {'falsely saved':>13} {'not whole':>9}  alarmed within"


def row(one: Tried) -> str:
    """One kind of fault as a line under `HEADING`."""
    alarmed = "" if one.alarmed_s is None else f"{one.alarmed_s:.1f} s"
    alarmed += f", {one.unalarmed} never" if one.unalarmed else ""
    figures = f"{one.times:>5} {one.lost:>5} {one.false_saved:>13} {one.broken:>9}"
    return f"{one.fault:<44} {figures}  {alarmed}".rstrip()


def total(tried: Sequence[Tried]) -> Tried:
    """All kinds together."""
    sums = {name: sum(getattr(one, name) for one in tried) for name in ("times", "lost", "false_saved", "broken")}
    return Tried("all", **sums)
