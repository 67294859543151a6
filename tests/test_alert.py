"""What needs a look; the entry itself stays."""

from datetime import date

import pytest

from voicecapture.alert import LEAST_FREE_BYTES, disk_alert, entry_alerts
from voicecapture.day import Day, Event, EventKind
from voicecapture.herd import Animal, BullPeriod, Herd, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.settings import ReckoningSettings

SCANNED_ON = date(2027, 2, 9)
HERD = Herd([Animal("417", mated_on=date(2026, 12, 11)), Animal("419")])  # 417: mated 60 days before


def alerts(event: Event, day: Day | None = None, matings: Matings | None = None) -> tuple[str, ...]:
    after = (day or Day(HERD)).after(event)
    return entry_alerts(event, after, SCANNED_ON, matings or Matings(), ReckoningSettings())


def taken(cow: str, days: int | None) -> Event:
    return Event(EventKind.ACCEPTED, 10.0, 1, Entry(cow, Result.PREGNANT, days))


@pytest.mark.parametrize("days", [None, 52, 60, 68])
def test_an_age_that_the_last_mating_explains_is_no_alert(days: int | None) -> None:
    assert alerts(taken("417", days)) == ()


def test_an_age_that_no_mating_explains_is_one() -> None:
    assert alerts(taken("417", 90)) == ("417 90 days: no recorded mating explains that age",)


def test_a_conception_before_she_last_calved_is_one() -> None:
    day = Day(Herd([Animal("417", mated_on=date(2026, 11, 21), calved_on=date(2026, 12, 1))]))
    # 80 days before the scan is 21 November: the service of that day gave the calf that is born.
    assert alerts(taken("417", 80), day) == ("417 80 days: she last calved on 2026-12-01, after that conception",)
    assert alerts(taken("417", 60), day) == ()


def test_a_cow_without_a_recorded_mating_is_no_alert() -> None:
    assert alerts(taken("419", 90)) == ()


@pytest.mark.parametrize(
    "matings",
    [
        Matings(services=(Service("417", date(2026, 11, 11)),)),
        Matings(bulls=(BullPeriod(date(2026, 11, 1), date(2026, 11, 30)),)),
    ],
)
def test_the_mating_list_explains_what_the_herd_list_does_not(matings: Matings) -> None:
    assert alerts(taken("417", 90), matings=matings) == ()


def test_a_length_that_tells_no_age_is_left_to_the_question() -> None:
    assert alerts(Event(EventKind.QUESTION, 1.0, 1, Entry("417", Result.PREGNANT, crown_rump_mm=900))) == ()


def test_a_cow_outside_the_herd_list_is_one_and_without_a_list_none() -> None:
    event = Event(EventKind.ACCEPTED, 10.0, 1, Entry("772", Result.EMPTY))
    assert alerts(event) == ("772 not in the herd list",)
    assert alerts(event, Day(Herd())) == ()


def test_a_cow_scanned_twice_is_told_with_both_results() -> None:
    day = Day(HERD).after(taken("419", 56))
    event = Event(EventKind.QUESTION, 20.0, 2, Entry("419", Result.EMPTY), "419 has been scanned already")
    assert alerts(event, day) == ("419 scanned twice: in calf 56 days and empty",)


def test_what_was_taken_back_or_passed_over_is_none() -> None:
    assert alerts(Event(EventKind.TAKEN_BACK, 10.0, 1, Entry("772", Result.EMPTY))) == ()
    assert alerts(Event(EventKind.IGNORED, 10.0, 1)) == ()


def test_the_disk_is_low_below_the_bar() -> None:
    assert disk_alert(LEAST_FREE_BYTES) == ""
    assert disk_alert(312_000_000) == "disk low: 312 MB free"
