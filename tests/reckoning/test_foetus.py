"""The foetus: age from its length, how sure an age is, and how often it is lost."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from voicecapture.reckoning.foetus import CROWN_RUMP_MM, ageing_sd_days, crown_rump_age, loss_chance
from voicecapture.reckoning.settings import AGEING_SD_DAYS

lengths_mm = st.floats(*CROWN_RUMP_MM)
ages_days = st.floats(0, 300)


@pytest.mark.parametrize(
    ("length_mm", "age_days"),
    # Computed from the formula of Somnuk K et al. 2017, Asian Pac J Reprod 6(4):186-190; the paper prints no ages.
    [(5, 28.421), (10, 33.642), (15, 38.342), (20, 42.521), (30, 49.316), (40, 54.027), (50, 56.654), (55, 57.186)],
)
def test_the_published_formula(length_mm: float, age_days: float) -> None:
    assert crown_rump_age(length_mm) == pytest.approx(age_days, abs=0.0005)


@pytest.mark.parametrize(
    ("length_mm", "age_days"),
    # University of Pennsylvania School of Veterinary Medicine, Field Service, ultrasound teaching page.
    [(15, 35), (30, 45), (45, 55)],
)
def test_a_teaching_table_agrees_within_five_days(length_mm: float, age_days: float) -> None:
    assert crown_rump_age(length_mm) == pytest.approx(age_days, abs=5)


@pytest.mark.parametrize("length_mm", [-1, 0, 3.9, 55.1, 57.6, 70])
def test_a_length_that_tells_no_age_is_refused(length_mm: float) -> None:
    with pytest.raises(ValueError, match="expected 4 to 55 mm"):
        crown_rump_age(length_mm)


@given(lengths_mm, lengths_mm)
def test_the_longer_is_never_the_younger(one_mm: float, other_mm: float) -> None:
    short, long = sorted((one_mm, other_mm))
    assert crown_rump_age(short) <= crown_rump_age(long)


@pytest.mark.parametrize(
    ("age_days", "sd_days"), [(30, 4.6), (60, 4.6), (61, 7.7), (98, 7.7), (99, 11.0), (500, 11.0)]
)
def test_an_age_is_less_sure_the_older(age_days: float, sd_days: float) -> None:
    assert ageing_sd_days(age_days, AGEING_SD_DAYS) == sd_days


@pytest.mark.parametrize(
    ("age_days", "within_days", "share"),
    [
        # Placentome study, N Z Vet J, 58 dairy cows: 95 % within 9 days by the crown-rump length.
        (56, 9, 0.95),
        # Matthews BJ, Morton JM 2012, N Z Vet J 60(4):234-240: 80.5 % within 10 days.
        (80, 10, 0.805),
        # Massey University, master's dissertation: 95 % within 21.7 days by the femur.
        (120, 21.7, 0.95),
    ],
)
def test_the_spread_of_ages_is_the_published_one(age_days: float, within_days: float, share: float) -> None:
    sd_days = ageing_sd_days(age_days, AGEING_SD_DAYS)
    assert 2 * norm.cdf(within_days / sd_days) - 1 == pytest.approx(share, abs=0.005)


def test_the_practice_may_set_one_spread_for_all_ages() -> None:
    assert [ageing_sd_days(age, {100: 3.0}) for age in (30, 100, 200)] == [3.0, 3.0, 3.0]


@pytest.mark.parametrize(
    ("start_days", "end_days", "lost"),
    # Albaaj A et al. 2023, JDS Communications 4(2):144-148, 19,723 records. Its first window is days 19-32.
    [(19, 30, 0.27), (30, 45, 0.13), (45, 60, 0.07), (60, 90, 0.02)],
)
def test_each_published_window_loses_its_share(start_days: float, end_days: float, lost: float) -> None:
    kept = (1 - loss_chance(start_days)) / (1 - loss_chance(end_days))
    assert 1 - kept == pytest.approx(lost)


def test_the_windows_are_chained() -> None:
    # Computed from Albaaj et al. 2023: 1 - 0.87 x 0.93 from day 30 to day 60.
    assert 1 - (1 - loss_chance(30)) / (1 - loss_chance(60)) == pytest.approx(0.191, abs=0.0005)


def test_nothing_is_counted_as_lost_after_day_90() -> None:
    assert loss_chance(90) == loss_chance(140, twins=True) == 0


@pytest.mark.parametrize("age_days", [40, 60, 75])
def test_twins_are_lost_as_many_times_as_often_as_published(age_days: float) -> None:
    # López-Gatius F et al. 2004, Reprod Domest Anim 39:429-433: 28.8 % of 132 twins, 7.7 % of 1,310 singles.
    # The chance to be kept to the power that turns the one into the other: log 0.712 / log 0.923 = 4.24.
    assert 1 - loss_chance(age_days, twins=True) == pytest.approx((1 - loss_chance(age_days)) ** 4.24, rel=0.005)


@given(st.lists(ages_days, min_size=2), st.booleans())
def test_a_chance_of_loss_is_a_chance_and_falls_with_age(ages: list[float], twins: bool) -> None:
    chances = [loss_chance(age, twins) for age in sorted(ages)]
    assert all(0 <= chance <= 1 for chance in chances)
    assert all(later <= earlier for earlier, later in pairwise(chances))
