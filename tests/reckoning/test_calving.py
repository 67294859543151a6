"""Due dates, calving windows and the curve of the herd, held against calendars and closed forms."""

from datetime import date, timedelta
from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from voicecapture.reckoning.calving import CalvingCurve, ExpectedCalving, calving_curve, due_date, expected_calving
from voicecapture.reckoning.conception import Basis, Conception, conception_date
from voicecapture.reckoning.gestation import GESTATION_SD_DAYS

DUE_ON = date(2027, 7, 28)


def day(text: str) -> date:
    return date.fromisoformat(text)


def length(window: tuple[date, date]) -> int:
    first, last = window
    return (last - first).days


def herd(*due: tuple[str, int], sd_days: float = 5.0) -> CalvingCurve:
    """The curve of so many cows due on each day."""
    curve = calving_curve(ExpectedCalving(day(on), sd_days) for on, cows in due for _ in range(cows))
    assert curve is not None
    return curve


# ---- dates -----------------------------------------------------------------------------------------


def test_the_worked_examples_of_an_extension_service() -> None:
    # Clemson University Cooperative Extension, fact sheet BC-1001 (June 2006), with its leap day of 1996.
    assert due_date(day("1995-02-10"), 283) == day("1995-11-20")
    assert conception_date(day("1996-03-05"), 283) == day("1995-05-27")
    assert conception_date(day("1996-07-01"), 229) == day("1995-11-15")
    assert due_date(day("1995-01-25"), 405) == day("1996-03-05")


@pytest.mark.parametrize(
    ("served_on", "due_on"),
    # Calendar arithmetic, no publication: tables printed for 283 days disagree among each other by a day.
    [
        ("2026-01-01", ("2026-10-07", "2026-10-08", "2026-10-10", "2026-10-11")),
        ("2024-01-01", ("2024-10-06", "2024-10-07", "2024-10-09", "2024-10-10")),
        ("2026-02-28", ("2026-12-04", "2026-12-05", "2026-12-07", "2026-12-08")),
        ("2024-02-28", ("2024-12-03", "2024-12-04", "2024-12-06", "2024-12-07")),
        ("2024-02-29", ("2024-12-04", "2024-12-05", "2024-12-07", "2024-12-08")),
        ("2024-03-01", ("2024-12-05", "2024-12-06", "2024-12-08", "2024-12-09")),
        ("2026-07-01", ("2027-04-06", "2027-04-07", "2027-04-09", "2027-04-10")),
        ("2023-07-01", ("2024-04-05", "2024-04-06", "2024-04-08", "2024-04-09")),
        ("2026-10-22", ("2027-07-28", "2027-07-29", "2027-07-31", "2027-08-01")),
        ("2027-10-22", ("2028-07-27", "2028-07-28", "2028-07-30", "2028-07-31")),
        ("2027-05-22", (None, None, "2028-02-28", "2028-02-29")),
        ("2026-12-31", ("2027-10-06", "2027-10-07", "2027-10-09", "2027-10-10")),
        ("2026-06-18", (None, "2027-03-25", None, None)),
        ("2023-06-18", (None, "2024-03-24", None, None)),
    ],
)
def test_due_dates_over_leap_days_and_new_years(served_on: str, due_on: tuple[str | None, ...]) -> None:
    for gestation_days, due in zip((279, 280, 282, 283), due_on, strict=True):
        if due is not None:
            assert due_date(day(served_on), gestation_days) == day(due)


@pytest.mark.parametrize(
    ("scanned_on", "age_days", "due_on"),
    # Calendar arithmetic: the scan less the age, and 276 (twins), 280, 282 and 283 days.
    [
        ("2026-12-10", 56, ("2027-07-18", "2027-07-22", "2027-07-24", "2027-07-25")),
        ("2024-03-15", 45, ("2024-11-01", "2024-11-05", "2024-11-07", "2024-11-08")),
        ("2027-01-12", 83, ("2027-07-24", "2027-07-28", "2027-07-30", "2027-07-31")),
        ("2028-03-10", 60, ("2028-10-12", "2028-10-16", "2028-10-18", "2028-10-19")),
    ],
)
def test_due_dates_from_the_age_at_a_scan(scanned_on: str, age_days: int, due_on: tuple[str, ...]) -> None:
    for gestation_days, due in zip((276, 280, 282, 283), due_on, strict=True):
        assert due_date(conception_date(day(scanned_on), age_days), gestation_days) == day(due)


def test_part_days_of_gestation_go_to_the_nearest_day() -> None:
    assert due_date(day("2026-10-22"), 279.4) == day("2027-07-28")
    assert due_date(day("2026-10-22"), 279.9) == day("2027-07-29")


# ---- one cow ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("sd_days", [0.0, 4.6, 11.0])
def test_the_doubts_of_conception_and_gestation_add_as_squares(sd_days: float) -> None:
    conception = Conception(day("2026-10-22"), sd_days, Basis.SCAN, day("2026-10-22"))
    assert expected_calving(conception, 279) == ExpectedCalving(DUE_ON, hypot(sd_days, GESTATION_SD_DAYS))


def test_windows_of_a_certain_service() -> None:
    # The quantiles of the normal distribution, 1.2816 and 1.9600, times 5 days: 6.4 and 9.8, whole days outwards.
    calving = ExpectedCalving(DUE_ON, 5.0)
    assert calving.window(0.8) == (day("2027-07-21"), day("2027-08-04"))
    assert calving.window(0.95) == (day("2027-07-18"), day("2027-08-07"))


def test_windows_grow_with_the_doubt() -> None:
    doubts = [hypot(sd_days, GESTATION_SD_DAYS) for sd_days in (0.0, 4.6, 7.7, 11.0)]
    narrow, wide = ([length(ExpectedCalving(DUE_ON, sd).window(share)) for sd in doubts] for share in (0.8, 0.95))
    assert narrow == sorted(set(narrow))
    assert wide == sorted(set(wide))
    assert all(inner < outer for inner, outer in zip(narrow, wide, strict=True))


@given(st.dates(day("2020-01-01"), day("2040-01-01")), st.floats(0.5, 20), st.floats(0.05, 0.99))
def test_a_window_holds_the_due_date_and_its_chance(due_on: date, sd_days: float, coverage: float) -> None:
    first, last = ExpectedCalving(due_on, sd_days).window(coverage)
    assert first <= due_on <= last
    held = norm.cdf((last - due_on).days / sd_days) - norm.cdf((first - due_on).days / sd_days)
    assert held >= coverage - 1e-9


# ---- the herd --------------------------------------------------------------------------------------

due_lists = st.lists(
    st.tuples(st.integers(0, 90).map(lambda n: str(DUE_ON + timedelta(days=n))), st.integers(1, 30)), min_size=1
)


@given(due_lists, st.sampled_from([5.0, 6.79, 12.08]))
def test_the_curve_holds_every_cow(due: list[tuple[str, int]], sd_days: float) -> None:
    curve = herd(*due, sd_days=sd_days)
    cows = sum(number for _, number in due)
    assert curve.by_day.sum() == pytest.approx(cows, rel=1e-4)
    assert sum(week.expected for week in curve.weeks) == pytest.approx(cows, abs=0.3)
    assert all(week.first_on.weekday() == 0 for week in curve.weeks)


@given(due_lists)
def test_the_band_of_a_week_holds_what_is_expected(due: list[tuple[str, int]]) -> None:
    cows = sum(number for _, number in due)
    for week in herd(*due).weeks:
        assert 0 <= week.low <= week.high <= cows
        # The median of such a count is less than one from its mean.
        assert week.low - 1 < week.expected < week.high + 1


def test_no_cow_no_curve() -> None:
    assert calving_curve([]) is None


def test_half_the_cows_and_nine_in_ten() -> None:
    curve = herd(("2027-07-28", 400))
    # The quantile of the normal distribution, 1.2816, times 5 days: 6.4 days after the middle, in the 7th day.
    assert curve.calved_by(0.5) == DUE_ON
    assert curve.calved_by(0.9) == DUE_ON + timedelta(days=6)


def test_cows_of_unlike_doubt_are_kept_apart() -> None:
    narrow, wide = ExpectedCalving(DUE_ON, 5.0), ExpectedCalving(DUE_ON, 12.0)
    both, alone = CalvingCurve((narrow, wide)), CalvingCurve((narrow,))
    assert both.by_day.sum() == pytest.approx(2, rel=1e-4)
    assert both.calved_by(0.9) > alone.calved_by(0.9)


def test_the_busiest_week_is_where_most_are_due() -> None:
    # 28 July 2027 is a Wednesday, 18 August three weeks later.
    curve = herd(("2027-07-28", 100), ("2027-08-18", 160))
    assert curve.busiest.first_on == day("2027-08-16")
    assert curve.busiest.expected == max(week.expected for week in curve.weeks)


def test_the_week_of_the_due_date_by_hand() -> None:
    (week,) = [week for week in herd(("2027-07-28", 100)).weeks if week.first_on == day("2027-07-26")]
    # Wednesday is the middle of it but for a day: from 2.5 days before to 4.5 after.
    share = norm.cdf(4.5 / 5) - norm.cdf(-2.5 / 5)
    assert week.expected == pytest.approx(100 * share)
    # The binomial count's own spread, 1.2816 of its standard deviations either side, to half a count.
    half = 1.2816 * (100 * share * (1 - share)) ** 0.5
    assert (week.low, week.high) == pytest.approx((100 * share - half, 100 * share + half), abs=1)


def test_surely_calving_cows_make_a_narrow_band_and_unsure_ones_a_wider() -> None:
    sure, unsure = herd(("2027-07-29", 100), sd_days=1.0).busiest, herd(("2027-07-29", 100), sd_days=5.0).busiest
    assert sure.high - sure.low < unsure.high - unsure.low
