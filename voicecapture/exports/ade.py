"""Every scan that counts as an event of the ICAR Animal Data Exchange standard (ADE 1.3, github.com/adewg/ICAR)."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

from voicecapture.day import Event
from voicecapture.herd import Animal
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.conception import age_heard
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings

ELECTRONIC_SCHEME, COW_SCHEME = "std.iso.11785", "voicecapture.cow"
"""Scheme of the 15 digits of an electronic ID, and of a cow number that means something on its farm alone."""


def ade_json(season: Season, settings: ReckoningSettings) -> tuple[bytes, int]:
    """The file, a JSON array of icarReproPregnancyCheckEventResource, and how many are in it."""
    events = ade_events(season, settings)
    return (json.dumps(events, indent=1, ensure_ascii=False) + "\n").encode(), len(events)


def ade_events(season: Season, settings: ReckoningSettings) -> list[dict[str, Any]]:
    """One event for each result of each day; all scans of a cow, not only the last. Absent fields are left out."""
    found = []
    for day in season.days:
        for cow, (_, event) in day.day.results.items():
            if event.entry is not None and event.entry.result is not None:
                # By the list of the day itself: a number may have been another animal's since.
                listed = season.herd.animals.get(cow, Animal(cow)).electronic_id
                electronic_id = day.day.code_of(cow) or listed
                found.append(_event(day, event, event.entry, electronic_id, settings))
    return found


def _event(
    day: ScanDay, event: Event, entry: Entry, electronic_id: str | None, settings: ReckoningSettings
) -> dict[str, Any]:
    scheme = ELECTRONIC_SCHEME if electronic_id else COW_SCHEME
    resource: dict[str, Any] = {
        "resourceType": "icarReproPregnancyCheckEventResource",
        # One cow has one result on a day: amended, it is the same check.
        "id": f"{day.name}-{entry.cow}",
        "animal": {"id": electronic_id or entry.cow, "scheme": scheme},
        "eventDateTime": _utc(day.started_at, day.scanned_on, event.at_s),
        "method": "Echography",
        "result": _result(entry),
    }
    if day.vet:
        resource["responsible"] = day.vet
    age = _age(entry, settings)
    if age is not None:
        resource["foetalAge"] = age
    # Nobody counts at a yes/no scan; an age means that the foetus was looked at.
    if entry.twins or age is not None:
        resource["foetusCount"] = 2 if entry.twins else 1
    if entry.findings:
        resource["exceptions"] = [finding.replace("_", " ") for finding in entry.findings]
    return resource


def _result(entry: Entry) -> str:
    match entry.result:
        case Result.PREGNANT:
            return "Multiple" if entry.twins else "Pregnant"
        case Result.EMPTY:
            return "Empty"
        case _:
            return "Unknown"


def _age(entry: Entry, settings: ReckoningSettings) -> int | None:
    try:
        age = age_heard(entry, settings)
    except ValueError:  # a length that tells no age
        return None
    return round(age[0]) if age and entry.result is Result.PREGNANT else None


def _utc(started_at: str, scanned_on: date, at_s: float) -> str:
    """When the cow was scanned: the day's clock.

    A recording heard on another day has its own day, at an hour that is on it from UTC-10 to UTC+13.
    """
    at = datetime.fromisoformat(started_at).astimezone(UTC) + timedelta(seconds=at_s)
    if abs((at.date() - scanned_on).days) > 1:
        at = datetime(scanned_on.year, scanned_on.month, scanned_on.day, 10, tzinfo=UTC)
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")
