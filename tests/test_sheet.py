"""The sheet and its dates."""

from datetime import date

import pytest

from voicecapture.day import Day, Event, EventKind
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.sheet import conception_date, day_sheet, due_date


def test_due_dates_agree_with_clemson() -> None:
    """Clemson University Cooperative Extension fact sheet BC-1001 (rev. June 2006), worked examples."""
    assert due_date(date(1995, 2, 10), 283) == date(1995, 11, 20)
    assert conception_date(date(1996, 3, 5), 283) == date(1995, 5, 27)
    assert due_date(date(1995, 5, 27), 283) == date(1996, 3, 5)


@pytest.mark.parametrize(
    ("service", "due_282", "due_283"),
    [
        # Computed from the calendar: service + 282 and + 283 days.
        ("2024-01-01", "2024-10-09", "2024-10-10"),
        ("2026-01-01", "2026-10-10", "2026-10-11"),
        ("2024-02-29", "2024-12-07", "2024-12-08"),
        ("2023-07-01", "2024-04-08", "2024-04-09"),
        ("2027-05-22", "2028-02-28", "2028-02-29"),
        ("2026-12-31", "2027-10-09", "2027-10-10"),
    ],
)
def test_due_dates_from_service_across_leap_years(service: str, due_282: str, due_283: str) -> None:
    assert due_date(date.fromisoformat(service)) == date.fromisoformat(due_282)
    assert due_date(date.fromisoformat(service), 283) == date.fromisoformat(due_283)


@pytest.mark.parametrize(
    ("scanned", "days", "conceived", "due"),
    [
        # Computed from the calendar: conception = scan - age, due = conception + 282.
        ("2026-12-10", 56, "2026-10-15", "2027-07-24"),
        ("2024-03-15", 45, "2024-01-30", "2024-11-07"),
        ("2027-01-12", 83, "2026-10-21", "2027-07-30"),
        ("2028-03-10", 60, "2028-01-10", "2028-10-18"),
    ],
)
def test_dates_across_leap_years(scanned: str, days: int, conceived: str, due: str) -> None:
    conception = conception_date(date.fromisoformat(scanned), days)
    assert conception == date.fromisoformat(conceived)
    assert due_date(conception) == date.fromisoformat(due)


@pytest.fixture
def sheet() -> str:
    day = Day(Herd(Animal(cow) for cow in ("4", "417", "608", "0042")))
    for event in (
        Event(EventKind.ACCEPTED, 3.0, 1, Entry("608", Result.EMPTY, findings=("dead_calf",))),
        Event(EventKind.ACCEPTED, 9.0, 2, Entry("417", Result.PREGNANT, 56, twins=True)),
        Event(EventKind.QUESTION, 75.0, 3, Entry("9", Result.EMPTY), "9 is not in the herd list", heard="nine empty"),
    ):
        day = day.after(event)
    return "\n".join(day_sheet(day, date(2026, 12, 10)))


def test_cows_stand_in_the_order_of_the_herd_list(sheet: str) -> None:
    assert sheet.index("   417  in calf    56 days  2026-10-15  2027-07-24  twins") < sheet.index("   608  empty")
    assert "dead calf" in sheet


def test_counts_carry_their_denominators(sheet: str) -> None:
    assert "scanned 2 of 4 in the herd list" in sheet
    assert "in calf 1 (50 % of 2)" in sheet


def test_open_questions_and_missed_cows_are_listed(sheet: str) -> None:
    assert "1:15  heard 'nine empty': 9 is not in the herd list" in sheet
    assert "without a result (2)" in sheet and "0042" in sheet


def test_the_cautions_are_on_the_sheet(sheet: str) -> None:
    assert "Do not cull on one early empty result" in sheet and "local rules" in sheet


def test_a_day_without_cows_has_a_sheet() -> None:
    assert "scanned 0" in "\n".join(day_sheet(Day(Herd()), date(2026, 12, 10)))


@pytest.mark.parametrize(("weeks", "written"), [(1, "in 1 week"), (3, "in 3 weeks")])
def test_the_weeks_until_a_recheck_are_written(weeks: int, written: str) -> None:
    day = Day(Herd()).after(Event(EventKind.ACCEPTED, 3.0, 1, Entry("608", Result.RECHECK, recheck_weeks=weeks)))
    (line,) = (line for line in day_sheet(day, date(2026, 12, 10)) if "608" in line)
    assert line.endswith(written)
