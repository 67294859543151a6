"""What follows from one cow's scans, and what the vet is shown of them."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecapture.day import ScanKind
from voicecapture.herd import Animal, BullPeriod, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.conception import Basis
from voicecapture.reckoning.cow import Alert, CowReckoning, Scan, reckon_cow
from voicecapture.reckoning.foetus import loss_chance
from voicecapture.reckoning.settings import ReckoningSettings

SETTINGS = ReckoningSettings()
COW = Animal("417", calved_on=date(2026, 8, 1))
HEIFER = Animal("417", born_on=date(2024, 8, 1))
FIRST, SECOND, THIRD = date(2026, 12, 10), date(2027, 1, 14), date(2027, 2, 18)


def days(number: int) -> timedelta:
    return timedelta(days=number)


def scan(
    on: date, result: Result | None, age_days: int | None = None, kind: ScanKind = ScanKind.AGED, **said: object
) -> Scan:
    entry = Entry("417", result, age_days, **said)  # type: ignore[arg-type]
    return Scan("417", on, entry, kind, "Vet A", day=f"day of {on}")


def in_calf(on: date, age_days: int | None = None, kind: ScanKind = ScanKind.AGED, **said: object) -> Scan:
    return scan(on, Result.PREGNANT, age_days, kind, **said)


def yes(on: date) -> Scan:
    return in_calf(on, kind=ScanKind.YES_NO)


def empty(on: date, recheck_weeks: int | None = None) -> Scan:
    return scan(on, Result.EMPTY, recheck_weeks=recheck_weeks)


def recheck(on: date, recheck_weeks: int | None = None) -> Scan:
    return scan(on, Result.RECHECK, recheck_weeks=recheck_weeks)


def lame(on: date) -> Scan:
    """Something else was found in her, and nothing was said of a calf."""
    return scan(on, None, findings=("lame",))


def served(*on: date) -> Matings:
    return Matings(tuple(Service("417", one) for one in on))


def reckon(*scans: Scan, animal: Animal = COW, matings: Matings | None = None) -> CowReckoning:
    return reckon_cow(animal, scans, matings or Matings(), SETTINGS)


# ---- results ---------------------------------------------------------------------------------------


def test_a_cow_never_seen_has_nothing() -> None:
    assert reckon() == CowReckoning(COW)
    assert reckon().result is None
    assert reckon().last is None
    assert not reckon().twins


def test_the_latest_result_rules() -> None:
    assert reckon(recheck(FIRST), in_calf(SECOND, 60)).result is Result.PREGNANT
    assert reckon(in_calf(FIRST, 60), empty(SECOND)).result is Result.EMPTY
    assert reckon(empty(FIRST), recheck(SECOND)).result is Result.RECHECK


def test_something_else_found_later_leaves_the_result() -> None:
    found, before = reckon(in_calf(FIRST, 56), lame(SECOND)), reckon(in_calf(FIRST, 56))
    assert found.result is Result.PREGNANT
    assert (found.conception, found.calving, found.loss_chance) == (
        before.conception,
        before.calving,
        before.loss_chance,
    )
    assert reckon(empty(FIRST), lame(SECOND)).recheck_on == reckon(empty(FIRST)).recheck_on


def test_only_something_else_found_is_no_result() -> None:
    found = reckon(lame(FIRST))
    assert found.last == lame(FIRST)
    assert (found.result, found.recheck_on, found.alerts) == (None, None, ())


def test_a_cow_in_calf_has_all_her_dates() -> None:
    found = reckon(in_calf(FIRST, 56))
    assert found.conception is not None
    assert found.calving is not None
    # The scan less 56 days, and 282 days.
    assert found.conception.on == date(2026, 10, 15)
    assert found.calving.due_on == date(2027, 7, 24)
    # Common practice: dry 60 days before calving.
    assert found.dry_off_on == date(2027, 5, 25)
    assert found.loss_chance == loss_chance(56)
    assert (found.recheck_on, found.alerts) == (None, ())


def test_the_practice_sets_the_dry_period() -> None:
    found = reckon_cow(COW, [in_calf(FIRST, 56)], Matings(), ReckoningSettings(dry_off_days=45))
    assert found.dry_off_on == date(2027, 7, 24) - days(45)


def test_twins_and_heifers_calve_sooner() -> None:
    due = {
        name: found.calving.due_on
        for name, found in {
            "cow": reckon(in_calf(FIRST, 56)),
            "heifer": reckon(in_calf(FIRST, 56), animal=HEIFER),
            "twins": reckon(in_calf(FIRST, 56, twins=True)),
        }.items()
        if found.calving is not None
    }
    assert due["cow"] - due["heifer"] == days(1)
    assert days(5) <= due["cow"] - due["twins"] <= days(6)


def test_twins_are_lost_more_often() -> None:
    assert reckon(in_calf(FIRST, 56, twins=True)).loss_chance == loss_chance(56, twins=True)


def test_in_calf_without_an_age_has_no_dates() -> None:
    found = reckon(yes(FIRST))
    assert found.result is Result.PREGNANT
    assert (found.conception, found.calving, found.dry_off_on, found.loss_chance) == (None, None, None, None)


# ---- ages ------------------------------------------------------------------------------------------


def test_a_yes_later_keeps_the_age() -> None:
    found = reckon(in_calf(FIRST, 56), yes(SECOND))
    assert found.conception is not None
    assert found.conception.scan_on == FIRST - days(56)
    # She has come through the days between.
    assert found.loss_chance == loss_chance(91)


def test_a_yes_later_keeps_the_twins() -> None:
    assert reckon(in_calf(FIRST, 56, twins=True), yes(SECOND)).twins


def test_the_surest_age_counts_not_the_latest() -> None:
    # 56 days are told to 4.6 days, 95 days to 7.7.
    found = reckon(in_calf(FIRST, 56), in_calf(SECOND, 95))
    assert found.conception is not None
    assert (found.conception.on, found.conception.sd_days) == (FIRST - days(56), 4.6)


def test_of_equally_sure_ages_the_later_counts() -> None:
    later = FIRST + days(14)
    found = reckon(in_calf(FIRST, 40), in_calf(later, 52))
    assert found.conception is not None
    assert found.conception.on == later - days(52)


def test_a_length_tells_the_age() -> None:
    found = reckon(in_calf(FIRST, crown_rump_mm=30))
    assert found.conception is not None
    # Somnuk K et al. 2017, Asian Pac J Reprod 6(4):186-190: 49.3 days, computed from the formula.
    assert found.conception.on == FIRST - days(49)


def test_ages_before_she_was_empty_belong_to_another_pregnancy() -> None:
    found = reckon(in_calf(FIRST, 40), empty(SECOND), in_calf(THIRD, 80))
    assert found.conception is not None
    assert found.conception.on == THIRD - days(80)
    assert Alert.AGES not in found.alerts


def test_a_yes_after_she_was_empty_has_no_age() -> None:
    assert reckon(in_calf(FIRST, 56), empty(SECOND), yes(THIRD)).conception is None


def test_twins_before_she_was_empty_belong_to_another_pregnancy() -> None:
    assert not reckon(in_calf(FIRST, 56, twins=True), empty(SECOND), yes(THIRD)).twins


# ---- matings ---------------------------------------------------------------------------------------


def test_the_recorded_service_is_the_day() -> None:
    found = reckon(in_calf(FIRST, 56), matings=served(FIRST - days(59)))
    assert found.conception is not None
    assert (found.conception.on, found.conception.basis) == (FIRST - days(59), Basis.SERVICE)
    assert found.loss_chance == loss_chance(59)


def test_the_herd_lists_own_mating_is_a_service() -> None:
    animal = Animal("417", mated_on=FIRST - days(59), calved_on=date(2026, 8, 1))
    found = reckon(in_calf(FIRST, 56), animal=animal)
    assert found.conception is not None
    assert (found.conception.on, found.conception.basis) == (FIRST - days(59), Basis.SERVICE)


def test_a_mating_in_both_lists_counts_once() -> None:
    animal = Animal("417", mated_on=FIRST - days(55), calved_on=date(2026, 8, 1))
    both = served(FIRST - days(55), FIRST - days(58))
    assert reckon(in_calf(FIRST, 57), animal=animal, matings=both).conception == (
        reckon(in_calf(FIRST, 57), matings=both).conception
    )


def test_another_cows_matings_are_not_hers() -> None:
    others = Matings((Service("3", FIRST - days(57)),), (BullPeriod(FIRST - days(90), None, "Ash", cow="3"),))
    found = reckon(in_calf(FIRST, 56), matings=others)
    assert found.conception is not None
    assert (found.conception.basis, found.conception.is_misfit) == (Basis.SCAN, False)


def test_a_mating_before_she_calved_did_not_give_this_calf() -> None:
    # 80 days on 1 October 2026 is 13 July; she calved on 20 August.
    animal = Animal("417", calved_on=date(2026, 8, 20))
    before = Matings(served(date(2026, 7, 13)).services, (BullPeriod(date(2026, 7, 1), date(2026, 8, 20)),))
    found = reckon(in_calf(date(2026, 10, 1), 80), animal=animal, matings=before)
    assert found.conception is not None
    assert (found.conception.on, found.conception.basis) == (date(2026, 7, 13), Basis.SCAN)
    assert found.alerts == (Alert.NOT_MATED, Alert.BEFORE_CALVING)


@pytest.mark.parametrize(("age_days", "is_flagged"), [(41, False), (42, True), (43, True)])
def test_a_conception_before_she_calved_is_told(age_days: int, is_flagged: bool) -> None:
    # From 20 August to 1 October 2026 are 42 days.
    found = reckon(in_calf(date(2026, 10, 1), age_days), animal=Animal("417", calved_on=date(2026, 8, 20)))
    assert found.alerts == ((Alert.BEFORE_CALVING,) if is_flagged else ())


def test_in_calf_and_no_mating_of_hers_in_the_list() -> None:
    others = Matings((Service("3", FIRST - days(57)),))
    for one in (in_calf(FIRST, 56), yes(FIRST)):
        assert reckon(one, matings=others).alerts == (Alert.NOT_MATED,)
        assert reckon(one, matings=served(FIRST + days(5))).alerts == (Alert.NOT_MATED,)
        with_bull = Matings(others.services, (BullPeriod(FIRST - days(60)),))
        assert reckon(one, matings=with_bull).alerts == ()
        assert reckon(one).alerts == ()
        assert reckon(one, matings=Matings(bulls=(BullPeriod(FIRST - days(57), cow="3"),))).alerts == ()
    assert reckon(empty(FIRST), matings=others).alerts == ()


def test_in_calf_with_a_dead_calf_is_to_be_looked_at() -> None:
    dead = in_calf(FIRST, 56, findings=("dead_calf",))
    assert reckon(dead).alerts == (Alert.DEAD_CALF,)
    assert reckon(in_calf(FIRST, 56), scan(SECOND, None, findings=("dead_calf",))).alerts == (Alert.DEAD_CALF,)
    assert reckon(dead, empty(SECOND), in_calf(THIRD, 35)).alerts == (Alert.LOST,)
    assert reckon(scan(FIRST, Result.EMPTY, findings=("dead_calf",))).alerts == ()


# ---- a calving since the scan -----------------------------------------------------------------------

CALVED_ON = date(2027, 7, 24)
CALVED = Animal("417", calved_on=CALVED_ON)


def test_a_calving_since_the_scan_ends_its_result() -> None:
    found = reckon(in_calf(FIRST, 56, twins=True), animal=CALVED)
    assert found.scans == (in_calf(FIRST, 56, twins=True),)
    assert (found.result, found.last, found.conception, found.calving, found.loss_chance) == (None,) * 5
    assert (found.twins, found.alerts) == (False, ())


def test_scans_of_two_pregnancies_with_a_calving_between_them_agree() -> None:
    later = CALVED_ON + days(120)
    found = reckon(in_calf(FIRST, 56, twins=True), in_calf(later, 60), animal=CALVED)
    assert found.conception is not None and found.conception.on == later - days(60)
    assert (found.result, found.alerts) == (Result.PREGNANT, ())
    assert reckon(in_calf(FIRST, 56), empty(later), animal=CALVED).alerts == ()
    assert reckon(in_calf(FIRST, 56), yes(later), animal=CALVED).conception is None


@pytest.mark.parametrize(
    ("before", "calved_on", "is_flagged"),
    [
        (in_calf(FIRST, 56), CALVED_ON, False),  # due on that day: 56 days, and 282 days of gestation
        (in_calf(FIRST, 56), CALVED_ON - days(46), True),
        (in_calf(FIRST, 56), FIRST + days(20), True),
        (in_calf(FIRST, 56), FIRST, True),  # the day of the scan itself
        (empty(FIRST), CALVED_ON, True),  # 56 days, which a scan tells
        (empty(FIRST), FIRST + days(282), False),  # conceived on the day of the scan
        (empty(FIRST), FIRST + days(600), False),
        (yes(FIRST), FIRST + days(100), False),
    ],
)
def test_a_calving_that_the_scan_before_it_does_not_explain(before: Scan, calved_on: date, is_flagged: bool) -> None:
    found = reckon(before, animal=Animal("417", calved_on=calved_on))
    assert found.alerts == ((Alert.CALVING,) if is_flagged else ())


# ---- rechecks --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("animal", "earliest_days"), [(COW, 29), (HEIFER, 26)])
@pytest.mark.parametrize("one", [empty(FIRST), recheck(FIRST)])
def test_a_recheck_waits_until_a_scan_can_tell(animal: Animal, earliest_days: int, one: Scan) -> None:
    # Romano JE et al. 2006, Theriogenology 66: all pregnancies are found from day 29 in cows, 26 in heifers.
    matings = served(FIRST - days(40), FIRST - days(10))
    assert reckon(one, animal=animal, matings=matings).recheck_on == FIRST - days(10) + days(earliest_days)
    assert reckon(one, animal=animal).recheck_on == FIRST + days(earliest_days)


def test_an_old_mating_can_be_told_at_once() -> None:
    assert reckon(empty(FIRST), matings=served(FIRST - days(60))).recheck_on == FIRST


def test_a_mating_after_the_scan_puts_off_the_recheck() -> None:
    # Romano JE et al. 2006, Theriogenology 66: day 29 in cows, day 26 in heifers.
    matings = served(date(2026, 12, 1), date(2027, 2, 5))
    for one in (empty(date(2027, 1, 20)), recheck(date(2027, 1, 20))):
        assert reckon(one, matings=matings).recheck_on == date(2027, 3, 6)
        assert reckon(one, animal=HEIFER, matings=matings).recheck_on == date(2027, 3, 3)


def test_a_day_said_at_the_scan_is_not_too_early_for_a_later_mating() -> None:
    found = reckon(recheck(FIRST, recheck_weeks=2), matings=served(FIRST - days(20), FIRST + days(10)))
    assert (found.recheck_on, found.alerts) == (FIRST + days(39), ())


def test_a_bull_that_is_still_in_may_mate_her_any_day() -> None:
    matings = Matings(bulls=(BullPeriod(FIRST - days(30)),))
    assert reckon(empty(FIRST), matings=matings).recheck_on == FIRST + days(29)
    # The herd is scanned until a later day, and so long he was with her.
    found = reckon_cow(COW, [empty(FIRST)], matings, SETTINGS, last_on=SECOND)
    assert found.recheck_on == SECOND + days(29)


def test_a_bull_that_is_out_mated_her_on_his_last_day_at_the_latest() -> None:
    matings = Matings(bulls=(BullPeriod(FIRST - days(60), FIRST - days(20)),))
    assert reckon(empty(FIRST), matings=matings).recheck_on == FIRST + days(9)


def test_a_bull_that_comes_after_the_scan_puts_off_the_recheck() -> None:
    matings = Matings((Service("417", FIRST - days(60)),), (BullPeriod(FIRST + days(5), FIRST + days(20)),))
    assert reckon(empty(FIRST), matings=matings).recheck_on == FIRST + days(49)


def test_the_vets_own_later_day_stands() -> None:
    for served_days_ago in (20, 1):
        found = reckon(recheck(FIRST, recheck_weeks=4), matings=served(FIRST - days(served_days_ago)))
        assert (found.recheck_on, found.alerts) == (FIRST + days(28), ())


def test_a_recheck_said_too_early_is_put_off_and_flagged() -> None:
    found = reckon(recheck(FIRST, recheck_weeks=2), matings=served(FIRST - days(5)))
    assert (found.recheck_on, found.alerts) == (FIRST + days(24), (Alert.EARLY_RECHECK,))


# ---- alerts ----------------------------------------------------------------------------------------


def test_scans_that_agree_raise_nothing() -> None:
    found = reckon(in_calf(FIRST, 56), in_calf(SECOND, 93), yes(THIRD), matings=served(FIRST - days(57)))
    assert found.alerts == ()


def test_in_calf_and_later_empty_is_lost() -> None:
    assert reckon(in_calf(FIRST, 56), empty(SECOND)).alerts == (Alert.LOST,)
    assert reckon(in_calf(FIRST, 56), recheck(SECOND)).alerts == ()


@pytest.mark.parametrize(
    ("age_days", "is_flagged"),
    # Empty 35 days before. 120 days are told to 11 days, so the age then was at least 85 - 21.6 = 63 days; of 80 days
    # it was at least 45 - 15.1 = 29.9, of 78 days 27.9, which a scan need not have seen.
    [(120, True), (80, True), (78, False), (40, False)],
)
def test_empty_and_later_in_calf_from_before_that_scan(age_days: int, is_flagged: bool) -> None:
    found = reckon(empty(FIRST), in_calf(SECOND, age_days))
    assert found.result is Result.PREGNANT
    assert (Alert.FOUND_LATER in found.alerts) is is_flagged


@pytest.mark.parametrize(
    ("age_days", "is_flagged"),
    # 65 days were to be expected. 1.96 times both spreads is 12.7 days up to 60 days, and 17.6 days above.
    [(65, False), (82, False), (83, True), (53, False), (52, True)],
)
def test_ages_that_disagree(age_days: int, is_flagged: bool) -> None:
    assert (Alert.AGES in reckon(in_calf(FIRST, 30), in_calf(SECOND, age_days)).alerts) is is_flagged


def test_of_ages_that_disagree_the_latest_counts() -> None:
    # 56 days are surer than 110 (Matthews and Morton 2012), but she may have lost that calf and conceived again.
    found = reckon(in_calf(FIRST, 110), in_calf(SECOND, 56), in_calf(THIRD, 61))
    assert Alert.AGES in found.alerts and found.aged is not None and found.conception is not None
    assert (found.aged.scanned_on, found.conception.on) == (THIRD, THIRD - days(61))


def test_in_calf_and_empty_on_one_day_is_looked_at_again() -> None:
    other = Scan("417", FIRST, empty(FIRST).entry, day="another vet's", recorded_at="later")
    for scans in ((in_calf(FIRST, 56), other), (other, in_calf(FIRST, 56))):
        found = reckon(*scans)
        assert (found.result, found.conception, found.calving) == (Result.RECHECK, None, None)
        assert found.alerts == (Alert.SAME_DAY,) and found.recheck_on == FIRST + days(29)
    assert reckon(in_calf(FIRST, 56), other, in_calf(SECOND, 91)).result is Result.PREGNANT


def test_ages_that_disagree_the_other_way() -> None:
    assert Alert.AGES in reckon(in_calf(FIRST, 80), in_calf(SECOND, 80)).alerts


def test_an_age_that_no_mating_fits() -> None:
    found = reckon(in_calf(FIRST, 56), matings=served(FIRST - days(90)))
    assert found.alerts == (Alert.NO_MATING,)
    assert found.conception is not None
    assert found.conception.on == FIRST - days(56)


def test_twins_at_one_scan_only() -> None:
    assert reckon(in_calf(FIRST, 56, twins=True), in_calf(SECOND, 91)).alerts == (Alert.TWINS,)
    assert reckon(in_calf(FIRST, 56), in_calf(SECOND, 91, twins=True)).alerts == (Alert.TWINS,)


def test_twins_called_without_an_age_still_disagree() -> None:
    assert reckon(in_calf(FIRST, twins=True), in_calf(SECOND, 91)).alerts == (Alert.TWINS,)


def test_a_yes_or_no_says_nothing_of_twins() -> None:
    assert reckon(in_calf(FIRST, 56, twins=True), yes(SECOND)).alerts == ()


def test_twins_of_two_pregnancies_do_not_disagree() -> None:
    assert Alert.TWINS not in reckon(in_calf(FIRST, 56, twins=True), empty(SECOND), in_calf(THIRD, 40)).alerts


def test_two_results_on_one_day() -> None:
    one, other = in_calf(FIRST, 56), Scan("417", FIRST, Entry("417", Result.PREGNANT, 84), day="another vet's")
    same = Scan("417", FIRST, one.entry, day="another vet's")
    assert Alert.SAME_DAY in reckon(one, other).alerts
    assert reckon(one, same).alerts == ()
    assert reckon(one, Scan("417", FIRST, lame(FIRST).entry, day="another vet's")).alerts == ()


def test_a_length_that_tells_no_age_keeps_the_result() -> None:
    found = reckon(in_calf(FIRST, crown_rump_mm=90))
    assert (found.result, found.conception, found.alerts) == (Result.PREGNANT, None, (Alert.NOT_AN_AGE,))


def test_a_length_that_tells_no_age_leaves_the_other_age() -> None:
    found = reckon(in_calf(FIRST, 56), in_calf(SECOND, crown_rump_mm=90))
    assert found.conception is not None
    assert found.conception.on == FIRST - days(56)
    assert found.alerts == (Alert.NOT_AN_AGE,)


def test_each_alert_is_told_once() -> None:
    found = reckon(in_calf(FIRST, 56), in_calf(FIRST + days(7), 63), empty(SECOND))
    assert found.alerts == (Alert.LOST,)


# ---- whatever comes --------------------------------------------------------------------------------

entries = st.builds(
    Entry,
    st.just("417"),
    st.none() | st.sampled_from(Result),
    days=st.none() | st.integers(25, 200),
    twins=st.booleans(),
    recheck_weeks=st.none() | st.integers(1, 8),
    crown_rump_mm=st.none() | st.integers(1, 200),
)
seasons = st.lists(st.tuples(st.integers(0, 120), entries, st.sampled_from(ScanKind)), max_size=5)


@given(seasons, st.lists(st.integers(-120, 120), max_size=4), st.sampled_from([COW, HEIFER]))
def test_whatever_comes_the_last_result_rules_and_the_dates_are_in_order(
    season: list[tuple[int, Entry, ScanKind]], services: list[int], animal: Animal
) -> None:
    ordered = sorted(season, key=lambda seen: seen[0])
    scans = [Scan("417", FIRST + days(day), entry, kind, day=str(day)) for day, entry, kind in ordered]
    found = reckon(*scans, animal=animal, matings=served(*(FIRST + days(day) for day in services)))
    assert found.scans == tuple(scans)
    results = [scan for scan in scans if scan.entry.result is not None]
    told = {scan.entry.result for scan in results if scan.scanned_on == results[-1].scanned_on}
    last = (
        Result.RECHECK if {Result.PREGNANT, Result.EMPTY} <= told else results[-1].entry.result if results else None
    )
    assert found.result is last
    assert (found.recheck_on is not None) is (found.result in (Result.EMPTY, Result.RECHECK))
    if found.recheck_on is not None:
        assert found.recheck_on >= results[-1].scanned_on
    if found.conception is not None:
        assert found.result is Result.PREGNANT
        assert found.calving is not None
        assert found.dry_off_on is not None
        assert found.conception.on < found.dry_off_on < found.calving.due_on
        assert found.loss_chance is not None
        assert 0 <= found.loss_chance <= 1
