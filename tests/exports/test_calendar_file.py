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
from voicecapture.herd import Animal, BullPeriod, Herd, Matings, Service
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings

FIRST = scan_day(date(2026, 12, 10), [in_calf("417", 56), empty("608")])
NO_MATINGS, NO_HERD = Matings(), Herd()


def second(*events: Event | Entry) -> ScanDay:
    return scan_day(date(2027, 1, 10), [in_calf("417", 87), *events])


TAKEN_BACK = Event(EventKind.TAKEN_BACK, 0.0, entry=Entry("417"), replaces=1, by="A Vet")


def found(
    days: Sequence[ScanDay], matings: Matings = NO_MATINGS, minute: int = 0, herd: Herd = NO_HERD
) -> dict[str, Any]:
    """The entries of a file that was made some minutes past noon, by UID."""
    at = datetime(2027, 1, 11, 12, minute, tzinfo=UTC)
    data, _ = calendar_bytes(Season(tuple(days), herd, matings), ReckoningSettings(), at)
    return {str(entry["uid"]): entry for entry in Calendar.from_ical(data).walk("VEVENT")}


def calving(days: Sequence[ScanDay], matings: Matings = NO_MATINGS, minute: int = 0) -> Any:
    (entry,) = (entry for uid, entry in found(days, matings, minute).items() if uid.startswith("calving-417-"))
    return entry


def test_what_was_expected_of_a_cow_that_calved_since_is_cancelled() -> None:
    calved = Herd([Animal("417", calved_on=date(2027, 7, 20))])
    entries = [entry for uid, entry in found([FIRST], herd=calved).items() if "-417-" in uid]
    assert {str(entry["status"]) for entry in entries} == {"CANCELLED"}
    assert {entry["dtstart"].dt for entry in entries} == {FIRST.scanned_on}


def test_a_scan_that_is_taken_back_makes_a_later_revision() -> None:
    """RFC 5546 section 2.1.5: of entries with one UID the highest SEQUENCE obsoletes the others."""
    before, after = calving([FIRST, second()]), calving([FIRST, second(TAKEN_BACK)], minute=1)
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
    before, after = calving([FIRST]), calving([FIRST], matings, minute=1)
    assert after["dtstart"].dt > before["dtstart"].dt and after["sequence"] > before["sequence"]


def test_the_stamp_is_in_utc() -> None:
    """RFC 5545 section 3.8.7.2: DTSTAMP must be in UTC."""
    stamp = calving([FIRST], minute=7)["dtstamp"]
    assert stamp.dt == datetime(2027, 1, 11, 12, 7, tzinfo=UTC) and stamp.to_ical() == b"20270111T120700Z"


def test_what_an_amendment_ends_is_cancelled() -> None:
    amended = Event(EventKind.ACCEPTED, 0.0, entry=empty("417"), replaces=1, by="A Vet")
    before, after = found([FIRST]), found([scan_day(date(2026, 12, 10), [in_calf("417", 56), empty("608"), amended])])
    ended = {uid.split("-417")[0] for uid, entry in after.items() if entry["status"] == "CANCELLED"}
    assert ended == {"calving", "dry-off"} and set(before) <= set(after)


def test_what_was_taken_back_altogether_is_cancelled() -> None:
    after = found([scan_day(date(2026, 12, 10), [in_calf("417", 56), TAKEN_BACK])])
    assert {uid.split("-417")[0]: str(entry["status"]) for uid, entry in after.items()} == {
        "calving": "CANCELLED",
        "dry-off": "CANCELLED",
    }


def test_a_herd_list_with_electronic_ids_changes_no_uid() -> None:
    herd = Herd([Animal("417", electronic_id="826000123456789"), Animal("608", electronic_id="826000123456788")])
    assert set(found([FIRST], herd=herd)) == set(found([FIRST]))


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
