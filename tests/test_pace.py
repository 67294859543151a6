"""Cows an hour, and when the last will have been scanned."""

import pytest

from voicecapture.pace import BREAK_S, Pace, Stint, pace, rates, stint


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
    assert pace([], 5.0, 10) == Pace(None, None, None, None)


def test_one_cow_is_no_pace() -> None:
    assert pace([100.0], 101.0, 200) == Pace(None, None, None, None)


def test_a_long_break_leaves_no_time_to_finish() -> None:
    assert pace([1.0, 2.0], 5000.0, 10).finish_s is None


def test_the_longest_pause_is_between_two_cows() -> None:
    assert pace([1.0, 11.0, 111.0, 121.0], 5000.0, 1).longest_pause_s == pytest.approx(100)


def test_the_plot_shows_each_stretch_at_its_own_pace() -> None:
    times_s = [10.0 * i for i in range(61)] + [1200.0]  # ten minutes of work, ten of rest
    assert rates(times_s, 1200.0, 2) == pytest.approx([354, 12])
    assert sum(rates(times_s, 1234.5, 7)) * 1234.5 / 7 / 3600 == pytest.approx(len(times_s) - 1)


def test_there_is_no_plot_before_there_is_a_pace() -> None:
    assert rates([], 5.0, 4) == [] and rates([1.0], 5.0, 4) == []


def test_work_is_counted_from_the_first_cow_after_the_last_break() -> None:
    times_s = [0.0, 10.0, 10.0 + BREAK_S + 1, 400.0, 410.0]
    assert stint(times_s, 420.0) == Stint(3, 420.0 - (11.0 + BREAK_S))


def test_a_pause_of_just_the_length_is_no_break() -> None:
    assert stint([0.0, BREAK_S], BREAK_S + 1) == Stint(2, BREAK_S + 1)


def test_during_a_break_and_before_the_first_cow_nothing_is_counted() -> None:
    assert stint([0.0, 10.0], 11.0 + BREAK_S) == Stint(0, 0.0)
    assert stint([], 100.0) == Stint(0, 0.0)
