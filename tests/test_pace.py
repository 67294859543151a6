"""Cows an hour, and when the last will have been scanned."""

import pytest

from voicecapture.pace import Pace, pace


def test_a_cow_every_ten_seconds_is_360_an_hour() -> None:
    times_s = [10.0 * i for i in range(1, 31)]
    now = pace(times_s, 300.0, 36)
    assert now.whole_per_hour == pytest.approx(360)
    assert now.recent_per_hour == pytest.approx(360)
    assert now.finish_s == pytest.approx(360)


def test_the_recent_pace_forgets_what_is_ten_minutes_old() -> None:
    times_s = [1.0 * i for i in range(100)] + [3600.0 + 10 * i for i in range(60)]
    now = pace(times_s, 4199.0, 0)
    assert now.recent_per_hour == pytest.approx(360)
    assert now.whole_per_hour == pytest.approx(159 / 4199 * 3600)
    assert now.finish_s is None


def test_nothing_is_said_before_the_first_cow() -> None:
    assert pace([], 5.0, 10) == Pace(None, None, None)


def test_one_cow_is_no_pace() -> None:
    assert pace([100.0], 101.0, 200) == Pace(None, None, None)


def test_a_long_break_leaves_no_time_to_finish() -> None:
    assert pace([1.0, 2.0], 5000.0, 10).finish_s is None
