"""What is counted and what is left out in events of the standard."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from tests.seasons import empty, in_calf, recheck, scan_day
from voicecapture.day import Event, EventKind, ScanKind
from voicecapture.exports.ade import ade_events
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings


def events(entries: Sequence[Event | Entry], kind: ScanKind = ScanKind.AGED) -> list[dict[str, Any]]:
    return ade_events(Season((scan_day(date(2026, 12, 10), entries, kind=kind),)), ReckoningSettings())


@pytest.mark.parametrize(
    ("entry", "kind", "expected"),
    [
        (in_calf("417", 56), ScanKind.AGED, ("Pregnant", 56, 1)),
        (in_calf("417", 45, twins=True), ScanKind.AGED, ("Multiple", 45, 2)),
        (in_calf("417", twins=True), ScanKind.YES_NO, ("Multiple", None, 2)),
        # Nobody counts at a yes/no scan.
        (in_calf("417"), ScanKind.YES_NO, ("Pregnant", None, None)),
        (empty("417"), ScanKind.AGED, ("Empty", None, None)),
        (recheck("417", 3), ScanKind.AGED, ("Unknown", None, None)),
        # 70 mm tells no age: the regression is refused beyond its peak, 57.6 mm (Somnuk et al. 2017, computed).
        (Entry("417", Result.PREGNANT, crown_rump_mm=70), ScanKind.AGED, ("Pregnant", None, None)),
    ],
)
def test_an_event_tells_what_was_seen_and_no_more(
    entry: Entry, kind: ScanKind, expected: tuple[str, int | None, int | None]
) -> None:
    (event,) = events([entry], kind)
    assert (event["result"], event.get("foetalAge"), event.get("foetusCount")) == expected
    assert None not in event.values()


def test_a_result_that_was_taken_back_or_replaced_is_no_event() -> None:
    corrected = Event(EventKind.ACCEPTED, 9.0, entry=empty("417"), replaces=1)
    taken_back = Event(EventKind.TAKEN_BACK, 9.5, replaces=2)
    found = events([in_calf("417", 56), in_calf("608", 45), corrected, taken_back])
    assert [(event["animal"]["id"], event["result"]) for event in found] == [("417", "Empty")]


def test_an_event_keeps_its_id_when_the_day_goes_on() -> None:
    assert events([in_calf("417", 56)])[0] == events([in_calf("417", 56), empty("608")])[0]


def test_the_time_is_in_utc_with_z() -> None:
    """The standard asks for RFC 3339 in UTC with Z; its schema does not check it."""
    (event,) = events([in_calf("417", 56)])
    assert event["eventDateTime"].endswith("Z")
    assert datetime.fromisoformat(event["eventDateTime"]).utcoffset() == timedelta(0)


def test_a_cow_without_an_electronic_id_has_her_number_with_its_zeros_in_our_own_scheme() -> None:
    (event,) = events([in_calf("0042", 56)])
    assert event["animal"] == {"id": "0042", "scheme": "voicecapture.cow"}


def test_the_electronic_id_is_that_of_the_list_of_the_day() -> None:
    then, later = "554123456789012", "554123456700000"
    day = scan_day(date(2026, 12, 10), [empty("417"), empty("608")])
    listed = replace(day, day=replace(day.day, herd=Herd([Animal("417", then), Animal("608")])))
    season = Season((listed,), Herd([Animal("417", later), Animal("608", later[::-1])]))
    found = ade_events(season, ReckoningSettings())
    assert [event["animal"]["id"] for event in found] == [then, later[::-1]]
