"""Alder Bank, an invented herd: 240 cows that calve in autumn, to be scanned on 9 February 2027."""

import csv
from dataclasses import astuple, dataclass, fields
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from voicecapture.synthesis.sayings import LOOKALIKE_COWS

SCANNED_ON = date(2027, 2, 9)

MATED_DAYS_AGO = {"417": 56, "608": 52, "609": 71, "384": 44, "231": 62, "560": 50, "274": 63}
"""Cows of whom the demo morning has something particular to tell, and the days since they were mated."""

_COWS = 240
_FOUR_DIGIT_COWS = 20
_EARLIEST_DAYS, _LATEST_DAYS = 92, 9
"""Matings run from 9 November 2026, for calving from the middle of August, to 31 January 2027."""


@dataclass(frozen=True, slots=True)
class ListedCow:
    """One line of the herd list."""

    cow: str
    electronic_id: str
    """15 digits as in ISO 11784; the national ids are too small to have been given out."""
    breed: str
    mated_on: date

    @property
    def days_since_mating(self) -> int:
        """Days from the last mating to the day of scanning."""
        return (SCANNED_ON - self.mated_on).days


def herd_list(seed: int = 7) -> list[ListedCow]:
    """The herd, by number; always the same for a seed."""
    rng = np.random.default_rng(seed)
    numbers = {*MATED_DAYS_AGO, *LOOKALIKE_COWS, "3", "8", "806", "860", "1206"}
    while len(numbers) < _COWS - _FOUR_DIGIT_COWS:
        numbers.add(str(rng.integers(1, 1000)))
    while len(numbers) < _COWS:
        # Numbers that end in two zeros have sayings of their own ("ten hundred") that nobody agrees on.
        number = int(rng.integers(1001, 1999))
        if number % 100:
            numbers.add(str(number))
    return [_listed(cow, index, rng) for index, cow in enumerate(sorted(numbers, key=int))]


def _listed(cow: str, index: int, rng: np.random.Generator) -> ListedCow:
    # Most are mated in the first three weeks; those that return to heat follow.
    days_ago = max(_LATEST_DAYS, _EARLIEST_DAYS - int(rng.exponential(22)))
    breed = str(rng.choice(["Friesian", "Holstein", "Jersey", "Friesian x Jersey"], p=[0.45, 0.2, 0.1, 0.25]))
    mated_on = SCANNED_ON - timedelta(days=MATED_DAYS_AGO.get(cow, days_ago))
    return ListedCow(cow, f"826{104 + 37 * index:012d}", breed, mated_on)


def write_herd_list(herd: list[ListedCow], path: Path) -> None:
    """Write the herd as CSV with a heading line and ISO dates."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([field.name for field in fields(ListedCow)])
        writer.writerows(astuple(cow) for cow in herd)
