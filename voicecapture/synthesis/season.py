"""Makes a season of any size, to measure what the sheet costs and to look at one.

    python -m voicecapture.synthesis.season COWS SEASON.db

Every cow is scanned three times: for age, again six weeks later, and yes or no before winter. Invented throughout.
"""

import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from voicecapture.day import Event, EventKind, ScanKind
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, set_mating_start

MATING_START = date(2026, 11, 9)
_COWS_A_DAY = 500
_LAST_DAY_OF_MATING = 70
_ROUNDS = (
    (date(2027, 2, 9), ScanKind.AGED),
    (date(2027, 3, 23), ScanKind.AGED),
    (date(2027, 5, 18), ScanKind.YES_NO),
)


def make_season(cows: int, path: Path, seed: int = 5) -> None:
    """Write a season of so many cows, at most 100,000, to a new file."""
    rng = np.random.default_rng(seed)
    numbers = [str(number) for number in range(cows)]
    conceived = [
        MATING_START + timedelta(days=int(d)) for d in np.minimum(rng.exponential(25, cows), _LAST_DAY_OF_MATING)
    ]
    is_empty = rng.random(cows) < 0.12
    services = {
        cow: on + timedelta(days=-21 if rng.random() < 0.1 else 0) for cow, on in zip(numbers, conceived, strict=True)
    }
    record = Record.open(path)
    try:
        lines = [f"{cow},{on},AI,{'Elder' if i % 3 else 'Rowan'}" for i, (cow, on) in enumerate(services.items())]
        add_list(record, "matings", "matings.csv", "\n".join(["cow,served_on,kind,sire", *lines]))
        set_mating_start(record, MATING_START)
        for first_on, kind in _ROUNDS:
            for start in range(0, cows, _COWS_A_DAY):
                places = range(start, min(start + _COWS_A_DAY, cows))
                herd = Herd(Animal(numbers[i], breed="Friesian") for i in places)
                day = record.start_day(herd, first_on, kind, "herd.csv", "made", f"Vet {start % 2 + 1}")
                with record.db.atomic():
                    for at, i in enumerate(places):
                        age = (first_on - conceived[i]).days + round(float(rng.normal(0, 4)))
                        entry = _entry(numbers[i], bool(is_empty[i]), age, kind)
                        record.append(day, Event(EventKind.ACCEPTED, 8.0 * at, None, entry, "clearly heard", 0.999))
    finally:
        record.close()


def _entry(cow: str, is_empty: bool, age: int, kind: ScanKind) -> Entry:
    if is_empty:
        return Entry(cow, Result.EMPTY)
    if kind is ScanKind.YES_NO:
        return Entry(cow, Result.PREGNANT)
    return Entry(cow, Result.PREGNANT, age) if age >= 28 else Entry(cow, Result.RECHECK)


if __name__ == "__main__":
    make_season(int(sys.argv[1]), Path(sys.argv[2]))
