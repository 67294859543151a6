"""Rechecks, dry-offs and expected calvings as a calendar (RFC 5545): whole days, one entry each.

An entry keeps its UID, so that importing the calendar again after another scan moves it; what no longer holds is
cancelled. The same season gives the same file.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime

from icalendar import Calendar
from icalendar import Event as Entry

from voicecapture import __version__
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


_TAKE_CARE = "An estimate; the vet's judgement and local rules decide."


def calendar_bytes(season: Season, settings: ReckoningSettings) -> tuple[bytes, int]:
    """The file, and how many entries hold."""
    calendar = Calendar()
    calendar.add("prodid", f"-//voicecapture//{__version__}//EN")
    calendar.add("version", "2.0")
    stamp, sequence = _revision(season)
    held = 0
    for cow in season.cows(settings):
        for reminder in _reminders(cow):
            calendar.add_component(_entry(cow, reminder, stamp, sequence))
            held += not reminder.is_cancelled
    return bytes(calendar.to_ical()), held


def _revision(season: Season) -> tuple[datetime, int]:
    """DTSTAMP and SEQUENCE of every entry: when the record last grew, and how much is in it.

    A record and its mating lists only ever grow, so that both never go back, even where a result is taken back. A
    calendar takes the entry of the higher SEQUENCE (RFC 5546 section 2.1.5).
    """
    times = [datetime.fromisoformat(at) for day in season.days for at in day.recorded_at]
    # Without an event there is no entry to stamp.
    last = max(times, default=datetime.fromtimestamp(0, UTC)).replace(microsecond=0)
    events = sum(day.day.length for day in season.days)
    return last, events + len(season.matings.services) + len(season.matings.bulls)


def _reminders(cow: CowReckoning) -> Iterator[_Reminder]:
    if cow.last is None:
        return
    results = {scan.entry.result for scan in cow.scans[:-1]}
    if cow.recheck_on is not None and cow.result is not None:
        yield _Reminder("recheck", cow.recheck_on, f"Cow {cow.cow}: scan again from today", _TAKE_CARE)
    elif results & {Result.EMPTY, Result.RECHECK}:
        yield _cancelled(cow, "recheck")
    if cow.calving is not None and cow.dry_off_on is not None:
        first, last = cow.calving.window(0.8)
        window = f"Four in five calve from {first} to {last}. {_TAKE_CARE}"
        yield _Reminder(
            "dry-off", cow.dry_off_on, f"Cow {cow.cow}: dry off", f"Due {cow.calving.due_on}. {_TAKE_CARE}"
        )
        yield _Reminder("calving", cow.calving.due_on, f"Cow {cow.cow}: expected to calve", window)
    elif Result.PREGNANT in results:
        yield _cancelled(cow, "dry-off")
        yield _cancelled(cow, "calving")


def _cancelled(cow: CowReckoning, kind: str) -> _Reminder:
    assert cow.last is not None
    return _Reminder(kind, cow.last.scanned_on, f"Cow {cow.cow}: no {kind}", "A later scan changed it.", True)


def _entry(cow: CowReckoning, reminder: _Reminder, stamp: datetime, sequence: int) -> Entry:
    entry = Entry()
    # Her first scan names the season: scans added later leave it as it is.
    entry.add("uid", f"{reminder.kind}-{cow.cow}-{cow.scans[0].day}@voicecapture")
    entry.add("dtstamp", stamp)
    entry.add("sequence", sequence)
    entry.add("dtstart", reminder.on)
    entry.add("summary", reminder.summary)
    entry.add("description", reminder.description)
    entry.add("transp", "TRANSPARENT")
    entry.add("status", "CANCELLED" if reminder.is_cancelled else "CONFIRMED")
    return entry
