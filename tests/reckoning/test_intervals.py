"""Shares with their intervals, and counts of uncertain things."""

from itertools import product
from math import prod

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, binomtest
from statsmodels.stats.proportion import proportion_confint  # type: ignore[import-untyped]

from voicecapture.reckoning.intervals import Share, count_band, poisson_binomial, wilson

counts = st.integers(1, 3000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))
chances = st.lists(st.floats(0, 1), max_size=60)
HERD = tuple(np.random.default_rng(417).uniform(0, 1, 2100))


@pytest.mark.parametrize(
    ("count", "of", "confidence", "low", "high"),
    [
        (6, 32, 0.95, 0.08889545, 0.35309155),  # published output of R
        (0, 32, 0.95, 0.0, 0.1071792),  # public test snapshot of the R package cards
        (32, 32, 0.95, 0.8928208, 1.0),  # the same
        (5, 10, 0.90, 0.2692718, 0.7307282),  # the same
        # Computed with the formula of Wilson EB 1927, J Am Stat Assoc 22:209-212. That the first four also stand in
        # Newcombe RG 1998, Stat Med 17:857-872, is from memory.
        (81, 263, 0.95, 0.2553, 0.3662),
        (15, 148, 0.95, 0.0624, 0.1605),
        (0, 20, 0.95, 0.0, 0.1611),
        (1, 29, 0.95, 0.0061, 0.1718),
        (23, 60, 0.95, 0.2709, 0.5098),
        (312, 400, 0.95, 0.7368, 0.8178),
    ],
)
def test_wilsons_interval_as_published(count: int, of: int, confidence: float, low: float, high: float) -> None:
    assert wilson(count, of, confidence) == pytest.approx((low, high), abs=5e-5)


@given(counts, st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_two_libraries_give_the_same_interval(count_of: tuple[int, int], confidence: float) -> None:
    count, of = count_of
    ours = wilson(count, of, confidence)
    assert ours == pytest.approx(proportion_confint(count, of, 1 - confidence, method="wilson"), abs=1e-9)
    assert ours == pytest.approx(binomtest(count, of).proportion_ci(confidence, method="wilson"), abs=1e-9)


@given(counts)
def test_the_share_lies_in_its_interval(count_of: tuple[int, int]) -> None:
    share = Share(*count_of)
    low, high = share.interval
    assert share.value is not None
    assert 0 <= low <= share.value + 1e-12
    assert share.value - 1e-12 <= high <= 1


def test_a_share_of_nothing_is_unknown() -> None:
    assert Share(0, 0).value is None
    assert Share(0, 0).interval == (0.0, 1.0)


def test_the_count_of_ten_cows_is_that_of_every_way_they_may_calve() -> None:
    ten = [0.02, 0.1, 0.1, 0.25, 0.4, 0.5, 0.66, 0.9, 0.97, 1.0]
    brute = np.zeros(11)
    for calved in product((False, True), repeat=10):
        brute[sum(calved)] += prod(p if has else 1 - p for p, has in zip(ten, calved, strict=True))
    assert poisson_binomial(ten) == pytest.approx(brute, abs=1e-12)


def test_equal_chances_make_a_binomial_count() -> None:
    assert poisson_binomial([0.3] * 400) == pytest.approx(binom.pmf(np.arange(401), 400, 0.3), abs=1e-12)


@given(chances)
def test_the_chances_of_all_counts_sum_to_one(events: list[float]) -> None:
    each = poisson_binomial(events)
    assert each.shape == (len(events) + 1,)
    assert each.sum() == pytest.approx(1)
    assert np.arange(len(each)) @ each == pytest.approx(sum(events), abs=1e-9)


@given(chances, st.sampled_from([0.5, 0.8, 0.95]))
def test_a_band_leaves_out_no_more_than_it_may_and_is_no_wider_than_it_must(
    events: list[float], coverage: float
) -> None:
    low, high = count_band(events, coverage)
    each, tail = poisson_binomial(events), (1 - coverage) / 2
    assert 0 <= low <= high <= len(events)
    assert each[:low].sum() <= tail + 1e-9 < each[: low + 1].sum() + 2e-9
    assert each[high + 1 :].sum() <= tail + 1e-9 < each[high:].sum() + 2e-9


def test_a_chance_as_small_as_the_tail_is_left_out_on_either_side() -> None:
    assert count_band([0.1]) == (0, 0)
    assert count_band([0.9]) == (1, 1)
    assert count_band([0.05], 0.9) == (0, 0)
    assert count_band([0.95], 0.9) == (1, 1)


def test_the_band_of_nobody_is_nobody() -> None:
    assert count_band([]) == (0, 0)


def test_certain_events_leave_no_band() -> None:
    assert count_band([1.0] * 7 + [0.0] * 5) == (7, 7)
    assert count_band([1.0] * 2500) == (2500, 2500)


@pytest.mark.parametrize("of", [2000, 2001, 2100])
@pytest.mark.parametrize("scale", [1.0, 0.05])
def test_exact_and_approximate_bands_agree_where_they_meet(of: int, scale: float) -> None:
    events = [scale * chance for chance in HERD[:of]]
    cumulative = np.cumsum(poisson_binomial(events))
    exact = (int(np.searchsorted(cumulative, 0.1, side="right")), int(np.searchsorted(cumulative, 0.9)))
    assert count_band(events) == pytest.approx(exact, abs=1)


@pytest.mark.parametrize(
    ("count", "percent"),
    # Matthews BJ, Morton JM 2012, N Z Vet J 60(4):234-240, of 10,487 cows: within 10 days, earlier, later.
    [(8444, 80.5), (1329, 12.7), (714, 6.8)],
)
def test_published_percentages(count: int, percent: float) -> None:
    value = Share(count, 10_487).value
    assert value is not None
    assert round(100 * value, 1) == percent
