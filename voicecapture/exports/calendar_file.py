"""Rechecks, dry-offs and expected calvings as a calendar (RFC 5545): whole days, one entry each.

An entry keeps its UID, so that importing the calendar again moves it; what no longer holds is cancelled.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from icalendar import Calendar
from icalendar import Event as Entry

from voicecapture import __version__
from voicecapture.day import EventKind
from voicecapture.herd import Animal
from voicecapture.language.phrase import Result
from voicecapture.reckoning.cow import CowReckoning
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings


@dataclass(frozen=True, slots=True)
class _Reminder:
    kind: str
    """Part of the UID: "recheck", "dry-off" or "calving"."""
    on: date
    summary: str
    description: str
    is_cancelled: bool = False


_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
"""SEQUENCE counts the seconds from here: it fits 32 bits until 2088."""
_TAKE_CARE = "An estimate; the vet's judgement and local rules decide."


def calendar_bytes(
    season: Season, settings: ReckoningSettings, written_at: datetime | None = None
) -> tuple[bytes, int]:
    """The file, and how many entries hold.

    Args:
        season: The season.
        settings: Of the practice.
        written_at: When the file is made; now. A file made later takes the place of an earlier one.
    """
    calendar = Calendar()
    calendar.add("prodid", f"-//voicecapture//{__version__}//EN")
    calendar.add("version", "2.0")
    stamp = (written_at or datetime.now(UTC)).replace(microsecond=0)
    told = _told(season)
    reckoned = {cow.cow: cow for cow in season.cows(settings)}
    held = 0
    for cow in (*reckoned, *(cow for cow in told if cow not in reckoned)):
        known = reckoned.get(cow, CowReckoning(Animal(cow)))
        for reminder in _reminders(known, told.get(cow, _Told())):
            calendar.add_component(_entry(known, reminder, told[cow], stamp))
            held += not reminder.is_cancelled
    return bytes(calendar.to_ical()), held


@dataclass(slots=True)
class _Told:
    """What was ever said of a cow, whether it counts or not: what an earlier file may have in it."""

    day: str = ""
    """Name of the first day on which she was scanned."""
    results: set[Result] = field(default_factory=set)


def _told(season: Season) -> dict[str, _Told]:
    told: dict[str, _Told] = {}
    for day in season.days:
        for event in day.events:
            if event.kind is EventKind.ACCEPTED and event.entry is not None and event.entry.cow is not None:
                of_cow = told.setdefault(event.entry.cow, _Told(day.name))
                of_cow.results |= {event.entry.result} if event.entry.result else set()
    return told


def _reminders(cow: CowReckoning, told: _Told) -> Iterator[_Reminder]:
    if cow.recheck_on is not None and cow.result is not None:
        yield _Reminder("recheck", cow.recheck_on, f"Cow {cow.cow}: scan again from today", _TAKE_CARE)
    elif told.results & {Result.EMPTY, Result.RECHECK}:
        yield _cancelled(cow, "recheck")
    if cow.calving is not None and cow.dry_off_on is not None:
        first, last = cow.calving.window(0.8)
        window = f"Four in five calve from {first} to {last}. {_TAKE_CARE}"
        yield _Reminder(
            "dry-off", cow.dry_off_on, f"Cow {cow.cow}: dry off", f"Due {cow.calving.due_on}. {_TAKE_CARE}"
        )
        yield _Reminder("calving", cow.calving.due_on, f"Cow {cow.cow}: expected to calve", window)
    elif Result.PREGNANT in told.results:
        yield _cancelled(cow, "dry-off")
        yield _cancelled(cow, "calving")


def _cancelled(cow: CowReckoning, kind: str) -> _Reminder:
    on = cow.scans[-1].scanned_on if cow.scans else date.today()
    return _Reminder(kind, on, f"Cow {cow.cow}: no {kind}", "It does not hold any more.", True)


def _entry(cow: CowReckoning, reminder: _Reminder, told: _Told, stamp: datetime) -> Entry:
    entry = Entry()
    # A number is one cow of the farm whose day it was. An electronic ID may come with a later list, or change.
    entry.add("uid", f"{reminder.kind}-{cow.cow}-{told.day}@voicecapture")
    entry.add("dtstamp", stamp)
    # A calendar takes the entry of the higher SEQUENCE (RFC 5546 section 2.1.5).
    entry.add("sequence", int((stamp - _EPOCH).total_seconds()))
    entry.add("dtstart", reminder.on)
    entry.add("summary", reminder.summary)
    entry.add("description", reminder.description)
    entry.add("transp", "TRANSPARENT")
    entry.add("status", "CANCELLED" if reminder.is_cancelled else "CONFIRMED")
    return entry
