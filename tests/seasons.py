"""Seasons for tests, built as the record builds them."""

from collections.abc import Sequence
from datetime import date

import pytest

from voicecapture.day import Day, Event, EventKind, ScanKind
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.season import ScanDay
from voicecapture.store.record import Record
from voicecapture.store.season import read_season


def _can_print() -> bool:
    try:
        import weasyprint  # noqa: F401
    except OSError:  # Pango is not installed
        return False
    return True


needs_pango = pytest.mark.skipif(not _can_print(), reason="Pango is not installed")


def scan_day(
    scanned_on: date,
    events: Sequence[Event | Entry],
    cows: Sequence[str] = (),
    kind: ScanKind = ScanKind.AGED,
    vet: str = "",
) -> ScanDay:
    """A day of events; an entry alone was taken."""
    happened = [e if isinstance(e, Event) else Event(EventKind.ACCEPTED, 3.0, None, e) for e in events]
    times = tuple(f"{scanned_on}T08:{i // 60:02d}:{i % 60:02d}.000+00:00" for i in range(len(happened)))
    day = Day(Herd(Animal(cow) for cow in cows), kind).after(*happened)
    return ScanDay(
        f"day-{scanned_on}-{vet}",
        scanned_on,
        f"{scanned_on}T07:00:00.000+00:00",
        vet,
        day,
        times,
        "0" * 64,
        events=tuple(happened),
    )


def loaded_day(record: Record, day_id: int) -> Day:
    """A day as its events left it."""
    return read_season(record, day_id).days[0].day


def in_calf(cow: str, days: int | None = None, twins: bool = False) -> Entry:
    """A cow found in calf."""
    return Entry(cow, Result.PREGNANT, days, twins)


def empty(cow: str) -> Entry:
    """A cow found empty."""
    return Entry(cow, Result.EMPTY)


def recheck(cow: str, weeks: int | None = None) -> Entry:
    """A cow to be scanned again."""
    return Entry(cow, Result.RECHECK, recheck_weeks=weeks)
