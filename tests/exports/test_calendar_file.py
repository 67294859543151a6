"""What makes a second import of the calendar an update, read back by icalendar."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from icalendar import Calendar

from tests.seasons import empty, in_calf, scan_day
from voicecapture.day import Event, EventKind
from voicecapture.exports.calendar_file import calendar_bytes
from voicecapture.herd import BullPeriod, Matings, Service
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings

FIRST = scan_day(date(2026, 12, 10), [in_calf("417", 56), empty("608")])
NO_MATINGS = Matings()


def second(*events: Event | Entry) -> ScanDay:
    return scan_day(date(2027, 1, 10), [in_calf("417", 87), *events])


TAKEN_BACK = Event(EventKind.TAKEN_BACK, 0.0, entry=Entry("417"), replaces=1, by="A Vet")


def found(days: Sequence[ScanDay], matings: Matings = NO_MATINGS) -> dict[str, Any]:
    data, _ = calendar_bytes(Season(tuple(days), matings=matings), ReckoningSettings())
    return {str(entry["uid"]): entry for entry in Calendar.from_ical(data).walk("VEVENT")}


def calving(days: Sequence[ScanDay], matings: Matings = NO_MATINGS) -> Any:
    (entry,) = (entry for uid, entry in found(days, matings).items() if uid.startswith("calving-417-"))
    return entry


def test_a_scan_that_is_taken_back_makes_a_later_revision() -> None:
    """RFC 5546 section 2.1.5: of entries with one UID the highest SEQUENCE obsoletes the others."""
    before, after = calving([FIRST, second()]), calving([FIRST, second(TAKEN_BACK)])
    assert after["uid"] == before["uid"]
    assert after["sequence"] > before["sequence"] and after["dtstamp"].dt >= before["dtstamp"].dt


@pytest.mark.parametrize(
    "matings",
    [
        Matings((Service("417", date(2026, 10, 18), sire="Elder"),)),
        Matings(bulls=(BullPeriod(date(2026, 10, 17), date(2026, 10, 25), "Oak"),)),
    ],
)
def test_a_mating_list_that_moves_a_date_makes_a_later_revision(matings: Matings) -> None:
    before, after = calving([FIRST]), calving([FIRST], matings)
    assert after["dtstart"].dt > before["dtstart"].dt and after["sequence"] > before["sequence"]


def test_the_stamp_is_the_last_moment_of_the_record_in_utc() -> None:
    """RFC 5545 section 3.8.7.2: DTSTAMP must be in UTC."""
    day = replace(FIRST, recorded_at=("2026-12-10T09:00:00.000+13:00", "2026-12-09T20:30:59.900+00:00"))
    stamp = calving([day])["dtstamp"]
    assert stamp.dt == datetime(2026, 12, 9, 20, 30, 59, tzinfo=UTC) and stamp.to_ical() == b"20261209T203059Z"


def test_two_farms_with_the_same_cow_numbers_keep_entries_of_their_own() -> None:
    assert not set(found([FIRST])) & set(found([replace(FIRST, name="day-of-another-farm")]))


def test_one_cow_has_one_entry_of_each_kind() -> None:
    entries = found([FIRST, second()])
    assert sorted(uid.split("-day-")[0] for uid in entries) == ["calving-417", "dry-off-417", "recheck-608"]


def test_a_calving_tells_its_window_and_that_it_is_an_estimate() -> None:
    """Computed: 56 days (standard deviation 4.6) and gestation (5): 6.79 together, 1.2816 of it is 8.7 days."""
    description = str(calving([FIRST])["description"])
    assert "2027-07-15 to 2027-08-02" in description and "estimate" in description


def test_a_cow_with_a_finding_alone_has_no_entry() -> None:
    assert found([scan_day(date(2026, 12, 10), [Entry("9", findings=("lame",))])]) == {}
