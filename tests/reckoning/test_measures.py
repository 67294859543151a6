"""The herd in figures, held against worked examples that were published."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecapture.day import ScanKind
from voicecapture.herd import Animal, BullPeriod, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.benchmarks import BENCHMARKS, benchmarks_for
from voicecapture.reckoning.cow import CowReckoning, Scan, reckon_cow
from voicecapture.reckoning.foetus import loss_chance
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.measures import (
    Bounded,
    HerdFigures,
    conception_rate,
    herd_figures,
    last_day_of,
    pregnancy_share,
    two_round_in_calf,
)
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.reckoning.year_round import YearRoundFigures

START = date(2026, 10, 22)
SCANNED_ON = date(2027, 1, 14)


def days(number: int) -> timedelta:
    return timedelta(days=number)


def cow(
    number: int,
    result: Result | None = None,
    conceived_on: date | None = None,
    *,
    matings: Matings | None = None,
    eligible: bool | None = None,
    mated_on: date | None = None,
    calved_on: date | None = date(2026, 8, 1),
    **said: object,
) -> CowReckoning:
    """One cow, scanned if she has a result, and of known age if it says when she conceived."""
    animal = Animal(str(number), calved_on=calved_on, eligible=eligible, mated_on=mated_on)
    age_days = (SCANNED_ON - conceived_on).days if conceived_on else None
    entry = Entry(animal.cow, result, age_days, **said)  # type: ignore[arg-type]
    scans = [Scan(animal.cow, SCANNED_ON, entry, ScanKind.AGED)] if result else []
    return reckon_cow(animal, scans, matings or Matings(), ReckoningSettings())


def herd(**groups: int) -> list[CowReckoning]:
    """So many cows in calf, empty, to be scanned again and unseen."""
    results = {"in_calf": Result.PREGNANT, "empty": Result.EMPTY, "recheck": Result.RECHECK, "unseen": None}
    each = [results[group] for group, cows in groups.items() for _ in range(cows)]
    return [cow(number, result) for number, result in enumerate(each, 1)]


def services(*on: tuple[int, date]) -> Matings:
    return Matings(tuple(Service(str(number), served_on) for number, served_on in on))


def figures(cows: list[CowReckoning], matings: Matings | None = None) -> HerdFigures:
    return herd_figures(cows, matings or Matings(), START)


def percent(share: Share) -> float:
    assert share.value is not None
    return round(100 * share.value, 1)


# ---- published examples ----------------------------------------------------------------------------


def test_an_empty_rate_that_forgets_the_culled_cows() -> None:
    # Veterinary newsletter, New Zealand, 11 February 2020: 68 of 850 scanned empty is 8 %; with 20 more that were
    # culled unscanned as not in calf it is 88 of 870, 10.1 %.
    found = figures(herd(in_calf=782, empty=68, unseen=20))
    assert percent(found.empty) == 8.0
    assert found.not_in_calf.high == Share(88, 870)
    assert percent(found.not_in_calf.high) == 10.1


def test_the_not_in_calf_rate_counts_all_that_are_not_known_in_calf() -> None:
    # Constructed, not printed anywhere: the definition of the New Zealand industry articles of 2017 and 2020 (empty,
    # doubtful, culled untested and present untested) on 400 cows.
    found = figures(herd(in_calf=318, empty=60, recheck=8, unseen=14))
    assert found.not_in_calf == Bounded(60, 22, 400)
    assert found.not_in_calf.high == Share(82, 400)
    assert percent(found.not_in_calf.high) == 20.5
    assert percent(found.empty) == 15.5
    assert found.scanned == Share(386, 400)


def test_pregnancy_rate_is_submission_times_conception() -> None:
    # AHDB, definitions of key performance indicators, 2017: 50 eligible, 30 served, 12 in calf: 60, 40 and 24 %.
    assert Share(30, 50).value == 0.60
    assert Share(12, 30).value == 0.40
    assert pregnancy_share(Share(30, 50), Share(12, 30)) == pytest.approx(0.24)
    assert pregnancy_share(Share(0, 0), Share(12, 30)) is None
    assert pregnancy_share(Share(30, 50), Share(0, 0)) is None


@pytest.mark.parametrize(
    ("submission", "conceptions", "in_calf"),
    # Agriland UK, article on the six-week in-calf rate: its table, whole percent, in the cells that were seen.
    [
        (0.9, (0.6, 0.5, 0.4, 0.3), (79, 70, 59, 47)),
        (0.8, (0.6, 0.5, 0.4, 0.3), (73, 64, 54, 42)),
        (0.7, (0.6, 0.5, 0.4, 0.3), (66, 58, 48, 38)),
        (0.6, (0.6, 0.5), (59, 51)),
    ],
)
def test_two_rounds_of_mating(submission: float, conceptions: tuple[float, ...], in_calf: tuple[int, ...]) -> None:
    assert tuple(round(100 * two_round_in_calf(submission, each)) for each in conceptions) == in_calf


# ---- windows of mating -----------------------------------------------------------------------------


def test_mating_starts_with_day_one() -> None:
    # Convention of the seasonal measures, computed: the first 21 and 42 days count the first day of mating.
    assert last_day_of(START, 3) == date(2026, 11, 11)
    assert last_day_of(START, 6) == date(2026, 12, 2)


def test_a_cow_dated_a_little_before_mating_began_may_have_conceived_in_it() -> None:
    early = cow(417, Result.PREGNANT, START - days(3))
    assert early.conception is not None
    near = replace(early, conception=replace(early.conception, sd_days=4.6))
    far = replace(early, conception=replace(early.conception, on=START - days(10), sd_days=4.6))
    assert figures([near, far]).three_week_in_calf == Bounded(0, 1, 2)


@pytest.mark.parametrize(
    ("conceived_on", "in_three_weeks", "in_six_weeks"),
    [
        (date(2026, 9, 20), 0, 0),
        (date(2026, 10, 22), 1, 1),
        (date(2026, 11, 11), 1, 1),
        (date(2026, 11, 12), 0, 1),
        (date(2026, 12, 2), 0, 1),
        (date(2026, 12, 3), 0, 0),
    ],
)
def test_the_last_day_is_in_and_the_next_is_out(conceived_on: date, in_three_weeks: int, in_six_weeks: int) -> None:
    found = figures([cow(417, Result.PREGNANT, conceived_on)])
    assert found.three_week_in_calf == Bounded(in_three_weeks, 0, 1)
    assert found.six_week_in_calf == Bounded(in_six_weeks, 0, 1)


@pytest.mark.parametrize(("served_on", "is_in"), [(21, False), (22, True), (42, True), (43, False)])
def test_three_week_submission_has_the_same_window(served_on: int, is_in: bool) -> None:
    matings = services((417, date(2026, 10, 1) + days(served_on - 1)))
    assert figures([cow(417), cow(3)], matings).three_week_submission == Share(int(is_in), 2)


def test_conceptions_by_week_of_mating() -> None:
    conceived = [START, START + days(6), START + days(7), START + days(29), START - days(1)]
    cows = [cow(number, Result.PREGNANT, on) for number, on in enumerate(conceived, 1)]
    found = figures([*cows, cow(88, Result.PREGNANT)])
    assert found.conceptions_by_week == (2, 1, 0, 0, 1)
    # One from before the start of mating, and one of unknown age.
    assert found.conceived_unknown == 2


def test_without_a_start_of_mating_there_are_no_windows() -> None:
    matings = services((1, START))
    found = herd_figures([cow(1, Result.PREGNANT, START, matings=matings)], matings, None)
    assert (found.three_week_in_calf, found.six_week_in_calf, found.three_week_submission) == (None, None, None)
    assert found.conceptions_by_week == ()
    assert found.conception == Bounded(1, 0, 1)


# ---- nobody is dropped -----------------------------------------------------------------------------


def test_a_cow_that_is_not_known_is_in_the_upper_bound_alone() -> None:
    cows = [
        cow(1, Result.PREGNANT, START + days(10)),
        cow(2, Result.PREGNANT, START + days(50)),
        cow(3, Result.PREGNANT),
        cow(4, Result.RECHECK),
        cow(5),
        cow(6, Result.EMPTY),
    ]
    assert figures(cows).six_week_in_calf == Bounded(1, 3, 6)
    assert figures(cows).not_in_calf == Bounded(1, 2, 6)


def test_a_cow_that_is_not_to_be_mated_is_in_no_measure_of_the_season_but_still_calves() -> None:
    cows = [
        cow(1, Result.PREGNANT, START, eligible=True),
        cow(2, Result.PREGNANT, START, eligible=False),
        cow(3, Result.EMPTY, eligible=False),
    ]
    found = figures(cows, services((1, START), (2, START)))
    assert found.not_in_calf == Bounded(0, 0, 1)
    assert found.six_week_in_calf == Bounded(1, 0, 1)
    assert found.three_week_submission == Share(1, 1)
    assert found.in_calf == Share(2, 3)
    assert found.curve is not None
    assert len(found.curve.calvings) == 2


groups = st.fixed_dictionaries({group: st.integers(0, 8) for group in ("in_calf", "empty", "recheck", "unseen")})


@given(groups, st.lists(st.integers(-30, 80), max_size=12))
def test_bounds_hold_every_cow(counts: dict[str, int], conceived: list[int]) -> None:
    aged = [cow(1000 + n, Result.PREGNANT, START + days(after)) for n, after in enumerate(conceived)]
    cows = [*herd(**counts), *aged]
    found = figures(cows)
    open_cows = counts["recheck"] + counts["unseen"]
    assert found.not_in_calf == Bounded(counts["empty"], open_cows, len(cows))
    assert found.not_in_calf.high.count + found.in_calf.count == len(cows)
    assert found.three_week_in_calf is not None
    assert found.six_week_in_calf is not None
    for bounds in (found.three_week_in_calf, found.six_week_in_calf):
        assert counts["in_calf"] + open_cows <= bounds.unknown
        assert bounds.unknown <= counts["in_calf"] + open_cows + sum(-30 <= after < 0 for after in conceived)
        assert 0 <= bounds.low.count <= bounds.high.count <= bounds.of == len(cows)
    assert found.three_week_in_calf.known <= found.six_week_in_calf.known
    assert found.in_calf.count + found.empty.count + found.recheck.count == found.scanned.count
    assert sum(found.conceptions_by_week) + found.conceived_unknown == found.in_calf.count


def test_a_herd_of_nobody_has_no_figures_to_divide() -> None:
    found = figures([])
    assert found.scanned == Share(0, 0)
    assert found.in_calf.value is None
    assert found.not_in_calf.high.value is None
    assert (found.conception, found.curve, found.expected_losses) == (None, None, 0.0)


# ---- the rest --------------------------------------------------------------------------------------


def test_twins_are_counted_of_the_cows_in_calf() -> None:
    cows = [cow(1, Result.PREGNANT, START, twins=True), cow(2, Result.PREGNANT, START), cow(3, Result.EMPTY)]
    assert figures(cows).twins == Share(1, 2)


def test_expected_losses_are_the_sum_of_the_cows() -> None:
    cows = [cow(1, Result.PREGNANT, SCANNED_ON - days(40)), cow(2, Result.PREGNANT, SCANNED_ON - days(70)), cow(3)]
    assert figures(cows).expected_losses == pytest.approx(loss_chance(40) + loss_chance(70))


# ---- conception ------------------------------------------------------------------------------------


def conception(matings: Matings, *cows: CowReckoning, start: date | None = None) -> Share | None:
    """The rate where no outcome is unknown."""
    found = conception_rate(cows, matings, start)
    assert found is None or not found.unknown
    return found.low if found else None


def test_of_three_services_the_last_gave_the_calf() -> None:
    matings = services((1, START), (1, START + days(21)), (1, START + days(42)))
    assert conception(matings, cow(1, Result.PREGNANT, START + days(42), matings=matings)) == Share(1, 3)


def test_services_of_an_empty_cow_gave_none() -> None:
    matings = services((1, START), (1, START + days(21)))
    assert conception(matings, cow(1, Result.EMPTY, matings=matings)) == Share(0, 2)


def test_a_service_too_late_to_be_seen_is_not_counted() -> None:
    matings = services((1, START), (1, SCANNED_ON - days(28)), (1, SCANNED_ON - days(26)), (1, SCANNED_ON + days(3)))
    assert conception(matings, cow(1, Result.EMPTY, matings=matings)) == Share(0, 1)


def test_an_empty_cow_to_be_scanned_again_still_tells_of_her_old_services() -> None:
    matings = services((1, START), (1, START + days(21)))
    assert conception(matings, cow(1, Result.EMPTY, matings=matings, recheck_weeks=4)) == Share(0, 2)


def test_a_bull_since_does_not_hide_that_the_services_failed() -> None:
    matings = Matings(services((1, START), (1, START + days(21))).services, (BullPeriod(SCANNED_ON - days(20)),))
    assert conception(matings, cow(1, Result.EMPTY, matings=matings)) == Share(0, 2)


def test_rechecks_and_cows_unseen_tell_of_no_service() -> None:
    matings = services((1, START), (2, START))
    assert conception(matings, cow(1, Result.RECHECK, matings=matings), cow(2, matings=matings)) is None


def test_in_calf_by_the_bull_the_services_before_him_gave_none() -> None:
    matings = Matings(services((1, START)).services, (BullPeriod(START + days(30), START + days(60)),))
    assert conception(matings, cow(1, Result.PREGNANT, START + days(45), matings=matings)) == Share(0, 1)


def test_an_age_that_no_service_fits_tells_of_none() -> None:
    matings = services((1, START))
    assert conception(matings, cow(1, Result.PREGNANT, START + days(50), matings=matings)) is None


def test_a_service_that_only_the_herd_list_names_is_one_of_the_services() -> None:
    matings = services((2, START))
    listed = cow(1, Result.PREGNANT, START, matings=matings, mated_on=START)
    assert conception(matings, listed, cow(2, Result.EMPTY, matings=matings)) == Share(1, 2)


def test_of_a_scan_without_ages_cows_in_calf_count_as_the_empty_ones_do() -> None:
    # Twenty served once, sixteen of them in calf at a scan by yes or no.
    matings = services(*((number, START) for number in range(20)))
    herd = [cow(number, Result.PREGNANT if number < 16 else Result.EMPTY, matings=matings) for number in range(20)]
    assert conception(matings, *herd) == Share(16, 20)


def test_in_calf_without_a_date_is_by_the_last_service_that_was_told() -> None:
    matings = services((1, START), (1, START + days(21)), (1, SCANNED_ON - days(28)))
    assert conception(matings, cow(1, Result.PREGNANT, matings=matings)) == Share(1, 2)
    late = services((1, SCANNED_ON - days(28)))
    assert conception(late, cow(1, Result.PREGNANT, matings=late)) is None


@pytest.mark.parametrize(
    ("bull_in", "bull_out", "unknown"), [(30, 50, 1), (30, None, 1), (-60, -1, 0), (60, None, 0)]
)
def test_in_calf_without_a_date_may_be_by_the_bull(bull_in: int, bull_out: int | None, unknown: int) -> None:
    bull = BullPeriod(START + days(bull_in), None if bull_out is None else START + days(bull_out))
    matings = Matings(services((1, START), (2, START)).services, (bull,))
    herd = [cow(1, Result.PREGNANT, matings=matings), cow(2, Result.EMPTY, matings=matings)]
    assert conception_rate(herd, matings) == Bounded(1 - unknown, unknown, 2)


def test_services_of_the_last_season_and_before_the_last_calving_are_not_counted() -> None:
    matings = services((1, START - days(350)), (1, START), (2, START - days(350)), (2, START))
    for calved_on, start in ((None, START), (date(2026, 8, 1), None)):
        herd = [
            cow(1, Result.PREGNANT, START, matings=matings, calved_on=calved_on),
            cow(2, Result.EMPTY, matings=matings, calved_on=calved_on),
        ]
        assert conception(matings, *herd, start=start) == Share(1, 2)
    old = cow(3, Result.PREGNANT, START - days(30), matings=services((3, START - days(30))))
    assert conception(services((3, START - days(30))), old, start=START) is None


def test_two_services_on_one_day_are_one() -> None:
    matings = Matings((Service("1", START, sire="Elder"), Service("1", START, sire="Rowan")))
    assert conception(matings, cow(1, Result.EMPTY, matings=matings)) == Share(0, 1)


def test_the_herd_lists_last_matings_alone_make_no_conception_rate() -> None:
    assert conception(Matings(), cow(1, Result.PREGNANT, START, mated_on=START)) is None


@given(st.lists(st.tuples(st.sampled_from(Result), st.lists(st.integers(-5, 90), max_size=4)), max_size=8))
def test_no_more_services_gave_a_calf_than_there_were(herd: list[tuple[Result, list[int]]]) -> None:
    matings = services(*((number, START + days(day)) for number, (_, on) in enumerate(herd) for day in on))
    cows = [
        cow(n, result, START + days(30), matings=matings, mated_on=START + days(29))
        for n, (result, _) in enumerate(herd)
    ]
    share = conception(matings, *cows)
    if share is not None:
        assert 0 <= share.count <= share.of <= len(matings.services) + len(cows)


# ---- benchmarks ------------------------------------------------------------------------------------


def test_every_benchmark_is_of_a_measure() -> None:
    measures = {*HerdFigures.__dataclass_fields__, *YearRoundFigures.__dataclass_fields__}
    assert {benchmark.measure for benchmark in BENCHMARKS} <= measures


def test_the_six_week_target() -> None:
    # Farming Connect, Business Wales: 78 % in calf after six weeks.
    assert "target 78 %" in [benchmark.text for benchmark in benchmarks_for("six_week_in_calf")]
    assert benchmarks_for("scanned") == ()
